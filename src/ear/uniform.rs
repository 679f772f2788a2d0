//! Answers of which theory knows how much they tell, for the tests of intervals.

use super::{Point, PsychometricFunction, Shape};

/// How often each gap is asked for.
const TRIALS: u32 = 400;

/// Answers as a logistic curve from 0 to 1 would have them, spread uniformly in the logarithm of the gap; and the information that
/// they hold on the logarithm of the threshold. Fisher: Σ n·s²·p(1−p); the curve is symmetric, so that slope and threshold
/// do not mix.
pub(super) fn answers() -> (Vec<Point>, f64) {
    let curve = PsychometricFunction {
        shape: Shape::Logistic,
        ln_threshold: 0.0,
        slope: 2.0,
        guess_rate: 0.0,
        lapse_rate: 0.0,
    };
    let (mut points, mut information) = (Vec::new(), 0.0);
    for n in -20..=20 {
        let ln_ms = 0.1 * f64::from(n);
        let (n, p) = (f64::from(TRIALS), curve.at(ln_ms));
        points.push(Point { ln_ms, right: (n * p).round() as u32, trials: TRIALS });
        information += n * curve.slope * curve.slope * p * (1.0 - p);
    }
    (points, information)
}
