use core::f64::consts::TAU;

use super::class::median;
use super::clock::{Clock, line};

/// How a hit's place on the grid is known.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Due {
    /// It belongs to the place it is nearest to: whole places cannot be told.
    Nearest,
    /// The first hit belongs to this place, from 0 at the first pulse; all others by their distance from it.
    First(u32),
}

/// One hit against its place on the grid; all times are true seconds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Gap {
    /// The place on the grid, from 0 at the first pulse.
    pub due: i64,
    /// When the hit sounds, from the recording's start.
    pub at: f64,
    /// How much later than its place; negative is earlier.
    pub gap: f64,
    /// The standard error of both together.
    pub error: f64,
}

/// The gaps of one recording.
#[derive(Clone, Debug, PartialEq)]
pub struct Session {
    /// Quarter notes a minute.
    pub tempo: f64,
    /// From place to place of the grid, in seconds.
    pub period: f64,
    /// A gap a hit, in order.
    pub gaps: Vec<Gap>,
}

/// What the gaps of one recording have in common.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Summary {
    /// How many gaps there are.
    pub count: usize,
    /// The one in the middle, in seconds.
    pub median: f64,
    /// Their mean, without the few that are far off all others.
    pub mean: f64,
    /// The standard error of the mean.
    pub error: f64,
    /// The SD of the gaps without what their measurement adds, in seconds.
    pub waver: f64,
    /// Whether they scatter more than they are measured to.
    pub wavers: bool,
    /// How much later each second's gaps are than the second's before; and its standard error.
    pub drift: (f64, f64),
    /// The smallest and the largest gap.
    pub range: (f64, f64),
}

/// The gaps of hits, given as the recorder's seconds with their standard errors, against the places of a grid with so many
/// places a quarter note.
#[must_use]
pub fn session(clock: &Clock, tempo: f64, places: f64, hits: &[(f64, f64)], due: Due) -> Session {
    let period = 60.0 / tempo / places;
    let scale = clock.true_seconds();
    let at = |hit: f64| clock.beat(hit) * places;
    let number: Vec<i64> = match (due, hits.first()) {
        (_, None) => Vec::new(),
        (Due::First(first), Some((start, _))) => {
            hits.iter().map(|(hit, _)| i64::from(first) + (at(*hit) - at(*start)).round() as i64).collect()
        }
        (Due::Nearest, Some(_)) => {
            // The mean direction on the circle of a period: gaps half a period off do not fall to both sides.
            let (sine, cosine) = hits.iter().fold((0.0, 0.0), |sum: (f64, f64), (hit, _)| {
                let (sine, cosine) = (TAU * at(*hit)).sin_cos();
                (sum.0 + sine, sum.1 + cosine)
            });
            let middle = sine.atan2(cosine) / TAU;
            hits.iter().map(|(hit, _)| (at(*hit) - middle).round() as i64).collect()
        }
    };
    let gaps = hits.iter().zip(number).map(|((hit, error), due)| Gap {
        due,
        at: hit * scale,
        gap: (hit - clock.at(due as f64 / places)) * scale,
        error: *error,
    });
    Session { tempo, period, gaps: gaps.collect() }
}

/// The gaps of hits of one box against those of another, each with the nearest within half a period.
#[must_use]
pub fn between(tempo: f64, places: f64, first: &[(f64, f64)], second: &[(f64, f64)]) -> Session {
    let period = 60.0 / tempo / places;
    let mut gaps = Vec::new();
    for (hit, error) in second {
        let after = first.partition_point(|(at, _)| at < hit);
        let near = [after.checked_sub(1), Some(after)].into_iter().flatten().filter_map(|n| first.get(n));
        let Some((at, other)) = near.min_by(|a, b| (a.0 - hit).abs().total_cmp(&(b.0 - hit).abs())) else { continue };
        if (hit - at).abs() < period / 2.0 {
            let due = ((at - first[0].0) / period).round() as i64;
            gaps.push(Gap { due, at: *hit, gap: hit - at, error: error.hypot(*other) });
        }
    }
    Session { tempo, period, gaps }
}

/// Deviations beyond which a spread or a drift is no chance: one in a hundred.
const SURE: f64 = 2.58;
/// The SD of normal values against the median of their distances from the middle.
const MIDDLE_DISTANCE: f64 = 1.482_602_2;
/// Deviations beyond which a gap is far off all others, and the share that may be.
const FAR: f64 = 5.0;
const FEW: f64 = 0.1;
/// A waver or a drift under this is of no account, in seconds.
const OF_ACCOUNT: f64 = 10e-6;

impl Session {
    /// What the gaps have in common; none of none.
    #[must_use]
    pub fn summary(&self) -> Option<Summary> {
        let count = self.gaps.len();
        let mut gaps: Vec<f64> = self.gaps.iter().map(|gap| gap.gap).collect();
        let middle = median(&mut gaps);
        let range = (*gaps.first()?, *gaps.last()?);
        let number = count as f64;
        without_far(&mut gaps, middle);
        let kept = gaps.len() as f64;
        let mean = gaps.iter().sum::<f64>() / kept;
        let power = |sum: f64| if kept > 1.0 { sum / (kept - 1.0) } else { 0.0 };
        let variance = power(gaps.iter().map(|gap| (gap - mean).powi(2)).sum());
        let measured = self.gaps.iter().map(|gap| gap.error * gap.error).sum::<f64>() / number;
        let waver = (variance - measured).max(0.0).sqrt();
        // The variance of n normal values has a relative SD of √(2/(n − 1)).
        let chance = measured * (1.0 + SURE * (2.0 / (number - 1.0).max(1.0)).sqrt());
        let points: Vec<(f64, f64)> = self.gaps.iter().map(|gap| (gap.at, gap.gap)).collect();
        let (_, slope, slope_error) = line(&points);
        Some(Summary {
            count,
            median: middle,
            mean,
            // A variance of few values is itself uncertain: Student's distribution is wider than the normal one by this.
            error: (variance.max(measured) / kept * if kept > 3.0 { (kept - 1.0) / (kept - 3.0) } else { 4.0 }).sqrt(),
            waver,
            wavers: variance > chance && waver > OF_ACCOUNT,
            drift: (slope, slope_error),
            range,
        })
    }

    /// Whether the gap drifts, by more than chance and to some account over the recording.
    #[must_use]
    pub fn drifts(&self) -> bool {
        let (Some(summary), Some(first), Some(last)) = (self.summary(), self.gaps.first(), self.gaps.last()) else {
            return false;
        };
        let (slope, error) = summary.drift;
        summary.count >= 8 && slope.abs() > SURE * error && slope.abs() * (last.at - first.at) > OF_ACCOUNT
    }
}

/// Leaves out the few gaps that are far off all others.
fn without_far(gaps: &mut Vec<f64>, middle: f64) {
    let mut distances: Vec<f64> = gaps.iter().map(|gap| (gap - middle).abs()).collect();
    let limit = FAR * MIDDLE_DISTANCE * median(&mut distances);
    let far = gaps.iter().filter(|gap| (**gap - middle).abs() > limit).count();
    if limit > 0.0 && far as f64 <= FEW * gaps.len() as f64 {
        gaps.retain(|gap| (gap - middle).abs() <= limit);
    }
}
