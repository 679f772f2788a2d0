//! Titles, notes and names that would break out, turn what stands beside them or push the page apart: text, all of it.

use super::driver::{Browser, browser};
use super::made::{Made, compare, late_bell, patches};
use serde_json::Value;

/// As wide as a phone, and wider.
const WIDTHS: [u32; 3] = [360, 800, 1400];

/// Nothing scrolls sideways: the document is no wider than the view, and no element reaches out of it but within a box that
/// scrolls by itself.
pub(crate) fn stays_within(browser: &Browser, what: &str) {
    for width in WIDTHS {
        for scheme in ["light", "dark"] {
            browser.look(width, scheme);
            browser.js("document.querySelectorAll('details').forEach((d) => { d.open = true; })");
            let out = browser.js(
                "const wide = document.documentElement.clientWidth; \
                 const out = [...document.body.querySelectorAll('*')].filter((e) => e.checkVisibility() && !e.closest('.scroll, .outcomes.many, svg, dialog, option') \
                   && e.getBoundingClientRect().right > wide + 0.5).map((e) => e.outerHTML.slice(0, 100)); \
                 const over = (e) => e.scrollWidth > e.clientWidth + 1 && e.clientWidth > 0 && getComputedStyle(e).overflowX === 'visible'; \
                 return [document.documentElement.scrollWidth > wide, out, document.documentElement.scrollWidth > wide ? [...document.body.querySelectorAll('*')].filter((e) => e.checkVisibility() && over(e)).map((e) => e.outerHTML.slice(0, 120)) : []];",
            );
            assert_eq!(out, serde_json::json!([false, [], []]), "{what} at {width}, {scheme}");
        }
    }
}

/// Texts do not lie on each other: no two boxes of text elements overlap. The bar lies over all of them, and what only a reader of the screen
/// hears lies nowhere.
pub(crate) fn texts_are_apart(browser: &Browser, what: &str) {
    for width in WIDTHS {
        browser.look(width, "light");
        let met = browser.js(
            "const boxes = []; const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT); \
             while (walk.nextNode()) { const t = walk.currentNode; const e = t.parentElement; \
               if (!t.textContent.trim() || !e.checkVisibility() || e.closest('script, style, svg, select, dialog, .scroll, .outcomes.many, .bar, .aside')) continue; \
               const grid = e.closest('.outcomes'); if (grid && grid.scrollHeight > grid.clientHeight + 1) continue; \
               const r = document.createRange(); r.selectNodeContents(t); \
               for (const b of r.getClientRects()) if (b.width > 0) boxes.push([t, b]); } \
             boxes.length = Math.min(boxes.length, 900); const met = []; \
             for (let i = 0; i < boxes.length; i += 1) for (let j = 0; j < i; j += 1) { \
               const [s, a] = boxes[i], [t, b] = boxes[j]; \
               if (s !== t && a.left < b.right - 1 && b.left < a.right - 1 && a.top < b.bottom - 6 && b.top < a.bottom - 6) \
                 met.push([s.textContent.slice(0, 40), t.textContent.slice(0, 40)]); } \
             return met;",
        );
        assert_eq!(met, serde_json::json!([]), "{what} at {width}");
    }
}

/// The late bell under another title and note.
fn titled(title: &str, note: &str) -> Made {
    let text = std::fs::read_to_string(patches().join("late-bell.toml")).expect("an example");
    let begin = text.find("tempos = ").expect("its tempos");
    let quoted = |s: &str| serde_json::to_string(s).expect("text");
    // TOML's basic strings and JSON's have the same escapes, but for the slash, which neither needs.
    let text = format!("title = {}\nnote = {}\n{}", quoted(title), quoted(note), &text[begin..]);
    let text = text.replace("about = \"a logic gate in Wren's clock\"", &format!("about = {}", quoted(note)));
    let dir = tempfile::TempDir::new().expect("a temporary folder");
    let patch = dir.path().join("hostile.toml");
    std::fs::write(&patch, text).expect("a patch");
    compare(&patch, &["--tempo", "120", "--bars", "2"])
}

#[test]
fn hostile_texts_stay_text() {
    let Some(browser) = browser() else { return };
    let breaking = "</title></script><script>window.brokenIn = true</script><img src=x onerror=\"window.brokenIn = true\"> \
                    \"quoted\" 'single' & &amp; {{script}} <!-- --> ]]>";
    // Marks that turn or hide text are refused in a patch; letters that run from right to left are letters.
    let turning = "שלום עולם backwards? مرحبا 🥁🔔 e\u{301}";
    let long = "x".repeat(10_000);
    for (title, note) in [(breaking, breaking), (turning, turning), (&long, &long), ("<", "𝔘&lt;")] {
        let made = titled(title, note);
        browser.visit(&made.page);
        let page = browser.js(
            "return { broken: window.brokenIn === true, images: document.querySelectorAll('img, iframe, object, embed, a[href]').length, \
             scripts: document.querySelectorAll('script').length, h1: document.querySelector('h1').textContent, \
             title: document.title, note: document.querySelector('.note').textContent, \
             about: document.querySelectorAll('.about')[1].textContent }",
        );
        assert_eq!(page["broken"], Value::Bool(false));
        assert_eq!((&page["images"], &page["scripts"]), (&Value::from(0), &Value::from(2)));
        assert_eq!(page["h1"], title);
        assert_eq!(page["note"], note);
        assert_eq!(page["about"], note);
        // Where `title` is read, blanks are folded.
        let folded = title.split_whitespace().collect::<Vec<_>>().join(" ");
        assert_eq!(page["title"], folded);
        browser.click("blind-begin");
        assert_eq!(browser.console(), Vec::<String>::new());
        let short: String = title.chars().take(30).collect();
        stays_within(&browser, &short);
        texts_are_apart(&browser, &short);
    }
}

#[test]
fn nothing_overlaps_or_scrolls_sideways() {
    let Some(browser) = browser() else { return };
    let text = std::fs::read_to_string(patches().join("three-in-the-basket.toml")).expect("an example");
    // A third box, and names as long as people make them.
    let text = text.replace(
        "[voice.floor-drum]",
        "[sequencer.moth-who-blinks-behind-the-lantern-and-is-never-on-time]\nclock = \"sixteenths\"\nreset = \"home\"\n\
         reset-mode = \"next-clock\"\nsteps = \"X.......x.......\"\nvoice = \"snare\"\n\n[voice.floor-drum]",
    );
    let text = format!(
        "{text}\n[fix.everything-a-little-later-than-the-lantern-would-have-it]\nabout = \"a fix with a long name\"\n\
         set.\"sequencer.ox.reset-mode\" = \"next-clock\"\n"
    );
    let dir = tempfile::TempDir::new().expect("a temporary folder");
    let patch = dir.path().join("long-names.toml");
    std::fs::write(&patch, text).expect("a patch");
    let long = compare(&patch, &["--bars", "2"]);
    for (made, what) in [(late_bell(), "the late bell"), (&long, "long names")] {
        browser.visit(&made.page);
        stays_within(&browser, what);
        texts_are_apart(&browser, what);
        browser.click("blind-begin");
        stays_within(&browser, what);
        texts_are_apart(&browser, what);
        // On a phone each picture is the one drawn for it: a label of 13 units has ten pixels or more.
        browser.look(360, "light");
        let sizes = browser
            .js("return [...document.querySelectorAll('.drawn svg')].filter((s) => s.checkVisibility()) \
             .map((s) => 13 * s.getBoundingClientRect().width / s.viewBox.baseVal.width)");
        let sizes: Vec<f64> = sizes.as_array().expect("sizes").iter().filter_map(Value::as_f64).collect();
        assert!(sizes.len() == 2 && sizes.iter().all(|s| *s >= 10.0), "{sizes:?}");
    }
}
