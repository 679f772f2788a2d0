//! A lesson's page: one chapter is open at a time, and only it sounds.

use super::access::nothing_serious;
use super::driver::{Browser, ENTER, TAB, browser, url};
use super::hostile::{stays_within, texts_are_apart};
use super::made::lesson;
use serde_json::json;

/// The chapters whose inside is in sight, from 1 on; the same as what is told to those who do not see it.
fn open(browser: &Browser) -> Vec<u64> {
    let seen = browser.js("const all = [...document.querySelectorAll('[data-chapter]')]; \
         const where = (f) => all.flatMap((c, n) => f(c) ? [n + 1] : []); \
         return [where((c) => c.querySelector('.inside').checkVisibility()), \
           where((c) => c.querySelector('.unfold').getAttribute('aria-expanded') === 'true')];");
    assert_eq!(seen[0], seen[1]);
    seen[0].as_array().expect("chapters").iter().filter_map(serde_json::Value::as_u64).collect()
}

/// Waits until this chapter's heading has the focus, and is in view.
fn heading_has_the_focus(browser: &Browser, chapter: usize) {
    browser.until(&format!(
        "const e = document.activeElement, b = e.getBoundingClientRect(); \
         return e.id === 'chapter-{chapter}-heading' && b.top >= 0 && b.bottom <= innerHeight"
    ));
}

/// Presses Tab until what a selector finds has the focus.
fn to(browser: &Browser, selector: &str) {
    for _ in 0..60 {
        if browser.js(&format!("return document.activeElement.matches('{selector}')")) == true {
            return;
        }
        browser.press(&[TAB]);
    }
    panic!("no Tab leads to {selector}");
}

#[test]
fn a_lesson_opens_without_an_error_or_a_request() {
    let Some(browser) = browser() else { return };
    let made = lesson();
    browser.requests();
    browser.visit(&made.page);
    assert_eq!(open(&browser), [1]);
    for chapter in 1..=5 {
        browser.click_on(&format!(".index a[href=\"#chapter-{chapter}\"]"));
        assert_eq!(open(&browser), [chapter]);
        assert_eq!(browser.js(&format!("return document.getElementById('c{chapter}-said').textContent")), "ready");
        browser.click(&format!("c{chapter}-play"));
        browser.until("return hitgap.sound.position() > 0");
        browser.press(&["2", "t"]);
        let chosen = browser.js("const { state } = hitgap.chapters.open(); return [state.version, state.tempo]");
        assert_eq!(chosen, json!([1, 1]), "chapter {chapter}");
    }
    assert_eq!(browser.console(), Vec::<String>::new());
    let page = url(&made.page);
    assert!(browser.requests().iter().all(|r| r.split('#').next() == Some(page.as_str())));
    // An address may name a chapter.
    browser.go("about:blank");
    browser.go(&format!("{page}#chapter-4"));
    browser.until("return document.documentElement.dataset.ready === 'true'");
    assert_eq!(open(&browser), [4]);
}

#[test]
fn a_link_leads_to_its_chapter_and_so_does_a_key() {
    let Some(browser) = browser() else { return };
    browser.visit(&lesson().page);
    // The index, by mouse and by keyboard.
    browser.click_on(".index a[href=\"#chapter-3\"]");
    assert_eq!(open(&browser), [3]);
    heading_has_the_focus(&browser, 3);
    browser.visit(&lesson().page);
    to(&browser, ".index a[href=\"#chapter-2\"]");
    browser.press(&[ENTER]);
    assert_eq!(open(&browser), [2]);
    heading_has_the_focus(&browser, 2);
    // From there on the chapter's own controls come, and at its end the next chapter.
    to(&browser, "#c2-play");
    to(&browser, ".next a");
    browser.press(&[ENTER]);
    assert_eq!(open(&browser), [3]);
    heading_has_the_focus(&browser, 3);
    // A heading opens its chapter and folds it, and keeps the focus.
    to(&browser, "#chapter-5-heading");
    browser.press(&[" "]);
    assert_eq!(open(&browser), [5]);
    heading_has_the_focus(&browser, 5);
    browser.press(&[ENTER]);
    assert_eq!(open(&browser), Vec::<u64>::new());
    browser.press(&[ENTER]);
    assert_eq!(open(&browser), [5]);
    // Back, as browsers go.
    browser.js("history.back()");
    browser.until("return location.hash === '#chapter-2'");
    browser.until("return hitgap.chapters.number() === 1");
    assert_eq!(open(&browser), [2]);
    assert_eq!(browser.console(), Vec::<String>::new());
}

#[test]
fn a_chapters_sound_ends_where_another_begins() {
    let Some(browser) = browser() else { return };
    browser.visit(&lesson().page);
    browser.js("hitgap.level.set(-42)");
    browser.click("c1-play");
    browser.until("return hitgap.sound.playing()");
    browser.click_on(".index a[href=\"#chapter-2\"]");
    let told = |chapter: usize| {
        browser.js(&format!(
            "return [hitgap.sound.playing(), document.getElementById('c{chapter}-play').textContent, document.getElementById('c{chapter}-said').textContent]"
        ))
    };
    assert_eq!(told(1), json!([false, "Play", "stopped"]));
    // Keys go to the chapter that is open, and the level goes with the listener.
    assert_eq!(browser.js("return document.getElementById('c2-level').value"), "-42");
    browser.press(&["p"]);
    browser.until("return hitgap.sound.playing()");
    assert_eq!(told(2)[1], "Stop");
    assert_eq!(browser.js("return document.getElementById('c1-play').textContent"), "Play");
    // Folded by its own heading it falls silent too.
    browser.click("chapter-2-heading");
    assert_eq!(told(2), json!([false, "Play", "stopped"]));
    // What a blind test plays ends as well, and the test waits where it was.
    browser.click("chapter-2-heading");
    browser.click("c2-blind-begin");
    browser.click("c2-blind-x");
    browser.until("return hitgap.sound.playing()");
    browser.click_on(".index a[href=\"#chapter-1\"]");
    assert_eq!(browser.js("return hitgap.sound.playing()"), false);
    browser.press(&["x"]);
    assert_eq!(browser.js("return hitgap.sound.playing()"), false);
    browser.click_on(".index a[href=\"#chapter-2\"]");
    assert_eq!(browser.js("return document.getElementById('c2-blind-progress').textContent"), "Trial 1 of 16");
    // Asked to play, and left before it does: nothing begins in a chapter that is shut.
    browser.run(
        "hitgap.chapters.pages[1].player.start(() => 0); hitgap.chapters.show(2); await new Promise((done) => setTimeout(done, 500));",
    );
    assert_eq!(told(2), json!([false, "Play", "stopped"]));
    assert_eq!(browser.console(), Vec::<String>::new());
}

#[test]
fn a_lesson_is_clear_to_everybody() {
    let Some(browser) = browser() else { return };
    let states: Vec<String> = (0..5)
        .map(|n| {
            format!(
                "hitgap.chapters.show({n}); hitgap.chapters.folds[{n}].querySelectorAll('details').forEach((d) => {{ d.open = true; }})"
            )
        })
        .collect();
    let more = ["document.getElementById('c5-blind-begin').click()", "document.getElementById('c5-keys-open').click()"];
    let states: Vec<&str> = states.iter().map(String::as_str).chain(more).collect();
    nothing_serious(&browser, &lesson().page, &states);
    browser.visit(&lesson().page);
    for chapter in 0..5 {
        browser.js(&format!("hitgap.chapters.show({chapter})"));
        let what = format!("chapter {}", chapter + 1);
        stays_within(&browser, &what);
        texts_are_apart(&browser, &what);
    }
}
