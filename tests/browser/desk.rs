//! The rig as sentences on a served page: words by keys, lanes below their boxes, and a change that sounds before all else is new. The
//! server's part is played by `desk.js`, so that what is held here is the page alone.

use super::access::nothing_serious_there;
use super::driver::{Browser, browser};
use super::open::Open;
use serde_json::json;

const STUB: &str = include_str!("desk.js");
const ENTER: &str = "\u{e007}";
const ESCAPE: &str = "\u{e00c}";
const UP: &str = "\u{e013}";

fn visit(open: &Open, browser: &Browser) {
    open.visit(browser);
    browser.js(STUB);
    browser.until("return document.querySelectorAll('.sentence .lanes svg').length === 2");
}

const LATENCY: &str = "document.querySelector('[data-key=\"sequencer.wren.latency\"]')";

#[test]
fn a_word_opens_by_keys_and_keeps_the_focus() {
    let Some(browser) = browser() else { return };
    let open = Open::new();
    visit(&open, &browser);
    browser.js(&format!("window.word = {LATENCY}; word.focus()"));
    // What hangs on it is lit, and told.
    assert_eq!(
        browser.js(
            "return [document.querySelector('.lit').dataset.id, word.getAttribute('aria-description').includes('ox')]"
        ),
        json!(["sequencer.ox", true])
    );
    browser.press(&[ENTER]);
    browser.until("return document.activeElement.closest('#editor') !== null");
    browser.press(&[UP]);
    browser.until("return hitgap.sent.length === 1 && word.textContent !== '1 ms'");
    // By hand: a dial that reaches 20 ms turns by a two-hundredth of that.
    let sent = browser.js("return hitgap.sent[0]");
    assert_eq!(sent[1]["edits"], json!([{ "do": "set", "at": ["sequencer", "wren", "latency"], "to": "1.1 ms" }]));
    assert_eq!((&sent[0], &sent[1]["base"], &sent[1]["version"]), (&json!("/edit"), &json!(1000), &json!("original")));
    // The sentence says it, in the element that it was: an open editor, and a focus, stay.
    let stays = format!(
        "return [word === {LATENCY}, word.textContent, word.getAttribute('aria-expanded'), document.activeElement.value]"
    );
    assert_eq!(browser.js(&stays), json!([true, "1.1 ms", "true", "1.1"]));
    browser.press(&[ESCAPE]);
    assert_eq!(
        browser.js("return [document.activeElement === word, word.getAttribute('aria-expanded')]"),
        json!([true, "false"])
    );
    assert_eq!(browser.console(), Vec::<String>::new());
}

#[test]
fn many_turns_ask_once_at_a_time_and_the_last_counts() {
    let Some(browser) = browser() else { return };
    let open = Open::new();
    visit(&open, &browser);
    // Answers come when they are let through.
    browser.js(&format!(
        "{LATENCY}.click(); const f = window.fetch; window.held = []; \
         window.fetch = (...a) => a[0] === '/edit' ? new Promise((done) => {{ window.held.push(() => done(f(...a))); }}) : f(...a)"
    ));
    browser.until("return document.activeElement.closest('#editor') !== null");
    browser.press(&[UP; 12]);
    assert_eq!(browser.js("return held.length"), 1);
    browser.js("held[0]()");
    browser.until("return held.length === 2");
    browser.js("held[1]()");
    browser.until("return hitgap.desk.outbox.waits() === 0");
    let said = format!("return [held.length, {LATENCY}.textContent, document.activeElement.value]");
    assert_eq!(browser.js(&said), json!([2, "2.2 ms", "2.2"]));
}

#[test]
fn a_change_sounds_at_the_same_place_of_the_bar_and_other_tempos_stay() {
    let Some(browser) = browser() else { return };
    let open = Open::new();
    visit(&open, &browser);
    browser.js("hitgap.player.select(2, 2)");
    browser.click("play");
    browser.until("return hitgap.sound.position() > 0.3");
    let place = "const s = hitgap.sound, c = s.context(); return [c.currentTime, s.position(), hitgap.data.tempos[2].barMs * hitgap.state.bars / 1000]";
    let before = browser.js(place);
    browser.js("window.was = hitgap.data.tempos[1].cells[2].hits; hitgap.desk.edit([{ do: 'set', at: ['sequencer', 'wren', 'latency'], to: '21 ms' }])");
    browser.until("return hitgap.sound.missing().length === 0 && hitgap.desk.timing.sounds > 0");
    let after = browser.js(place);
    let number = |v: &serde_json::Value, n: usize| v[n].as_f64().expect("a number");
    let slip = ((number(&after, 1) - number(&before, 1)) - (number(&after, 0) - number(&before, 0)))
        .rem_euclid(number(&before, 2));
    // On a sample: the graph begins loops there, so half of one to either side.
    assert!(slip.min(number(&before, 2) - slip) < 2e-5, "{before} {after}");
    // Of the version at hand and of the others what is heard is what the data says; all of the loops are there.
    let heard = "const h = hitgap, bars = h.state.bars; \
         const all = h.data.variants.map((_, v) => h.engine.mix(h.voices, h.played(2, v, bars), h.data.rate, Math.round(bars * h.data.tempos[2].barMs / 1000 * h.data.rate), true)); \
         return [h.sound.plays(h.allLoops(2, bars)), all.map((own, v) => own.reduce((most, s, n) => Math.max(most, Math.abs(s - h.loop(2, v, bars)[n])), 0))]";
    assert_eq!(browser.js(heard), json!([true, [0, 0, 0]]));
    let hits = browser.js("const at = (t) => hitgap.data.tempos[t].cells[2].hits.find((hit) => hit[4] === 1); \
         return [Math.round((at(2)[0] - at(2)[5]) * 1e6) / 1e6, JSON.stringify(was) === JSON.stringify(hitgap.data.tempos[1].cells[2].hits), document.querySelector('.lead').textContent]");
    // The gate's 40 µs and 20 ms.
    assert_eq!(hits, json!([20.04, true, "It is later"]));
    assert_eq!(browser.console(), Vec::<String>::new());
}

#[test]
fn a_lane_stands_below_its_box_on_one_axis_and_has_the_playhead() {
    let Some(browser) = browser() else { return };
    let open = Open::new();
    visit(&open, &browser);
    let lanes = "return ['ox', 'wren'].map((name) => { \
           const article = document.querySelector(`[data-id=\"sequencer.${name}\"]`), lane = article.querySelector('.lanes'); \
           return [lane.querySelectorAll('.hit').length, lane.getAttribute('aria-label'), article.querySelector('p').getBoundingClientRect().bottom <= lane.getBoundingClientRect().top + 1]; })";
    let shown = browser.js(lanes);
    // Four bars of four beats, and a box that plays every second.
    assert_eq!(shown, json!([[16, "ox: hits in the loop: 16", true], [8, "wren: hits in the loop: 8", true]]));
    let bars = browser.js("return [...document.querySelectorAll('#ruler, .sentence .lanes')].map((lane) => [...lane.querySelectorAll('.barline')].map((l) => l.getBoundingClientRect().x))");
    let bars = bars.as_array().expect("lanes");
    assert!(bars.len() == 3 && bars.iter().all(|own| *own == bars[0]), "{bars:?}");
    assert_eq!(browser.js("return document.getElementById('lanes').childElementCount"), 0);
    browser.click("play");
    browser.until("return document.querySelectorAll('.playhead.moving').length >= 3");
}

#[test]
fn what_is_not_saved_and_what_the_file_says_stand_side_by_side() {
    let Some(browser) = browser() else { return };
    let open = Open::new();
    visit(&open, &browser);
    browser.js("hitgap.stub.saved = false; hitgap.stub.revision += 1; hitgap.stub.file = { text: 'title = \"late\"\\n\\n[sequencer.wren]\\nlatency = \"5 ms\"\\n', hash: 'theirs' }; return hitgap.live.look()");
    browser.until("return !document.getElementById('conflict').hidden");
    let marked = "return ['mine', 'theirs'].map((id) => [...document.querySelectorAll(`#conflict-${id} mark`)].map((m) => m.textContent))";
    assert_eq!(browser.js(marked), json!([["latency = \"1 ms\"\n"], ["latency = \"5 ms\"\n"]]));
    // Saving asks first; what is chosen says which file was seen.
    browser.js("hitgap.desk.save()");
    assert_eq!(browser.js("return [hitgap.sent.length, document.activeElement.id]"), json!([0, "conflict-title"]));
    browser.click("conflict-over");
    browser.until("return hitgap.sent.length === 1");
    assert_eq!(
        browser.js("return [hitgap.sent[0][0], hitgap.sent[0][1].hash, hitgap.sent[0][1].over]"),
        json!(["/save", "theirs", true])
    );
}

#[test]
fn a_server_that_is_gone_takes_nothing_with_it() {
    let Some(browser) = browser() else { return };
    let open = Open::new();
    visit(&open, &browser);
    browser.js(
        "hitgap.stub.gone = true; hitgap.desk.edit([{ do: 'set', at: ['sequencer', 'wren', 'latency'], to: '7 ms' }])",
    );
    browser.until("return document.getElementById('live-says').textContent.startsWith('The program has ended')");
    assert_eq!(browser.js("return [hitgap.desk.outbox.waits(), sessionStorage.getItem(`hitgap ${hitgap.data.patch}`).includes('latency')]"), json!([1, true]));
    browser.js("hitgap.stub.gone = false");
    browser.until(&format!("return {LATENCY}.textContent === '7 ms'"));
}

#[test]
fn the_desk_is_for_everybody() {
    let Some(browser) = browser() else { return };
    let open = Open::new();
    nothing_serious_there(
        &browser,
        &|| visit(&open, &browser),
        &[
            "document.querySelectorAll('details').forEach((d) => { d.open = true; })",
            "hitgap.desk.open('sequencer.wren.latency')",
            "hitgap.desk.open('sequencer.ox.steps')",
            "hitgap.desk.open('sequencer.wren')",
            "document.getElementById('pane-open').click()",
        ],
    );
    browser.look(390, "light");
    assert_eq!(browser.js("return document.documentElement.scrollWidth <= innerWidth"), true);
}
