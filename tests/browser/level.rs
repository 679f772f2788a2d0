//! How loud a page plays: found before the first sound, from quiet, and never passed.

use super::driver::{Browser, browser};
use super::made::{late_bell, made};
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

/// Decibels of the gain after which everything is heard.
fn master(browser: &Browser) -> f64 {
    20.0 * number(&browser.js("return hitgap.sound.master().gain.value")).log10()
}

#[test]
fn the_first_sound_is_quiet_whatever_the_slider_was_at() {
    let Some(browser) = browser() else { return };
    browser.visit_anew(&late_bell().page);
    turn(&browser, "level", 0);
    browser.click("play");
    browser.until("return hitgap.sound.playing() && !document.getElementById('check').hidden");
    browser.until("return hitgap.sound.master().gain.value < 0.017");
    assert!((master(&browser) + 36.0).abs() < 0.5, "{}", master(&browser));
    // Space stops it, and nothing was found.
    browser.press(&[" "]);
    browser.until("return !hitgap.sound.playing()");
    assert_eq!(
        browser.js("return [document.getElementById('check').hidden, hitgap.level.checked()]"),
        json!([true, false])
    );
}

#[test]
fn what_was_chosen_during_the_question_is_what_plays() {
    let Some(browser) = browser() else { return };
    browser.visit_anew(&late_bell().page);
    browser.js("hitgap.player.tempo(0, 1)");
    browser.click("play");
    browser.until("return !document.getElementById('check').hidden && hitgap.sound.playing()");
    browser.js("hitgap.player.tempo(2)");
    browser.click("check-ok");
    browser.until("return document.getElementById('said').textContent === 'playing original at 120'");
    // A bar of four beats at 120; at 50 it would be 4.8 s.
    let seconds = "const s = hitgap.sound; const t0 = s.context().currentTime, p0 = s.position(); return [p0, hitgap.state.bars * hitgap.data.tempos[2].barMs / 1000]";
    let length = number(&browser.js(seconds)[1]);
    assert!((length - 2.0).abs() < 1e-9, "{length}");
    let most = browser.run(
        "let most = 0; const until = performance.now() + 3000; \
         while (performance.now() < until) { most = Math.max(most, hitgap.sound.position() ?? 0); await new Promise((done) => setTimeout(done, 30)); } return most;",
    );
    assert!(number(&most) > 1.5 && number(&most) < 2.0, "the loop of 120 goes round: {most}");
}

#[test]
fn no_level_is_found_in_silence() {
    let Some(browser) = browser() else { return };
    browser.visit_anew(&late_bell().page);
    browser.click("blind-begin");
    browser.click("blind-x");
    browser.until("return !document.getElementById('check').hidden && hitgap.sound.playing()");
    // An answer ends the sound, and with it the question.
    browser.js("hitgap.blind.answer('a')");
    browser.until("return !hitgap.sound.playing()");
    assert_eq!(
        browser.js("return [document.getElementById('check').hidden, hitgap.level.checked()]"),
        json!([true, false])
    );
    // Heard first of all, both sides have one factor: neither is told by its loudness, nor by a wait.
    browser.click("blind-hear-a");
    browser.until("return !document.getElementById('check').hidden && hitgap.sound.playing()");
    browser.click("check-ok");
    browser.until("return hitgap.sound.playing() && document.getElementById('said').textContent === 'playing A'");
    let a = number(&browser.js("return hitgap.sound.factor()"));
    browser.click("blind-hear-b");
    browser.until("return document.getElementById('said').textContent === 'playing B'");
    let b = number(&browser.js("return hitgap.sound.factor()"));
    assert!(a > 0.0 && (a - b).abs() < 1e-12, "{a} {b}");
    assert_eq!(browser.console(), Vec::<String>::new());
}

/// The training page asks too; skipping practice meanwhile takes the question away with its sound.
#[test]
fn training_finds_its_level_first() {
    let Some(browser) = browser() else { return };
    let made = made(&["train"], "train.kick+snare.90bpm.html");
    browser.visit_anew(&made.page);
    turn(&browser, "level", 0);
    browser.click("begin");
    browser.click("hear");
    browser.until("return !document.getElementById('check').hidden && hitgap.output.master() !== null");
    browser.until("return hitgap.output.master().gain.value < 0.017");
    browser.click("skip");
    assert_eq!(
        browser.js("return [document.getElementById('check').hidden, hitgap.level.checked()]"),
        json!([true, false])
    );
    browser.click("hear");
    browser.until("return !document.getElementById('check').hidden");
    browser.click("check-ok");
    browser.until("return hitgap.level.checked() && document.getElementById('said').textContent === 'listen'");
    // Three intervals of two hits: then it may be answered.
    browser.until("return !document.getElementById('answer-1').disabled");
    assert_eq!(browser.console(), Vec::<String>::new());
}
