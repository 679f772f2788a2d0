//! A rig that is made up, recorded at three tempos, and all that is said of it.

use super::{PULSE_EARLY, Track, bits, held, normal, pulse, voice};
use hitgap::measure::{Fault, Finding, Findings, Held, Kind, Recording, Request, Role, findings};
use rand_chacha::ChaCha8Rng;

const TEMPOS: [f64; 3] = [61.3, 90.7, 133.1];
/// Sixteenths that are recorded at each tempo.
const STEPS: usize = 64;
/// How fast the recorder runs.
const PPM: f64 = 50.0;

/// A clock, and a snare and a kick that are hit `delay(period, time)` after some of its pulses.
fn recorded(tempo: f64, delay: impl Fn(f64, f64, &mut ChaCha8Rng) -> f64) -> Held {
    let period = 15.0 / tempo;
    let mut chance = bits("chain", tempo.to_bits());
    let mut tracks: Vec<Track> = (0..3).map(|_| Track::new(period * STEPS as f64 + 0.6)).collect();
    let masters = [pulse(), voice("snare"), voice("kick")];
    for step in 0..STEPS {
        let on = 0.1 + step as f64 * period;
        let scale = 1.0 + PPM * 1e-6;
        tracks[0].strike(&masters[0], on * scale + PULSE_EARLY, 0.5);
        if step % 2 == 0 {
            tracks[1].strike(&masters[1], (on + delay(period, on, &mut chance)) * scale, 0.5);
        }
        if matches!(step % 16, 0 | 7 | 10) {
            tracks[2].strike(&masters[2], on * scale, 0.5);
        }
    }
    let dry = Track(tracks[2].0.clone());
    tracks[1].bleed(&dry, 25.0);
    for (channel, (track, db)) in tracks.iter_mut().zip([40.0, 30.0, 30.0]).enumerate() {
        let peak = track.peak();
        if channel > 0 {
            track.room(&mut bits("hall", channel as u64));
            track.hum(0.01 * peak, 0.02);
        }
        track.noise(peak, db, &mut chance);
    }
    held(&tracks)
}

fn said(delay: impl Fn(f64, f64, &mut ChaCha8Rng) -> f64) -> Findings {
    let recordings = TEMPOS.map(|tempo| recorded(tempo, &delay));
    let recordings: Vec<&dyn Recording> = recordings.iter().map(|it| it as &dyn Recording).collect();
    let roles = vec![Role::Pulses, Role::Hits, Role::Hits];
    findings(&recordings, &Request { roles, tempos: TEMPOS.to_vec(), places: 4.0, first: None, zero: false })
        .expect("a clock")
}

fn snare(findings: &Findings) -> &Finding {
    findings.findings.iter().find(|finding| finding.channel == 1).expect("a snare")
}

#[test]
fn a_fixed_time_a_share_and_the_recorders_clock_are_found() {
    let fixed = said(|_, _, _| 3e-3);
    for ppm in &fixed.ppm {
        let (ppm, error) = ppm.expect("a clock");
        assert!((ppm - PPM).abs() < 0.1 && error < 0.1, "{ppm} ± {error} ppm");
    }
    // Where a hit begins is up to a fifth of a millisecond before it is struck; the rest is known to some µs.
    let verdict = &snare(&fixed).verdict;
    assert_eq!(verdict.kind, Kind::Fixed);
    assert!((verdict.fixed.value - 3e-3).abs() < 0.25e-3, "{:?}", verdict.fixed);
    assert!(verdict.share.value.abs() < 1e-4, "{:?}", verdict.share);
    let tempos: Vec<_> = snare(&fixed).sessions.iter().map(|it| it.summary().expect("gaps")).collect();
    assert!(tempos.iter().all(|it| it.count == STEPS / 2 && !it.wavers && it.waver < 10e-6), "{tempos:?}");
    let share = said(|period, _, _| 0.01 * period);
    let verdict = &snare(&share).verdict;
    assert_eq!(verdict.kind, Kind::Share);
    assert!((verdict.share.value - 0.01).abs() < 1e-4, "{:?}", verdict.share);
    // The same hits, three milliseconds against a hundredth of a period. Where the voice begins is found anew in each session, on
    // the mean of some hundred hits at 30 dB in a room: to some µs.
    let medians = |findings: &Findings| -> Vec<f64> {
        snare(findings).sessions.iter().map(|it| it.summary().expect("gaps").median).collect()
    };
    for ((fixed, share), tempo) in medians(&fixed).iter().zip(medians(&share)).zip(TEMPOS) {
        let between = 3e-3 - 0.01 * 15.0 / tempo;
        assert!((fixed - share - between).abs() < 10e-6, "{} us", (fixed - share - between) * 1e6);
    }
}

#[test]
fn a_loop_is_found_and_jitter_is_none() {
    let waits = said(|_, on, _| (on / 4e-3).ceil() * 4e-3 - on);
    let Kind::Lattice(found) = snare(&waits).verdict.kind else { panic!("{:?}", snare(&waits).verdict) };
    assert!((found.length / 4e-3 - 1.0).abs() < 0.005 && found.blocks == 0, "{found:?}");
    let loose = said(|_, _, bits| 2e-3 + 0.5e-3 * normal(bits));
    let finding = snare(&loose);
    assert!(!matches!(finding.verdict.kind, Kind::Lattice(_) | Kind::Share), "{:?}", finding.verdict);
    let summary = finding.sessions[0].summary().expect("gaps");
    // The SD of an SD of 32 values is an eighth of it.
    assert!(summary.wavers && (summary.waver / 0.5e-3 - 1.0).abs() < 0.4, "{summary:?}");
}

#[test]
fn pulses_that_keep_another_tempo_are_a_fault() {
    let recording = recorded(133.1, |_, _, _| 0.0);
    let roles = vec![Role::Pulses, Role::Hits, Role::Hits];
    let request = Request { roles, tempos: vec![120.0], places: 4.0, first: None, zero: false };
    let Err(Fault::Tempo { file: 0, apart: Some(apart) }) = findings(&[&recording], &request) else {
        panic!("no fault")
    };
    assert!((apart - 15.0 / 133.1).abs() < 1e-5, "{apart}");
}
