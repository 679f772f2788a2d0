use super::fit::{Fitted, Point, fit_near};
use crate::stats::quantile;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Binomial, Distribution};

/// The 95 % intervals of what was fitted: the gap by its profile likelihood, the slope by simulated sessions, the rest by the bootstrap.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Intervals {
    /// The natural logarithm of the threshold in ms.
    pub ln_threshold: [f64; 2],
    /// The natural logarithm of the gap, in ms, with the share that was asked for: see [`profile_interval`](super::profile_interval).
    pub ln_at_share: [f64; 2],
    /// The slope, corrected: see [`Calibration::slope`](super::Calibration::slope).
    pub corrected_slope: f64,
    /// Between which values the true slope lies.
    pub slope: [f64; 2],
    /// The share of answers that miss though the gap is plain, from 0 to 1.
    pub lapse_rate: [f64; 2],
    /// How many sessions were drawn.
    pub draws: u32,
}

/// The parametric bootstrap: draws sessions with the same gaps and as many answers from a curve, fits each again, and takes the
/// percentiles 2.5 and 97.5 of what comes out. The gap's interval and the slope with its own are passed on: for these the percentiles are too narrow.
/// The draws come from a ChaCha stream of 8 rounds with this seed, so that the same session has the same intervals.
#[must_use]
pub fn bootstrap(
    fitted: &Fitted,
    points: &[Point],
    ln_at_share: [f64; 2],
    (corrected_slope, slope): (f64, [f64; 2]),
    draws: u32,
    seed: u64,
) -> Option<Intervals> {
    let of = |p: &Point| Binomial::new(p.trials.into(), fitted.curve.at(p.ln_ms).clamp(0.0, 1.0));
    let answers: Vec<Binomial> = points.iter().map(of).collect::<Result<_, _>>().ok()?;
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let mut all: [Vec<f64>; 2] = Default::default();
    for _ in 0..draws {
        let drawn: Vec<Point> = points
            .iter()
            .zip(&answers)
            .map(|(p, right)| Point { right: right.sample(&mut rng) as u32, ..*p })
            .collect();
        let curve = fit_near(fitted.curve, &drawn)?.curve;
        all.iter_mut().zip([curve.ln_threshold, curve.lapse_rate]).for_each(|(list, x)| list.push(x));
    }
    let [ln_threshold, lapse_rate] = all.map(|mut list| {
        list.sort_by(f64::total_cmp);
        [quantile(&list, 0.025), quantile(&list, 0.975)]
    });
    (draws > 0).then_some(Intervals { ln_threshold, ln_at_share, corrected_slope, slope, lapse_rate, draws })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ear::{Shape, fit, uniform};

    /// With many answers the bootstrap's width is that of the information matrix's, both from the same data.
    #[test]
    fn with_many_answers_the_width_is_that_of_theory() {
        let (points, information) = uniform::answers();
        let fitted = fit(Shape::Logistic, 0.0, &points).expect("data");
        let intervals = bootstrap(&fitted, &points, [0.0; 2], (1.0, [1.0; 2]), 400, 1).expect("draws");
        let theory = 2.0 * 1.96 / information.sqrt();
        let width = intervals.ln_threshold[1] - intervals.ln_threshold[0];
        // 400 draws know the width to some 6 %; the lapse rate that is fitted too widens it a little.
        assert!(width > 0.85 * theory && width < 1.35 * theory, "{width} {theory}");
    }
}
