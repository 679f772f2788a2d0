//! What is seen of what is heard: hits where they sound, gaps as they are printed, and a playhead that is not late.

use super::driver::browser;
use super::made::late_bell;
use serde_json::{Value, json};

fn number(value: &Value) -> f64 {
    value.as_f64().expect("a number")
}

#[test]
fn hits_lie_where_they_sound_and_gaps_say_what_the_program_says() {
    let Some(browser) = browser() else { return };
    browser.visit(&late_bell().page);
    browser.look(1280, "light");
    // `phase` at 120: by hand, 1 % of two beats is 10 ms, on all eight beats of two bars that both play.
    browser.js("hitgap.player.select(2, 1)");
    browser.until("return document.querySelectorAll('.lanes .apart').length > 0");
    let drawn = browser.js(
        "const of = (n) => [...document.querySelectorAll(`.lanes .of-${n} line`)].map((l) => Number(l.getAttribute('x1'))); \
         return { figures: [...document.querySelectorAll('.lanes .apart .figure')].map((t) => t.textContent), \
           first: of(0), second: of(1), scene: [hitgap.lanes.scene().room, hitgap.lanes.scene().ms], \
           says: document.getElementById('lanes-says').textContent, wave: document.getElementById('wave-says').textContent };",
    );
    let figures = drawn["figures"].as_array().expect("a list");
    assert!(!figures.is_empty() && figures.iter().all(|f| *f == "10 ms"), "{figures:?}");
    let per_ms = number(&drawn["scene"][0]) / number(&drawn["scene"][1]);
    let starts = |key: &str| drawn[key].as_array().expect("places").iter().map(number).collect::<Vec<f64>>();
    let (ox, wren) = (starts("first"), starts("second"));
    // Each of wren's hits is 10 ms right of one of ox's, to the hundredth of a pixel that is written.
    for at in &wren {
        assert!(ox.iter().any(|o| (at - o - 10.0 * per_ms).abs() < 0.02), "{at} {ox:?}");
    }
    assert!(drawn["says"].as_str().is_some_and(|s| s.contains("shared hits are more than 2 ms apart")), "{drawn}");
    assert!(drawn["wave"].as_str().is_some_and(|s| s.starts_with("wren 10 ms after ox")), "{drawn}");
    // Where all is well nothing is marked; where a box is beats off, its first step has an arrow.
    browser.js("hitgap.player.select(2, 2)");
    browser.until("return document.querySelectorAll('.lanes .apart').length === 0");
    assert_eq!(browser.js("return document.querySelectorAll('.lanes .off').length"), 0);
    browser.js("hitgap.player.select(2, 0)");
    browser.until("return document.querySelectorAll('.lanes .off').length > 0");
    assert_eq!(browser.console(), Vec::<String>::new());
}

/// The playhead against the time that the browser says leaves its output: within 20 ms, over two seconds.
#[test]
fn the_playhead_is_where_the_sound_is() {
    let Some(browser) = browser() else { return };
    browser.visit(&late_bell().page);
    browser.click("play");
    browser.until("return hitgap.sound.position() > 0.2 && document.querySelector('.playhead.moving') !== null");
    let off = browser.run(
        "const h = hitgap, off = []; const until = performance.now() + 2000; \
         while (performance.now() < until) { await new Promise(requestAnimationFrame); \
           const line = document.querySelector('.playhead'), scene = h.lanes.scene(); \
           const x = new DOMMatrix(getComputedStyle(line).transform).m41, [from, to] = scene.stretches[h.lanes.where().n]; \
           const shown = from + (x - scene.left) / scene.room * (to - from); \
           const stamp = h.sound.context().getOutputTimestamp(); \
           const out = stamp.contextTime + (performance.now() - stamp.performanceTime) / 1000; \
           const ahead = h.sound.context().currentTime - out; \
           const heard = h.sound.position() * 1000 - ahead * 1000; \
           const late = ((heard - shown + scene.ms / 2) % scene.ms + scene.ms) % scene.ms - scene.ms / 2; off.push(late); } \
         return off;",
    );
    let off: Vec<f64> = off.as_array().expect("a list").iter().map(number).collect();
    let middle = {
        let mut s = off.clone();
        s.sort_by(f64::total_cmp);
        s[s.len() / 2]
    };
    assert!(off.len() > 10 && middle.abs() < 20.0, "{middle}: {off:?}");
    browser.click("play");
    browser.until("return document.querySelector('.playhead.moving') === null");
}

/// Who wants no movement sees beats: the line stands on one of them.
#[test]
fn without_movement_the_playhead_goes_from_beat_to_beat() {
    let Some(browser) = browser() else { return };
    browser.visit(&late_bell().page);
    browser.devtools(
        "Emulation.setEmulatedMedia",
        &json!({ "features": [{ "name": "prefers-reduced-motion", "value": "reduce" }] }),
    );
    browser.click("play");
    browser.until("return document.querySelector('.playhead.moving') !== null");
    let places = browser.run(
        "const seen = new Set(); let lit = 0; const until = performance.now() + 2000; \
         while (performance.now() < until) { await new Promise(requestAnimationFrame); \
           seen.add(new DOMMatrix(getComputedStyle(document.querySelector('.playhead')).transform).m41.toFixed(1)); \
           lit = Math.max(lit, document.querySelectorAll('.lanes .on').length); } \
         return [[...seen].length, lit];",
    );
    // At 50 a beat lasts 1.2 s: two seconds see two or three of them, and no note lights up.
    assert!((1.0..=4.0).contains(&number(&places[0])), "{places}");
    assert_eq!(places[1], 0);
}
