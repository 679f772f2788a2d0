//! Jitter and wander of the clock itself: common to all that is sent at one instant, so that it cancels between boxes and
//! shows against the ideal time.

use hitgap::judge::runs::{Trials, chances};
use hitgap::judge::sure;
use hitgap::patch::{Asked, Patch, Rig};
use hitgap::rig::{Run, play, play_run};
use hitgap::time::{Span, Tempo};
use proptest::prelude::*;

fn rig(rest: &str) -> Rig {
    let source = format!("bars = 16\n[clock.a]\nrate = \"4 per beat\"\n[clock.b]\nrate = \"2 per beat\"\n{rest}");
    Patch::parse(&source, &Asked::default())
        .unwrap_or_else(|f| panic!("{}", f.render("test", &source, false)))
        .original
        .rig
}

fn tempo() -> Tempo {
    Tempo::whole(120)
}
const BOTH: &str = "[sequencer.ox]\nclock = \"a\"\nsteps = \"x.\"\nvoice = \"kick\"\n[sequencer.wren]\nclock = \"b\"\nsteps = \"x\"\nvoice = \"snare\"\n";
const SD: &str = "[jitter]\neach = { sd = \"1 ms\" }\n";

/// When the hits of each sequencer sound in a run, in picoseconds.
fn hits(rig: &Rig, run: Run) -> Vec<Vec<i64>> {
    let performance = play_run(rig, tempo(), run).expect("short");
    performance.tracks.iter().map(|t| t.sounds.iter().map(|s| s.at.0).collect()).collect()
}

#[test]
fn two_outputs_share_the_draw_of_an_instant() {
    let rig = rig(&format!("{SD}{BOTH}"));
    let typical = hits(&rig, Run::Typical);
    assert!(typical[0].iter().enumerate().all(|(k, at)| *at == 250_000_000_000 * k as i64));
    let (mut n, mut sum, mut squares) = (0.0, 0.0, 0.0);
    for number in 1..=100 {
        let drawn = hits(&rig, Run::Drawn { seed: 1, number });
        // Eighths of one and of the other output: moved, and alike, to the picosecond.
        assert_eq!(drawn[0], drawn[1]);
        assert_ne!(drawn[0], typical[0]);
        // All but the first, which is cut off at the start.
        for (at, ideal) in drawn[0].iter().zip(&typical[0]).skip(1) {
            let late = (at - ideal) as f64 / 1e9;
            assert!(late.abs() <= 4.0);
            (n, sum, squares) = (n + 1.0, sum + late, squares + late * late);
        }
        assert!(drawn[0][0] >= 0);
    }
    // 12,700 draws of a normal cut at 4: SD √0.998929 = 0.99946 (closed form); five standard errors, 1/√n and 1/√(2n).
    let (mean, sd) = (sum / n, (squares / n).sqrt());
    assert!(mean.abs() < 0.0444 && (sd - 0.999_46).abs() < 0.0314, "{n} {mean} {sd}");
}

#[test]
fn it_cancels_in_gaps_and_not_between_instants() {
    let gap = |rest: &str| {
        let rig = rig(&format!("{SD}{rest}"));
        let trials = Trials { runs: 200, seed: 1, max_gap: Span::from_ms(20), max_wobble: None };
        let chances = chances(&rig, tempo(), trials, &|| {}).expect("short");
        assert_eq!(chances.drawn, ["the clock"]);
        chances.gaps[0].1.expect("they meet")
    };
    let same = gap(BOTH);
    assert_eq!((same.sd, same.worst), (Span::ZERO, Span::ZERO));
    // An output that is shifted by 3 ms sends at other instants: two draws, SD √2 of one; 200 runs of 128 gaps, five
    // standard errors of 1/√(2n).
    let apart = gap(&BOTH.replace("\"b\"", "\"c\"").replacen(
        "[sequencer.ox]",
        "[clock.c]\nrate = \"2 per beat\"\nshift = \"30 ms\"\n[sequencer.ox]",
        1,
    ));
    let expected = std::f64::consts::SQRT_2 * 0.999_46;
    assert!((apart.sd.ms() - expected).abs() < 0.032 * expected, "{:?}", apart.sd);
}

#[test]
fn a_wander_is_slow_and_common() {
    let rig = rig(&format!("[jitter]\nwander = \"5 ms\"\nwander-period = \"8 s\"\n{BOTH}"));
    let drawn = hits(&rig, Run::Drawn { seed: 3, number: 5 });
    assert_eq!(drawn[0], drawn[1]);
    let late: Vec<f64> = drawn[0].iter().enumerate().map(|(k, at)| (*at as f64 - 250e9 * k as f64) / 1e9).collect();
    // At most 1.5 turns in 8 s: 2π·1.5/8 s · 5 ms = 5.9 ms a second, 1.5 ms an eighth.
    assert!(late.windows(2).all(|w| (w[1] - w[0]).abs() < 1.5) && late.iter().all(|l| l.abs() <= 5.0));
    assert!(late.iter().any(|l| l.abs() > 1.0));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(60))]

    /// Both ways of playing agree in drawn runs too, and what the bounds call always right is never wrong in any.
    #[test]
    fn what_is_always_right_is_never_wrong(
        sd in 1_i64..600, phase in -90_i64..90, delay in 0_i64..40, mode in 0..3_usize, shared in any::<bool>(),
    ) {
        let mode = ["this-clock", "next-clock", "sampled"][mode];
        let (clock, home) = if shared { ("[\"a\", \"d\"]", "[\"home\", \"d\"]") } else { ("\"a\"", "[\"home\", \"d\"]") };
        let rig = rig(&format!(
            "[jitter]\neach = {{ sd = \"{sd} us\" }}\n[stage.d]\nkind = \"delay\"\ndelay = \"{}.{} ms\"\n\
             [clock.home]\nrate = \"1 per 4 beats\"\nwidth = \"20 ms\"\nshift = \"{}.{} ms\"\n\
             [sequencer.ox]\nclock = {clock}\nreset = {home}\nreset-mode = \"{mode}\"\nsteps = \"xxxxxxxxxxxxxxxx\"\nvoice = \"kick\"\n",
            delay / 10, delay % 10, phase / 10, phase.abs() % 10,
        ));
        let performance = play(&rig, tempo()).expect("short");
        let sure = sure(&rig, &performance, Span(10_000_000))[0].expect("it has a reset");
        let runs: Vec<_> = (1..40).map(|number| play_run(&rig, tempo(), Run::Drawn { seed: 2, number }).expect("short")).collect();
        if sure.at_risk == 0 {
            for run in &runs {
                let late = |p: &hitgap::rig::Performance| p.tracks[0].settled.iter().map(|s| (s.one, s.pulses_late)).collect::<Vec<_>>();
                prop_assert_eq!(late(run), late(&performance));
            }
        }
    }
}
