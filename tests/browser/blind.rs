//! The blind test, through its own buttons, by scripted listeners.

use super::driver::{Browser, browser};
use super::made::late_bell;
use serde_json::Value;
use std::process::Command;

/// P(right or more of n) by chance: sums of binomial coefficients over 2ⁿ, exact.
const PUBLISHED: [(usize, usize, f64); 5] = [
    (12, 16, 2517.0 / 65536.0),
    (14, 16, 137.0 / 65536.0),
    (9, 10, 11.0 / 1024.0),
    (16, 16, 1.0 / 65536.0),
    (0, 16, 1.0),
];

/// A whole test: what is answered to each trial by its number and by what X was.
fn take(browser: &Browser, count: usize, answer: impl Fn(usize, &str) -> String) -> Value {
    browser.js(&format!("document.getElementById('blind-count').value = '{count}'"));
    browser.click("blind-begin");
    for trial in 0..count {
        assert_eq!(
            browser.js("return document.getElementById('blind-progress').textContent"),
            format!("Trial {} of {count}", trial + 1)
        );
        let drawn = browser.js("return hitgap.blind.drawn()");
        browser.click(&format!("blind-is-{}", answer(trial, drawn.as_str().expect("a or b"))));
    }
    assert_eq!(browser.js("return document.getElementById('blind-done').hidden"), false);
    browser.js("return hitgap.blind.record()")
}

fn other(side: &str) -> String {
    if side == "a" { "b" } else { "a" }.to_owned()
}

fn result(browser: &Browser) -> String {
    browser.js("return document.getElementById('blind-result').textContent").as_str().expect("a sentence").to_owned()
}

#[test]
fn listeners_get_the_published_odds() {
    let Some(browser) = browser() else { return };
    browser.visit(&late_bell().page);
    for (nth, (right, of, p)) in PUBLISHED.into_iter().enumerate() {
        let record = take(&browser, of, |n, x| if n < right { x.to_owned() } else { other(x) });
        assert_eq!(record["tests"], nth + 1);
        assert_eq!((record["right"].as_u64(), record["of"].as_u64()), (Some(right as u64), Some(of as u64)));
        // Some twenty roundings of a double.
        assert!((record["p"].as_f64().expect("a number") - p).abs() < 1e-14, "{record}");
        let percent = match (right, of) {
            (12, 16) => "3.8 %",
            (14, 16) => "0.2 %",
            (9, 10) => "1.1 %",
            (16, 16) => "under 0.1 %",
            _ => "100 %",
        };
        let sentence =
            format!("You were right {right} times of {of}; guessing does that, or better, in {percent} of tests.");
        let said = result(&browser);
        assert!(said.contains(&sentence), "{said}");
        // Each is a test of the same two: the closed form, of as many as there were.
        let best = 1.0 - (1.0 - p).powi(nth as i32 + 1);
        assert_eq!(said.starts_with("You hear the difference. "), best < 0.05, "{said}");
        assert_eq!(
            said.contains(&format!("It is one of {} tests of these two", nth + 1)),
            nth > 0 && p < 0.05,
            "{said}"
        );
        browser.click("blind-again");
    }
}

/// Three tests of the same two: what one alone would prove, one of three does not; another tempo or another pair counts anew.
#[test]
fn one_of_several_tests_says_so() {
    let Some(browser) = browser() else { return };
    browser.visit(&late_bell().page);
    let twelve = |browser: &Browser| take(browser, 16, |n, x| if n < 12 { x.to_owned() } else { other(x) });
    // 1 − (1 − 2517/65536)ⁿ: 7.5 % and 11 %.
    let proof = "You hear the difference. You were right 12 times";
    let none = "That is no proof that you hear it, nor that you do not. You were right 12 times";
    let said = [(proof, "in 3.8 % of tests."), (none, "in 7.5 % of cases."), (none, "in 11 % of cases.")];
    for (nth, (begins, ends)) in said.into_iter().enumerate() {
        if nth == 1 {
            // The same two the other way round.
            browser.js("const [a, b] = ['blind-a', 'blind-b'].map((id) => document.getElementById(id)); [a.value, b.value] = [b.value, a.value];");
        }
        assert_eq!(twelve(&browser)["tests"], nth + 1);
        let told = result(&browser);
        assert!(told.starts_with(begins) && told.ends_with(ends), "{nth}: {told}");
        browser.click("blind-again");
    }
    browser.js("document.getElementById('blind-a').value = '0'");
    assert_eq!(twelve(&browser)["tests"], 1);
    assert!(result(&browser).starts_with(proof));
}

#[test]
fn a_coin_is_counted_as_it_falls() {
    let Some(browser) = browser() else { return };
    browser.visit(&late_bell().page);
    // Heads and tails of 0x6B3A, from the lowest bit up.
    let coin = |n: usize| if 0x6B3A >> n & 1 == 1 { "a" } else { "b" }.to_owned();
    let record = take(&browser, 16, |n, _| coin(n));
    let trials = record["trials"].as_array().expect("trials");
    let right = trials.iter().filter(|t| t["x"] == t["answer"]).count();
    assert!(trials.iter().enumerate().all(|(n, t)| t["answer"] == coin(n)));
    assert_eq!(record["right"].as_u64(), Some(right as u64));
    // The sum of binomial coefficients in whole numbers.
    let binomial = |k: u64| (1..=k).fold(1_u64, |c, i| c * (17 - i) / i);
    let p = (right as u64..=16).map(binomial).sum::<u64>() as f64 / 65536.0;
    assert!((record["p"].as_f64().expect("a number") - p).abs() < 1e-14, "{record}");
}

/// From now on keeps what the page saves.
fn keep(browser: &Browser) {
    browser.js("window.blobs = []; const make = URL.createObjectURL.bind(URL); \
         URL.createObjectURL = (blob) => { window.blobs.push(blob); return make(blob); };");
}

/// Saves the result and gives the file's text.
fn save(browser: &Browser) -> String {
    browser.click("blind-save");
    browser.run("return await window.blobs.pop().text()").as_str().expect("text").to_owned()
}

/// Saved, then read by `hitgap results`: the same sentence, the same p.
#[test]
fn what_is_saved_comes_to_the_same() {
    let Some(browser) = browser() else { return };
    browser.visit(&late_bell().page);
    keep(&browser);
    let dir = tempfile::TempDir::new().expect("a temporary folder");
    let file = dir.path().join("saved.json");
    let results = |more: &[&str]| {
        let output = Command::new(env!("CARGO_BIN_EXE_hitgap")).arg("results").arg(&file).args(more).output();
        let output = output.expect("the program starts");
        assert_eq!(output.status.code(), Some(0), "{}", String::from_utf8_lossy(&output.stderr));
        assert_eq!(String::from_utf8_lossy(&output.stderr), "");
        String::from_utf8(output.stdout).expect("text")
    };
    for (right, of, p) in PUBLISHED {
        let record = take(&browser, of, |n, x| if n < right { x.to_owned() } else { other(x) });
        let sentence = result(&browser);
        let shown = browser.js("return document.getElementById('blind-done').textContent");
        assert!(shown.as_str().is_some_and(|s| s.contains("hitgap results FILE reads it")), "{shown}");
        std::fs::write(&file, save(&browser)).expect("a file");
        let table = results(&[]);
        assert!(table.lines().any(|l| l == sentence), "{sentence}\n{table}");
        assert!(
            table.contains("A: phase, worst gap 24 ms") && table.contains("B: or-gate, worst gap 0.04 ms"),
            "{table}"
        );
        let report: Value = serde_json::from_str(&results(&["--format", "json"])).expect("JSON");
        let test = &report["tests"][0];
        assert_eq!((&test["right"], &test["trials"]), (&record["right"], &record["of"]));
        assert_eq!(test["sentence"], sentence);
        // Some twenty roundings of a double in the page.
        let [counted, said] = [&test["p"], &record["p"]].map(|p| p.as_f64().expect("a number"));
        assert!((counted - said).abs() < 1e-14 && (counted - p).abs() < 1e-14, "{test} {record}");
        assert_eq!((&test["title"], test["tempo_bpm"].as_f64()), (&record["title"], record["tempo_bpm"].as_f64()));
        browser.click("blind-again");
    }
}

#[test]
fn what_is_saved_is_what_was_done() {
    let Some(browser) = browser() else { return };
    browser.visit(&late_bell().page);
    keep(&browser);
    browser.click("blind-begin");
    // Each may be heard, from the loop's beginning, and how often is kept.
    for id in ["blind-hear-a", "blind-hear-b", "blind-x", "blind-x"] {
        browser.click(id);
        browser.until("return hitgap.sound.playing() && hitgap.sound.position() < 3");
    }
    // The player's keys leave the sound of the test alone.
    let sounds = "return [hitgap.sound.chosen(), hitgap.sound.playing()]";
    let before = browser.js(sounds);
    assert_eq!(before[1], true);
    browser.press(&["1", "t"]);
    assert_eq!(browser.js(sounds), before);
    for _ in 0..16 {
        browser.click("blind-is-a");
    }
    assert_eq!(browser.js("return hitgap.sound.playing()"), false);
    let saved: Value = serde_json::from_str(&save(&browser)).expect("JSON");
    let mut fields: Vec<&str> = saved.as_object().expect("an object").keys().map(String::as_str).collect();
    fields.sort_unstable();
    assert_eq!(
        fields,
        ["a", "b", "format", "hitgap", "of", "p", "patch", "right", "saved", "tempo_bpm", "tests", "title", "trials"]
    );
    assert_eq!((&saved["hitgap"], &saved["format"]), (&Value::from("blind-test"), &Value::from(1)));
    assert_eq!(saved["tempo_bpm"], 50);
    assert_eq!(saved["a"], serde_json::json!({ "variant": "phase", "gap_ms": 24 }));
    assert_eq!(saved["b"], serde_json::json!({ "variant": "or-gate", "gap_ms": 0.04 }));
    assert_eq!(saved["trials"].as_array().map(Vec::len), Some(16));
    assert_eq!(saved["trials"][0]["heard"], serde_json::json!({ "a": 1, "b": 1, "x": 2 }));
    let right = saved["trials"].as_array().expect("trials").iter().filter(|t| t["x"] == "a").count();
    assert_eq!(saved["right"].as_u64(), Some(right as u64));
}

#[test]
fn numbers_typed_badly_break_nothing() {
    let Some(browser) = browser() else { return };
    browser.visit(&late_bell().page);
    for (typed, of) in [("", 16), ("0", 16), ("-3", 1), ("1e9", 100), ("2.6", 3), ("999999999999999999999", 100)] {
        browser.js(&format!("document.getElementById('blind-count').value = '{typed}'"));
        browser.click("blind-begin");
        assert_eq!(
            browser.js("return document.getElementById('blind-progress').textContent"),
            format!("Trial 1 of {of}"),
            "{typed}"
        );
        browser.click("blind-cancel");
    }
    // The same version twice is no test.
    browser.js("document.getElementById('blind-b').value = '1'");
    browser.click("blind-begin");
    let said = browser.js("return document.getElementById('blind-problem').textContent");
    assert_eq!(said, "Choose two different versions.");
    assert_eq!(browser.console(), Vec::<String>::new());
}

/// A test begins with the closest two that still differ at the tempo that is chosen; two that somebody chose stay.
#[test]
fn it_begins_with_the_closest_two_that_differ() {
    let Some(browser) = browser() else { return };
    browser.visit(&late_bell().page);
    let sides = || {
        browser
            .js("return ['blind-a', 'blind-b'].map((id) => document.getElementById(id).selectedOptions[0].textContent)")
    };
    // By the page's own cells: 24 and 0.04 ms are closer to each other than to 2400.
    assert_eq!(sides(), serde_json::json!(["phase", "or-gate"]));
    browser.js("hitgap.player.tempo(2)");
    assert_eq!(sides(), serde_json::json!(["phase", "or-gate"]));
    browser.js("const a = document.getElementById('blind-a'); a.value = '0'; a.dispatchEvent(new Event('change')); hitgap.player.tempo(1)");
    assert_eq!(sides(), serde_json::json!(["original", "or-gate"]));
    // Its letters stand beside its buttons.
    let letters = browser.js("return [...document.querySelectorAll('#blind-trial kbd')].map((k) => k.textContent)");
    assert_eq!(letters, serde_json::json!(["A", "B", "X", "Shift A", "Shift B"]));
}

/// A name goes into the file and into what it is called; typed letters of it are no keys of the test.
#[test]
fn a_name_goes_into_the_file() {
    let Some(browser) = browser() else { return };
    browser.visit(&late_bell().page);
    keep(&browser);
    browser.js("window.called = []; const click = HTMLAnchorElement.prototype.click; \
         HTMLAnchorElement.prototype.click = function () { window.called.push(this.download); return click.call(this); };");
    take(&browser, 2, |_, x| x.to_owned());
    browser.js("document.getElementById('blind-name').focus()");
    browser.press(&["X", "a", "v", "i", " ", "7"]);
    let saved: Value = serde_json::from_str(&save(&browser)).expect("JSON");
    assert_eq!(saved["listener"], "Xavi 7");
    assert_eq!(browser.js("return window.called.pop()"), "hitgap-blind-test-Xavi-7-late-bell.json");
    // The same file is read by the program.
    let test = hitgap::ear::BlindTest::parse(&saved.to_string()).expect("a test");
    assert_eq!((test.listener.as_deref(), test.right()), (Some("Xavi 7"), 2));
    // Whatever is typed, the name of the file leads nowhere else, and without one there is none.
    for (typed, listener, called) in [
        ("../../x<\u{202e}>", Value::from("../../x<\u{fffd}>"), "hitgap-blind-test-x-late-bell.json"),
        ("   ", Value::Null, "hitgap-blind-test-late-bell.json"),
    ] {
        browser.js(&format!("document.getElementById('blind-name').value = {}", Value::from(typed)));
        let saved: Value = serde_json::from_str(&save(&browser)).expect("JSON");
        assert_eq!(saved["listener"], listener);
        assert_eq!(browser.js("return window.called.pop()"), called);
    }
    assert_eq!(browser.console(), Vec::<String>::new());
}

#[test]
fn draws_are_fair() {
    let Some(browser) = browser() else { return };
    browser.visit(&late_bell().page);
    // Pearson's statistic over 60,000 draws. The limits are those that a fair draw passes once in a million: −2 ln 10⁻⁶ for two
    // degrees of freedom (closed form), and for others the quantile worked out by halving the regularised incomplete
    // gamma function; so one run of this test in 250,000 fails for nothing.
    for (n, pairs, limit) in [(2, false, 23.93), (3, false, 27.64), (6, false, 35.89), (2, true, 30.67)] {
        let counts = browser.js(&format!(
            "const counts = new Array({n} ** ({pairs} ? 2 : 1)).fill(0); \
             for (let k = 0; k < 60000; k += 1) {{ let at = hitgap.chance.draw({n}); \
               if ({pairs}) at = at * {n} + hitgap.chance.draw({n}); counts[at] += 1; }} return counts;"
        ));
        let counts: Vec<f64> = counts.as_array().expect("counts").iter().filter_map(Value::as_f64).collect();
        let expected = 60_000.0 / counts.len() as f64;
        let statistic: f64 = counts.iter().map(|c| (c - expected).powi(2) / expected).sum();
        assert!(statistic < limit, "{n}: {counts:?}: {statistic}");
    }
}
