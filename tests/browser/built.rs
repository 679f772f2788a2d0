//! A rig is built from nothing by the page alone, and many changes are heard as they are printed: with the program as its server.

use super::driver::{Browser, browser};
use super::made::patches;
use super::open::Open;
use super::plays::gaps_heard;
use serde_json::{Value, json};
use std::process::Command;
use tempfile::TempDir;

const READY: &str =
    "return document.documentElement.dataset.ready === 'true' && globalThis.hitgap?.desk?.now()?.words.length > 0";

/// Waits until the patch as text has this.
fn says(browser: &Browser, words: &str) {
    browser.until(&format!("return hitgap.desk.now().text.includes({})", json!(words)));
}

/// Opens what a word or a button leads to, and chooses one of the panel's offers by its first words.
fn choose(browser: &Browser, opens: &str, offer: &str) {
    browser.click_on(opens);
    let find = format!(
        "[...document.querySelectorAll('#editor .key, #editor label')].find((one) => one.textContent.trim().startsWith({}))",
        json!(offer)
    );
    browser.until(&format!("return Boolean({find})"));
    browser.js(&format!("{find}.dataset.chosen = ''"));
    browser.click_on("#editor [data-chosen]");
}

/// Puts a stage at the end of a path.
fn through(browser: &Browser, word: &str, stage: &str) {
    browser.click_on(word);
    browser.until(&format!(
        "const add = [...document.querySelectorAll('#editor .path select')].at(-1); \
         if (!add || ![...add.options].some((o) => o.value === {0})) return false; \
         add.value = {0}; add.dispatchEvent(new Event('change', {{ bubbles: true }})); return true",
        json!(stage)
    ));
}

const ESCAPE: &str = "\u{e00c}";

/// By hand: Wren waits for the next pulse of sixteenths, so it stands a sixteenth late; a gate of 40 us in its clock puts it right.
#[test]
fn a_rig_is_built_from_nothing_and_check_says_the_same() {
    let Some(browser) = browser() else { return };
    let dir = TempDir::new().expect("a folder");
    let patch = dir.path().join("rig.toml");
    let open = Open::started(dir, patch.clone(), String::new(), &[]);
    browser.go(&open.address);
    browser.click_on("[data-begin=one-box]");
    browser.until(READY);
    browser.js("hitgap.level.confirm()");
    // A second box.
    choose(&browser, "[data-add=sequencer]", "plain");
    browser.until("return hitgap.desk.now().sentences.filter((s) => s.kind === 'sequencer').length === 2");
    let name = browser.js("return hitgap.desk.now().sentences.filter((s) => s.kind === 'sequencer').at(-1).name");
    let name = name.as_str().expect("a name").to_owned();
    // It plays at once, where the first box has its clock and its reset; and that is said.
    browser.until(&format!(
        "return Boolean(hitgap.desk.wordAt('sequencer.{name}.reset-mode')) && !hitgap.desk.now().fault"
    ));
    let said =
        browser.js(&format!("return document.querySelector('[data-id=\"sequencer.{name}\"] .small').textContent"));
    assert!(said.as_str().expect("a sentence").starts_with("It takes its clock and its reset from where "), "{said}");
    choose(&browser, &format!(".word[data-key='sequencer.{name}.reset-mode']"), "waits for the next pulse");
    says(&browser, "next-clock");
    browser.press(&[ESCAPE]);
    // A gate, of 40 us.
    choose(&browser, "[data-add=stage]", "plain");
    browser.until("return hitgap.desk.now().sentences.some((s) => s.kind === 'stage')");
    let stage = browser.js("return hitgap.desk.now().sentences.find((s) => s.kind === 'stage').name");
    let stage = stage.as_str().expect("a name").to_owned();
    browser.click_on(&format!(".word[data-key='stage.{stage}.delay']"));
    browser.until("return document.activeElement?.matches('#editor .number')");
    browser.press(&["4", "0", " ", "u", "s"]);
    says(&browser, "40 us");
    browser.press(&[ESCAPE]);
    browser.click("desk-save");
    browser.until("return hitgap.desk.now().saved");
    // The gate in its clock, kept as a fix.
    through(&browser, &format!(".word[data-key='sequencer.{name}.clock']"), &stage);
    browser.until("return !hitgap.desk.now().saved");
    browser.press(&[ESCAPE]);
    browser.click("desk-keep");
    browser.until("return document.activeElement?.matches('#editor input')");
    browser.press(&["g", "a", "t", "e", "\u{e007}"]);
    browser.until("return hitgap.desk.now().sentences.some((s) => s.kind === 'fix' && s.name === 'gate')");
    browser.click("desk-save");
    browser.until("return hitgap.desk.now().saved && hitgap.data.variants.length === 2 && hitgap.data.tempos.every((t) => t.cells.every(Boolean))");
    // What the page says, and what `check` says of the file.
    let page = browser.js(
        "return hitgap.data.tempos.flatMap((t) => t.cells.map((c, n) => [hitgap.data.variants[n].name, t.bpm, c.passes, c.gapMs]))",
    );
    let check = Command::new(env!("CARGO_BIN_EXE_hitgap")).arg("check").arg(&patch).args(["--format", "json"]).output();
    let check: Value = serde_json::from_slice(&check.expect("it runs").stdout).expect("JSON");
    let mut cells: Vec<Value> = check["results"]
        .as_array()
        .expect("results")
        .iter()
        .map(|cell| {
            let tempo = cell["tempo_bpm"].as_f64().expect("a tempo");
            json!([cell["variant"], tempo.to_string(), cell["passes"], cell["gaps"][0]["worst_ms"]])
        })
        .collect();
    // A script's numbers have no kind: 125 is 125.0.
    let own = |cell: &Value| json!([cell[0], cell[1], cell[2], cell[3].as_f64()]);
    let mut shown: Vec<Value> = page.as_array().expect("cells").iter().map(own).collect();
    let order = |cell: &Value| cell.to_string();
    cells.sort_by_key(order);
    shown.sort_by_key(order);
    assert_eq!(shown, cells);
    let passes = |name: &str| cells.iter().filter(|c| c[0] == name).all(|c| c[2] == true);
    assert!(passes("gate") && !passes("original"), "{cells:?}");
    assert_eq!(browser.console(), Vec::<String>::new());
}

/// A hundred turns of a dial, one after the other while it plays: each sounds as far apart as it says, which by hand is the share of
/// two beats at 120.
#[test]
fn a_hundred_changes_sound_as_they_are_printed() {
    let Some(browser) = browser() else { return };
    let dir = TempDir::new().expect("a folder");
    let patch = dir.path().join("late-bell.toml");
    let text = std::fs::read_to_string(patches().join("late-bell.toml")).expect("an example");
    std::fs::write(&patch, &text).expect("a copy");
    let named = patch.to_str().expect("a plain path").to_owned();
    let open = Open::started(dir, patch, text, &[&named, "--tempo", "120"]);
    browser.go(&open.address);
    browser.until(READY);
    browser.js("hitgap.level.confirm(); hitgap.player.select(0, 1)");
    browser.click("play");
    browser.until("return hitgap.sound.position() > 0");
    let mut heard = 0;
    for n in 1..=100_u32 {
        // 0.1 % to 10 % of a second.
        let share = f64::from(n) / 10.0;
        browser.js(&format!(
            "hitgap.desk.edit([{{ do: 'set', at: ['clock', 'slow', 'phase'], to: '{share} %', fix: 'phase' }}])"
        ));
        browser.until(&format!("return hitgap.data.tempos[0].cells[1].gapMs === {share} * 10 || Math.abs(hitgap.data.tempos[0].cells[1].gapMs - {share} * 10) < 1e-9"));
        if n % 5 == 0 {
            // Read from the samples that the page plays.
            let gaps = gaps_heard(&browser, &[(0, 1)]);
            assert!((gaps[0] - share * 10.0).abs() < 0.1, "{share} %: {gaps:?}");
            heard += 1;
        }
        assert_eq!(browser.js("return hitgap.sound.playing()"), true);
    }
    assert_eq!(heard, 20);
    assert_eq!(browser.js("return hitgap.desk.now().saved"), false);
    assert_eq!(browser.console(), Vec::<String>::new());
}
