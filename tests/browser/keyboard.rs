//! Every kind of page by keys alone: what can be clicked is reached, the focus is seen wherever it goes, and what the page is for is done.

use super::by_keys::{
    a_blind_test_is_taken, a_listening_page_is_worked, everything_is_reached, everything_is_reached_there_and_back,
    find_the_level, has_focus, open, text, the_grid_is_gone_through, the_player_is_worked, to,
};
use super::driver::{DOWN, ENTER, TAB, UP};
use super::made::{SMALL, compare, late_bell, lesson, made, patches};
use serde_json::{Value, json};
use std::collections::BTreeSet;

#[test]
fn a_comparison_is_worked_by_keys_alone() {
    let Some(browser) = open(late_bell()) else { return };
    a_listening_page_is_worked(&browser, "a comparison");
    // On a phone's width, with the bar as high as it gets.
    browser.look(360, "light");
    browser.press(&[TAB]);
    to(&browser, "blind-begin");
    browser.press(&[ENTER]);
    everything_is_reached(&browser, "a blind test", true);
}

/// Three boxes, and more tempos than lie side by side: a grid that scrolls both ways under its own heads.
#[test]
fn a_wide_grid_is_worked_by_keys_alone() {
    let more = [&["--tempo", "60,75,90,105,120,135,150"], &SMALL[..]].concat();
    let Some(browser) = open(&compare(&patches().join("half-and-double.toml"), &more)) else { return };
    for width in [1280, 360] {
        browser.look(width, "light");
        the_grid_is_gone_through(&browser, "");
    }
}

/// Versions that are not made at every tempo.
#[test]
fn a_sweep_is_worked_by_keys_alone() {
    let args =
        ["sweep", "patches/late-bell.toml", "--on", "clock.slow", "--phase", "0%..2%:0.25%", "--tempo", "160,50"];
    let page = made(&[&args[..], &["--until-over", "--page"], &SMALL].concat(), "late-bell.original.slow.html");
    let Some(browser) = open(&page) else { return };
    a_listening_page_is_worked(&browser, "a sweep");
}

#[test]
fn a_flam_is_worked_by_keys_alone() {
    let args = ["flam", "--delay", "5ms,20ms", "--tempo", "60,120", "--voices", "kick,snare", "--page"];
    let Some(browser) = open(&made(&[&args[..], &SMALL].concat(), "flam.kick+snare.html")) else { return };
    a_listening_page_is_worked(&browser, "a flam");
}

#[test]
fn an_advice_is_worked_by_keys_alone() {
    let args = ["advise", "patches/late-bell.toml", "--on", "wren.clock", "--components", "patches/components.toml"];
    let page = made(&[&args[..], &["--tempo", "80,160", "--page"]].concat(), "late-bell.original.wren.clock.html");
    let Some(browser) = open(&page) else { return };
    a_listening_page_is_worked(&browser, "an advice");
}

/// Answers of a box that reads next-clock, as the reference has them, by arrows; the lines are copied.
#[test]
fn a_box_is_identified_by_keys_alone() {
    let args = ["identify", "patches/late-bell.toml", "--sequencer", "wren", "--page"];
    let Some(browser) = open(&made(&[&args[..], &SMALL].concat(), "late-bell.wren.identify.html")) else { return };
    a_listening_page_is_worked(&browser, "a tried box");
    to(&browser, "hear 0/1");
    browser.press(&[ENTER]);
    browser.until("return document.getElementById('said').textContent === 'playing test 1, answer b'");
    to(&browser, "identify-stop");
    browser.press(&[ENTER]);
    browser.until("return !hitgap.sound.playing()");
    for (test, answer) in [(0, "1"), (1, "0"), (2, "1")] {
        to(&browser, &format!("radio identify-{test}"));
        // All answers are come to, round and round.
        let mut seen = BTreeSet::new();
        let value = || browser.js("return document.activeElement.value").as_str().expect("a value").to_owned();
        while seen.insert(value()) {
            browser.press(&[DOWN]);
        }
        let count = browser.js("return document.querySelectorAll(`[name=\"${document.activeElement.name}\"]`).length");
        assert_eq!(count, json!(seen.len()));
        while value() != answer {
            browser.press(&[DOWN]);
        }
        has_focus(&browser, &format!("radio identify-{test}"));
    }
    assert_eq!(text(&browser, "identify-toml"), "reset-mode = \"next-clock\"");
    everything_is_reached(&browser, "a box that is identified", true);
    to(&browser, "button Hear it in your patch");
    browser.press(&[ENTER]);
    browser.until("return document.getElementById('said').textContent.startsWith('playing reads next-clock')");
    to(&browser, "identify-copy");
    browser.press(&[ENTER]);
    assert!(!text(&browser, "identify-copied").is_empty());
    assert_eq!(browser.console(), Vec::<String>::new());
}

/// From the index through the chapters, each folded and opened by its heading, to the class.
#[test]
fn a_lesson_is_worked_by_keys_alone() {
    let Some(browser) = open(lesson()) else { return };
    let chapters = browser.js("return hitgap.chapters.pages.length").as_u64().expect("a number");
    for n in 1..=chapters {
        let heading = format!("chapter-{n}-heading");
        to(&browser, &heading);
        if browser.js("return document.activeElement.getAttribute('aria-expanded')") == "false" {
            browser.press(&[ENTER]);
        }
        has_focus(&browser, &heading);
        assert_eq!(browser.js("return hitgap.chapters.number()"), json!(n - 1));
        everything_is_reached(&browser, &format!("chapter {n}"), true);
        the_player_is_worked(&browser, &format!("c{n}-"));
        if n == chapters {
            the_grid_is_gone_through(&browser, &format!("c{n}-"));
            a_blind_test_is_taken(&browser, &format!("c{n}-"));
        }
    }
    assert_eq!(browser.console(), Vec::<String>::new());
}

/// Files by the browser's own dialog, which the driver answers; then the table is printed and put away.
#[test]
fn a_class_is_shown_by_keys_alone() {
    let Some(browser) = open(lesson()) else { return };
    browser.js("window.prints = 0; window.print = () => { window.prints += 1; }");
    let file = lesson().folder.join("ox.json");
    std::fs::write(&file, super::class::test("Ox", 14, 16).to_string()).expect("a file");
    to(&browser, "class-files");
    browser.choose_file("class-files", &file);
    browser.until("return !document.getElementById('class-shown').hidden");
    assert_eq!(browser.js("return document.querySelectorAll('#class-rows tr').length"), 1);
    everything_is_reached(&browser, "a class", true);
    to(&browser, "class-print");
    browser.press(&[ENTER]);
    assert_eq!(browser.js("return window.prints"), 1);
    browser.js("window.dispatchEvent(new Event('afterprint'))");
    to(&browser, "class-clear");
    browser.press(&[" "]);
    assert_eq!(browser.js("return document.getElementById('class-shown').hidden"), Value::Bool(true));
    assert_eq!(browser.console(), Vec::<String>::new());
}

/// A session from its setting up to the file that it saves: the level found, practice skipped, two answers given.
#[test]
fn a_training_is_worked_by_keys_alone() {
    let page = made(&["train"], "train.kick+snare.90bpm.html");
    let Some(browser) = open(&page) else { return };
    everything_is_reached_there_and_back(&browser, "setting up");
    to(&browser, "radio task");
    let first = browser.js("return document.activeElement.value");
    browser.press(&[DOWN]);
    assert_ne!(browser.js("return document.querySelector('[name=\"task\"]:checked').value"), first);
    browser.press(&[UP]);
    to(&browser, "begin");
    browser.press(&[ENTER]);
    has_focus(&browser, "hear");
    browser.press(&[ENTER]);
    find_the_level(&browser, "");
    browser.until("return !document.getElementById('answer-1').disabled");
    everything_is_reached(&browser, "a trial", true);
    to(&browser, "answer-2");
    browser.press(&[ENTER]);
    has_focus(&browser, "hear");
    to(&browser, "skip");
    browser.press(&[ENTER]);
    for _ in 0..2 {
        to(&browser, "hear");
        browser.press(&[" "]);
        browser.until("return !document.getElementById('answer-1').disabled");
        to(&browser, "answer-1");
        browser.press(&[" "]);
    }
    to(&browser, "stop");
    browser.press(&[ENTER]);
    assert_eq!(browser.js("return document.activeElement.id"), "outcome");
    everything_is_reached(&browser, "its end", true);
    to(&browser, "save");
    browser.press(&[ENTER]);
    browser.until("return window.saved.length > 0");
    let saved = browser.js("return window.saved.pop()");
    let session = hitgap::ear::Session::parse(saved.as_str().expect("text")).expect("a session");
    assert_eq!(session.trials.len(), 2);
    to(&browser, "again");
    browser.press(&[ENTER]);
    has_focus(&browser, "begin");
    assert_eq!(browser.console(), Vec::<String>::new());
}
