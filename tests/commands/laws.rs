//! A file's bytes depend on the patch, variant, tempo, seed and sound options, never on what else the run makes.

use super::place::{Place, Ran};
use super::wav::Wav;
use std::collections::BTreeMap;

/// Moth's rig with noise of its own for every hit, drums on one beat from different places, and fixes that lengthen one
/// voice, change another and add hits: what can leak from one file into the next.
fn place() -> Place {
    let changes = [
        ("title  = \"Moth wakes on seven\"", "title  = \"Moth wakes on seven\"\nnoise = \"fresh\""),
        (
            "[fix.run-wire]",
            "[fix.open]\nset.\"voice.hat.decay\" = \"120 ms\"\n\n[fix.deep]\nset.\"voice.floor-drum.pitch-end\" = \"41 Hz\"\n\n[fix.run-wire]",
        ),
    ];
    Place::new().with_changed("fresh.toml", "moth-wakes-on-seven.toml", &changes)
}

/// What a line makes in a folder of its own, asked by `Ran` so that it may have an environment.
fn made(place: &Place, line: &str, env: &[(&str, &str)]) -> BTreeMap<String, Vec<u8>> {
    let _ = std::fs::remove_dir_all(place.path("made"));
    let line = format!("hitgap {line} --out made");
    Ran::new(&line, place.command(&line).envs(env.iter().copied())).exits(0);
    place.sounds("made")
}

#[test]
fn what_else_a_run_makes_changes_no_byte() {
    let place = place();
    // 32-bit floats show the last bit of every sum.
    for (patch, fixes, tempos) in [
        ("fresh.toml", vec!["original", "open", "deep+run-wire"], vec!["300"]),
        ("patches/thin-ice.toml", vec!["original", "phase", "or-gate"], vec!["160", "97.3"]),
    ] {
        let common = format!("{patch} --bars 1 --bits 32");
        let all: String = fixes.iter().rev().map(|f| format!(" --fix {f}")).collect();
        let tempo = tempos.join(",");
        let render = made(&place, &format!("render {common} --tempo {tempo} --stems{all}"), &[]);
        let stems = if patch == "fresh.toml" { 4 } else { 3 };
        assert_eq!(render.len(), fixes.len() * tempos.len() * stems);
        let others: String = fixes[1..].iter().rev().map(|f| format!(" --fix {f}")).collect();
        let compare = made(&place, &format!("compare {common} --tempo {tempo}{others}"), &[]);
        assert_eq!(compare.len(), tempos.len() * (2 * (fixes.len() - 1) + 1));
        for tempo in &tempos {
            for fix in &fixes {
                let alone = made(&place, &format!("render {common} --tempo {tempo} --fix {fix}"), &[]);
                assert_eq!(alone.len(), 1);
                for (name, bytes) in &alone {
                    assert!(render[name] == *bytes, "{name}");
                }
            }
            for fix in &fixes[1..] {
                let alone = made(&place, &format!("compare {common} --tempo {tempo} --fix {fix}"), &[]);
                assert_eq!(alone.len(), 3);
                for (name, bytes) in &alone {
                    assert!(compare[name] == *bytes, "{name}");
                }
            }
        }
    }
    let many = made(&place, "flam --delay 22ms,1ms --tempo 160,240 --voices snare,hat", &[]);
    for (name, bytes) in made(&place, "flam --delay 1ms --tempo 240 --voices snare,hat", &[]) {
        assert!(many[&name] == bytes, "{name}");
    }
}

#[test]
fn neither_threads_nor_another_run_change_a_byte() {
    let place = place();
    for line in [
        "render fresh.toml --bars 2 --tempo 140 --stems",
        "compare patches/moth-wakes-on-seven.toml --bars 2 --tempo 140 --bits 16",
        "flam --delay 5ms --tempo 240 --voices kick,hat",
        "voices --render",
    ] {
        let one = made(&place, line, &[("RAYON_NUM_THREADS", "1")]);
        assert!(!one.is_empty());
        for threads in ["1", "2"] {
            assert!(made(&place, line, &[("RAYON_NUM_THREADS", threads)]) == one, "{line} on {threads}");
        }
    }
}

#[test]
fn equal_runs_write_equal_manifests() {
    let place = place();
    let line = "hitgap compare patches/moth-wakes-on-seven.toml --bars 1 --tempo 140";
    let mut seen = Vec::new();
    for _ in 0..2 {
        place.run(line).exits(0);
        seen.push(place.read("out/manifest.json"));
    }
    assert!(seen[0] == seen[1]);
}

#[test]
fn the_seed_changes_noise_and_nothing_else() {
    let place = place();
    let render = |seed: u32| {
        made(&place, &format!("render fresh.toml --bars 2 --tempo 140 --stems --bits 32 --seed {seed}"), &[])
    };
    let (one, two) = (render(1), render(2));
    assert_eq!(one.keys().collect::<Vec<_>>(), two.keys().collect::<Vec<_>>());
    let (one_hat, two_hat) = ("fresh.original.140bpm.moth.wav", "fresh.original.140bpm.moth.wav");
    // A file says its seed: what is heard is asked here.
    let heard = |file: &[u8]| Wav::read(file).channels;
    assert!(heard(&one[one_hat]) != heard(&two[two_hat]));
    for (name, bytes) in &one {
        let (a, b) = (Wav::read(bytes), Wav::read(&two[name]));
        assert_eq!(a.left().len(), b.left().len(), "{name}");
        // As loud, stretch by stretch: a hit more, less or elsewhere would show. A hat's noise of about 50 ms and 8 kHz has
        // some 400 degrees of freedom, so one hit's level moves by 0.3 dB as often as not; 3 dB is out of reach.
        let level = |wav: &Wav, n: usize| {
            let samples = &wav.left()[n * 4_800..(n + 1) * 4_800];
            10.0 * (samples.iter().map(|s| s * s).sum::<f64>() + 1e-6).log10()
        };
        for n in 0..a.left().len() / 4_800 {
            let off = level(&a, n) - level(&b, n);
            assert!(off.abs() < 3.0, "{name}: {off:.1} dB in stretch {n}");
        }
    }
    // A click has no noise.
    let click =
        |seed: u32| heard(&made(&place, &format!("voices --render --bits 32 --seed {seed}"), &[])["voice.click.wav"]);
    assert!(click(1) == click(2));
    // Nor has a flam of clicks, nor what is printed of any.
    let flam =
        |seed: u32| place.run(&format!("hitgap flam --delay 1ms --voices snare,hat --seed {seed}")).exits(0).stdout;
    assert_eq!(flam(1), flam(2));
}
