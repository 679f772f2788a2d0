//! The page of an advice: its window, and components in the path as versions.

use super::access::nothing_serious;
use super::driver::{browser, url};
use super::hostile::{stays_within, texts_are_apart};
use super::made::{Made, made};
use super::plays::gaps_heard;
use serde_json::{Value, json};

fn advice() -> Made {
    let args = ["advise", "patches/late-bell.toml", "--on", "wren.clock", "--components", "patches/components.toml"];
    made(&[&args[..], &["--tempo", "80,160", "--page"]].concat(), "late-bell.original.wren.clock.html")
}

#[test]
fn a_component_is_heard_at_its_usual_delay() {
    let Some(browser) = browser() else { return };
    let made = advice();
    browser.requests();
    browser.visit(&made.page);
    let names = browser.js("return hitgap.data.variants.map((v) => v.name)");
    let names: Vec<&str> = names.as_array().expect("names").iter().filter_map(Value::as_str).collect();
    assert_eq!(names[0], "original");
    assert_eq!(names.len(), 12, "{names:?}");
    // By hand: a ramp to 8 V in 1 ms is at 2 V after 0.25 ms; with nothing in the way wren is a pulse of two beats late.
    let envelope = names.iter().position(|n| *n == "with fast-envelope").expect("a component");
    let heard = gaps_heard(&browser, &[(0, 0), (0, envelope), (1, envelope)]);
    for (heard, by_hand) in heard.iter().zip([1500.0, 0.25, 0.25]) {
        assert!((heard - by_hand).abs() < 1e-6, "{heard} {by_hand}");
    }
    let lead = browser.js("return document.querySelector('.lead').textContent");
    let lead = lead.as_str().expect("a sentence");
    assert!(lead.contains("more delay on sequencer.wren.clock puts everybody on the one at every tempo."), "{lead}");
    // The window comes before the gaps.
    let first = browser.js("return document.querySelector('figure.drawn svg title').textContent");
    assert_eq!(first, "Which delays will do");
    assert_eq!(browser.console(), Vec::<String>::new());
    assert_eq!(browser.requests(), [url(&made.page)]);
}

#[test]
fn an_advices_page_is_clear_to_everybody() {
    let Some(browser) = browser() else { return };
    let made = advice();
    nothing_serious(&browser, &made.page, &["document.querySelector('details').open = true"]);
    stays_within(&browser, "an advice");
    texts_are_apart(&browser, "an advice");
    assert_eq!(browser.js("return document.querySelectorAll('[data-identify]').length"), json!(0));
}
