use core::f64::consts::TAU;

use super::gaps::{Gap, Session};

/// A length that all hits keep among each other, whatever the tempo: a loop that looks at its inputs now and then, or blocks of
/// audio.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lattice {
    /// The length, in seconds.
    pub length: f64,
    /// How well hits keep it: 1 is to the last.
    pub score: f64,
    /// The least delay: what a hit that comes just in time still waits, in seconds; the bounds within which it lies.
    pub least: (f64, f64),
    /// How many lengths of it a hit waits beside: 0 for a loop, from 1 for blocks.
    pub blocks: u32,
}

/// Lengths that are tried, against the range of the gaps.
const TRIED: [f64; 2] = [0.6, 1.8];
/// Steps a turn over the whole recording.
const FINE: f64 = 3.0;
/// The least score, and how likely chance may reach it.
const SCORE: f64 = 0.7;
const CHANCE: f64 = 0.01;
/// Hits that are needed, and used at most in one recording.
const LEAST: usize = 12;
const MOST: usize = 256;
/// A range of gaps that is of no account, in seconds.
const OF_ACCOUNT: f64 = 0.2e-3;
/// Lengths that are tried at most; where it would be more, less of each recording is looked at.
const TRIALS: f64 = 20_000.0;
/// How near, as a part of a length, a least delay is to a whole number of lengths that it is taken for.
const NEAR: f64 = 0.15;
/// The part of the squares of the gaps that the length leaves unexplained at most.
const UNEXPLAINED: f64 = 0.3;

/// Looks for a length that the hits of all recordings keep.
#[must_use]
pub fn lattice(sessions: &[Session]) -> Option<Lattice> {
    let gaps = || sessions.iter().flat_map(|session| session.gaps.iter().map(|gap| gap.gap));
    let (low, high) = (gaps().fold(f64::INFINITY, f64::min), gaps().fold(f64::NEG_INFINITY, f64::max));
    // Between recordings gaps differ for other reasons too: the widest of them is what a wait would make.
    let width = |session: &Session| session.summary().map_or(0.0, |summary| summary.range.1 - summary.range.0);
    let range = sessions.iter().map(width).fold(0.0, f64::max);
    if range < OF_ACCOUNT {
        return None;
    }
    let (slowest, fastest) = (1.0 / (TRIED[1] * range), 1.0 / (TRIED[0] * range));
    let span = |gaps: &[Gap]| gaps.last().map_or(0.0, |last| last.at - gaps[0].at);
    let most = TRIALS / FINE / (fastest - slowest);
    let used: Vec<&[Gap]> = sessions
        .iter()
        .map(|session| {
            let until = session.gaps.partition_point(|gap| gap.at - session.gaps[0].at <= most);
            &session.gaps[..until.min(MOST)]
        })
        .filter(|gaps| !gaps.is_empty())
        .collect();
    let count: usize = used.iter().map(|gaps| gaps.len()).sum();
    let longest = used.iter().map(|gaps| span(gaps)).fold(0.0, f64::max);
    if count < LEAST || longest == 0.0 {
        return None;
    }
    let step = 1.0 / (FINE * longest);
    let trials = ((fastest - slowest) / step).ceil().max(1.0);
    let score = |rate: f64| -> f64 {
        used.iter().map(|gaps| turn(gaps.iter().map(|gap| gap.at), rate)).sum::<f64>() / used.len() as f64
    };
    let mut files: Vec<Vec<Turning>> =
        used.iter().map(|gaps| gaps.iter().map(|gap| Turning::new(gap.at, slowest, step)).collect()).collect();
    let best = (0..trials as usize)
        .map(|number| (slowest + number as f64 * step, scored(&mut files)))
        .max_by(|a, b| a.1.total_cmp(&b.1))?;
    let limit = SCORE.max((libm::log(trials / CHANCE) / count as f64).sqrt());
    if best.1 < limit {
        return None;
    }
    // Finer about the best: a hundredth of a step.
    let rate = (-100..=100)
        .map(|number| best.0 + f64::from(number) * step * 0.01)
        .max_by(|a, b| score(*a).total_cmp(&score(*b)))
        .unwrap_or(best.0);
    let length = 1.0 / rate;
    // A regular beat keeps many lengths, and its hits with it: the length has to explain why gaps differ.
    let (left, all) = used.iter().map(|gaps| spread(gaps, rate)).fold((0.0, 0.0), |a, b| (a.0 + b.0, a.1 + b.1));
    if left > UNEXPLAINED * all {
        return None;
    }
    // A hit waits from nothing up to a length, never more: the constant part is under the smallest gap, and the largest less a length.
    let least = (high - length, low);
    let blocks = (0.5 * (least.0 + least.1) / length).round();
    let whole = blocks >= 1.0 && (0.5 * (least.0 + least.1) / length - blocks).abs() < NEAR;
    Some(Lattice {
        length,
        score: score(rate),
        least: (least.0.min(least.1), least.0.max(least.1)),
        blocks: if whole { blocks as u32 } else { 0 },
    })
}

/// The direction of one hit, which turns on by the same angle from rate to rate.
struct Turning {
    now: (f64, f64),
    on: (f64, f64),
}

impl Turning {
    fn new(at: f64, rate: f64, step: f64) -> Self {
        Self { now: (TAU * at * rate).sin_cos(), on: (TAU * at * step).sin_cos() }
    }
}

/// The score at the rate at hand; all directions are turned on to the next.
fn scored(files: &mut [Vec<Turning>]) -> f64 {
    let count = files.len() as f64;
    let mut score = 0.0;
    for hits in files {
        let (mut sine, mut cosine) = (0.0, 0.0);
        for Turning { now, on } in hits.iter_mut() {
            sine += now.0;
            cosine += now.1;
            *now = (now.0 * on.1 + now.1 * on.0, now.1 * on.1 - now.0 * on.0);
        }
        score += f64::hypot(sine, cosine) / hits.len() as f64;
    }
    score / count
}

/// The squares of the distances of hits from the nearest whole length, and of gaps from their mean.
fn spread(gaps: &[Gap], rate: f64) -> (f64, f64) {
    let (sine, cosine) = gaps.iter().fold((0.0, 0.0), |sum: (f64, f64), gap| {
        let (sine, cosine) = (TAU * gap.at * rate).sin_cos();
        (sum.0 + sine, sum.1 + cosine)
    });
    let middle = sine.atan2(cosine) / TAU;
    let left = |gap: &Gap| {
        let turns = gap.at * rate - middle;
        ((turns - turns.round()) / rate).powi(2)
    };
    let mean = gaps.iter().map(|gap| gap.gap).sum::<f64>() / gaps.len() as f64;
    (gaps.iter().map(left).sum(), gaps.iter().map(|gap| (gap.gap - mean).powi(2)).sum())
}

/// How well some times keep a rate: the length of the mean of their directions.
fn turn(times: impl Iterator<Item = f64>, rate: f64) -> f64 {
    let (mut sine, mut cosine, mut count) = (0.0, 0.0, 0.0);
    for time in times {
        let turns = time * rate;
        let (s, c) = (TAU * (turns - turns.floor())).sin_cos();
        sine += s;
        cosine += c;
        count += 1.0;
    }
    if count > 0.0 { f64::hypot(sine, cosine) / count } else { 0.0 }
}
