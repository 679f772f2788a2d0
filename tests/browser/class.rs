//! A class hands in its blind tests on a lesson's page: the table, what is refused, and the sheet to print.

use super::access::nothing_serious;
use super::driver::{Browser, browser};
use super::hostile::{stays_within, texts_are_apart};
use super::made::lesson;
use serde_json::{Value, json};

/// A blind test as a page saves it.
pub(super) fn test(who: &str, right: usize, of: usize) -> Value {
    let trial = |n: usize| json!({ "x": "a", "answer": if n < right { "a" } else { "b" }, "heard": { "a": 1, "b": 1, "x": 1 } });
    json!({
        "hitgap": "blind-test", "format": 1, "patch": "patches/late-bell.toml", "title": "The late bell", "tempo_bpm": 80,
        "a": { "variant": "phase", "gap_ms": 15 }, "b": { "variant": "or-gate", "gap_ms": 0.04 },
        "saved": format!("by {who}"), "listener": who, "trials": (0..of).map(trial).collect::<Vec<_>>(),
    })
}

/// Chooses files by name and text, as a hand does.
fn hand_in(browser: &Browser, files: &[(&str, String)]) {
    browser.run(&format!(
        "const all = new DataTransfer(); for (const [name, text] of {}) all.items.add(new File([text], name)); \
         const input = document.getElementById('class-files'); input.files = all.files; \
         input.dispatchEvent(new Event('change')); await new Promise((done) => setTimeout(done, 300)); return 0;",
        json!(files)
    ));
}

fn texts(browser: &Browser, at: &str) -> Value {
    browser.js(&format!("return [...document.querySelectorAll('{at}')].map((e) => e.textContent)"))
}

#[test]
fn a_class_hands_in_and_is_shown() {
    let Some(browser) = browser() else { return };
    browser.visit(&lesson().page);
    browser.requests();
    assert_eq!(browser.js("return document.getElementById('class-shown').checkVisibility()"), false);
    let mischief = "<img src=x onerror=\"window.brokenIn = true\">";
    hand_in(
        &browser,
        &[
            ("robin.json", test("Robin", 14, 16).to_string()),
            ("ox.json", test(mischief, 8, 16).to_string()),
            ("cut.json", test("cut", 8, 16).to_string()[..200].to_owned()),
            ("other.json", "{\"hitgap\":\"training\"}".to_owned()),
            ("huge.json", " ".repeat((1 << 20) + 1)),
        ],
    );
    let rows = texts(&browser, "#class-rows td");
    assert_eq!(
        rows,
        json!([
            mischief,
            "phase, or-gate",
            "80",
            "8 of 16",
            "in 60 % of tests",
            "not shown",
            "Robin",
            "phase, or-gate",
            "80",
            "14 of 16",
            "in 0.2 % of tests",
            "heard"
        ])
    );
    assert_eq!(
        browser.js("return [window.brokenIn === true, document.querySelectorAll('#class img').length]"),
        json!([false, 0])
    );
    let faults = texts(&browser, "#class-faults p");
    for (n, name) in ["cut.json", "other.json", "huge.json"].iter().enumerate() {
        assert!(faults[n].as_str().is_some_and(|f| f.starts_with(&format!("{name}: it "))), "{faults}");
    }
    // 22 or more of 32, by the binomial coefficients: 2.5 % of cases.
    let together = texts(&browser, "#class-together p");
    assert_eq!(together[0], "1 of 2 tests shows that the difference is heard; of twenty that are guessed, one would.");
    assert_eq!(
        together[1],
        "phase and or-gate at 80, 2 listeners together: right 22 times of 32; guessing does that, or better, in 2.5 % of cases."
    );
    // Handed in once more, nobody counts twice.
    hand_in(&browser, &[("again.json", test("Robin", 14, 16).to_string())]);
    assert_eq!(texts(&browser, "#class-rows tr").as_array().map(Vec::len), Some(2));
    stays_within(&browser, "the class");
    texts_are_apart(&browser, "the class");
    // On paper the table stands alone, with its headings.
    browser.js("window.print = () => {}; document.getElementById('class-print').click()");
    browser.devtools("Emulation.setEmulatedMedia", &json!({ "media": "print" }));
    let seen = browser.js(
        "const seen = (at) => document.querySelector(at).checkVisibility(); \
         return [seen('#class thead'), seen('#class caption'), seen('#class-files'), seen('.index'), seen('body > header'), seen('#class-print')]",
    );
    browser.devtools("Emulation.setEmulatedMedia", &json!({ "media": "" }));
    assert_eq!(seen, json!([true, true, false, false, false, false]));
    browser.js("window.dispatchEvent(new Event('afterprint'))");
    assert_eq!(browser.js("return document.querySelector('.index').checkVisibility()"), true);
    browser.click("class-clear");
    assert_eq!(browser.js("return document.getElementById('class-shown').checkVisibility()"), false);
    assert_eq!(browser.requests(), Vec::<String>::new());
    assert_eq!(browser.console(), Vec::<String>::new());
}

#[test]
fn the_part_of_a_class_is_clear_to_everybody() {
    let Some(browser) = browser() else { return };
    let state = format!("hitgap.classSheet.take([new File([{}], 'a.json')])", json!(test("Robin", 14, 16).to_string()));
    nothing_serious(&browser, &lesson().page, &[&state]);
}
