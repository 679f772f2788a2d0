//! A loop plays each hit that is due in its bars, once: the page's own rule, against the lists that `hits` prints.

use super::driver::{Browser, browser};
use super::made::{Example, Made, SMALL, compare, examples, lesson, made, patches};
use super::plays::{SEND, samples};
use serde_json::Value;
use std::path::Path;
use std::process::Command;

/// Everything that a page can be asked to play, player by player: of each tempo, version and loop when hits sound, in
/// seconds from the loop's beginning.
const ALL: &str = "return hitgap.chapters.pages.map((p) => ({ patch: p.data.patch, tempos: p.data.tempos.map((tempo, t) => ({ \
    bpm: tempo.bpm, bar: tempo.barMs / 1000, \
    versions: p.data.variants.map((v, n) => ({ name: v.name, made: tempo.cells[n] !== null, loops: [...p.$('bars').options] \
      .map((o) => Number(o.value)).map((bars) => ({ bars, at: p.played(t, n, bars).map((h) => h[0]).sort((a, b) => a - b) })) })) })) }));";

/// When hits sound, in seconds, and the beats on which they are due.
type Listed = Vec<(f64, f64)>;

fn listed(patch: &Path, name: &str, tempo: &str, more: &[&str]) -> Listed {
    let output = Command::new(env!("CARGO_BIN_EXE_hitgap"))
        .args(["hits", patch.to_str().expect("text"), "--fix", name, "--tempo", tempo])
        .args(more)
        .output()
        .expect("the program starts");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let mut rows = csv::Reader::from_reader(output.stdout.as_slice());
    let rows = rows.deserialize::<(f64, f64, f64, String, u32, u32)>();
    rows.map(|r| r.map(|r| (r.0, r.2)).expect("a row")).collect()
}

fn times(list: &Value) -> Vec<f64> {
    list.as_array().expect("a list").iter().map(|t| t.as_f64().expect("seconds")).collect()
}

/// The times of two lists, of which one counts from another moment: equal to a nanosecond.
fn alike(played: &[f64], mut heard: Vec<f64>, from: Option<f64>) -> bool {
    heard.sort_by(f64::total_cmp);
    let from = from.or_else(|| Some(heard.first()? - played.first()?)).unwrap_or(0.0);
    played.len() == heard.len() && played.iter().zip(&heard).all(|(p, h)| (h - from - p).abs() < 1e-9)
}

/// Holds a player against the lists: at each tempo there is one bar line from which on every version has in each of its
/// loops what is due there, and nothing else. Counts the loops.
fn holds_what_is_due(player: &Value, patch: &Path, beats: f64, more: &[&str]) -> usize {
    let mut seen = 0;
    for tempo in player["tempos"].as_array().expect("tempos") {
        let bpm = tempo["bpm"].as_str().expect("a tempo");
        let beat = 60.0 / bpm.parse::<f64>().expect("a number");
        // Where the tempo changes, the loop is the whole.
        let even = (tempo["bar"].as_f64().expect("seconds") - beats * beat).abs() < 1e-9;
        let versions = tempo["versions"].as_array().expect("versions");
        let lists: Vec<Listed> =
            versions.iter().map(|v| listed(patch, v["name"].as_str().expect("a name"), bpm, more)).collect();
        let end = lists.iter().flatten().map(|h| h.1).fold(0.0, f64::max);
        let holds = |from: f64, to: Option<f64>| {
            versions.iter().zip(&lists).all(|(version, list)| {
                version["loops"].as_array().expect("loops").iter().all(|own| {
                    let to = to.unwrap_or_else(|| from + beats * own["bars"].as_f64().expect("bars"));
                    let due = list.iter().filter(|h| h.1 > from - 1e-7 && h.1 < to - 1e-7).map(|h| h.0);
                    alike(&times(&own["at"]), due.collect(), even.then_some(from * beat))
                })
            })
        };
        let lines = || (0..).map(|n| f64::from(n) * beats).take_while(|line| *line <= end + beats);
        let found = match even {
            true => lines().any(|from| holds(from, None)),
            false => lines().any(|from| lines().any(|to| to > from && holds(from, Some(to)))),
        };
        assert!(found, "{} at {bpm}", patch.display());
        seen += versions.iter().map(|v| v["loops"].as_array().map_or(0, Vec::len)).sum::<usize>();
    }
    seen
}

fn only_player(browser: &Browser, made: &Made) -> Value {
    browser.visit(&made.page);
    browser.js(ALL)[0].clone()
}

#[test]
fn every_loop_of_every_example_has_each_hit_that_is_due_once() {
    let Some(browser) = browser() else { return };
    let mut seen = 0;
    for Example { patch, made } in examples() {
        let text = std::fs::read_to_string(patch).expect("text");
        let beats = if text.contains("meter") { panic!("a meter: say how many beats") } else { 4.0 };
        seen += holds_what_is_due(&only_player(&browser, made), patch, beats, &[]);
    }
    assert!(seen > 300, "{seen} loops");
}

/// Numbers from a linear congruence (Knuth's constants for 64 bits, MMIX).
struct Drawn(u64);

impl Drawn {
    fn below(&mut self, n: u64) -> u64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) % n
    }
}

/// Three boxes on sixteenths, up to 300 beats a minute, each early or late by up to a step, told of the one or not.
fn random(drawn: &mut Drawn) -> String {
    let tempos = [60 + drawn.below(241), 200 + drawn.below(101)].map(|t| t.to_string()).join(", ");
    let step_us = 15_000_000 / 300;
    let shift = |drawn: &mut Drawn| i64::try_from(drawn.below(2 * step_us + 1)).expect("small") - step_us as i64;
    let mut text = format!("tempos = [{tempos}]\nbars = {}\n", 4 + drawn.below(6));
    text += "[clock.home]\nrate = \"1 per 8 beats\"\nwidth = \"1 ms\"\n";
    for name in ["ox", "wren", "moth"] {
        let steps: String = (0..16).map(|_| [".", "x", "X"][drawn.below(3) as usize]).collect();
        let reset = ["", "reset = \"home\"\nreset-mode = \"next-clock\"\n"][drawn.below(2) as usize];
        text += &format!(
            "[clock.{name}-clock]\nrate = \"4 per beat\"\nwidth = \"1 ms\"\nshift = \"{} us\"\n\
             [sequencer.{name}]\nclock = \"{name}-clock\"\n{reset}steps = \"x{}\"\nvoice = \"click\"\npower-up-step = {}\n",
            shift(drawn),
            &steps[1..],
            [1, 1 + drawn.below(16)][drawn.below(2) as usize]
        );
    }
    text + &format!("[fix.moved]\nset.\"clock.moth-clock.shift\" = \"{} us\"\n", shift(drawn))
}

#[test]
fn every_loop_of_random_rigs_has_each_hit_that_is_due_once() {
    let Some(browser) = browser() else { return };
    let folder = tempfile::tempdir().expect("a folder");
    let (mut drawn, mut seen) = (Drawn(7), 0);
    for n in 0..12 {
        let patch = folder.path().join(format!("random-{n}.toml"));
        std::fs::write(&patch, random(&mut drawn)).expect("written");
        seen += holds_what_is_due(&only_player(&browser, &compare(&patch, &SMALL)), &patch, 4.0, &[]);
    }
    assert!(seen >= 12 * 2 * 2 * 2, "{seen} loops");
}

/// Every chapter of the lesson that plays a patch; the fourth plays one drawn run, of twelve bars.
#[test]
fn every_loop_of_a_lesson_has_each_hit_that_is_due_once() {
    let Some(browser) = browser() else { return };
    browser.visit(&lesson().page);
    let players = browser.js(ALL);
    let players = players.as_array().expect("players");
    assert_eq!(players.len(), 5);
    let mut seen = 0;
    for (n, player) in players.iter().enumerate() {
        let patch = Path::new(player["patch"].as_str().expect("a name"));
        let name = patch.file_name().expect("a name");
        let more: &[&str] = if n == 3 { &["--bars", "12", "--run", "20"] } else { &[] };
        seen += holds_what_is_due(player, &patches().join(name), 4.0, more);
    }
    assert!(seen > 60, "{seen} loops");
}

/// By hand, at 300: a beat is 200 ms and a bar 800. A grid's dial turns sixteenths of 50 ms; two voices are any time apart.
#[test]
fn loops_of_grids_and_of_two_voices_have_each_hit_once() {
    let Some(browser) = browser() else { return };
    let folder = tempfile::tempdir().expect("a folder");
    let patch = folder.path().join("even.toml");
    let boxes = |name: &str| {
        format!(
            "[clock.{name}s]\nrate = \"4 per beat\"\nwidth = \"1 ms\"\n\
             [sequencer.{name}]\nclock = \"{name}s\"\nsteps = \"x\"\nvoice = \"click\"\n"
        )
    };
    std::fs::write(&patch, format!("tempos = [300]\nbars = 6\n{}{}", boxes("ox"), boxes("wren"))).expect("written");
    let patch = patch.to_str().expect("text");
    let grid = ["sweep", patch, "--on", "clock.wrens", "--phase", "-40%,-10%,0%,30%,50%", "--page"];
    let grid = made(&[&grid[..], &SMALL].concat(), "even.original.wrens.html");
    let flam = ["flam", "--delay", "-90ms,45ms,700ms,-1900ms", "--tempo", "300", "--voices", "kick,snare", "--page"];
    let flam = made(&[&flam[..], &SMALL].concat(), "flam.kick+snare.html");
    let pages = [(grid, 0.05, vec![-20.0, -5.0, 0.0, 15.0, 25.0]), (flam, 0.2, vec![0.0, -90.0, 45.0, 700.0, -1900.0])];
    for (made, period, apart) in pages {
        let player = only_player(&browser, &made);
        let versions = player["tempos"][0]["versions"].as_array().expect("versions");
        assert_eq!(versions.len(), apart.len());
        for (version, apart) in versions.iter().zip(apart) {
            let loops = version["loops"].as_array().expect("loops");
            assert!(loops.len() >= 3, "{version}");
            for own in loops {
                let seconds = own["bars"].as_f64().expect("bars") * 0.8;
                let count = (seconds / period).round() as u32;
                let each = (0..count).map(|n| f64::from(n) * period);
                let mut due: Vec<f64> = each.flat_map(|at| [at, at + apart / 1000.0]).collect();
                due.sort_by(f64::total_cmp);
                assert!(alike(&times(&own["at"]), due, Some(0.0)), "{apart} ms apart: {own}");
            }
        }
    }
}

/// What is mixed is what is due, and goes round: the loop is sample by sample as long a stretch of the file beside it, a
/// loop's length later. In `moth-wakes-on-seven` the snare's last step is a sixteenth before the loop's end: 136 ms at 110, 107
/// at 140.
#[test]
fn a_loop_sounds_as_the_same_bars_of_the_file() {
    let Some(browser) = browser() else { return };
    let patch = patches().join("moth-wakes-on-seven.toml");
    let made = compare(&patch, &[]);
    browser.visit(&made.page);
    for (tempo, bpm) in [(0, 80), (1, 110), (2, 140)] {
        for (version, name) in ["original", "run-wire"].iter().enumerate() {
            // Through the mixer that the page plays with: it is handed what is due, to go round.
            let got = browser.run(&format!(
                "{SEND} const h = globalThis.hitgap; const mix = h.engine.mix; let handed = null; \
                 h.engine.mix = (voices, hits, rate, frames, wrap) => {{ handed = [hits, wrap]; return mix(voices, hits, rate, frames, wrap); }}; \
                 const own = h.loop({tempo}, {version}, 4); h.engine.mix = mix; \
                 const same = JSON.stringify(handed) === JSON.stringify([h.played({tempo}, {version}, 4), true]); \
                 return {{ same: handed === null || same, samples: send(own), peak: own.reduce((m, x) => Math.max(m, Math.abs(x)), 0) }};"
            ));
            assert_eq!(got["same"], true);
            let page = samples(&got["samples"]);
            let wav = made.folder.join(format!("moth-wakes-on-seven.{name}.{bpm}bpm.matched.wav"));
            let wav = hound::WavReader::open(&wav).expect("the file beside the page");
            let full = 2.0_f64.powi(i32::from(wav.spec().bits_per_sample) - 1);
            let wav: Vec<f64> = wav.into_samples::<i32>().map(|s| f64::from(s.expect("a sample")) / full).collect();
            // Bars four to seven of the file, after 100 ms of lead-in. Bars are no whole samples, so both stand apart by a part
            // of a sample, and are held against each other by the levels of sixteenths: from a little before each, so that no
            // stroke begins at an edge.
            let step = 15.0 / f64::from(bpm) * 48_000.0;
            let level = |samples: &[f64], from: f64| {
                let from = (from - 0.05 * step).round() as isize;
                let own = (from..from + (0.9 * step) as isize)
                    .map(|n| samples[n.rem_euclid(samples.len() as isize) as usize]);
                own.map(|s| s * s).sum::<f64>().sqrt()
            };
            let peak = got["peak"].as_f64().expect("a number");
            assert!(peak > 0.05, "{peak}");
            for n in 0..64_u32 {
                let at = f64::from(n) * step;
                let (here, there) = (level(&page, at), level(&wav, 4800.0 + 64.0 * step + at));
                // What is lost or won at an edge is under a hundredth of what sounds there; a stroke is half of it or all.
                assert!(
                    (here - there).abs() < 0.02 * here.max(there) + 1e-3,
                    "{name} at {bpm}, step {n}: {here} for {there}"
                );
            }
        }
    }
}
