//! The page of a grid: its settings are the versions, and some may not be made.

use super::access::nothing_serious;
use super::driver::{browser, url};
use super::hostile::{stays_within, texts_are_apart};
use super::made::{Made, made};
use super::plays::gaps_heard;
use serde_json::{Value, json};

/// Wren's clock late by 0 to 8 ms, at two tempos. Late by a time, the first gap over 2 ms is that of 3 ms at any tempo.
fn grid(more: &[&str]) -> Made {
    let args = ["sweep", "patches/late-bell.toml", "--on", "sequencer.wren.clock", "--delay", "0ms..8ms:1ms"];
    made(&[&args[..], &["--tempo", "80,160", "--page"], more].concat(), "late-bell.original.wren-clock.html")
}

/// A dial's share of the period at two tempos: 0.5 % of two beats is 12 ms at 50 and 3.75 ms at 160, and 0.25 % 6 and
/// 1.875 ms: at 50 the second setting is over the 2 ms of the patch, at 160 only the third.
fn ended() -> Made {
    let args =
        ["sweep", "patches/late-bell.toml", "--on", "clock.slow", "--phase", "0%..2%:0.25%", "--tempo", "160,50"];
    made(&[&args[..], &["--until-over", "--page"]].concat(), "late-bell.original.slow.html")
}

#[test]
fn a_grids_page_opens_without_an_error_or_a_request() {
    let Some(browser) = browser() else { return };
    let made = grid(&[]);
    browser.requests();
    browser.visit(&made.page);
    let names = browser.js("return hitgap.data.variants.map((v) => v.name)");
    assert_eq!(names, json!(["0 ms", "1 ms", "2 ms", "3 ms", "4 ms", "5 ms", "6 ms", "7 ms", "8 ms"]));
    browser.click("play");
    browser.until("return hitgap.sound.position() > 0");
    // A version by its number, the next by a letter, and the one before.
    browser.press(&["9", "v", "v", "t"]);
    browser.until("return document.getElementById('said').textContent === 'playing 1 ms at 160'");
    assert_eq!(
        browser.js("return [hitgap.state.version, hitgap.sound.chosen(), hitgap.state.tempo]"),
        json!([1, 1, 1])
    );
    browser.click("play");
    assert_eq!(browser.js("return document.getElementById('made').hidden"), true);
    assert_eq!(browser.console(), Vec::<String>::new());
    assert_eq!(browser.requests(), [url(&made.page)]);
    // Cells of both tempos, the first with everybody on the one and the last.
    let seen = gaps_heard(&browser, &[(0, 0), (0, 1), (1, 3), (1, 8)]);
    // By hand: with no delay wren is a pulse of two beats late, 1500 ms at 80; with one it is that late and no more.
    assert_eq!(seen, [1500.0, 1.0, 3.0, 8.0]);
}

#[test]
fn what_a_grid_leaves_out_is_shown_as_not_made() {
    let Some(browser) = browser() else { return };
    let made = ended();
    browser.visit(&made.page);
    let said = |id: &str| browser.js(&format!("return document.getElementById('{id}').textContent"));
    assert_eq!(browser.js("return hitgap.data.variants.map((v) => v.name)"), json!(["0 %", "0.25 %", "0.5 %"]));
    assert_eq!(
        said("made"),
        "At 160 the grid ends with 0.5 %, the first whose gap is over 2 ms: what comes after is not made."
    );
    let disabled = "return [...document.getElementById('version').options].map((o) => o.disabled)";
    assert_eq!(browser.js(disabled), json!([false, false, false]));
    // From a version that is not made at the next tempo it goes to the last that is.
    browser.click("play");
    browser.until("return hitgap.sound.playing()");
    browser.press(&["3", "t"]);
    browser.until("return document.getElementById('said').textContent === 'playing 0.25 % at 50'");
    assert_eq!(browser.js("return [hitgap.state.version, hitgap.sound.chosen()]"), json!([1, 1]));
    assert_eq!(browser.js(disabled), json!([false, false, true]));
    assert!(said("made").as_str().is_some_and(|s| s.starts_with("At 50 the grid ends with 0.25 %")));
    // Its number says so and changes nothing; the next one after the last is the first.
    browser.press(&["3"]);
    assert_eq!(said("said"), "0.5 % is not made at 50");
    browser.press(&["v"]);
    assert_eq!(browser.js("return [hitgap.state.version, hitgap.sound.chosen()]"), json!([0, 0]));
    browser.click("play");
    // Nor does the blind test take it.
    browser.js("document.getElementById('blind-b').value = '2'");
    browser.click("blind-begin");
    assert_eq!(said("blind-problem"), "0.5 % is not made at 50: choose another version, or another tempo above.");
    browser.press(&["t"]);
    browser.click("blind-begin");
    assert_eq!(said("blind-names"), "A is 0 %, B is 0.5 %, at 160.");
    let rows = browser.js(
        "return [...document.querySelectorAll('tbody tr')].map((r) => [...r.cells].map((c) => c.textContent)).filter((r) => r.includes('not made'))",
    );
    assert_eq!(rows, json!([["50", "0.5 %", "—", "not made", "—"]]));
    assert_eq!(gaps_heard(&browser, &[(0, 2), (1, 1)]), [3.75, 6.0]);
    assert_eq!(browser.console(), Vec::<String>::new());
}

/// With nothing turned the patch stands beside settings of which none is just that.
#[test]
fn a_single_setting_is_held_against_nothing_turned() {
    let Some(browser) = browser() else { return };
    let args = ["sweep", "patches/late-bell.toml", "--on", "clock.slow", "--phase", "1%", "--tempo", "120", "--page"];
    let made = made(&args, "late-bell.original.slow.html");
    browser.visit(&made.page);
    assert_eq!(
        browser.js("return hitgap.data.variants.map((v) => [v.name, v.about])"),
        json!([["original", "nothing turned"], ["1 %", Value::Null]])
    );
    // By hand: 1 % of two beats at 120 is 10 ms; as patched wren is two beats late.
    assert_eq!(gaps_heard(&browser, &[(0, 0), (0, 1)]), [1000.0, 10.0]);
}

#[test]
fn a_grids_page_is_clear_to_everybody() {
    let Some(browser) = browser() else { return };
    let made = ended();
    let states = [
        "hitgap.player.tempo(1); document.querySelectorAll('details').forEach((d) => { d.open = true; })",
        "document.getElementById('blind-begin').click()",
    ];
    nothing_serious(&browser, &made.page, &states);
    stays_within(&browser, "a grid");
    texts_are_apart(&browser, "a grid");
    let long = grid(&[]);
    browser.visit(&long.page);
    stays_within(&browser, "a long grid");
    texts_are_apart(&browser, "a long grid");
}
