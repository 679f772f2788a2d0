//! Gaps that are made up, and what is said of them.

use super::{bits, normal};
use hitgap::dsp::uniform;
use hitgap::measure::{Gap, Kind, Missing, Session, verdict};
use rand_chacha::ChaCha8Rng;

const TEMPOS: [f64; 3] = [61.3, 90.7, 133.1];
/// How well a hit of these is placed, in seconds.
const ERROR: f64 = 0.3e-6;

/// Gaps of `count` hits at each tempo, on every second sixteenth. `gap` is told the period and the instant from which a hit is late.
fn sessions(
    tempos: &[f64],
    count: i64,
    bits: &mut ChaCha8Rng,
    gap: impl Fn(f64, f64, &mut ChaCha8Rng) -> f64,
) -> Vec<Session> {
    let one = |tempo: &f64, bits: &mut ChaCha8Rng| {
        let period = 15.0 / tempo;
        let start = uniform(bits);
        let gaps = (0..count).map(|n| {
            let on = start + (2 * n) as f64 * period;
            let gap = gap(period, on, bits) + ERROR * normal(bits);
            Gap { due: 2 * n, at: on + gap, gap, error: ERROR }
        });
        Session { tempo: *tempo, period, gaps: gaps.collect() }
    };
    tempos.iter().map(|tempo| one(tempo, bits)).collect()
}

#[test]
fn intervals_hold_the_truth_as_often_as_they_say() {
    // 500 sessions each; 95 % ± 2 is two standard errors of a share of 500.
    for (waver, count, onset) in [(20e-6, 32, 40e-6), (0.3e-3, 32, 40e-6), (1e-3, 24, 80e-6)] {
        let (mut fixed_held, mut share_held) = (0, 0);
        for number in 0..500 {
            let mut bits = bits("intervals", number);
            let (fixed, share) = (5e-3 * normal(&mut bits), 0.02 * normal(&mut bits));
            let off = onset * normal(&mut bits);
            let made = sessions(&TEMPOS, count, &mut bits, |period, _, bits| {
                fixed + off + share * period + waver * normal(bits)
            });
            let found = verdict(&made, onset, true).expect("there are gaps");
            let holds = |(low, high): (f64, f64), value: f64| i32::from(low <= value && value <= high);
            fixed_held += holds(found.fixed.interval(), fixed);
            share_held += holds(found.share.interval(), share);
        }
        println!("waver {waver}: {fixed_held} and {share_held} of 500");
        for held in [fixed_held, share_held] {
            assert!((465..=485).contains(&held), "waver {waver}: {held} of 500");
        }
    }
}

/// When a loop that looks every so many seconds sees what comes at an instant.
fn wait(on: f64, length: f64) -> f64 {
    (on / length).ceil() * length - on
}

/// A delay, from a period and an instant.
type Delay = fn(f64, f64, &mut ChaCha8Rng) -> f64;

/// What makes gaps, by which name, and which names it may be given, so often in a hundred.
type Case = (&'static str, Delay, fn(Kind) -> bool, u32);

/// What makes the gaps; which names are right; the least share of right ones in a hundred, at three tempos and 32 hits.
const CASES: [Case; 12] = [
    ("3 ms", |_, _, b| 3e-3 + 20e-6 * normal(b), |kind| kind == Kind::Fixed, 96),
    ("1 %", |p, _, b| 0.01 * p + 20e-6 * normal(b), |kind| kind == Kind::Share, 96),
    ("1 ms + 1 %", |p, _, b| 1e-3 + 0.01 * p + 20e-6 * normal(b), |kind| kind == Kind::Both, 96),
    ("1 ms + 1 %, waver 0.3 ms", |p, _, b| 1e-3 + 0.01 * p + 0.3e-3 * normal(b), |kind| kind == Kind::Both, 96),
    ("3 ms, waver 0.3 ms", |_, _, b| 3e-3 + 0.3e-3 * normal(b), |kind| kind == Kind::Fixed, 50),
    ("nothing", |_, _, b| 5e-6 * normal(b), |kind| kind == Kind::Together, 96),
    // More than half a sixteenth at 133.1, where the hit is nearer to the place after its own.
    ("80 ms", |_, _, b| 80e-3 + 20e-6 * normal(b), |kind| kind == Kind::Fixed, 96),
    ("jitter of 0.5 ms", |_, _, b| 2e-3 + 0.5e-3 * normal(b), |kind| kind == Kind::Fixed, 0),
    ("up to 4 ms by chance", |_, _, b| 4e-3 * uniform(b), |kind| kind == Kind::Fixed, 0),
    ("a loop of 4 ms", |_, on, _| wait(on, 4e-3), |kind| lattice(kind, 4e-3, 0, 0.0), 96),
    ("a loop of 4 ms, and 1 ms", |_, on, _| 1e-3 + wait(on, 4e-3), |kind| lattice(kind, 4e-3, 0, 1e-3), 96),
    ("blocks of 5.33 ms", |_, on, _| 5.333e-3 + wait(on, 5.333e-3), |kind| lattice(kind, 5.333e-3, 1, 5.333e-3), 96),
];

/// Whether this length was found, and a least delay that is right to a fifth of a millisecond.
fn lattice(kind: Kind, length: f64, blocks: u32, least: f64) -> bool {
    let near = |bound: f64| (bound - least).abs() < 0.2e-3;
    matches!(kind, Kind::Lattice(it) if (it.length / length - 1.0).abs() < 0.005 && it.blocks == blocks
        && near(it.least.0) && near(it.least.1))
}

#[test]
fn a_delay_gets_its_own_name_or_none() {
    const SESSIONS: u64 = 100;
    let (mut wrong, mut all) = (0, 0);
    for (name, delay, is_right, least) in CASES {
        let mut right = 0;
        for number in 0..SESSIONS {
            let mut bits = bits(name, number);
            let off = 40e-6 * normal(&mut bits);
            let made = sessions(&TEMPOS, 32, &mut bits, |period, on, bits| {
                let gap = off + delay(period, on, bits);
                gap - (gap / period).round() * period
            });
            let kind = verdict(&made, 40e-6, false).expect("there are gaps").kind;
            right += u32::from(is_right(kind));
            wrong += u32::from(!is_right(kind) && !matches!(kind, Kind::CannotTell(_)));
            all += 1;
        }
        println!("{name}: {right} of {SESSIONS}");
        assert!(right >= least, "{name}: {right} of {SESSIONS}");
    }
    println!("wrong: {wrong} of {all}");
    // Two in a hundred of all.
    assert!(wrong * 50 < all, "{wrong} of {all}");
}

#[test]
fn what_was_not_recorded_is_asked_for() {
    let asked = |tempos: &[f64], waver: f64| {
        let mut bits = bits("asked", 0);
        let made = sessions(tempos, 16, &mut bits, |p, _, bits| 1e-3 + 0.002 * p + waver * normal(bits));
        verdict(&made, 40e-6, false).expect("there are gaps").kind
    };
    assert_eq!(asked(&[120.0], 20e-6), Kind::CannotTell(Missing::Tempo));
    assert_eq!(asked(&[120.0, 130.0], 0.3e-3), Kind::CannotTell(Missing::Range));
    assert_eq!(asked(&[60.0, 160.0], 1e-3), Kind::CannotTell(Missing::Hits));
    assert!(verdict(&[], 0.0, false).is_none());
}

#[test]
fn a_delay_of_whole_places_is_told_where_hits_are_counted() {
    let mut bits = bits("whole", 0);
    let made = sessions(&TEMPOS, 32, &mut bits, |p, _, bits| 2.0 * p + 1e-3 + 20e-6 * normal(bits));
    assert_eq!(verdict(&made, 40e-6, true).expect("there are gaps").kind, Kind::Whole(2));
}
