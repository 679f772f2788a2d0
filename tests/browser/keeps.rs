//! What a newcomer does on a served page: a cure is asked for, tried and kept without a save; a refusal keeps what was typed; limits are
//! turned by word; a tempo is heard that the patch has not; and what was chosen is there after a reload.

use super::access::nothing_serious_there;
use super::driver::{Browser, ESCAPE, browser};
use super::made::patches;
use super::open::Open;
use super::plays::gaps_heard;
use serde_json::json;
use tempfile::TempDir;

const READY: &str =
    "return document.documentElement.dataset.ready === 'true' && globalThis.hitgap?.desk?.now()?.words.length > 0";

/// A copy of the late bell without its fixes, or any other text.
fn rig(browser: &Browser, text: Option<&str>) -> Open {
    let dir = TempDir::new().expect("a folder");
    let patch = dir.path().join("rig.toml");
    let bell = std::fs::read_to_string(patches().join("late-bell.toml")).expect("an example");
    let bell = bell.split("[fix.").next().expect("a rig").to_owned();
    let text = text.map_or(bell, str::to_owned);
    std::fs::write(&patch, &text).expect("a file");
    let named = patch.to_str().expect("a plain path").to_owned();
    let open = Open::started(dir, patch, text, &[&named]);
    visit(browser, &open.address);
    open
}

fn visit(browser: &Browser, address: &str) {
    browser.go(address);
    browser.until(READY);
    browser.js("hitgap.level.confirm()");
}

/// Loads the page anew.
fn reload(browser: &Browser) {
    browser.js("window.before = true; location.reload()");
    browser.until("return window.before === undefined");
    browser.until(READY);
}

/// Waits until all of the patch is there, as it is now.
fn whole(browser: &Browser, versions: &[&str]) {
    browser.until(&format!(
        "return JSON.stringify(hitgap.data.variants.map((v) => v.name)) === {} && hitgap.data.tempos.every((t) => t.cells.every(Boolean))",
        json!(json!(versions).to_string())
    ));
}

const FIXES: &str = "hitgap.desk.now().sentences.filter((s) => s.kind === 'fix').map((s) => s.name)";

/// Nothing is saved from the first to the last: the cure is found for the whole rig, kept at once, then tried and kept after.
#[test]
fn a_cure_is_asked_for_tried_and_kept() {
    let Some(browser) = browser() else { return };
    let open = rig(&browser, None);
    browser.click("cures-ask");
    browser.until("return document.querySelectorAll('#cures tr').length > 0");
    let text = browser.js("return hitgap.desk.now().text");
    // Kept as it stands there: the patch is as it was, and a fix more.
    browser.click_on("#cures tr:first-child .pair button:last-child");
    browser.until(&format!("return {FIXES}.length === 1"));
    let kept = browser.js("return hitgap.desk.now().text");
    let (text, kept) = (text.as_str().expect("a text"), kept.as_str().expect("a text"));
    assert!(kept.starts_with(text.trim_end()), "{kept}");
    browser.until("return hitgap.data.tempos.every((t) => t.cells[1]?.state === 'together')");
    // A fix more leaves the patch as it was, of which the answer is.
    let state = || browser.js("return document.getElementById('cures-state').textContent.includes('of before')");
    assert_eq!(state(), false);
    // One is tried, then another instead of it: two cures are never mixed.
    browser.click_on("#cures tr:nth-child(1) .pair button:first-child");
    browser.until("return hitgap.data.tempos.every((t) => t.cells[0]?.state === 'together')");
    browser.until("return document.getElementById('cures-state').textContent.includes('of before')");
    let first = browser.js("return hitgap.desk.now().text");
    // Tried, and then kept: from the button beside it, in a dialog that knows since when.
    browser.click_on("#cures tr:nth-child(2) .pair button:first-child");
    browser.until(&format!(
        "return hitgap.desk.outbox.waits() === 0 && ![{}, {first}].includes(hitgap.desk.now().text)",
        json!(kept)
    ));
    browser.until("return hitgap.data.tempos.every((t) => t.cells[0]?.state === 'together')");
    browser.click_on("#cures tr:nth-child(2) .pair button:last-child");
    browser.until("return document.activeElement?.matches('#editor input[type=text]')");
    assert_eq!(browser.js("return document.querySelector('#editor input:checked').value"), "trial");
    browser.press(&["\u{e007}"]);
    browser.until(&format!("return {FIXES}.length === 2"));
    let now = browser.js("return hitgap.desk.now().text");
    assert!(now.as_str().expect("a text").starts_with(kept.trim_end()), "{now}");
    browser.until("return !document.querySelector('#editor:popover-open')");
    whole(&browser, &["original", &fix(&browser, 0), &fix(&browser, 1), "as saved"]);
    let states = browser.js("return hitgap.data.tempos.map((t) => t.cells.map((c) => c.state === 'together'))");
    assert!(states.as_array().expect("tempos").iter().all(|row| *row == json!([false, true, true, false])), "{states}");
    // One input alone, with the fix of the first cure in hand: a fix that does both.
    browser.js("hitgap.player.version(1)");
    browser.until("return hitgap.desk.fix() !== null");
    browser.js("document.getElementById('counsel-one').open = true; document.getElementById('counsel-on').value = 'sequencer.wren.clock'");
    browser.click("counsel-ask");
    browser.until("return document.querySelectorAll('#counsel-parts .pair').length > 0");
    browser.click_on("#counsel-parts .pair button:last-child");
    browser.until(&format!("return {FIXES}.length === 3"));
    assert_eq!(browser.js("return hitgap.desk.now().fault"), json!(null));
    assert_eq!(browser.console(), Vec::<String>::new());
    drop(open);
}

fn fix(browser: &Browser, n: usize) -> String {
    browser.js(&format!("return {FIXES}[{n}]")).as_str().expect("a name").to_owned()
}

/// What a fix cannot set is told in the dialog, which stays, with what was typed; another moment is chosen there, and it is kept.
#[test]
fn a_refusal_keeps_what_was_typed() {
    let Some(browser) = browser() else { return };
    let _open = rig(&browser, None);
    browser.js("hitgap.desk.edit([{ do: 'set', at: ['bars'], to: 4 }])");
    browser.until("return hitgap.desk.now().undo === 1");
    browser.js("hitgap.desk.edit([{ do: 'set', at: ['clock', 'slow', 'phase'], to: '2 %' }])");
    browser.until("return hitgap.desk.now().undo === 2");
    browser.click("desk-keep");
    browser.until("return document.activeElement?.matches('#editor input[type=text]')");
    // Never saved: since it was opened, or the last changes.
    assert_eq!(
        browser.js("return [...document.querySelectorAll('#editor input[type=radio]')].map((r) => r.value)"),
        json!(["opened", "steps"])
    );
    browser.press(&["l", "a", "t", "e", "\u{e004}", "w", "h", "y", "\u{e007}"]);
    browser.until(
        "return document.querySelector('#editor .problem[role=alert]')?.textContent.includes('`bars` has changed')",
    );
    let typed = "return [...document.querySelectorAll('#editor input[type=text]')].map((i) => i.value)";
    assert_eq!(browser.js(typed), json!(["late", "why"]));
    // Closed and opened again, it is still there.
    browser.press(&[ESCAPE]);
    browser.click("desk-keep");
    browser.until("return document.activeElement?.matches('#editor input[type=text]')");
    assert_eq!(browser.js(typed), json!(["late", "why"]));
    browser.click_on("#editor input[value=steps]");
    browser.click_on("#editor .main");
    browser.until(&format!("return {FIXES}.length === 1 && !document.querySelector('#editor:popover-open')"));
    let text = browser.js("return hitgap.desk.now().text");
    let text = text.as_str().expect("a text");
    assert!(text.contains("[fix.late]") && text.contains("set.\"clock.slow.phase\" = \"2 %\"") && text.contains("why"));
    assert!(text.contains("bars   = 4") && !text.split("[fix.").next().expect("a rig").contains("2 %"), "{text}");
    assert_eq!(browser.js("return document.activeElement.dataset.key"), "fix.late");
}

/// While the patch differs from its file, what is changed is called `now`, beside `as saved`; its data keep their names.
#[test]
fn what_is_being_changed_is_called_now() {
    let Some(browser) = browser() else { return };
    let _open = rig(&browser, None);
    let names = "return [document.getElementById('version').options[0].textContent, document.querySelector('#answers [role=rowheader] b').textContent, \
         document.getElementById('now-version').textContent, document.getElementById('desk-hear').hidden, hitgap.data.variants[0].name]";
    assert_eq!(browser.js(names), json!(["original", "original", "original", true, "original"]));
    browser.js("hitgap.desk.edit([{ do: 'set', at: ['clock', 'slow', 'phase'], to: '1 %' }])");
    whole(&browser, &["original", "as saved"]);
    browser.until("return document.querySelectorAll('#answers [role=rowheader]').length === 2");
    assert_eq!(browser.js(names), json!(["now", "now", "now", false, "original"]));
    assert_eq!(
        browser.js("return [...document.querySelectorAll('.lead b.name')].some((b) => b.textContent === 'original')"),
        false
    );
    browser.click("hear-saved");
    assert_eq!(
        browser.js("return [hitgap.state.version, document.getElementById('hear-saved').getAttribute('aria-pressed'), document.getElementById('now-version').textContent]"),
        json!([1, "true", "as saved"])
    );
    browser.click("hear-now");
    browser.click("desk-save");
    browser.until("return hitgap.desk.now().saved && hitgap.data.variants.length === 1");
    assert_eq!(browser.js(names), json!(["original", "original", "original", true, "original"]));
    assert_eq!(browser.console(), Vec::<String>::new());
}

const LIMITS: &str = "title = \"A gate\"\ntempos = [120]\nbars = 4\n[clock.a]\nrate = \"4 per beat\"\n[clock.home]\nrate = \"1 per 4 beats\"\n\
     [stage.gate]\nkind = \"delay\"\ndelay = { min = \"100 ns\", typ = \"120 ns\", max = \"250 ns\" } # as on the sheet\n\
     [sequencer.ox]\nclock = \"a\"\nsteps = \"x...\"\nvoice = \"kick\"\n\
     [sequencer.wren]\nclock = [\"a\", \"gate\"]\nreset = \"home\"\nreset-mode = \"this-clock\"\nsteps = \"x...\"\nvoice = \"snare\"\n";

#[test]
fn limits_are_turned_by_word() {
    let Some(browser) = browser() else { return };
    let _open = rig(&browser, Some(LIMITS));
    let says = |words: &str| browser.until(&format!("return hitgap.desk.now().text.includes({})", json!(words)));
    browser.click_on(".word[data-key='stage.gate.delay']");
    browser.until("return document.activeElement?.matches('#editor .limit .number')");
    assert_eq!(
        browser.js("return [...document.querySelectorAll('#editor .limit')].map((l) => [l.querySelector('input').getAttribute('aria-label'), l.querySelector('input').value, l.querySelector('select').value])"),
        json!([["between", "100", "ns"], ["and", "250", "ns"], ["usually", "120", "ns"]])
    );
    // What is out of order is told, and not sent.
    browser.press(&["3", "0", "0"]);
    assert_eq!(
        browser.js("return document.querySelector('#editor .hint').textContent"),
        "The least is more than the usual."
    );
    browser.js("document.activeElement.select()");
    browser.press(&["9", "0"]);
    says("delay = { min = \"90 ns\", typ = \"120 ns\", max = \"250 ns\" } # as on the sheet");
    let form = |words: &str| {
        browser.js(&format!(
            "[...document.querySelectorAll('#editor .presets button')].find((b) => b.textContent === {}).click()",
            json!(words)
        ))
    };
    form("give or take");
    says("delay = { value = \"120 ns\", tolerance = \"120 ns\" }");
    form("one value");
    says("delay = \"120 ns\" # as on the sheet");
    browser.until("return document.activeElement?.matches('#editor .dial .number')");
    form("between two");
    says("delay = { min = \"120 ns\", typ = \"120 ns\", max = \"120 ns\" }");
    assert_eq!(browser.js("return hitgap.desk.now().fault"), json!(null));
    assert_eq!(browser.console(), Vec::<String>::new());
}

/// By hand: 1 % of two beats is 1.2 s / bpm: 12.37 ms at 97, 12.24 at 98. What is heard at a tempo of the page's own is read from its samples.
#[test]
fn any_tempo_is_heard_and_the_patch_stays_as_it_is() {
    let Some(browser) = browser() else { return };
    let open = Open::new();
    visit(&browser, &open.address);
    browser.js("hitgap.player.select(2, 1)");
    browser.click("play");
    browser.until("return hitgap.sound.position() > 0.2");
    let turn = |bpm: u32| {
        browser.js(&format!(
            "const s = document.getElementById('tempo-slide'); s.value = String(Math.round(1000 * Math.log({bpm} / 30) / Math.log(10))); s.dispatchEvent(new Event('input'))"
        ));
        browser.until(&format!("return hitgap.data.tempos[hitgap.state.tempo].bpm === '{bpm}'"));
    };
    turn(97);
    assert_eq!(browser.js("return hitgap.data.tempos.map((t) => t.bpm)"), json!(["50", "80", "120", "160", "97"]));
    let apart = |ms: f64| {
        let heard = gaps_heard(&browser, &[(4, 1)])[0];
        assert!((heard - ms).abs() < 0.05, "{heard} {ms}");
    };
    apart(1200.0 / 97.0);
    browser.until("return hitgap.sound.playing() && document.getElementById('said').textContent.endsWith('at 97')");
    turn(98);
    apart(1200.0 / 98.0);
    // The patch has no word of it, and a change is heard at it at once, and stays when all else is new.
    let text = browser.js("return [hitgap.desk.now().text, hitgap.desk.now().saved]");
    assert_eq!(text, json!([open.text(), true]));
    browser.js("hitgap.desk.edit([{ do: 'set', at: ['clock', 'slow', 'phase'], to: '2 %', fix: 'phase' }])");
    browser.until("return Math.abs(hitgap.data.tempos[4].cells[1].gapMs - 24 / 0.98) < 0.001");
    whole(&browser, &["original", "phase", "or-gate", "as saved"]);
    browser.until("return Math.abs(hitgap.data.tempos[2].cells[1].gapMs) === 20");
    assert_eq!(
        browser.js("return [hitgap.data.tempos[hitgap.state.tempo].bpm, hitgap.data.tempos.length]"),
        json!(["98", 5])
    );
    apart(2400.0 / 98.0);
    // What another program writes into the file is heard at it too.
    browser.click("desk-save");
    browser.until("return hitgap.desk.now().saved");
    open.save(&[("\"1 %\"", "\"3 %\"")]);
    browser.until("return Math.abs(hitgap.data.tempos[4]?.cells[1]?.gapMs - 36 / 0.98) < 0.001");
    // The grid is come to by keys all the same, and the tempo is kept over a reload.
    assert_eq!(browser.js("return document.querySelectorAll('#answers [tabindex=\"0\"]').length"), 1);
    reload(&browser);
    browser.until("return hitgap.data.tempos[hitgap.state.tempo].bpm === '98' && hitgap.data.variants[hitgap.state.version].name === 'phase'");
    // A button writes it: then it is one of the patch's.
    browser.click("tempo-add");
    browser.until("return hitgap.desk.now().text.includes('tempos = [50, 80, 98, 120, 160]')");
    browser.until("return hitgap.data.tempos.length === 5 && hitgap.data.tempos[hitgap.state.tempo].bpm === '98' && !hitgap.data.tempos[hitgap.state.tempo].own");
    assert_eq!(browser.js("return document.getElementById('tempo-add').hidden"), true);
    assert_eq!(browser.console(), Vec::<String>::new());
}

/// A tab finds its version, tempo and loop again.
#[test]
fn a_reload_finds_what_was_chosen() {
    let Some(browser) = browser() else { return };
    let open = Open::new();
    visit(&browser, &open.address);
    browser.js("hitgap.player.tempo(3, 2); hitgap.player.version(2)");
    reload(&browser);
    let at = "return [hitgap.data.tempos[hitgap.state.tempo].bpm, hitgap.data.variants[hitgap.state.version].name, hitgap.state.bars]";
    assert_eq!(browser.js(at), json!(["160", "or-gate", 2]));
    assert_eq!(browser.js("return document.querySelector('.cell[aria-selected=true]').dataset.cell"), "3/2");
    // The words are of what is heard.
    browser.until("return document.querySelector('[data-hear=or-gate]').hasAttribute('data-chosen')");
    assert_eq!(browser.console(), Vec::<String>::new());
}

/// Opened from the gallery, a way leads back to it, and another rig can be begun; a tab of the first becomes the second's.
#[test]
fn a_way_leads_back_to_the_gallery() {
    let Some(browser) = browser() else { return };
    let dir = TempDir::new().expect("a folder");
    let patch = dir.path().join("late-bell.toml");
    let open = Open::started(dir, patch, String::new(), &[]);
    browser.go(&open.address);
    browser.click_on("[data-begin=late-bell]");
    browser.until(READY);
    browser.js("hitgap.desk.edit([{ do: 'set', at: ['title'], to: 'Mine' }])");
    browser.until("return !hitgap.desk.now().saved");
    browser.click_on("#to-gallery a");
    browser.until("return document.querySelector('.open-now') !== null");
    assert_eq!(
        browser.js("return [document.querySelector('.open-now a').textContent, document.querySelector('.open-now').textContent.includes('not saved')]"),
        json!(["Back to late-bell.toml", true])
    );
    browser.click_on(".open-now a");
    browser.until(READY);
    assert_eq!(browser.js("return hitgap.desk.now().text.includes('Mine')"), true);
    // What a page of before would still send is of another patch: it does nothing to the new one.
    browser.js("window.begun = fetch('/begin', { method: 'POST', headers: { 'Content-Type': 'application/json' }, body: '{\"name\":\"thin-ice\"}' })");
    browser.until("return document.title === 'Thin ice'");
    browser.until(READY);
    assert_eq!(browser.js("return hitgap.desk.now().patch"), "thin-ice.toml");
}

/// The dialog, the editor of limits and the table of cures: by axe-core, in a narrow window too.
#[test]
fn what_is_kept_and_found_is_for_everybody() {
    let Some(browser) = browser() else { return };
    let open = rig(&browser, Some(LIMITS));
    browser.js("hitgap.desk.edit([{ do: 'set', at: ['stage', 'gate', 'delay', 'typ'], to: '130 ns' }])");
    browser.until("return !hitgap.desk.now().saved");
    let there = || {
        visit(&browser, &open.address);
        browser.click("cures-ask");
        browser.until("return document.getElementById('cures-says').textContent !== ''");
        browser.js("document.querySelectorAll('#counsel details').forEach((d) => { d.open = true; })");
    };
    nothing_serious_there(
        &browser,
        &there,
        &["", "document.getElementById('desk-keep').click()", "hitgap.desk.open('stage.gate.delay')"],
    );
    browser.look(390, "light");
    assert_eq!(browser.js("return document.documentElement.scrollWidth <= innerWidth"), true);
}
