//! What is marked in the files of each command, held against what is heard there.

use super::place::Place;
use super::wav::{Wav, ticks};
use serde_json::Value;

/// A file's marks by a walk through its chunks: the frame and the label of each.
pub(crate) fn marks(bytes: &[u8]) -> Vec<(u32, String)> {
    let number = |at: usize| u32::from_le_bytes(bytes[at..at + 4].try_into().expect("four bytes"));
    let mut frames = Vec::new();
    let mut labels = Vec::new();
    let mut at = 12;
    while at < bytes.len() {
        let end = at + 8 + number(at + 4) as usize;
        match &bytes[at..at + 4] {
            b"cue " => frames = (0..number(at + 8) as usize).map(|n| number(at + 12 + 24 * n + 20)).collect(),
            b"LIST" if &bytes[at + 8..at + 12] == b"adtl" => {
                let mut inner = at + 12;
                while inner < end {
                    let size = number(inner + 4) as usize;
                    labels.push(String::from_utf8(bytes[inner + 12..inner + 7 + size].to_vec()).expect("text"));
                    inner += 8 + size.next_multiple_of(2);
                }
            }
            _ => {}
        }
        at = end.next_multiple_of(2);
    }
    assert_eq!(frames.len(), labels.len());
    frames.into_iter().zip(labels).collect()
}

/// One of the texts that a file says of itself.
fn said(bytes: &[u8], name: &str) -> String {
    let at = bytes.windows(4).rposition(|w| w == name.as_bytes()).unwrap_or_else(|| panic!("no {name}"));
    let rest = &bytes[at + 8..];
    String::from_utf8(rest[..rest.iter().position(|b| *b == 0).expect("a nought")].to_vec()).expect("text")
}

/// Two boxes tick on every beat, one of them late by a stage that a fix takes away.
const PATCH: &str = "title = \"Two ticks\"\ntempos = [120]\nbars = 4\n[clock.beats]\nrate = \"1 per beat\"\n\
    [stage.late]\nkind = \"delay\"\ndelay = \"30 ms\"\n\
    [sequencer.ox]\nclock = \"beats\"\nsteps = \"X\"\nvoice = \"click\"\n\
    [sequencer.wren]\nclock = [\"beats\", \"late\"]\nsteps = \"x\"\nvoice = \"click\"\n\
    [fix.prompt]\nset.\"sequencer.wren.clock\" = \"beats\"\n";

/// Each mark stands where a tick does, to the frame; nothing sounds shortly before it.
fn stand_at_ticks(bytes: &[u8]) {
    let wav = Wav::read(bytes);
    let ticks: Vec<f64> = ticks(&wav).into_iter().map(|s| s * f64::from(wav.rate)).collect();
    for (frame, label) in marks(bytes) {
        let near = ticks.iter().map(|t| t - f64::from(frame)).min_by(|a, b| a.abs().total_cmp(&b.abs()));
        // The largest sample of a tick is within one of its hit, and a mark within half of one.
        assert!(near.is_some_and(|off| off.abs() <= 1.5), "{label} at {frame}: {near:?}");
    }
}

fn labels(bytes: &[u8]) -> Vec<String> {
    marks(bytes).into_iter().map(|m| m.1).collect()
}

/// By hand: at 96 a bar of four lasts 2.5 s, and the first begins after 100 ms. The stems have the marks of the mix.
#[test]
fn bars_are_marked_in_a_render() {
    let place = Place::new();
    place.run("hitgap render patches/late-bell.toml --fix or-gate --tempo 96 --bars 3 --stems --bits 16").exits(0);
    let expected = [(4_800, "bar 1"), (124_800, "bar 2"), (244_800, "bar 3")].map(|(f, l)| (f, l.to_owned()));
    for part in ["", ".ox", ".wren"] {
        let file = place.read(&format!("out/late-bell.or-gate.96bpm{part}.wav"));
        assert_eq!(marks(&file), expected, "{part}");
        let whose = part.strip_prefix('.').map_or_else(String::new, |name| format!(", {name} alone"));
        let comment = format!("late-bell, variant or-gate{whose}, 96 quarter notes a minute, seed 1");
        assert_eq!(said(&file, "ICMT"), comment);
        assert_eq!(said(&file, "INAM"), "The late bell");
        assert_eq!(said(&file, "ISFT"), format!("hitgap {}", env!("CARGO_PKG_VERSION")));
    }
    let manifest: Value = serde_json::from_slice(&place.read("out/manifest.json")).expect("JSON");
    assert!(manifest["files"].as_array().expect("files").iter().all(|file| file["marks"] == 3), "{manifest}");
}

/// Where the tempo changes, bars begin where the piece has them: a box without any delay hits on each.
#[test]
fn bars_follow_the_tempo_map() {
    let place = Place::new();
    place.run("hitgap render patches/lantern-hurries.toml --tempo 50 --sample-rate 44100").exits(0);
    place.run("hitgap hits patches/lantern-hurries.toml --tempo 50 --out hits.csv").exits(0);
    let hits = String::from_utf8(place.read("hits.csv")).expect("text");
    let bars = hits.lines().skip(1).filter_map(|line| {
        let cells: Vec<&str> = line.split(',').collect();
        let whole = cells[1].parse::<u32>().is_ok_and(|beat| beat % 4 == 0);
        (whole && cells[3] == "ox")
            .then(|| ((0.1 + cells[0].parse::<f64>().expect("a time")) * 44_100.0).round() as u32)
    });
    let bars: Vec<u32> = bars.collect();
    let found: Vec<u32> = marks(&place.read("out/lantern-hurries.original.50bpm.wav")).iter().map(|m| m.0).collect();
    assert_eq!(found, bars);
    let lasts: Vec<u32> = bars.windows(2).map(|w| w[1] - w[0]).collect();
    assert!(bars.len() == 8 && lasts[6] < lasts[0], "{lasts:?}");
}

#[test]
fn turns_are_marked_where_they_sound() {
    let place = Place::new().with("two.toml", PATCH);
    place.run("hitgap compare two.toml --no-page").exits(0);
    let turns = place.read("out/two.original+prompt.120bpm.wav");
    assert_eq!(labels(&turns), ["original, bar 1", "prompt, bar 1", "original, bar 3", "prompt, bar 3"]);
    stand_at_ticks(&turns);
    for alone in ["original", "prompt"] {
        let file = place.read(&format!("out/two.{alone}.120bpm.matched.wav"));
        assert_eq!(labels(&file), ["bar 1", "bar 2", "bar 3", "bar 4"]);
        stand_at_ticks(&file);
    }
    assert!(said(&turns, "ICMT").starts_with("two, variant original+prompt, 120 quarter notes"));
}

#[test]
fn cells_of_a_grid_are_marked() {
    let place = Place::new().with("two.toml", PATCH);
    place.run("hitgap sweep two.toml --on sequencer.wren.clock --delay 0ms,1.5ms --tempo 96,120").exits(0);
    let parade = place.read("out/two.original.wren-clock.parade.wav");
    assert_eq!(labels(&parade), ["0 ms at 96", "1.5 ms at 96", "0 ms at 120", "1.5 ms at 120"]);
    stand_at_ticks(&parade);
    let cell = place.read("out/two.original.wren-clock+1.5ms.120bpm.wav");
    assert_eq!(labels(&cell), ["bar 1", "bar 2"]);
    stand_at_ticks(&cell);
}

/// By hand: a bar of four at 120 lasts 2 s; with the second voice 10 ms ahead all begins so much later.
#[test]
fn bars_of_a_flam_are_marked() {
    let place = Place::new();
    place.run("hitgap flam --delay 3ms,-10ms --voices click,click").exits(0);
    let at = |from: u32| [0, 96_000, 192_000, 288_000].map(|frame| from + frame);
    for (ms, from) in [("3", 4_800), ("-10", 5_280)] {
        let file = place.read(&format!("out/flam.click+click.{ms}ms.120bpm.wav"));
        let apart = |n: usize| format!("{ms} ms apart, bar {n}");
        assert_eq!(labels(&file), [apart(1), apart(2), apart(3), "together".to_owned()]);
        assert_eq!(marks(&file).iter().map(|m| m.0).collect::<Vec<_>>(), at(from));
        stand_at_ticks(&file);
        assert_eq!(said(&file, "ICMT"), format!("click and click, {ms} ms apart, 120 quarter notes a minute, seed 1"));
    }
}

/// A trial has its number, at the same frame in all files whatever the answer is, and says nothing from which that follows.
#[test]
fn a_trial_is_marked_and_gives_nothing_away() {
    let place = Place::new();
    place.run("hitgap train --pack 12 --seed 4711").exits(0);
    for n in 1..=12 {
        let file = place.read(&format!("out/train.kick+snare.90bpm.{n:02}.wav"));
        assert_eq!(marks(&file), [(4_800, format!("trial {n}"))]);
        assert_eq!(said(&file, "ICMT"), format!("kick and snare, trial {n} of 12, 90 quarter notes a minute"));
        assert!(!file.windows(4).any(|w| w == b"4711"));
    }
}
