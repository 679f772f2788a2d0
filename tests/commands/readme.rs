//! The README can be followed from its first line to its last by somebody who has never seen the program. What all pages share
//! is held in `pages` and `links`.

use super::pages::{Page, Part, page};
use super::place::Place;
use regex::Regex;
use serde_json::Value;

fn readme() -> Page {
    page("README.md")
}

/// A reader finds two commands first: one that does the main job on an example, one that passes the tests.
#[test]
fn it_is_short_and_begins_with_two_commands() {
    let readme = readme();
    let lines = readme.text.lines().count();
    assert!(lines <= 160, "{lines} lines");
    let first = readme.parts().into_iter().find_map(|part| match part {
        Part::Block { text, kind, .. } => Some((kind, text)),
        Part::Words(_) => None,
    });
    let two = "cargo run --release -- compare patches/late-bell.toml\ncargo test\n";
    assert_eq!(first, Some(("sh".to_owned(), two.to_owned())));
    let headings: Vec<&str> = readme.text.lines().filter(|l| l.starts_with('#')).take(3).collect();
    assert_eq!(headings, ["# hitgap", "## Try it", "## Your own rig"]);
    // A picture comes before any of that.
    let picture = readme.text.find("![").expect("a picture");
    assert!(picture < readme.text.find("## Try it").expect("the heading"));
}

/// What it says of the first example is what the example does.
#[test]
fn it_tells_the_first_example_as_it_is() {
    let words = readme().text.split_whitespace().collect::<Vec<_>>().join(" ");
    let story = &words[words.find("The example has").expect("the story")..words.find("To have").expect("its end")];
    let place = Place::new();
    let said = place.run("hitgap check patches/late-bell.toml --format json").exits(1).stdout;
    let said: Value = serde_json::from_str(&said).expect("JSON");
    let results = said["results"].as_array().expect("results");
    let of = |variant: &str| results.iter().filter(|r| r["variant"] == variant).collect::<Vec<_>>();
    let worst = |result: &Value| result["gaps"][0]["worst_ms"].as_f64().expect("a gap").abs();
    let at = |variant: &str, tempo: f64| {
        let found = of(variant).into_iter().find(|r| r["tempo_bpm"] == tempo);
        worst(found.unwrap_or_else(|| panic!("{variant} at {tempo}")))
    };
    // Two beats late: at 50 a beat lasts 1.2 s. Figures are held to what two decimals show.
    assert!(story.contains("two beats late") && (at("original", 50.0) - 2.0 * 60_000.0 / 50.0).abs() < 0.005);
    for (tempo, figure) in
        [(50.0, "at 50 quarter notes a minute its bell sounds 24 ms"), (160.0, "At 160 it is 7.5 ms")]
    {
        assert!(story.contains(figure), "{figure}");
        let ms: f64 = figure.split(' ').rev().nth(1).and_then(|n| n.parse().ok()).expect("a figure");
        assert!((at("phase", tempo) - ms).abs() < 0.005, "{figure}");
    }
    assert!(story.contains("later by 0.04 ms. You hear one stroke, at every tempo"));
    assert!(of("or-gate").iter().all(|r| (worst(r) - 0.04).abs() < 0.005 && r["gaps"][0]["band"] == "one-hit"));
    // The versions and the number of tempos, and whoever is on the one.
    let told = |variant: &str| story.contains(&format!("`{variant}`"));
    assert!(results.iter().all(|r| told(r["variant"].as_str().expect("a name"))));
    assert!(story.contains("four tempos") && of("phase").len() == 4);
    let late = |r: &Value| r["sequencers"].as_array().expect("boxes").iter().any(|s| s["pulses_late_worst"] != 0);
    assert!(of("original").into_iter().all(late) && !of("phase").into_iter().chain(of("or-gate")).any(late));
}

/// Nobody meets a word of the table before it is explained: where one stands in the text before, its first time is in italics,
/// which is where the text says what it is; and no row uses a word of a row below.
#[test]
fn ten_words_are_explained_before_they_are_used() {
    let readme = readme();
    let (before, after) = readme.text.split_once("## Ten words").expect("the table");
    let rows = after.lines().filter(|l| l.starts_with("| ")).skip(1).take_while(|l| !l.contains("](docs"));
    let rows: Vec<(&str, &str)> =
        rows.filter_map(|l| l.trim_matches(['|', ' ']).split_once(" | ")).filter(|(word, _)| *word != "page").collect();
    assert_eq!(rows.len(), 10, "{rows:?}");
    let of = |word: &str| Regex::new(&format!(r"\*?\b{word}(e?s)?\b\*?")).expect("an expression");
    // Not in code, in what pictures say to those who do not see them, or in links' targets.
    let words: String =
        readme.parts().iter().filter_map(|p| if let Part::Words(w) = p { Some(w.as_str()) } else { None }).collect();
    let words = words.split("## Ten words").next().expect("the text before").to_owned();
    assert!(before.len() >= words.len());
    let plain = Regex::new(r"(?s)`[^`]*`|!\[[^\]]*\]|\]\([^)]*\)")
        .expect("an expression")
        .replace_all(&words, " ")
        .into_owned();
    for (k, (word, meaning)) in rows.iter().enumerate() {
        assert!(meaning.len() > 15, "{word}: {meaning}");
        if let Some(first) = of(word).find(&plain) {
            assert!(
                first.as_str().starts_with('*'),
                "`{word}` is used before it is explained: …{}",
                &plain[first.start()..][..60]
            );
        }
        for (later, _) in &rows[k + 1..] {
            assert!(!of(later).is_match(meaning), "`{word}` is explained by `{later}`, which comes later");
        }
    }
}

/// Where sound begins, one line warns, and what it says at length is one step away, with the figures of `--help`.
#[test]
fn it_warns_once_where_sound_begins() {
    let readme = readme();
    let warnings: Vec<&str> = readme.text.lines().filter(|l| l.contains("start low")).collect();
    assert!(matches!(warnings[..], [one] if one.contains("(docs/care.md#listening)")), "{warnings:?}");
    let at = |part: &str| readme.text.find(part).unwrap_or_else(|| panic!("{part}"));
    assert!(at("`out/late-bell.html`") < at("start low") && at("start low") < at("You hear one stroke"));
    let help = Place::new().run("hitgap --help").exits(0).stdout.split_whitespace().collect::<Vec<_>>().join(" ");
    let care = page("docs/care.md").text.split_whitespace().collect::<Vec<_>>().join(" ");
    // NIOSH 98-126 and WHO/ITU H.870, as the design of the program has them.
    for limit in
        ["85 dBA for 8 hours a day, halved for every 3 dB more (NIOSH)", "80 dBA for 40 hours a week (WHO/ITU H.870)"]
    {
        assert!(care.contains(limit) && help.contains(limit), "{limit}");
    }
    for wiring in ["power off where the maker says so", "rated voltages", "mains wiring to licensed people"] {
        assert!(care.contains(wiring), "{wiring}");
    }
}
