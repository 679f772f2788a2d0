use super::place::Place;
use serde_json::{Value, json};

/// A blind test as a page saves it: so many right answers of so many, and what the page counted.
fn test(right: usize, of: usize) -> Value {
    let trial = |n: usize| {
        let x = if n.is_multiple_of(3) { "a" } else { "b" };
        let wrong = if x == "a" { "b" } else { "a" };
        json!({ "x": x, "answer": if n < right { x } else { wrong }, "heard": { "a": 1, "b": 1, "x": 2 } })
    };
    json!({
        "hitgap": "blind-test", "format": 1, "patch": "patches/late-bell.toml", "title": "The late bell", "tempo_bpm": 80,
        "a": { "variant": "phase", "gap_ms": 15 }, "b": { "variant": "or-gate", "gap_ms": 0.04 },
        "saved": "2026-03-01T20:15:00.000Z", "trials": (0..of).map(trial).collect::<Vec<_>>(),
        "right": right, "of": of, "p": 0.5,
    })
}

fn file(value: &Value) -> String {
    format!("{}\n", serde_json::to_string_pretty(value).expect("JSON"))
}

#[test]
fn a_blind_test_is_counted_anew() {
    let mut claims = test(12, 16);
    claims["right"] = 16.into();
    let mut unheard = test(9, 10);
    unheard["trials"][3]["heard"]["x"] = 0.into();
    unheard["a"]["gap_ms"] = Value::Null;
    unheard["later"] = json!({ "field": [1, 2] });
    let place = Place::new()
        .with("12.json", file(&test(12, 16)))
        .with("14.json", file(&test(14, 16)))
        .with("9.json", format!("\u{feff}{}", file(&unheard)))
        .with("claims.json", file(&claims));
    place.shows(
        "results",
        &[
            "hitgap results 12.json",
            "hitgap results 12.json --verbose",
            "hitgap results 12.json --quiet",
            "hitgap results 14.json 9.json",
            "hitgap results claims.json",
            "hitgap results 12.json --format json",
        ],
    );
}

/// Several tests of the same two: each is told as one of so many, and all are counted together. What a page counted holds where
/// the other files are not at hand; a file that is there twice is one; a test of something else stands for itself.
#[test]
fn several_tests_of_one_thing_are_told_as_several() {
    let saved = |right: usize, hour: u32| {
        let mut one = test(right, 16);
        one["saved"] = json!(format!("2026-03-01T{hour}:15:00.000Z"));
        one
    };
    let mut turned = saved(13, 21);
    (turned["a"], turned["b"]) = (turned["b"].clone(), turned["a"].clone());
    let mut third = saved(14, 22);
    third["tests"] = 3.into();
    let mut elsewhere = saved(12, 23);
    elsewhere["tempo_bpm"] = 120.into();
    let mut none = saved(12, 23);
    none["tests"] = 0.into();
    let place = Place::new()
        .with("one.json", file(&saved(12, 20)))
        .with("two.json", file(&turned))
        .with("third.json", file(&third))
        .with("elsewhere.json", file(&elsewhere))
        .with("none.json", file(&none));
    place.shows(
        "results-several",
        &[
            "hitgap results one.json two.json",
            "hitgap results third.json",
            "hitgap results one.json one.json",
            "hitgap results one.json two.json elsewhere.json",
            "hitgap results one.json two.json --verbose",
            "hitgap results one.json two.json --quiet",
            "hitgap results one.json two.json --format json",
            "hitgap results none.json",
        ],
    );
}

/// A class hands in its files: who did what, and what all of them come to together. Each listener's tests are counted for that
/// listener alone, and what a student wrote is neither a formula of a spreadsheet nor a sign to a terminal.
#[test]
fn a_class_of_blind_tests_is_one_table() {
    let by = |name: &str, right: usize, hour: u32| {
        let mut one = test(right, 16);
        one["listener"] = name.into();
        one["saved"] = json!(format!("2026-03-01T{hour}:15:00.000Z"));
        one
    };
    let place = Place::new()
        .with("1.json", file(&by("Robin", 14, 9)))
        .with("2.json", file(&by(" Sasha \u{202e}", 8, 9)))
        .with("3.json", file(&by("Robin", 12, 10)))
        .with("4.json", file(&by("=1+1", 12, 9)))
        .with("5.json", file(&test(9, 16)))
        .with("6.json", file(&test(10, 16)))
        .with("long.json", file(&by(&"x".repeat(65), 9, 9)))
        .with("number.json", file(&by("", 9, 9)).replace("\"listener\": \"\"", "\"listener\": 7"));
    place.shows(
        "results-class",
        &[
            "hitgap results 1.json",
            "hitgap results 1.json 2.json 3.json 4.json 5.json 6.json",
            "hitgap results 1.json 2.json 4.json --format csv",
            "hitgap results long.json",
            "hitgap results number.json",
        ],
    );
    let run = place.run("hitgap results 1.json 2.json 3.json 5.json 6.json --format json").exits(0).stdout;
    let report: Value = serde_json::from_str(&run).expect("JSON");
    let of = |key: &str| report["tests"].as_array().expect("tests").iter().map(|t| t[key].clone()).collect::<Vec<_>>();
    assert_eq!(of("listener"), [json!("Robin"), json!("Sasha \u{fffd}"), json!("Robin"), Value::Null, Value::Null]);
    // Robin's two are two of Robin's; Sasha's is alone; what has no name is one listener's, and the same hour.
    assert_eq!(of("tests_of_these_two"), [2, 1, 2, 2, 2].map(|n: u32| json!(n)));
    let together = &report["together"][0];
    let held = ["tests", "listeners", "right", "trials"].map(|key| together[key].as_u64().expect("a number"));
    assert_eq!(held, [5, 3, 53, 80]);
    // The binomial tail of 53 of 80 in whole numbers, by hand: 2^80 rows.
    let choose = |k: u128| (1..=k).fold(1_u128, |c, i| c * (81 - i) / i);
    let p = (53..=80).map(choose).sum::<u128>() as f64 / 2_f64.powi(80);
    assert!((together["p"].as_f64().expect("a number") - p).abs() < 1e-12, "{together}");
}

/// Binomial tails, p = ½: published cut-offs and exact fractions. Wilson's interval as scipy gives it, to six places.
#[test]
fn figures_are_those_of_the_tables() {
    for (right, of, exact, p, wilson) in [
        (12, 16, "2517/65536", 0.038_406, [0.505_017, 0.898_179]),
        (14, 16, "137/65536", 0.002_090, [f64::NAN; 2]),
        (9, 10, "11/1024", 0.010_742, [0.595_850, 0.982_124]),
        (10, 10, "1/1024", 0.000_977, [0.722_467, 1.0]),
        (0, 10, "1/1", 1.0, [0.0, 0.277_533]),
        (50, 100, "", 0.539_795, [0.403_832, 0.596_168]),
    ] {
        let place = Place::new().with("a.json", file(&test(right, of)));
        let report: Value =
            serde_json::from_str(&place.run("hitgap results a.json --format json").exits(0).stdout).expect("JSON");
        let one = &report["tests"][0];
        assert_eq!((&one["right"], &one["trials"]), (&right.into(), &of.into()));
        if !exact.is_empty() {
            assert_eq!(one["p_exact"], exact);
        }
        let near = |found: &Value, expected: f64| (found.as_f64().expect("a number") - expected).abs() < 6e-7;
        assert!(near(&one["p"], p), "{one}");
        for (end, expected) in wilson.iter().enumerate().filter(|w| !w.1.is_nan()) {
            assert!(near(&one["wilson_95"][end], *expected), "{one}");
        }
    }
}

#[test]
fn a_file_that_is_no_test_is_refused_with_the_place() {
    let whole = file(&test(12, 16));
    let changed = |from: &str, to: &str| {
        assert!(whole.contains(from), "{from}");
        whole.replacen(from, to, 1)
    };
    let mut none = test(0, 1);
    none["trials"] = json!([]);
    let place = Place::new()
        .with("cut.json", &whole[..whole.len() / 2])
        .with("empty.json", "")
        .with("list.json", "[1, 2]\n")
        .with("foreign.json", "{ \"name\": \"a package\" }\n")
        .with("other-kind.json", "{ \"hitgap\": \"\u{1b}[31mmanifest\" }\n")
        .with("format-2.json", changed("\"format\": 1", "\"format\": 2"))
        .with("letter.json", changed("\"answer\": \"a\"", "\"answer\": \"c\""))
        .with("none.json", file(&none))
        .with("many.json", file(&test(60, 101)))
        .with("tempo.json", changed("\"tempo_bpm\": 80", "\"tempo_bpm\": 8000"))
        .with("number.json", changed("0.04", "1e999"))
        .with("negative.json", changed("\"x\": 2", "\"x\": -2"))
        .with("twice.json", changed("\"format\": 1", "\"format\": 1, \"format\": 1"))
        .with("missing.json", changed("\"title\"", "\"tilte\""))
        .with("deep.json", "[".repeat(200_000))
        .with("large.json", " ".repeat((1 << 20) + 1))
        .with("raw.json", b"\xff\xfe{}");
    let names = [
        "cut",
        "empty",
        "list",
        "foreign",
        "other-kind",
        "format-2",
        "letter",
        "none",
        "many",
        "tempo",
        "number",
        "negative",
        "twice",
        "missing",
        "deep",
        "large",
        "raw",
        "gone",
    ];
    let mut commands: Vec<String> = names.iter().map(|n| format!("hitgap results {n}.json")).collect();
    for other in ["late-bell.toml", "components.toml", "three-robots.lesson.toml", "taken-by-hand.csv"] {
        commands.push(format!("hitgap results patches/{other}"));
    }
    // As large as sounds are, and so larger than what is read.
    std::fs::write(place.path("bell.wav"), [&b"RIFF"[..], &[0; 1 << 20]].concat()).expect("a file");
    std::fs::write(place.path("late-bell.html"), "<!doctype html>\n<title>The late bell</title>\n").expect("a file");
    commands.extend(["bell.wav", "late-bell.html"].map(|other| format!("hitgap results {other}")));
    commands.push("hitgap results".to_owned());
    place.shows("bad-results", &commands.iter().map(String::as_str).collect::<Vec<_>>());
}

/// What stands in a file may not reach the terminal raw.
#[test]
fn names_in_a_file_stay_text() {
    let mut hostile = test(12, 16);
    hostile["title"] = "\u{1b}[31mred\u{7}\n".into();
    hostile["a"]["variant"] = "\u{9b}2J".into();
    let place = Place::new().with("a.json", file(&hostile));
    for line in ["hitgap results a.json", "hitgap results a.json --format json"] {
        let said = place.run(line).exits(0).stdout;
        assert!(said.chars().all(|c| c == '\n' || !c.is_control()), "{said:?}");
    }
}
