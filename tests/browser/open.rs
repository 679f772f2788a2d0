//! A page that follows its patch: it takes each change over while it plays, and loses nothing that was chosen.

use super::access::nothing_serious_there;
use super::driver::{Browser, browser};
use super::made::patches;
use super::plays::gaps_heard;
use serde_json::{Value, json};
use std::io::{BufRead, BufReader};
use std::path::PathBuf;
use std::process::{Child, Command, Stdio};
use tempfile::TempDir;

/// A served patch, which ends with this.
pub(crate) struct Open {
    child: Child,
    pub(super) address: String,
    patch: PathBuf,
    text: String,
    _dir: TempDir,
}

impl Drop for Open {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

impl Open {
    /// Of a copy of the late bell.
    pub(crate) fn new() -> Self {
        let dir = TempDir::new().expect("a temporary folder");
        let patch = dir.path().join("late-bell.toml");
        let text = std::fs::read_to_string(patches().join("late-bell.toml")).expect("an example");
        std::fs::write(&patch, &text).expect("a copy");
        let named = patch.to_str().expect("a plain path").to_owned();
        Self::started(dir, patch, text, &[&named])
    }

    /// With these words behind `open`, in a folder.
    pub(super) fn started(dir: TempDir, patch: PathBuf, text: String, words: &[&str]) -> Self {
        let mut command = Command::new(env!("CARGO_BIN_EXE_hitgap"));
        command.current_dir(dir.path()).arg("open").args(words).arg("--no-open");
        let mut child =
            command.stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::null()).spawn().expect("it starts");
        let mut out = BufReader::new(child.stdout.take().expect("a pipe"));
        let mut first = String::new();
        out.read_line(&mut first).expect("an address");
        let address = first.trim_end().strip_prefix("Open ").expect("an address").to_owned();
        std::thread::spawn(move || std::io::copy(&mut out, &mut std::io::sink()));
        Self { child, address, patch, text, _dir: dir }
    }

    pub(crate) fn visit(&self, browser: &Browser) {
        browser.go(&self.address);
        browser.until("return document.documentElement.dataset.ready === 'true'");
        browser.js("hitgap.level.confirm()");
    }

    /// The patch as it was.
    pub(super) fn text(&self) -> &str {
        &self.text
    }

    /// Saves the patch with words of it replaced.
    pub(super) fn save(&self, changes: &[(&str, &str)]) {
        let mut text = self.text.clone();
        for (from, to) in changes {
            assert!(text.contains(from), "no {from:?}");
            text = text.replace(from, to);
        }
        std::fs::write(&self.patch, text).expect("saved");
    }
}

const PHASE: &str = "set.\"clock.slow.phase\" = \"1 %\"";
const TEMPOS: &str = "tempos = [50, 80, 120, 160]";

/// Waits for an edition, or a later one: levels that nobody has measured yet bring one more.
fn edition(browser: &Browser, number: u64) {
    browser.until(&format!("return hitgap.live.edition() >= {number}"));
}

#[test]
fn a_change_is_taken_over_while_it_plays() {
    let Some(browser) = browser() else { return };
    let open = Open::new();
    browser.requests();
    open.visit(&browser);
    assert!(browser.js("return location.pathname + document.cookie") == "/", "no secret stays where others see it");
    browser.js("hitgap.player.select(2, 1)");
    browser.click("play");
    browser.until("return hitgap.sound.position() > 0.3");
    let place = "const s = hitgap.sound, c = s.context(); return [c.currentTime, s.position(), hitgap.data.tempos[hitgap.state.tempo].barMs * hitgap.state.bars / 1000, s.playing()]";
    let before = browser.js(place);
    browser.js("document.querySelector('.cell[aria-selected=true]').focus(); document.querySelector('details.table').open = true");
    open.save(&[(PHASE, "set.\"clock.slow.phase\" = \"3 %\"")]);
    edition(&browser, 2);
    // On at the same place, by the graph's clock, before the new loop begins and after.
    let still = |after: &Value| {
        let number = |v: &Value, n: usize| v[n].as_f64().expect("a number");
        let slip = ((number(after, 1) - number(&before, 1)) - (number(after, 0) - number(&before, 0)))
            .rem_euclid(number(&before, 2));
        assert_eq!(after[3], true);
        assert!(slip.min(number(&before, 2) - slip) < 1e-6, "{before} {after}");
    };
    still(&browser.js(place));
    browser.js("window.since = hitgap.sound.context().currentTime");
    browser.until("return hitgap.sound.context().currentTime > window.since + 0.2");
    still(&browser.js(place));
    // By hand: 3 % of two beats at 120 is 30 ms. What is played, what is said, what is drawn.
    assert_eq!(gaps_heard(&browser, &[(2, 1)]), [30.0]);
    browser
        .until("return [...document.querySelectorAll('.lanes .apart .figure')].some((f) => f.textContent === '30 ms')");
    let said = browser.js(
        "const cell = document.querySelector('.cell[aria-selected=true]'); \
         return [document.getElementById('now-gap').textContent, cell.textContent, document.querySelector('details.table').textContent].map((t) => t.includes('30 ms')) \
           .concat([document.activeElement === cell, document.querySelector('details.table').open, document.querySelectorAll('.cell[aria-selected=true]').length === 1])",
    );
    assert_eq!(said, json!([true, true, true, true, true, true]));
    // Tempos and fixes have become others: the tempo and the version at hand are found by their names.
    open.save(&[
        (TEMPOS, "tempos = [60, 120]"),
        (PHASE, "set.\"clock.slow.phase\" = \"2 %\""),
        ("[fix.or-gate]", "[fix.gate]"),
    ]);
    edition(&browser, 3);
    let now = browser.js(
        "return [hitgap.data.tempos.map((t) => t.bpm), hitgap.state.tempo, hitgap.data.variants.map((v) => v.name), \
         [...document.getElementById('tempo').options].map((o) => o.textContent), document.getElementById('tempo').value, hitgap.sound.playing()]",
    );
    assert_eq!(
        (&now[0], &now[1], &now[3], &now[4], &now[5]),
        (&json!(["60", "120"]), &json!(1), &json!(["60", "120"]), &json!("1"), &json!(true))
    );
    assert_eq!(browser.js("return hitgap.data.variants[hitgap.state.version].name"), "phase");
    // A click in the new grid plays there.
    browser.js("document.querySelector('[data-cell=\"0/1\"]').click()");
    browser.until("return document.getElementById('now-tempo').textContent === 'at 60' && hitgap.sound.playing()");
    assert_eq!(browser.console(), Vec::<String>::new());
    let own = open.address.split("/enter/").next().expect("an origin").to_owned();
    let asked = browser.requests();
    assert!(
        asked.len() > 4
            && asked.iter().all(|a| a.starts_with(&own) || a.starts_with("data:") || a.starts_with("blob:")),
        "{asked:?}"
    );
}

#[test]
fn a_fault_is_shown_and_what_was_good_goes_on() {
    let Some(browser) = browser() else { return };
    let open = Open::new();
    open.visit(&browser);
    browser.click("play");
    browser.until("return hitgap.sound.position() > 0");
    open.save(&[("reset-mode = \"next-clock\"", "reset-mode = \"<b>next\"")]);
    browser.until("return document.getElementById('live-fault').textContent !== ''");
    let shown = browser.js(
        "const fault = document.getElementById('live-fault'); \
         return [fault.getAttribute('role'), fault.textContent, fault.checkVisibility(), fault.children.length, hitgap.sound.playing(), hitgap.live.edition()]",
    );
    assert_eq!(
        (&shown[0], &shown[2], &shown[3], &shown[4], &shown[5]),
        (&json!("alert"), &json!(true), &json!(0), &json!(true), &json!(1))
    );
    assert!(
        shown[1].as_str().is_some_and(|t| t.starts_with("error: ") && t.contains("<b>next") && t.contains("help: ")),
        "{shown}"
    );
    // Somebody who comes now hears of it too.
    open.visit(&browser);
    browser.until("return document.getElementById('live-fault').textContent !== ''");
    open.save(&[(PHASE, "set.\"clock.slow.phase\" = \"3 %\"")]);
    edition(&browser, 2);
    assert_eq!(browser.js("return document.getElementById('live-fault').textContent"), "");
    assert_eq!(browser.console(), Vec::<String>::new());
    open.save(&[("reset-mode = \"next-clock\"", "reset-mode = \"next\"")]);
    browser.until("return document.getElementById('live-fault').textContent !== ''");
    nothing_serious_there(
        &browser,
        &|| open.visit(&browser),
        &["", "document.querySelectorAll('details').forEach((d) => { d.open = true; })"],
    );
}

/// What is answered in a test is of the versions with which it was begun.
#[test]
fn a_blind_test_is_not_disturbed() {
    let Some(browser) = browser() else { return };
    let open = Open::new();
    open.visit(&browser);
    browser.click("blind-begin");
    let names = browser.js("return document.getElementById('blind-names').textContent");
    open.save(&[(PHASE, "set.\"clock.slow.phase\" = \"3 %\"")]);
    browser.until("return document.getElementById('live-says').textContent.startsWith('The patch has changed')");
    assert_eq!(browser.js("return [hitgap.live.edition(), hitgap.blind.running()]"), json!([1, true]));
    assert_eq!(browser.js("return document.getElementById('blind-names').textContent"), names);
    browser.click("blind-cancel");
    edition(&browser, 2);
    assert_eq!(browser.console(), Vec::<String>::new());
}
