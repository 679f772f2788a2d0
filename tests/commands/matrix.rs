//! Every shipped patch under every command that takes one, with every fix: none breaks, whatever it holds.

use super::place::{Place, Ran};
use serde_json::Value;

/// A shipped patch, and what there is to ask of it.
struct Shipped {
    path: String,
    /// What is added to every line: few bars at one tempo, but where something is set anew in the piece all of it.
    short: String,
    variants: Vec<String>,
    sequencers: Vec<String>,
    outputs: Vec<String>,
}

fn shipped(place: &Place) -> Vec<Shipped> {
    let all = place.names("patches").into_iter().filter(|n| n.ends_with(".toml") && !n.ends_with(".lesson.toml"));
    let all: Vec<Shipped> = all.filter(|n| n != "components.toml").map(|name| one(place, &name)).collect();
    let count = |of: fn(&Shipped) -> usize| all.iter().map(of).sum::<usize>();
    // The lists are read from what the program prints: they must not come out empty.
    assert!(all.len() > 15 && count(|s| s.variants.len()) > 40 && count(|s| s.sequencers.len()) > 40);
    assert!(all.iter().all(|s| !s.outputs.is_empty()) && all.iter().filter(|s| s.short.is_empty()).count() >= 3);
    all
}

fn one(place: &Place, name: &str) -> Shipped {
    let path = format!("patches/{name}");
    let text = String::from_utf8(place.read(&path)).expect("text");
    let report = ran(place, &format!("check {path} --format json"), &[0, 1]).stdout;
    let report: Value = serde_json::from_str(&report).expect("JSON");
    let results = report["results"].as_array().expect("a list");
    let mut variants: Vec<String> = Vec::new();
    for result in results {
        let variant = result["variant"].as_str().expect("a name").to_owned();
        if !variants.contains(&variant) {
            variants.push(variant);
        }
    }
    let players = results[0]["sequencers"].as_array().expect("a list");
    let sequencers = players.iter().filter(|p| p["file"].is_null()).map(|p| p["name"].as_str().expect("a name"));
    let sequencers = sequencers.map(str::to_owned).collect();
    let outputs = text.lines().filter_map(|line| line.trim().strip_prefix("[clock.")?.strip_suffix(']'));
    let outputs = outputs.map(str::to_owned).collect();
    let changes = text.lines().any(|line| line.trim() == "[[change]]");
    let tempo = results[0]["tempo_bpm"].as_f64().expect("a tempo");
    let short = if changes { String::new() } else { format!(" --bars 2 --tempo {tempo}") };
    Shipped { path, short, variants, sequencers, outputs }
}

/// Runs a line, which must end in one of these ways; a refusal says what was found and what to do.
#[track_caller]
fn ran(place: &Place, line: &str, ends: &[i32]) -> Ran {
    let ran = place.run(&format!("hitgap {line}"));
    let all = format!("{line}\n{}{}", ran.stdout, ran.stderr);
    assert!(ran.status.is_some_and(|status| ends.contains(&status)), "{:?} of {all}", ran.status);
    assert!(!all.contains("panicked"), "{all}");
    assert!(ran.status != Some(2) || (ran.stderr.starts_with("error: ") && ran.stderr.contains("\nhelp: ")), "{all}");
    ran
}

/// Does something with each patch, in two threads.
fn each(work: impl Fn(&Place, &Shipped) + Sync) {
    let place = Place::new();
    let all = shipped(&place);
    std::thread::scope(|scope| {
        for part in 0..2 {
            let (all, work) = (&all, &work);
            scope.spawn(move || all.iter().skip(part).step_by(2).for_each(|shipped| work(&Place::new(), shipped)));
        }
    });
}

#[test]
fn every_patch_is_judged_with_every_fix() {
    each(|place, Shipped { path, short, variants, sequencers, .. }| {
        for variant in variants {
            let of = format!("{path} --fix {variant}{short}");
            let tempo = if short.is_empty() { " --tempo 97.3" } else { "" };
            ran(place, &format!("check {of} --runs 2 --breakdown --plot"), &[0, 1]);
            ran(place, &format!("hits {of}{tempo}"), &[0]);
        }
        // One box, and where something is set anew each. One without a reset, or whose clock has no rate, cannot be tried.
        for sequencer in sequencers.iter().take(if short.is_empty() { usize::MAX } else { 1 }) {
            ran(place, &format!("identify {path} --sequencer {sequencer} --tempo 120 --sample-rate 8000"), &[0, 2]);
        }
    });
}

#[test]
fn every_patch_is_advised_on_with_every_fix() {
    each(|place, Shipped { path, short, variants, sequencers, .. }| {
        for variant in variants {
            for sequencer in sequencers {
                let of = format!("advise {path} --fix {variant}{short} --on sequencer.{sequencer}");
                ran(place, &format!("{of}.clock --plot --dial-steps 100"), &[0]);
                let reset = ran(place, &format!("{of}.reset --setting 1ms"), &[0, 2]);
                let none = "has no reset that it obeys";
                assert!(reset.status == Some(0) || reset.stderr.contains(none), "{of}: {}", reset.stderr);
            }
            let components = "--components patches/components.toml";
            ran(
                place,
                &format!("advise {path} --fix {variant}{short} --on sequencer.{}.clock {components}", sequencers[0]),
                &[0],
            );
        }
    });
}

#[test]
fn every_patch_is_heard_with_every_fix() {
    each(|place, Shipped { path, short, variants, sequencers, outputs }| {
        let tempo = if short.is_empty() { " --tempo 240" } else { "" };
        for (n, variant) in variants.iter().enumerate() {
            let of = format!("{path} --fix {variant}{short}{tempo} --sample-rate 8000 --out {n}");
            let sequencer = &sequencers[n % sequencers.len()];
            ran(place, &format!("sweep {of} --on sequencer.{sequencer}.clock --delay 0ms,3ms"), &[0]);
        }
        let every: String = variants.iter().map(|variant| format!(" --fix {variant}")).collect();
        ran(place, &format!("render {path}{every}{short}{tempo} --sample-rate 8000 --out r"), &[0]);
        assert_eq!(place.sounds("r").len(), variants.len(), "{path}");
        // What pulses once has no phase.
        for output in outputs.iter().take(if short.is_empty() { usize::MAX } else { 1 }) {
            let of = format!("sweep {path}{short}{tempo} --sample-rate 8000 --out o");
            ran(place, &format!("{of} --on clock.{output} --phase 1%"), &[0, 2]);
        }
        let fixes = variants.len() > 1;
        let compare = ran(place, &format!("compare {path}{short}{tempo} --sample-rate 8000 --out c"), &[0, 2]);
        assert_eq!(compare.status == Some(0), fixes, "{path}: {}", compare.stderr);
        // Who has one voice has no second one to tell it from.
        ran(place, &format!("train --patch {path} --sample-rate 8000 --out t"), &[0, 2]);
    });
}

#[test]
fn the_lesson_is_strung() {
    let place = Place::new();
    for name in place.names("patches").iter().filter(|name| name.ends_with(".lesson.toml")) {
        ran(&place, &format!("lesson patches/{name}"), &[0]);
    }
}
