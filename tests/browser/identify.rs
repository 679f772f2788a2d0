//! The page of a box that is tried: what may be heard, what was heard, and what is left.

use super::access::nothing_serious;
use super::driver::{Browser, browser, url};
use super::hostile::{stays_within, texts_are_apart};
use super::made::{Made, made};
use serde_json::json;

fn tried(more: &[&str]) -> Made {
    let args = ["identify", "patches/late-bell.toml", "--sequencer", "wren", "--page"];
    made(&[&args[..], more].concat(), "late-bell.wren.identify.html")
}

fn mark(browser: &Browser, test: usize, answer: usize) {
    browser.js(&format!("document.querySelector('[data-test=\"{test}\"][value=\"{answer}\"]').click()"));
}

fn text(browser: &Browser, id: &str) -> String {
    browser.js(&format!("return document.getElementById('{id}').textContent")).as_str().expect("text").to_owned()
}

/// `b,a,b` is next-clock, as the reference has it; a pulse late is half a second at 60, two pulses a beat.
#[test]
fn what_a_box_did_narrows_to_the_lines_of_the_patch() {
    let Some(browser) = browser() else { return };
    let made = tried(&[]);
    browser.requests();
    browser.visit(&made.page);
    browser.js("document.querySelector('[data-hear=\"0/1\"]').click()");
    browser.until("return hitgap.sound.playing()");
    let late = browser.js(
        "const d = JSON.parse(document.getElementById('identify-data').textContent); const low = d.tests[0].answers[1].map((h) => h[1]).sort((a, b) => a - b)[0]; \
         return [d.ms, d.tests[0].answers[1].filter((h) => h[1] === low).map((h) => h[0])]",
    );
    // Two stretches of eight pulses, in each step 1 a pulse late.
    assert_eq!(late, json!([8000, [500, 4500]]));
    mark(&browser, 0, 1);
    assert!(text(&browser, "identify-left").contains("ways are left. Next: test 2."));
    mark(&browser, 1, 0);
    mark(&browser, 2, 1);
    assert!(text(&browser, "identify-left").starts_with("One way is left."));
    assert_eq!(text(&browser, "identify-toml"), "reset-mode = \"next-clock\"");
    browser.js("document.querySelector('#identify-ways button').click()");
    browser.until(
        "return hitgap.sound.playing() && hitgap.data.variants[hitgap.state.version].name === 'reads next-clock'",
    );
    browser.click("identify-copy");
    assert!(!text(&browser, "identify-copied").is_empty());
    assert_eq!(browser.console(), Vec::<String>::new());
    assert_eq!(browser.requests(), [url(&made.page)]);
}

#[test]
fn a_clock_without_dials_says_what_it_does_not_tell() {
    let Some(browser) = browser() else { return };
    let made = tried(&["--no-dials"]);
    browser.visit(&made.page);
    assert_eq!(browser.js("return document.querySelectorAll('[data-identify] fieldset').length"), json!(1));
    let answers = browser.js("return document.querySelectorAll('[data-hear]').length").as_u64().expect("answers");
    // Whatever was heard, no way is ruled in that the test does not tell from others.
    for answer in 0..usize::try_from(answers).expect("few") {
        mark(&browser, 0, answer);
        let left = browser.js("return document.querySelectorAll('#identify-ways li').length").as_u64().expect("ways");
        let said = text(&browser, "identify-left");
        assert_eq!(left > 1, said.ends_with("a clock without dials does not tell them apart."), "{said}");
        assert_eq!(browser.js("return document.getElementById('identify-lines').hidden"), json!(left > 1));
    }
}

#[test]
fn a_tried_boxs_page_is_clear_to_everybody() {
    let Some(browser) = browser() else { return };
    let made = tried(&[]);
    nothing_serious(&browser, &made.page, &["document.querySelector('[data-test=\"0\"][value=\"1\"]').click()"]);
    stays_within(&browser, "a tried box");
    texts_are_apart(&browser, "a tried box");
}
