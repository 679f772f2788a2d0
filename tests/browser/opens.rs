//! It opens, by itself, and lets nothing else in.

use super::driver::{browser, url};
use super::made::late_bell;
use serde_json::Value;

#[test]
fn opens_from_disk_without_an_error_or_a_request() {
    let Some(browser) = browser() else { return };
    let made = late_bell();
    // What was asked for before is the browser's own first page.
    browser.requests();
    browser.visit(&made.page);
    browser.click("play");
    browser.until("return hitgap.sound.position() > 0");
    browser.js("hitgap.player.tempo(1); hitgap.player.version(1);");
    browser.click("play");
    assert_eq!(browser.console(), Vec::<String>::new());
    // The page itself is in the log, so the log works; nothing else is.
    assert_eq!(browser.requests(), [url(&made.page)]);
    // A control: a page that asks for something is seen to.
    let asking = made.folder.join("asking.html");
    std::fs::write(&asking, "<!doctype html><img src=\"nothing.png\" alt=\"\">").expect("a file");
    browser.go(&url(&asking));
    assert_eq!(browser.requests().len(), 2);
}

/// Puts an inline script into the page, and asks for a file beside it.
const BREAK_IN: &str = "window.seen = []; \
    addEventListener('securitypolicyviolation', (e) => window.seen.push(e.effectiveDirective)); \
    const script = document.createElement('script'); script.textContent = 'window.brokenIn = true'; document.body.append(script); \
    const style = document.createElement('style'); style.textContent = 'h1 { letter-spacing: 7px }'; document.head.append(style); \
    const image = document.createElement('img'); image.src = 'data:image/gif;base64,R0lGODlhAQABAAAAACw='; document.body.append(image); \
    const asked = await fetch('https://example.invalid/').then(() => 'answered', () => 'refused'); \
    await new Promise((done) => setTimeout(done, 200)); \
    return { ran: window.brokenIn === true, seen: window.seen.sort(), asked, letters: getComputedStyle(document.querySelector('h1')).letterSpacing };";

#[test]
fn the_policy_is_in_force() {
    let Some(browser) = browser() else { return };
    let made = late_bell();
    browser.visit(&made.page);
    let policy = browser.js("return document.querySelector('meta[http-equiv=\"Content-Security-Policy\"]').content");
    let policy = policy.as_str().expect("a policy");
    assert!(policy.starts_with("default-src 'none'; script-src 'sha256-"), "{policy}");
    assert!(!policy.contains("unsafe") && !policy.contains('*') && !policy.contains("http"), "{policy}");
    let tried = browser.run(BREAK_IN);
    assert_eq!(tried["ran"], Value::Bool(false));
    assert_eq!(tried["letters"], "normal");
    let seen: Vec<&str> = tried["seen"].as_array().expect("a list").iter().filter_map(Value::as_str).collect();
    assert_eq!(seen, ["connect-src", "img-src", "script-src-elem", "style-src-elem"]);
    // A control: without a policy the same gets in.
    let open = made.folder.join("open.html");
    std::fs::write(&open, "<!doctype html><title>open</title><h1>open</h1>").expect("a file");
    browser.go(&url(&open));
    let tried = browser.run(BREAK_IN);
    assert_eq!((&tried["ran"], &tried["letters"]), (&Value::Bool(true), &Value::from("7px")));
    assert_eq!(tried["seen"].as_array().map(Vec::len), Some(0));
}

#[test]
fn the_page_comes_first_in_what_is_printed() {
    let made = late_bell();
    let first = made.printed.lines().find(|l| l.contains(made.folder.to_str().expect("text"))).expect("a path");
    assert!(first.starts_with("Open first ") && first.contains(made.page.to_str().expect("text")), "{first}");
    let bytes = std::fs::metadata(&made.page).expect("the page").len();
    assert!(bytes < 8_000_000, "{bytes}");
}
