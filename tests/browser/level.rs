//! How loud a page plays: found before the first sound, from quiet, and never passed.

use super::driver::{Browser, browser};
use super::made::{compare, late_bell, patches};
use serde_json::{Value, json};

/// The gain after which everything is heard, in decibels, some twenty times a second for a while.
const WATCH: &str = "const gains = []; const until = performance.now() + 1600; \
    while (performance.now() < until) { gains.push(20 * Math.log10(hitgap.sound.master().gain.value)); await new Promise((done) => setTimeout(done, 40)); } \
    return gains;";

fn number(value: &Value) -> f64 {
    value.as_f64().expect("a number")
}

fn turn(browser: &Browser, slider: &str, to: i32) {
    browser.js(&format!(
        "const s = document.getElementById('{slider}'); s.value = '{to}'; s.dispatchEvent(new Event('input', {{ bubbles: true }}))"
    ));
}

#[test]
fn the_first_sound_is_quiet_and_asks_for_a_level() {
    let Some(browser) = browser() else { return };
    browser.visit_anew(&late_bell().page);
    assert_eq!(browser.js("return document.getElementById('check').hidden"), true);
    browser.click("play");
    browser.until("return hitgap.sound.playing() && !document.getElementById('check').hidden");
    assert_eq!(browser.js("return document.activeElement.id"), "check-level");
    // What is heard is one loop, and 36 dB below where it stands.
    let quiet = number(&browser.js("return hitgap.sound.master().gain.value"));
    assert!((20.0 * quiet.log10() + 36.0).abs() < 0.1, "{quiet}");
    // The slider thrown to its end: what is heard rises by less than 6 dB from one look to the next.
    turn(&browser, "check-level", 0);
    let gains: Vec<f64> = browser.run(WATCH).as_array().expect("a list").iter().map(number).collect();
    assert!(gains.windows(2).all(|g| g[1] - g[0] < 6.0), "{gains:?}");
    assert!(gains.last().expect("some") - gains[0] > 6.0, "it does rise: {gains:?}");
    turn(&browser, "check-level", -20);
    browser.click("check-ok");
    browser.until("return document.getElementById('play').textContent === 'Stop'");
    assert_eq!(
        browser.js("return [document.getElementById('check').hidden, document.activeElement.id, document.getElementById('level').value]"),
        json!([true, "play", "-20"])
    );
    // It is asked once: another version, another stop and start, and the blind test play at once.
    browser.click("play");
    browser.click("blind-begin");
    browser.click("blind-x");
    browser.until("return hitgap.sound.playing()");
    assert_eq!(browser.js("return document.getElementById('check').hidden"), true);
    assert_eq!(browser.console(), Vec::<String>::new());
}

#[test]
fn who_stops_at_the_question_hears_nothing() {
    let Some(browser) = browser() else { return };
    browser.visit_anew(&late_bell().page);
    browser.click("play");
    browser.until("return !document.getElementById('check').hidden");
    browser.click("check-stop");
    browser.until("return !hitgap.sound.playing()");
    assert_eq!(
        browser.js("return [hitgap.level.checked(), document.getElementById('play').textContent]"),
        json!([false, "Play"])
    );
    // A cell asks again.
    browser.click_on("[data-cell=\"1/2\"]");
    browser.until("return !document.getElementById('check').hidden && hitgap.sound.playing()");
    browser.click("check-ok");
    browser.until("return document.getElementById('play').textContent === 'Stop'");
    assert_eq!(
        browser.js("return [hitgap.state.tempo, hitgap.state.version, hitgap.sound.chosen()]"),
        json!([1, 2, 2])
    );
}

/// Every cell of some examples against the level that was found by one: neither louder by more than what rounding does, nor peaking higher.
#[test]
fn nothing_is_louder_than_the_level_that_was_found() {
    let Some(browser) = browser() else { return };
    for made in [late_bell(), &compare(&patches().join("moth-blinks.toml"), &["--tempo", "90,180"])] {
        browser.visit_anew(&made.page);
        let levels = browser.run(
            "const h = hitgap, rate = h.data.rate; const all = (t) => h.data.variants.map((_, v) => h.loop(t, v, h.data.tempos[t].bars)); \
             const stands = (loops) => { const factor = h.level.stand(loops, rate); \
               return loops.map((l) => [h.loudness.loudnessOf(l.map((x) => x * factor), rate), 20 * Math.log10(h.loudness.truePeakOf(l) * factor)]); }; \
             const first = all(0), factor = h.level.stand(first, rate), loudest = h.level.loudest(first, rate); \
             const found = stands(first)[loudest]; h.level.confirm(first[loudest], rate, factor); \
             return { found, all: h.data.tempos.map((_, t) => stands(all(t))) };",
        );
        let found = [0, 1].map(|n| number(&levels["found"][n]));
        // EBU R 128: -23 LUFS, and at most -1 dBTP.
        assert!(found[0] < -22.9 && found[1] < -0.99, "{found:?}");
        let mut seen = 0;
        for cell in levels["all"].as_array().expect("tempos").iter().flat_map(|t| t.as_array().expect("versions")) {
            assert!(number(&cell[0]) < found[0] + 0.6 && number(&cell[1]) < found[1] + 0.01, "{cell} {found:?}");
            assert!(number(&cell[0]) > found[0] - 12.0, "{cell}: not to be heard");
            seen += 1;
        }
        assert!(seen >= 4, "{seen}");
    }
}
