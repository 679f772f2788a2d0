//! How the served page looks on a phone, and what it draws of an input.

use super::access::{check, checker};
use super::driver::{Browser, ENTER, ESCAPE, browser};
use super::open::Open;
use serde_json::{Value, json};
use tempfile::TempDir;

const READY: &str = "return globalThis.hitgap?.desk?.now()?.words.length > 0";

/// Words that are short enough for any line and yet stand on two of them.
fn torn(browser: &Browser) -> Value {
    browser.js(
        "const torn = [], walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT); \
         while (walk.nextNode()) { const t = walk.currentNode; \
           if (!t.parentElement.checkVisibility() || t.parentElement.getBoundingClientRect().width <= 1 || t.parentElement.closest('script, style, svg, option, textarea, .gutter, .aside')) continue; \
           for (const word of t.textContent.matchAll(/\\S+/g)) { if (word[0].length > 14 || /[-\u{2010}]/.test(word[0])) continue; \
             const r = document.createRange(); r.setStart(t, word.index); r.setEnd(t, word.index + word[0].length); \
             const lines = new Set([...r.getClientRects()].filter((b) => b.width > 0).map((b) => Math.round(b.top / 4))); \
             if (lines.size > 1) torn.push([word[0], t.parentElement.outerHTML.slice(0, 80)]); } } \
         return torn",
    )
}

/// Names as long as people make them, five tempos, three boxes.
fn long_names() -> Open {
    let [clock, slow] =
        ["sixteenth-notes-from-the-lantern-in-the-middle", "slow_output_that_pulses_every_second_beat_of_it"];
    let [ox, wren] =
        ["ox-the-solenoid-on-the-floor-drum-behind-the-door", "wren_the_motor_arm_on_a_bell_that_hangs_in_the_window"];
    let plays = |name: &str, clock: &str| {
        format!(
            "[sequencer.{name}]\nclock = \"{clock}\"\nreset = \"home\"\nreset-mode = \"next-clock\"\nsteps = \"x.x.x.x.\"\nvoice = \"hat\"\n"
        )
    };
    let text = format!(
        "title = \"A rehearsal of the ensemble\"\ntempos = [50, 80, 120, 160, 171.5]\n[clock.{clock}]\nrate = \"4 per beat\"\n\
         [clock.{slow}]\nrate = \"1 per 2 beats\"\n[clock.home]\nrate = \"1 per 16 beats\"\n{}{}{}\
         [fix.a-fix-with-a-name-that-is-long-but-allowed-by-the-rules]\n\
         about = \"puts the arm out of the way, and sets the solenoid a little later than it was, so that both meet\"\n\
         set.\"sequencer.{ox}.offset\" = \"3 ms\"\n",
        plays(ox, clock),
        plays(wren, slow),
        plays("moth", clock),
    );
    let dir = TempDir::new().expect("a folder");
    let patch = dir.path().join("rehearsal.toml");
    std::fs::write(&patch, &text).expect("a patch");
    let named = patch.to_str().expect("a plain path").to_owned();
    Open::started(dir, patch, text, &[&named])
}

#[test]
fn long_names_tear_no_word_and_push_nothing_out() {
    let Some(browser) = browser() else { return };
    let open = long_names();
    for width in [390, 1280] {
        browser.look(width, "light");
        open.visit(&browser);
        browser.until(READY);
        assert_eq!(torn(&browser), json!([]), "{width}");
        // A full stop stands behind its word, and begins no line.
        let loose = browser.js(
            "return [...document.querySelectorAll('.sentence p .word')].filter((w) => { const next = w.nextSibling; \
               if (next?.nodeType !== 3 || !/^[.,:;)]/.test(next.textContent)) return false; \
               const r = document.createRange(); r.setStart(next, 0); r.setEnd(next, 1); \
               const stop = r.getBoundingClientRect(), last = [...w.getClientRects()].at(-1); \
               return stop.top > last.bottom - 4; }).map((w) => w.textContent)",
        );
        assert_eq!(loose, json!([]), "{width}");
        let wide = browser.js("return [document.documentElement.scrollWidth - document.documentElement.clientWidth, \
             Math.max(...[...document.querySelectorAll('.cell')].map((c) => c.offsetWidth))]");
        let beyond = browser.js(
            "return [...document.querySelectorAll('body *')].filter((e) => e.checkVisibility() && e.getBoundingClientRect().right > innerWidth + 1 \
               && !e.closest('.scroll, .outcomes, svg')).slice(0, 6).map((e) => e.outerHTML.slice(0, 160))",
        );
        assert_eq!(wide[0], 0, "{width}: {beyond}");
        // A cell is as wide as its figure needs and not as a name is: 9.5 rem on a phone, a fifth of the page beside it.
        assert!(wide[1].as_f64().is_some_and(|w| w < 240.0), "{width}: {wide}");
    }
    assert_eq!(browser.console(), Vec::<String>::new());
}

#[test]
fn a_word_opens_by_space_and_by_enter_and_nothing_plays() {
    let Some(browser) = browser() else { return };
    let open = Open::new();
    open.visit(&browser);
    browser.until(READY);
    for key in [ENTER, " "] {
        browser.js("document.querySelector('[data-key=\"clock.slow.rate\"]').focus()");
        browser.press(&[key]);
        browser.until("return document.activeElement.closest('#editor') !== null");
        browser.press(&[ESCAPE]);
        browser.until("return document.activeElement.matches('[data-key=\"clock.slow.rate\"]')");
    }
    assert_eq!(browser.js("return hitgap.sound.playing()"), json!(false));
}

/// By hand (the design's section 5): Wren's clock must come later than the reset, and may be late by the max gap of 2 ms.
#[test]
fn the_window_of_the_input_that_is_chosen_is_drawn() {
    let Some(browser) = browser() else { return };
    let open = Open::new();
    let axe = checker();
    let ask = |input: &str| {
        browser.js(&format!(
            "document.getElementById('counsel-one').open = true; const on = document.getElementById('counsel-on'); on.value = 'sequencer.{input}'; on.dispatchEvent(new Event('change')); \
             if (document.getElementById('counsel-answer').hidden) document.getElementById('counsel-ask').click()"
        ));
        browser.until(&format!(
            "return [...document.querySelectorAll('#counsel-window text')].some((t) => t.textContent.includes('{input}')) \
             && document.getElementById('counsel-state').textContent === ''"
        ));
    };
    for (width, scheme, shown) in [(390, "light", "narrow"), (1280, "dark", "wide")] {
        browser.look(width, scheme);
        open.visit(&browser);
        browser.until(READY);
        ask("wren.clock");
        let drawn = browser.js(
            "const [own, ...more] = [...document.querySelectorAll('#counsel-window svg')].filter((s) => s.checkVisibility()); \
             const name = own.getAttribute('aria-labelledby').split(' ').map((id) => document.querySelectorAll(`[id=\"${id}\"]`)); \
             const ids = [...document.querySelectorAll('[id]')].map((e) => e.id); \
             return { more: more.length, in: own.parentElement.className, role: own.getAttribute('role'), once: name.every((all) => all.length === 1), \
               says: name.map(([e]) => e.textContent).join('. '), twice: ids.filter((id, n) => ids.indexOf(id) !== n), \
               lead: document.getElementById('counsel-lead').textContent, area: own.querySelectorAll('.hg-area').length, \
               wide: document.documentElement.scrollWidth > innerWidth, \
               seen: getComputedStyle(own.querySelector('.hg-area')).fill !== 'rgb(0, 0, 0)' }",
        );
        assert_eq!(
            json!([
                drawn["more"],
                drawn["in"],
                drawn["role"],
                drawn["once"],
                drawn["twice"],
                drawn["wide"],
                drawn["seen"]
            ]),
            json!([0, shown, "img", true, [], false, true]),
            "{width}"
        );
        let says = drawn["says"].as_str().expect("a text");
        assert!(says.starts_with("Which delays will do. Acceptable delays over tempo. At 50: 0.01 to 2 ms."), "{says}");
        assert!(drawn["area"].as_u64().is_some_and(|n| n > 0), "{drawn}");
        let lead = drawn["lead"].as_str().expect("a sentence");
        assert_eq!(lead, "0.01 to 2 ms more delay on wren's clock puts everybody on the one at every tempo.");
        assert_eq!(torn(&browser), json!([]), "{width}");
        if let Some(axe) = &axe {
            browser.js("document.querySelector('#counsel details').open = true");
            browser.js(axe);
            check(&browser, &format!("advice at {width}"));
        }
        // Another input, another picture: of Ox nothing can be late that mends Wren.
        ask("ox.clock");
    }
    assert_eq!(browser.console(), Vec::<String>::new());
}
