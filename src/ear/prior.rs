use super::Level;
use super::level::OCTAVE;

/// What a listener may be like before there is an answer: each slope with its weight, in thousandths.
///
/// A log-normal prior in steps of half an octave or nearly so: middle 2.5 per natural logarithm of time, spread (SD of the logarithm)
/// 0.75. The middle: of clicks against piano attacks the order is told in 75 % of trials at 22 ms, nearly always above 60 ms
/// (mazurka.org.uk/experiments/onset); a logistic curve through 75 and 97 % there has 2.7. The spread is an assumption without a
/// source: it leaves a third and three times the usual slope likely.
pub(super) const SLOPES: [(f64, f64); 10] = [
    (0.5, 100.0),
    (0.7, 237.0),
    (1.0, 474.0),
    (1.4, 742.0),
    (2.0, 957.0),
    (2.8, 989.0),
    (4.0, 822.0),
    (5.6, 561.0),
    (8.0, 300.0),
    (11.0, 142.0),
];

/// Each lapse rate with its weight: falling, within and a little beyond the 0 to 6 % of Wichmann and Hill 2001. An assumption
/// without a source.
pub(super) const LAPSES: [(f64, f64); 4] = [(0.005, 40.0), (0.02, 30.0), (0.045, 20.0), (0.08, 10.0)];

/// How many curves there are for one gap.
pub(super) const CURVES: usize = SLOPES.len() * LAPSES.len();

/// Gaps at the target: an octave below and above all that is asked for, all alike.
pub(super) const LOWEST: Level = Level(-3 * OCTAVE);
/// A tenth of an octave, 7 %: a third of the width that a session ends at is ten times that.
pub(super) const STEP: i32 = OCTAVE / 10;
/// How many.
pub(super) const GAPS: usize = 111;

/// A family of curves by the gap at which a share of the answers is right: a slope and a lapse rate are one of it.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Curves {
    guess_rate: f64,
    /// Slope, 1 − γ − λ, and (1 − F)/F at the target.
    all: Vec<[f64; 3]>,
    /// Before there is an answer.
    pub(super) weights: Vec<f64>,
}

/// The natural exponential, the same to the last bit wherever sums and products are those of IEEE 754, on a page too: eight terms of
/// the series at a 1024th, squared ten times. For -90 to 90.
fn exp(x: f64) -> f64 {
    let y = x / 1024.0;
    let mut sum = 1.0;
    for n in (1..=8).rev() {
        sum = 1.0 + y * sum / f64::from(n);
    }
    for _ in 0..10 {
        sum *= sum;
    }
    sum
}

impl Curves {
    /// Those that come to `share` at their gap. `None` where one of them never does.
    pub(super) fn new(guess_rate: f64, share: f64) -> Option<Self> {
        let (mut all, mut weights) = (Vec::with_capacity(CURVES), Vec::with_capacity(CURVES));
        for (slope, slope_weight) in SLOPES {
            for (lapse_rate, lapse_weight) in LAPSES {
                let high = 1.0 - guess_rate - lapse_rate;
                let f = (share - guess_rate) / high;
                if !(0.02..=0.98).contains(&f) {
                    return None;
                }
                all.push([slope, high, (1.0 - f) / f]);
                weights.push(slope_weight * lapse_weight);
            }
        }
        Some(Self { guess_rate, all, weights })
    }

    /// The share of right answers that each curve has so many millionths of an octave above its gap.
    pub(super) fn right(&self, above: i32) -> [f64; CURVES] {
        let ln = f64::from(above) * (std::f64::consts::LN_2 / 1_000_000.0);
        let mut all = [0.0; CURVES];
        for (of_slope, curves) in all.chunks_exact_mut(LAPSES.len()).zip(self.all.chunks_exact(LAPSES.len())) {
            // Lapses leave the slope as it is.
            let falls = exp(-(curves[0][0] * ln));
            for (share, [_, high, odds]) in of_slope.iter_mut().zip(curves) {
                *share = self.guess_rate + high / (1.0 + odds * falls);
            }
        }
        all
    }

    pub(super) const fn guess_rate(&self) -> f64 {
        self.guess_rate
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ear::{PsychometricFunction, Shape};

    /// Against the exponential of `libm`, over all that is asked of it.
    #[test]
    fn the_exponential_is_one() {
        for n in -900..=900 {
            let x = 0.1 * f64::from(n);
            // The series leaves 9e-16 at a 1024th and rounding some 1e-16; both grow by 1024.
            assert!((exp(x) / libm::exp(x) - 1.0).abs() < 2e-12, "{x}");
        }
    }

    /// The curve that is fitted elsewhere, moved to where it has the share.
    #[test]
    fn a_curve_has_its_share_at_its_gap() {
        for (guess_rate, share) in [(1.0 / 3.0, 0.8035), (0.5, 0.75)] {
            let curves = Curves::new(guess_rate, share).expect("reached");
            for (s, (slope, _)) in SLOPES.iter().enumerate() {
                for (l, (lapse_rate, _)) in LAPSES.iter().enumerate() {
                    let at_nought = PsychometricFunction {
                        shape: Shape::Logistic,
                        ln_threshold: 0.0,
                        slope: *slope,
                        guess_rate,
                        lapse_rate: *lapse_rate,
                    };
                    let off = at_nought.ln_ms_at(share).expect("reached");
                    for above in [-9_000_000, -1_234_500, 0, 300_000, 9_900_000] {
                        let own = curves.right(above)[s * LAPSES.len() + l];
                        let other = at_nought.at(Level(above).ln_ms() + off);
                        assert!((own - other).abs() < 1e-12, "{slope} {lapse_rate} {above}");
                    }
                    assert!((curves.right(0)[s * LAPSES.len() + l] - share).abs() < 1e-15);
                }
            }
        }
        assert!(Curves::new(0.5, 0.95).is_none() && Curves::new(0.5, 0.4).is_none());
    }

    /// The weights of the slopes are those of the log-normal prior that their comment names.
    #[test]
    fn the_slopes_are_log_normal() {
        for (slope, weight) in SLOPES {
            let z = libm::log(slope / 2.5) / 0.75;
            assert!((1000.0 * libm::exp(-0.5 * z * z) - weight).abs() < 0.6, "{slope}");
        }
    }
}
