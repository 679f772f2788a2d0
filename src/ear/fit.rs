use super::{Level, PsychometricFunction, Shape, Trial};
use crate::stats::minimise;
use std::collections::BTreeMap;

/// The answers at one gap.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Point {
    /// The natural logarithm of the gap in ms.
    pub ln_ms: f64,
    /// Right answers.
    pub right: u32,
    /// Answers, right or wrong.
    pub trials: u32,
}

/// A curve and how well it goes with the answers.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fitted {
    /// The likeliest curve.
    pub curve: PsychometricFunction,
    /// The natural logarithm of its likelihood, without the binomial factors.
    pub log_likelihood: f64,
}

/// The largest lapse rate that a fit takes, as Wichmann and Hill 2001 bound it (0 to 0.06).
pub const LAPSE_MOST: f64 = 0.06;
/// Between which a slope is looked for: flatter nothing is learnt, steeper all steps look alike.
pub(super) const SLOPE: [f64; 2] = [0.3, 8.0];

/// Answers gap by gap.
#[must_use]
pub fn points(trials: &[Trial]) -> Vec<Point> {
    let mut all: BTreeMap<i32, (f64, u32, u32)> = BTreeMap::new();
    for trial in trials {
        let point = all.entry(trial.level.0).or_insert((trial.level.ln_ms(), 0, 0));
        point.1 += u32::from(trial.right());
        point.2 += 1;
    }
    all.into_values().map(|(ln_ms, right, trials)| Point { ln_ms, right, trials }).collect()
}

/// Answers to gaps of one half of an octave: a staircase seldom asks for the very same gap twice.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bin {
    /// From this gap on.
    pub low: Level,
    /// Up to this one, which is not in it.
    pub high: Level,
    /// The mean of the gaps that were asked for: natural logarithm of ms.
    pub ln_ms: f64,
    /// Right answers.
    pub right: u32,
    /// Answers, right or wrong.
    pub trials: u32,
}

/// Answers in steps of half an octave, gaps rising.
#[must_use]
pub fn binned(trials: &[Trial]) -> Vec<Bin> {
    const STEP: i32 = 500_000;
    let mut all: BTreeMap<i32, Bin> = BTreeMap::new();
    for trial in trials {
        let step = trial.level.0.div_euclid(STEP);
        let empty = Bin { low: Level(step * STEP), high: Level((step + 1) * STEP), ln_ms: 0.0, right: 0, trials: 0 };
        let bin = all.entry(step).or_insert(empty);
        bin.trials += 1;
        bin.right += u32::from(trial.right());
        bin.ln_ms += (trial.level.ln_ms() - bin.ln_ms) / f64::from(bin.trials);
    }
    all.into_values().collect()
}

/// How likely answers are under a curve: natural logarithm, without the binomial factors.
pub(super) fn log_likelihood(curve: &PsychometricFunction, points: &[Point]) -> f64 {
    points
        .iter()
        .map(|p| {
            let share = curve.at(p.ln_ms).clamp(1e-9, 1.0 - 1e-9);
            f64::from(p.right) * libm::log(share) + f64::from(p.trials - p.right) * libm::log1p(-share)
        })
        .sum()
}

/// The curve with the largest likelihood; the guess rate is that of the task, the lapse rate lies between 0 and
/// [`LAPSE_MOST`]. `None` without answers.
///
/// A coarse grid gives the start, the simplex the rest. What is left of a bias from lapses remains (Prins, Journal of
/// Vision 12(6):25, 2012).
#[must_use]
pub fn fit(shape: Shape, guess_rate: f64, points: &[Point]) -> Option<Fitted> {
    let (low, high) = range(points)?;
    let mut best = Fitted {
        curve: PsychometricFunction { shape, ln_threshold: low, slope: 1.0, guess_rate, lapse_rate: 0.0 },
        log_likelihood: f64::NEG_INFINITY,
    };
    for n in 0..=12 {
        for slope in [0.5, 1.0, 2.0, 4.0, 8.0] {
            for lapse_rate in [0.0, 0.02, 0.05] {
                let ln_threshold = low + (high - low) * f64::from(n) / 12.0;
                let curve = PsychometricFunction { shape, ln_threshold, slope, guess_rate, lapse_rate };
                let log_likelihood = log_likelihood(&curve, points);
                if log_likelihood > best.log_likelihood {
                    best = Fitted { curve, log_likelihood };
                }
            }
        }
    }
    Some(polish(best.curve, points, (low, high)))
}

/// A fit that starts from a curve that is near, and not from a grid.
pub(super) fn fit_near(curve: PsychometricFunction, points: &[Point]) -> Option<Fitted> {
    Some(polish(curve, points, range(points)?))
}

/// The gaps that were asked for, a factor of four wider either way: where a threshold is looked for.
pub(super) fn range(points: &[Point]) -> Option<(f64, f64)> {
    let low = points.iter().map(|p| p.ln_ms).reduce(f64::min)?;
    let high = points.iter().map(|p| p.ln_ms).reduce(f64::max)?;
    let margin = 2.0 * std::f64::consts::LN_2;
    Some((low - margin, high + margin))
}

fn polish(from: PsychometricFunction, points: &[Point], (low, high): (f64, f64)) -> Fitted {
    let curve = |[t, s, l]: [f64; 3]| PsychometricFunction {
        ln_threshold: t.clamp(low, high),
        slope: libm::exp(s).clamp(SLOPE[0], SLOPE[1]),
        lapse_rate: l.clamp(0.0, LAPSE_MOST),
        ..from
    };
    // Outside the bounds the value of the nearest point within, and a little more: the simplex comes back.
    let outside = |x: f64, [a, b]: [f64; 2]| (a - x).max(x - b).max(0.0);
    let cost = |at: [f64; 3]| {
        let beyond = outside(at[0], [low, high])
            + outside(at[1], SLOPE.map(libm::log))
            + 10.0 * outside(at[2], [0.0, LAPSE_MOST]);
        beyond - log_likelihood(&curve(at), points)
    };
    let start = [from.ln_threshold, libm::log(from.slope), from.lapse_rate];
    let inwards = if from.lapse_rate > LAPSE_MOST / 2.0 { -0.02 } else { 0.02 };
    let (at, _) = minimise(&cost, start, [0.3, 0.3, inwards], 1e-6);
    let curve = curve(at);
    Fitted { curve, log_likelihood: log_likelihood(&curve, points) }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A worked set of a tutorial (second-hand): 100 answers each.
    fn worked() -> Vec<Point> {
        [(0.01, 58), (0.02, 62), (0.04, 78), (0.08, 85), (0.16, 95)]
            .map(|(x, right)| Point { ln_ms: libm::log(x), right, trials: 100 })
            .to_vec()
    }

    /// No point of a fine grid over all three numbers is likelier than the fit, and the fit is near the grid's best.
    #[test]
    fn the_worked_set_is_fitted_better_than_by_any_point_of_a_fine_grid() {
        for shape in [Shape::Logistic, Shape::Weibull] {
            let fitted = fit(shape, 0.5, &worked()).expect("data");
            let mut best = (f64::NEG_INFINITY, 0.0, 0.0);
            for t in 0..150 {
                for s in 0..60 {
                    for l in 0..=12 {
                        let curve = PsychometricFunction {
                            shape,
                            ln_threshold: -4.5 + 0.02 * f64::from(t),
                            slope: 0.4 + 0.04 * f64::from(s),
                            guess_rate: 0.5,
                            lapse_rate: 0.005 * f64::from(l),
                        };
                        let value = log_likelihood(&curve, &worked());
                        if value > best.0 {
                            best = (value, curve.ln_threshold, curve.slope);
                        }
                    }
                }
            }
            assert!(fitted.log_likelihood >= best.0, "{shape:?} {fitted:?} {best:?}");
            // The grid is 0.02 wide in place and 0.04 in slope; likelihood falls off by squares.
            assert!(fitted.log_likelihood - best.0 < 0.02, "{shape:?} {fitted:?} {best:?}");
            assert!((fitted.curve.ln_threshold - best.1).abs() < 0.1 && (fitted.curve.slope - best.2).abs() < 0.15);
        }
    }

    /// Answers exactly as a curve has them give that curve back.
    #[test]
    fn answers_without_chance_give_their_curve() {
        for shape in [Shape::Logistic, Shape::Weibull] {
            let curve =
                PsychometricFunction { shape, ln_threshold: 1.6, slope: 2.0, guess_rate: 1.0 / 3.0, lapse_rate: 0.03 };
            let points: Vec<Point> = (-6..=14)
                .map(|n| {
                    let ln_ms = 1.6 + 0.3 * f64::from(n);
                    let right = (1e6 * curve.at(ln_ms)).round() as u32;
                    Point { ln_ms, right, trials: 1_000_000 }
                })
                .collect();
            let got = fit(shape, 1.0 / 3.0, &points).expect("data").curve;
            // Shares are rounded to a millionth.
            assert!((got.ln_threshold - 1.6).abs() < 1e-4 && (got.slope - 2.0).abs() < 1e-3, "{got:?}");
            assert!((got.lapse_rate - 0.03).abs() < 1e-4, "{got:?}");
        }
    }

    #[test]
    fn without_answers_there_is_no_fit() {
        assert!(fit(Shape::Logistic, 0.5, &[]).is_none());
    }
}
