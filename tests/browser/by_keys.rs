//! What the tests by keys share: the focus, which must be seen wherever it goes, ways to a control, and what every player can do. Nothing here
//! clicks, sets a value or moves the focus by script.

use super::driver::{Browser, DOWN, ENTER, ESCAPE, LEFT, RIGHT, TAB, UP, browser};
use super::made::Made;
use serde_json::json;
use std::collections::BTreeSet;

/// Runs before the page's own script: keeps what a click is listened for on, and what is saved.
pub(super) const WATCH: &str = "window.heardClicks = new Set(); const listen = EventTarget.prototype.addEventListener; \
    EventTarget.prototype.addEventListener = function (type, ...rest) { if (type === 'click') window.heardClicks.add(this); return listen.call(this, type, ...rest); }; \
    window.saved = []; const make = URL.createObjectURL.bind(URL); \
    URL.createObjectURL = (blob) => { blob.text().then((text) => window.saved.push(text)); return make(blob); };";

/// What a control is called here: radios of one group are one.
pub(super) const NAMED: &str = "const named = (e) => e.type === 'radio' ? `radio ${e.name}` \
      : e.dataset.hear ? `hear ${e.dataset.hear}` : e.matches('.cell') ? `grid ${e.closest('[role=\"grid\"]').id}` \
      : e.id || `${e.tagName.toLowerCase()} ${e.textContent.trim().slice(0, 30)}`; ";

/// What has the focus: its name, the width of the outline around it or its label, and how many of its corners and its middle are covered or
/// out of sight. Of what is larger than the view can show beside the bar, a part must be seen.
pub(super) const STOP: &str = "const e = document.activeElement; if (!e || e === document.body) return null; \
    const box = (e.matches('input[type=\"radio\"], input[type=\"checkbox\"]') && e.closest('label')) || e; \
    const ground = getComputedStyle(document.documentElement).backgroundColor; \
    const outline = (of) => { const s = getComputedStyle(of); return s.outlineStyle !== 'none' && s.outlineColor !== ground ? parseFloat(s.outlineWidth) : 0; }; \
    const r = box.getClientRects()[0]; \
    const seen = ([x, y]) => { const at = document.elementFromPoint(r.left + 3 + x * (r.width - 6), r.top + 3 + y * (r.height - 6)); \
      return at !== null && (box.contains(at) || at.contains(box)); }; \
    const large = r.height > innerHeight / 3 || r.width > innerWidth; \
    const parts = Array.from({ length: 41 }, (_, n) => [0.5, n / 40]); \
    const hidden = large ? (parts.filter(seen).length > 3 ? 0 : 1) : [[0.5, 0.5], [0, 0], [1, 0], [0, 1], [1, 1]].filter((p) => !seen(p)).length; \
    return { name: named(e), outline: Math.max(outline(e), outline(box)), hidden, \
      place: [r.left, r.top, r.right, r.bottom].map(Math.round), inner: [innerWidth, innerHeight] };";

/// What can be worked: all that is made for it and all on which a click is listened for, if it is in sight and may be used. What only hands
/// a click on from what lies in it is not meant, nor are the stretches of time in a lane, which the magnifier's two buttons go through.
pub(super) const WORKABLE: &str = "const made = [...document.querySelectorAll('a[href], button, input, select, textarea, summary, [tabindex=\"0\"], [contenteditable]')]; \
    const heard = [...window.heardClicks].filter((e) => e instanceof Element && e.isConnected); \
    const all = new Set([...made, ...heard.filter((e) => !made.some((m) => m !== e && e.contains(m)))]); \
    const modal = document.querySelector('dialog:modal'); \
    return [...new Set([...all].filter((e) => e.checkVisibility() && !e.disabled && !e.matches('.apart') && (!modal || modal.contains(e))).map(named))];";

/// A page that was just opened, in a browser that watches it.
pub(super) fn open(made: &Made) -> Option<Browser> {
    let browser = browser()?;
    browser.devtools("Page.addScriptToEvaluateOnNewDocument", &json!({ "source": WATCH }));
    browser.visit_anew(&made.page);
    Some(browser)
}

/// The name of what has the focus, which must be seen: a line around it, and none of it under the bar or out of the view.
pub(super) fn stop(browser: &Browser) -> Option<String> {
    let stop = browser.js(&format!("{NAMED}{STOP}"));
    let name = stop["name"].as_str()?.to_owned();
    assert!(stop["outline"].as_f64().is_some_and(|w| w >= 2.0), "the focus is not shown: {stop}");
    assert_eq!(stop["hidden"], 0, "what has the focus is covered: {stop}");
    Some(name)
}

/// Goes round the page by Tab, or by Shift and Tab; gives what had the focus, in order.
pub(super) fn round(browser: &Browser, forward: bool) -> Vec<String> {
    let mut all: Vec<String> = Vec::new();
    for _ in 0..400 {
        if forward {
            browser.press(&[TAB]);
        } else {
            browser.press_back();
        }
        let Some(name) = stop(browser) else { continue };
        if all.first() == Some(&name) {
            return all;
        }
        all.push(name);
    }
    panic!("Tab does not come round: {all:?}");
}

/// Everything that can be worked in what is in sight now is reached by Tab, or by Shift and Tab.
pub(super) fn everything_is_reached(browser: &Browser, what: &str, forward: bool) {
    let reached: BTreeSet<String> = round(browser, forward).into_iter().collect();
    let workable = browser.js(&format!("{NAMED}{WORKABLE}"));
    let workable: BTreeSet<String> =
        workable.as_array().expect("names").iter().map(|n| n.as_str().expect("a name").to_owned()).collect();
    let missed: Vec<_> = workable.difference(&reached).collect();
    assert!(missed.is_empty() && workable.len() > 3, "{what}: no Tab leads to {missed:?}; it leads to {reached:?}");
}

/// Presses Tab, or Shift and Tab where it lies before what has the focus, until a control has the focus.
pub(super) fn to(browser: &Browser, name: &str) {
    let before = browser.js(&format!(
        "{NAMED} const e = [...document.querySelectorAll('a, button, input, select, summary, [tabindex]')].find((e) => named(e) === {}); \
         return !!e && !!(e.compareDocumentPosition(document.activeElement) & Node.DOCUMENT_POSITION_FOLLOWING);",
        json!(name)
    ));
    for _ in 0..400 {
        if browser.js(&format!("{NAMED} return named(document.activeElement)")) == name {
            assert_eq!(stop(browser).as_deref(), Some(name));
            return;
        }
        if before == true { browser.press_back() } else { browser.press(&[TAB]) }
    }
    panic!("no Tab leads to {name}");
}

pub(super) fn has_focus(browser: &Browser, name: &str) {
    assert_eq!(stop(browser).as_deref(), Some(name));
}

pub(super) fn text(browser: &Browser, id: &str) -> String {
    browser.js(&format!("return document.getElementById('{id}').textContent")).as_str().expect("text").to_owned()
}

/// Answers the question of the level, which must be asked now: Escape would end it; louder by arrows, and that is comfortable.
pub(super) fn find_the_level(browser: &Browser, prefix: &str) {
    let question = format!("return !document.getElementById('{prefix}check').hidden");
    browser.until(&question);
    has_focus(browser, &format!("{prefix}check-level"));
    let before = browser.js("return hitgap.level.db()").as_f64().expect("decibels");
    browser.press(&[RIGHT, RIGHT, RIGHT, LEFT]);
    assert_eq!(browser.js("return hitgap.level.db()").as_f64(), Some(before + 2.0));
    to(browser, &format!("{prefix}check-stop"));
    browser.press_back();
    has_focus(browser, &format!("{prefix}check-ok"));
    browser.press(&[ENTER]);
    browser.until(&format!("return hitgap.level.checked() && document.getElementById('{prefix}check').hidden"));
}

/// The grid by arrows: every cell that is made is come to and chosen.
pub(super) fn the_grid_is_gone_through(browser: &Browser, prefix: &str) {
    to(browser, &format!("grid {prefix}answers"));
    let chosen = || browser.js("const { state } = hitgap.chapters.open(); return `${state.tempo}/${state.version}`");
    let made = browser.js(&format!(
        "return [...document.querySelectorAll('#{prefix}answers button[data-cell]')].map((b) => b.dataset.cell).sort()"
    ));
    let count = made.as_array().expect("cells").len();
    let mut seen = BTreeSet::new();
    // To the first version, then line by line, to and fro.
    browser.press(&[UP; 24]);
    let step = |key: &str, seen: &mut BTreeSet<String>| {
        let before = chosen();
        browser.press(&[key]);
        has_focus(browser, &format!("grid {prefix}answers"));
        let now = chosen();
        assert_eq!(browser.js("return document.activeElement.dataset.cell"), now);
        seen.insert(now.as_str().expect("a cell").to_owned());
        now != before
    };
    loop {
        while step(LEFT, &mut seen) {}
        while step(RIGHT, &mut seen) {}
        // Where the next line has no cell below, it is come to from further left.
        while !step(DOWN, &mut seen) {
            if !step(LEFT, &mut seen) {
                assert_eq!(seen.len(), count, "{made}: {seen:?}");
                return;
            }
        }
    }
}

/// The magnifier's two buttons show every hit that several share, as a click in a lane does.
pub(super) fn the_magnifier_shows_every_shared_hit(browser: &Browser, prefix: &str) {
    browser.until("return hitgap.chapters.open().lanes.scene() !== null");
    let count = browser.js("return hitgap.chapters.open().lanes.scene().shared.length").as_u64().expect("a number");
    to(browser, &format!("{prefix}zoom-after"));
    let mut seen = BTreeSet::new();
    for _ in 0..count {
        browser.press(&[ENTER]);
        seen.insert(browser.js("return hitgap.chapters.open().zoom.shown().due").to_string());
    }
    assert_eq!(seen.len() as u64, count);
}

/// A blind test of two trials, to the file that it saves.
pub(super) fn a_blind_test_is_taken(browser: &Browser, prefix: &str) {
    let id = |name: &str| format!("{prefix}{name}");
    to(browser, &id("blind-count"));
    browser.press(&[DOWN; 14]);
    to(browser, &id("blind-begin"));
    browser.press(&[ENTER]);
    has_focus(browser, &id("blind-x"));
    for trial in 1..=2 {
        assert_eq!(text(browser, &id("blind-progress")), format!("Trial {trial} of 2"));
        for (control, said) in [("blind-x", "playing X"), ("blind-hear-a", "playing A")] {
            to(browser, &id(control));
            browser.press(&[ENTER]);
            browser.until(&format!("return document.getElementById('{}').textContent === '{said}'", id("said")));
        }
        to(browser, &id("blind-is-a"));
        browser.press(&[" "]);
    }
    // The result is where the focus goes, so that it is read out.
    assert_eq!(browser.js("return document.activeElement.id"), id("blind-result"));
    assert!(text(browser, &id("blind-result")).contains(" times of 2;"));
    to(browser, &id("blind-name"));
    browser.press(&["O", "x"]);
    to(browser, &id("blind-save"));
    browser.press(&[ENTER]);
    browser.until("return window.saved.length > 0");
    let saved = browser.js("return window.saved.pop()");
    let test = hitgap::ear::BlindTest::parse(saved.as_str().expect("text")).expect("a test");
    assert_eq!((test.listener.as_deref(), test.trials.len()), (Some("Ox"), 2));
    to(browser, &id("blind-again"));
    browser.press(&[ENTER]);
    has_focus(browser, &id("blind-begin"));
}

/// The player of a page, from the first sound on: the level found, another version and tempo by the lists in the bar, the level turned down.
pub(super) fn the_player_is_worked(browser: &Browser, prefix: &str) {
    let id = |name: &str| format!("{prefix}{name}");
    let chosen = || browser.js("const { state } = hitgap.chapters.open(); return [state.version, state.tempo]");
    let sounds = "return hitgap.sound.playing() && hitgap.chapters.open().player.sounding()";
    if browser.js("return hitgap.level.checked()") == false {
        // Escape at the question is silence, and the focus is where it was.
        to(browser, &format!("grid {}", id("answers")));
        browser.press(&[" "]);
        browser.until(&format!("return !document.getElementById('{}').hidden", id("check")));
        everything_is_reached(browser, "the question of the level", true);
        to(browser, &id("check-level"));
        browser.press(&[ESCAPE]);
        browser.until("return !hitgap.sound.playing()");
        has_focus(browser, &format!("grid {}", id("answers")));
        browser.press(&[ENTER]);
        find_the_level(browser, prefix);
        has_focus(browser, &format!("grid {}", id("answers")));
    } else {
        to(browser, &id("play"));
        browser.press(&[" "]);
    }
    browser.until(sounds);
    for (list, at) in [("version", 0), ("tempo", 1)] {
        to(browser, &id(list));
        let (before, more) = (
            chosen(),
            browser.js("return document.activeElement.selectedIndex + 1 < document.activeElement.options.length"),
        );
        browser.press(&[if more == true { DOWN } else { UP }]);
        let alone = browser.js("return document.activeElement.options.length === 1");
        assert_eq!(chosen()[at] == before[at], alone == true, "{list}: {before}");
    }
    to(browser, &id("level"));
    let before = browser.js("return hitgap.level.db()").as_f64().expect("decibels");
    browser.press(&[LEFT]);
    assert_eq!(browser.js("return hitgap.level.db()").as_f64(), Some(before - 1.0));
    browser.until(sounds);
    to(browser, &id("play"));
    browser.press(&[ENTER]);
    browser.until("return !hitgap.sound.playing()");
    // The list of keys keeps the focus within it, and gives it back.
    to(browser, &id("keys-open"));
    browser.press(&[ENTER]);
    everything_is_reached_in_the_list_of_keys(browser);
    browser.press(&[ESCAPE]);
    has_focus(browser, &id("keys-open"));
}

pub(super) fn everything_is_reached_in_the_list_of_keys(browser: &Browser) {
    for name in ["keys-on", "keys-close"] {
        to(browser, name);
    }
    assert_eq!(browser.js("return document.getElementById('keys').open"), true);
}

/// Opens everything that can be opened and is shut, by Enter.
pub(super) fn unfold(browser: &Browser) {
    let all = browser.js(&format!(
        "{NAMED} return [...document.querySelectorAll('details:not([open]) > summary')].filter((e) => e.checkVisibility()).map(named)"
    ));
    for name in all.as_array().expect("names") {
        to(browser, name.as_str().expect("a name"));
        browser.press(&[ENTER]);
        assert_eq!(browser.js("return document.activeElement.parentElement.open"), true);
    }
}

/// There on a desk, and back on a phone, where the bar is higher.
pub(super) fn everything_is_reached_there_and_back(browser: &Browser, what: &str) {
    unfold(browser);
    for (width, scheme, forward) in [(1280, "light", true), (360, "dark", false)] {
        browser.look(width, scheme);
        everything_is_reached(browser, what, forward);
    }
    browser.look(1280, "light");
    // What had the focus stays where it was when the view becomes another, out of sight or not.
    browser.press(&[TAB]);
}

/// All of it, for a page with one player.
pub(super) fn a_listening_page_is_worked(browser: &Browser, what: &str) {
    everything_is_reached_there_and_back(browser, what);
    the_grid_is_gone_through(browser, "");
    the_magnifier_shows_every_shared_hit(browser, "");
    the_player_is_worked(browser, "");
    a_blind_test_is_taken(browser, "");
    assert_eq!(browser.console(), Vec::<String>::new());
}
