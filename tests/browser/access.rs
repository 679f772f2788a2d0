//! Letters and figures that act, names for those who do not see, what an accessibility checker finds, and print.

use super::driver::{Browser, ENTER, TAB, browser, required, say};
use super::made::{compare, late_bell, patches};
use std::path::Path;

/// What has the focus, by a name, and how wide its outline is: a radio's is drawn around its label.
pub(crate) const FOCUS: &str = "const e = document.activeElement; if (!e || e === document.body) return null; \
    const named = (e) => e.type === 'radio' ? `radio ${e.name}` : e.id || e.tagName.toLowerCase() + (e.className ? `.${e.className}` : ''); \
    const width = (e) => { const s = getComputedStyle(e); const box = e.getBoundingClientRect(); \
      const shown = s.outlineStyle !== 'none' && box.width > 0 && s.outlineColor !== getComputedStyle(document.documentElement).backgroundColor; \
      return shown ? parseFloat(s.outlineWidth) : 0; }; \
    return [named(e), Math.max(width(e), e.closest('label') ? width(e.closest('label')) : 0)];";

/// Presses Tab until a control has the focus.
pub(crate) fn to(browser: &Browser, name: &str) {
    for _ in 0..60 {
        if browser.js(FOCUS)[0] == name {
            return;
        }
        browser.press(&[TAB]);
    }
    panic!("no Tab leads to {name}");
}

/// Letters, figures and signs, wherever the focus is; they can be turned off.
#[test]
fn letters_and_figures_act() {
    let Some(browser) = browser() else { return };
    browser.visit(&late_bell().page);
    to(&browser, "play");
    browser.press(&["3", "t", "l", "+", "p"]);
    browser.until("return hitgap.sound.playing()");
    assert_eq!(browser.js("return [hitgap.state.version, hitgap.state.tempo, hitgap.state.bars, document.getElementById('level').value]"),
        serde_json::json!([2, 1, 4, "-33"]));
    browser.press(&["?"]);
    assert_eq!(browser.js("return document.getElementById('keys').open"), true);
    to(&browser, "keys-on");
    browser.press(&[" "]);
    to(&browser, "keys-close");
    browser.press(&[ENTER]);
    assert_eq!(browser.js("return document.getElementById('keys').open"), false);
    browser.press(&["1"]);
    assert_eq!(browser.js("return hitgap.state.version"), 2);
    browser.press(&["?"]);
    assert_eq!(browser.js("return document.getElementById('keys').open"), false);
    browser.js("document.getElementById('keys-on').checked = true");
    to(&browser, "blind-begin");
    browser.press(&[ENTER, "x"]);
    browser.until("return hitgap.sound.playing()");
    browser.press(&["B"]);
    assert_eq!(browser.js("return document.getElementById('blind-progress').textContent"), "Trial 2 of 16");
    assert_eq!(browser.console(), Vec::<String>::new());
}

#[test]
fn every_control_has_a_name_for_those_who_do_not_see_it() {
    let Some(browser) = browser() else { return };
    browser.visit(&late_bell().page);
    let nameless = browser.js(
        "return [...document.querySelectorAll('button, input, select')].filter((e) => \
         !(e.tagName === 'BUTTON' ? e.textContent.trim() : e.labels && [...e.labels].some((l) => l.textContent.trim()))).map((e) => e.id)",
    );
    assert_eq!(nameless, serde_json::json!([]));
}

/// Where the checker's one file lies; see `.ci/run`.
const AXE: &str = "HITGAP_AXE";

/// The accessibility checker's script, or none with a line that says why; where `HITGAP_BROWSER` is `required`, none is a
/// failure.
pub(crate) fn checker() -> Option<String> {
    let Some(path) = std::env::var_os(AXE) else {
        assert!(!required(), "HITGAP_BROWSER=required, and {AXE} does not say where axe.min.js lies");
        say(&format!("skipped: the accessibility checker, for {AXE} does not say where axe.min.js lies"));
        return None;
    };
    if path == "unreachable" {
        say("skipped: the accessibility checker, which could not be fetched");
        return None;
    }
    Some(std::fs::read_to_string(&path).expect("the checker"))
}

/// How many rules the page passes; each that it breaks seriously is a failure.
pub(crate) fn check(browser: &Browser, what: &str) -> u64 {
    let found = browser.run(
        "const r = await axe.run(document, { resultTypes: ['violations'] }); \
         return { passes: r.passes.length, bad: r.violations.filter((v) => ['serious', 'critical'].includes(v.impact)) \
           .map((v) => [v.id, v.nodes.map((n) => n.html.slice(0, 200))]) };",
    );
    assert_eq!(found["bad"], serde_json::json!([]), "{what}");
    found["passes"].as_u64().expect("a number")
}

/// The checker finds nothing serious on a page, after each of these pieces of script, the one after the other.
pub(crate) fn nothing_serious(browser: &Browser, page: &Path, states: &[&str]) {
    nothing_serious_there(browser, &|| browser.visit(page), states);
}

/// The same of a page that is opened in another way.
pub(crate) fn nothing_serious_there(browser: &Browser, visit: &dyn Fn(), states: &[&str]) {
    let Some(axe) = checker() else { return };
    for (width, scheme) in [(360, "light"), (1400, "dark")] {
        browser.look(width, scheme);
        browser.go("about:blank");
        visit();
        browser.js(&axe);
        for state in states {
            browser.js(state);
            // It did look.
            assert!(check(browser, &format!("{width} {scheme} after {state}")) > 10);
        }
    }
}

#[test]
fn the_checker_finds_nothing_serious() {
    let Some(browser) = browser() else { return };
    let states = [
        "document.querySelectorAll('details').forEach((d) => { d.open = true; })",
        "document.getElementById('blind-begin').click()",
        "document.getElementById('keys-open').click()",
        "document.getElementById('keys').close(); for (let n = 0; n < 16; n += 1) document.getElementById('blind-is-a').click()",
    ];
    for page in [late_bell(), &compare(&patches().join("three-in-the-basket.toml"), &["--tempo", "120"])] {
        nothing_serious(&browser, &page.page, &states);
    }
}

/// A print has the pictures, the whole table and no button, in black on white, whatever the screen looked like.
#[test]
fn it_prints() {
    let Some(browser) = browser() else { return };
    browser.visit(&late_bell().page);
    browser.look(1280, "dark");
    browser.js(
        "window.prints = []; addEventListener('beforeprint', () => window.prints.push(document.querySelector('.table').open)); \
         addEventListener('afterprint', () => window.prints.push(document.querySelector('.table').open));",
    );
    // A4 and Letter, in inches.
    for (width, height) in [(8.27, 11.69), (8.5, 11.0)] {
        let printed =
            browser.devtools("Page.printToPDF", &serde_json::json!({ "paperWidth": width, "paperHeight": height }));
        assert!(printed["data"].as_str().is_some_and(|d| d.len() > 20_000));
    }
    assert_eq!(browser.js("return window.prints"), serde_json::json!([true, false, true, false]));
    // As wide as A4 between its margins of 16 mm, at 96 pixels an inch.
    browser.look(673, "dark");
    browser.devtools(
        "Emulation.setEmulatedMedia",
        &serde_json::json!({ "media": "print", "features": [{ "name": "prefers-color-scheme", "value": "dark" }] }),
    );
    let seen = browser.js(
        "document.querySelectorAll('details').forEach((d) => { d.open = true; }); const shown = (q) => [...document.querySelectorAll(q)].filter((e) => e.checkVisibility()); \
         const ground = getComputedStyle(document.querySelector('.hg-ground')).fill; \
         return { controls: shown('button:not(.cell), select, input, canvas').length, pictures: shown('figure svg').length, cells: shown('.cell').length, rows: shown('tr').length, \
           paper: getComputedStyle(document.documentElement).backgroundColor, ink: getComputedStyle(document.body).color, ground, \
           wide: document.documentElement.scrollWidth > document.documentElement.clientWidth };",
    );
    assert_eq!(
        seen,
        serde_json::json!({ "controls": 0, "pictures": 2, "cells": 12, "rows": 13, "paper": "rgb(255, 255, 255)", "ink": "rgb(0, 0, 0)",
            "ground": "rgb(255, 255, 255)", "wide": false })
    );
}
