//! Every cell of every example and of the lesson, as its player hands it to the sound output: the gap that is printed is the gap that
//! is played, and nothing is louder than the level that was found.

use super::driver::{Browser, browser};
use super::made::{examples, lesson};
use super::plays::{SEND, onset, rise, samples};
use serde_json::Value;
use std::path::Path;

fn number(value: &Value) -> f64 {
    value.as_f64().expect("a number")
}

fn list(value: &Value) -> &[Value] {
    value.as_array().expect("a list")
}

/// The pages: an example's, or the lesson's, which has several players.
fn pages() -> impl Iterator<Item = &'static Path> {
    examples().iter().map(|e| e.made.page.as_path()).chain([lesson().page.as_path()])
}

/// Chooses each cell of a player and lets it begin. What is mixed is kept instead, and what the output is handed is looked up in it. Then each
/// pair of hits that the printed gap may be of is found in that, on the beat that both are due on, and its two hits are mixed by themselves:
/// 150 ms around each. `p` is the player.
const CELLS: &str = "const h = globalThis.hitgap; const { mix } = h.engine, { play } = h.sound, { stand } = h.level; const kept = new Map(); let handed = null; \
    h.engine.mix = (_, hits, rate, frames, wrap) => { const one = new Float32Array(1); kept.set(one, { hits, wrap }); return one; }; \
    h.sound.play = async (loops, rate, chosen) => { handed = kept.get(loops[chosen]); return true; }; h.level.stand = () => 1; \
    const cells = []; const rate = p.data.rate; \
    for (const [t, tempo] of p.data.tempos.entries()) for (const [v, cell] of tempo.cells.entries()) { \
      if (cell === null) continue; \
      p.player.tempo(t, tempo.bars); p.player.version(v); await p.player.start(() => 0); \
      while (handed === null) await new Promise((done) => setTimeout(done, 0)); \
      const { hits, wrap } = handed; handed = null; \
      const says = document.getElementById(`${p.prefix}now-gap`).textContent; \
      const names = says.split(/ [0-9.]+ ms after | and | together/); \
      const due = cell.hits.filter((x) => x[3] < tempo.bars); \
      const of = (name) => due.map((x, n) => [x, hits[n]]).filter(([x]) => p.data.variants[v].players[x[4]][0] === name); \
      const pairs = of(names[1]).flatMap(([x, a]) => of(names[0]).filter(([y]) => y[5] === x[5]).slice(0, 1).map(([, b]) => [a, b])); \
      const apart = ([a, b]) => Math.abs(b[0] - a[0]); const widest = pairs.reduce((m, q) => (m && apart(m) >= apart(q) ? m : q), null); \
      const near = ([seconds, voice, gain]) => { const from = Math.floor((seconds - 0.03) * rate); \
        return [from, voice, send(mix(p.voices, [[seconds - from / rate, voice, gain]], rate, Math.round(0.15 * rate), false))]; }; \
      await new Promise(requestAnimationFrame); await new Promise(requestAnimationFrame); \
      cells.push({ says, wrap, hits: hits.length, due: due.length, same: hits.every((x, n) => Math.abs(x[0] * 1000 - due[n][0]) < 1e-6 && x[1] === due[n][1]), \
        lanes: document.getElementById(`${p.prefix}lanes-says`).textContent, pair: widest && widest.map(near) }); } \
    p.player.stop(); h.engine.mix = mix; h.sound.play = play; h.level.stand = stand;";

/// What follows a mark in a text, as a number.
fn figure(text: &str, mark: &str) -> Option<f64> {
    text.split_once(mark)?.1.split_whitespace().next()?.parse().ok()
}

#[test]
fn every_gap_that_is_printed_is_played() {
    let Some(browser) = browser() else { return };
    let (mut cells, mut elsewhere) = (0, 0);
    for page in pages() {
        browser.visit(page);
        let players = browser.js("return hitgap.chapters.pages.length").as_u64().expect("a number");
        for player in 0..players {
            let what = format!("{}, player {player}", page.display());
            let choose = format!(
                "if (hitgap.chapters.folds.length) hitgap.chapters.show({player}); const p = hitgap.chapters.pages[{player}];"
            );
            let got = browser.run(&format!("{SEND} {choose} {CELLS} return {{ cells, voices: p.data.voices }};"));
            let rises: Vec<f64> = list(&got["voices"]).iter().map(rise).collect();
            for cell in list(&got["cells"]) {
                cells += 1;
                let says = cell["says"].as_str().expect("a gap");
                assert!(cell["wrap"] == true && cell["same"] == true && cell["hits"] == cell["due"], "{what}: {says}");
                if says == "nothing meets" {
                    assert!(cell["pair"].is_null(), "{what}");
                    continue;
                }
                let printed = match says.strip_suffix(" together") {
                    Some(_) => 0.0,
                    None => says.split_whitespace().nth(1).and_then(|w| w.parse().ok()).expect("a figure"),
                };
                assert!(!cell["pair"].is_null(), "{what}: nobody plays `{says}`");
                let [first, second] = [0, 1].map(|n| {
                    let hit = &cell["pair"][n];
                    let voice = hit[1].as_u64().expect("a voice") as usize;
                    (number(&hit[0]) + onset(&samples(&hit[2]))) / 48.0 - rises[voice]
                });
                // Of the one who is named second to the one who is named first.
                let played = second - first;
                let lanes = cell["lanes"].as_str().expect("text");
                let here = match figure(lanes, "does not come in this loop: here it is ") {
                    // The page says so: then that is what is played, by whoever is widest apart here, and no more.
                    Some(here) => {
                        elsewhere += 1;
                        // To three figures here, to four there.
                        let whole = figure(lanes, "The widest gap of the piece, ").expect("a figure");
                        assert!((whole / printed - 1.0).abs() < 0.01, "{what}: {says}, {lanes}");
                        assert!(played.abs() < here + 0.1 && here < printed, "{what}: {says}, {lanes}, {played}");
                        continue;
                    }
                    None => printed,
                };
                assert!((played - here).abs() < 0.1, "{what}: {says}, and {played} ms are played");
            }
        }
        assert_eq!(browser.console(), Vec::<String>::new(), "{}", page.display());
    }
    assert!(cells > 140 && elsewhere < cells / 10, "{cells} cells, {elsewhere} whose gap is elsewhere");
}

/// Loudness in LUFS and true peak in dBTP of a loop, as a library of BS.1770 hears it that goes round twice, by one channel that both ears get.
fn heard(samples: &[f64]) -> (f64, f64) {
    let mut meter = ebur128::EbuR128::new(1, 48_000, ebur128::Mode::I).expect("a meter");
    meter.set_channel(0, ebur128::Channel::DualMono).expect("a channel");
    let mut between = ebur128::EbuR128::new(1, 48_000, ebur128::Mode::TRUE_PEAK).expect("a meter");
    // A loop begins with what its end began.
    between.add_frames_f64(&samples[samples.len() - 480..]).expect("frames");
    between.add_frames_f64(samples).expect("frames");
    for _ in 0..2 {
        meter.add_frames_f64(samples).expect("frames");
    }
    let peak = 20.0 * between.prev_true_peak(0).expect("a peak").log10();
    (meter.loudness_global().expect("a loudness"), peak)
}

/// What a cell plays, with a factor: by default the one that the page puts on its set.
fn played(browser: &Browser, (player, tempo, version): (u64, u64, u64), factor: &str) -> Vec<f64> {
    let got = browser.run(&format!(
        "{SEND} const h = globalThis.hitgap, p = h.chapters.pages[{player}], bars = p.data.tempos[{tempo}].bars; \
         const set = p.allLoops({tempo}, bars), factor = {factor}; \
         return [factor, send(set[{version}])];"
    ));
    let factor = number(&got[0]);
    samples(&got[1]).into_iter().map(|x| x * factor).collect()
}

/// The factor that a set stands at.
const STANDS: &str = "h.level.stand(set, p.data.rate)";

#[test]
fn no_cell_of_any_example_is_louder_than_the_level_that_was_found() {
    let Some(browser) = browser() else { return };
    let mut seen = 0;
    for page in pages() {
        browser.visit_anew(page);
        // The first sound of all, by which the level is found: the one of the first tempo that peaks highest. Then the set itself plays.
        let found = browser.run(
            "const h = hitgap, p = h.chapters.pages[0], rate = p.data.rate, set = p.allLoops(0, p.data.tempos[0].bars); \
             const quiet = h.level.stand(set, rate), loudest = h.level.loudest(set, rate); \
             const until = async (what) => { while (!what()) await new Promise((done) => setTimeout(done, 5)); }; \
             p.player.start(() => 0); await until(() => !p.$('check').hidden && h.sound.playing()); const asked = h.sound.factor(); \
             p.$('check-ok').click(); await until(() => h.sound.playing() && p.player.sounding()); const after = h.sound.factor(); p.player.stop(); \
             return [loudest, quiet, asked, after, h.level.stand(set, rate), h.chapters.pages.map((p) => p.data.tempos.map((t) => t.cells.map((c) => c !== null)))];",
        );
        let what = page.display();
        assert_eq!((&found[1], &found[3]), (&found[2], &found[4]), "{what}: what plays is what the page reckons with");
        let most = heard(&played(&browser, (0, 0, found[0].as_u64().expect("a version")), &found[2].to_string()));
        // EBU R 128: -23 LUFS, and at most -1 dBTP, which a meter may read 0.2 dB too high (EBU Tech 3341, from memory).
        assert!(most.0 < -23.0 + 0.6 && most.1 < -1.0 + 0.2, "{}: {most:?}", page.display());
        for (player, tempos) in list(&found[5]).iter().enumerate() {
            for (tempo, cells) in list(tempos).iter().enumerate() {
                for version in (0..list(cells).len()).filter(|v| cells[v] == true) {
                    let cell = heard(&played(&browser, (player as u64, tempo as u64, version as u64), STANDS));
                    let what = format!(
                        "{}, player {player}, tempo {tempo}, version {version}: {cell:?}, {most:?}",
                        page.display()
                    );
                    // What the page measures goes round without end, the library's ear begins and ends: by 0.6 LU.
                    assert!(cell.0 < -23.0 + 0.6 && cell.0 < most.0 + 0.6, "{what}");
                    assert!(cell.1 < -1.0 + 0.2 && cell.1 < most.1 + 0.2, "{what}");
                    assert!(cell.0 > most.0 - 12.0, "{what}: not to be heard");
                    seen += 1;
                }
            }
        }
    }
    assert!(seen > 140, "{seen}");
}
