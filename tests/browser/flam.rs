//! The page of two voices a time apart.

use super::access::nothing_serious;
use super::driver::{browser, url};
use super::hostile::{stays_within, texts_are_apart};
use super::made::made;
use super::plays::gaps_heard;
use serde_json::json;

/// A dial of 100 divisions on an output that pulses once in 8 beats: 80 ms at 60 and 40 ms at 120.
#[test]
fn two_voices_are_heard_and_drawn_as_far_apart_as_it_says() {
    let Some(browser) = browser() else { return };
    let args = ["flam", "--phase", "1%,-1%", "--rate", "1 per 8 beats", "--tempo", "60,120", "--voices", "kick,snare"];
    let made = made(&[&args[..], &["--page"]].concat(), "flam.kick+snare.html");
    browser.requests();
    browser.visit(&made.page);
    browser.click("play");
    browser.until("return hitgap.sound.position() > 0");
    // The diagram is that of the version and tempo that are chosen.
    let drawn = "document.querySelector('.wires').open = true; const seen = [...document.querySelectorAll('[data-timing] svg')].filter((s) => s.checkVisibility()); \
                 return [seen.length, seen[0].textContent]";
    for (keys, gap) in [(["2", "t"], "snare 40 ms after kick"), (["3", "t"], "kick 80 ms after snare")] {
        browser.press(&keys);
        let seen = browser.js(drawn);
        assert_eq!(seen[0], 1);
        assert!(seen[1].as_str().is_some_and(|t| t.contains(gap)), "{gap}: {seen}");
        assert_eq!(browser.js("return document.getElementById('now-gap').textContent"), gap);
    }
    browser.press(&["1"]);
    let seen = browser.js(drawn);
    assert_eq!(seen[0], 1);
    assert!(seen[1].as_str().is_some_and(|t| t.contains("together at 60") && !t.contains("after")), "{seen}");
    browser.click("play");
    assert_eq!(browser.console(), Vec::<String>::new());
    assert_eq!(browser.requests(), [url(&made.page)]);
    assert_eq!(gaps_heard(&browser, &[(0, 1), (1, 1), (0, 2)]), [80.0, 40.0, 80.0]);
    assert_eq!(browser.js("return hitgap.data.tempos.map((t) => t.note)"), json!([null, null]));
    nothing_serious(&browser, &made.page, &["document.querySelectorAll('details').forEach((d) => { d.open = true; })"]);
    stays_within(&browser, "two voices");
    texts_are_apart(&browser, "two voices");
}
