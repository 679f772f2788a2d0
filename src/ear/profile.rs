use super::fit::{SLOPE, log_likelihood, range};
use super::{Fitted, LAPSE_MOST, Point, PsychometricFunction};

/// How far twice the log likelihood may fall short of the best for a gap to stay within its interval.
///
/// For many answers it would be the 95 % point of χ² with one degree of freedom, 3.84. Sessions of some sixty trials need more:
/// over 24 procedures and simulated listeners (slopes 1.2, 2.5 and 5; thresholds 2, 6 and 15 ms; lapse rates 0 to 5 %),
/// 1,000 sessions each, 95 % of the true gaps fell short by 4.3 to 7.5, at a slope of 2.5 by 5.2 to 6.2. With 6, the interval
/// held the truth in 95 to 97 of 100 sessions there, in 91 to 94 at 1.2, in 97 to 99 at 5.
///
/// What was tried and is worse, of 100 intervals at a slope of 2.5: the bootstrap's percentiles (85 to 88 hold the truth, 300
/// sessions a procedure), bias-corrected ones (80 to 86), reflected ones (79 to 87), the same from staircases that are walked anew
/// (75 to 85); 3.84 itself (86 to 90); and the middle 95 % of what is likely under a flat prior: 99, and about twice as wide.
const CRITICAL_VALUE: f64 = 6.0;

/// How likely the answers are if `share` of them are right at a gap: with the slope and the lapse rate that suit them best.
fn profile(ln_ms: f64, of: &PsychometricFunction, share: f64, points: &[Point]) -> f64 {
    let value = |ln_slope: f64, lapse_rate: f64| {
        let slope = libm::exp(ln_slope).clamp(SLOPE[0], SLOPE[1]);
        let at_nought =
            PsychometricFunction { ln_threshold: 0.0, slope, lapse_rate: lapse_rate.clamp(0.0, LAPSE_MOST), ..*of };
        at_nought.ln_ms_at(share).map_or(f64::NEG_INFINITY, |off| {
            log_likelihood(&PsychometricFunction { ln_threshold: ln_ms - off, ..at_nought }, points)
        })
    };
    // A net over all slopes, by ratio, and lapse rates; then thrice a finer one around the best knot.
    let (ends, mut best) = (SLOPE.map(libm::log), (f64::NEG_INFINITY, 0.0, 0.0));
    let (mut middle, mut half) =
        ((f64::midpoint(ends[0], ends[1]), LAPSE_MOST / 2.0), (30, (ends[1] - ends[0]) / 2.0, LAPSE_MOST / 2.0));
    for _ in 0..4 {
        let (knots, wide, high) = half;
        for n in 0..=knots {
            for k in 0..=4 {
                let slope = middle.0 + wide * (2.0 * f64::from(n) / f64::from(knots) - 1.0);
                let lapse_rate = middle.1 + high * (f64::from(k) / 2.0 - 1.0);
                let value = value(slope, lapse_rate);
                if value > best.0 {
                    best = (value, slope, lapse_rate);
                }
            }
        }
        middle = (best.1, best.2);
        half = (8, wide * 2.0 / f64::from(knots), high / 2.0);
    }
    best.0
}

/// Between which gaps the one with a share of right answers lies, 95 times of 100: natural logarithms of ms. All those for
/// which the answers are about as likely as they can be (Venzon and Moolgavkar, Applied Statistics 37:87, 1988: profile
/// likelihood; from memory), with a margin for few answers that simulated sessions gave. No further than a factor of four
/// beyond the gaps that were asked for. `None` where the curve never reaches the share, or without answers.
#[must_use]
pub fn profile_interval(fitted: &Fitted, share: f64, points: &[Point]) -> Option<[f64; 2]> {
    let at = fitted.curve.ln_ms_at(share)?;
    let (low, high) = range(points)?;
    let best = profile(at, &fitted.curve, share, points).max(fitted.log_likelihood);
    let within = |ln_ms: f64| 2.0 * (best - profile(ln_ms, &fitted.curve, share, points)) <= CRITICAL_VALUE;
    let end = |step: f64, last: f64| {
        let mut inside = at;
        while within(inside + step) {
            inside += step;
            if (inside - last) * step >= 0.0 {
                return last;
            }
        }
        let mut outside = inside + step;
        // A tenth of a logarithm halved eight times: far finer than what is printed.
        for _ in 0..8 {
            let middle = f64::midpoint(inside, outside);
            if within(middle) { inside = middle } else { outside = middle }
        }
        inside
    };
    Some([end(-0.1, low.min(at)), end(0.1, high.max(at))])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ear::{Listener, Rule, Settings, Shape, Task, fit, points, uniform};

    /// With many answers, uniformly spread, the interval is that of the information matrix, wider by the root of 6 over 3.84.
    #[test]
    fn with_many_answers_the_width_is_that_of_theory() {
        let (points, information) = uniform::answers();
        let fitted = fit(Shape::Logistic, 0.0, &points).expect("data");
        let [low, high] = profile_interval(&fitted, 0.5, &points).expect("reached");
        let theory = 2.0 * (CRITICAL_VALUE / information).sqrt();
        // The lapse rate that may be there too widens it a little; the net is fine enough for 16,400 answers.
        assert!((high - low) > 0.9 * theory && (high - low) < 1.4 * theory, "{} {theory}", high - low);
    }

    /// Nothing but right answers, or nothing but wrong ones: the interval ends where gaps were asked for.
    #[test]
    fn it_ends() {
        for right in [0, 10] {
            let points = [1.0, 2.0, 3.0].map(|ln_ms| Point { ln_ms, right, trials: 10 });
            let fitted = fit(Shape::Weibull, 0.5, &points).expect("data");
            if let Some([low, high]) = profile_interval(&fitted, 0.8, &points) {
                assert!(low <= high && (low.is_finite() && high.is_finite()));
            }
        }
    }

    /// How often the interval holds the truth: 1,000 sessions a procedure; a gap is within if it falls short by no more.
    #[test]
    fn ninety_five_of_a_hundred_hold_the_truth() {
        let held = |task: Task, down: u32, slope: f64, lapse_rate: f64| {
            let settings = Settings::usual(Rule::published(down).expect("rule"));
            let share = settings.rule.target();
            let curve = PsychometricFunction {
                shape: Shape::Logistic,
                ln_threshold: libm::log(6.0),
                slope,
                guess_rate: task.guess_rate(),
                lapse_rate,
            };
            let truth = curve.ln_ms_at(share).expect("reached");
            let mut held = 0;
            for seed in 0..1000 {
                let points = points(&Listener::new(curve, seed).session(task, &settings, 0));
                let fitted = fit(Shape::Logistic, task.guess_rate(), &points).expect("answers");
                let Some(at) = fitted.curve.ln_ms_at(share) else { continue };
                let best = profile(at, &fitted.curve, share, &points).max(fitted.log_likelihood);
                let within = 2.0 * (best - profile(truth, &fitted.curve, share, &points)) <= CRITICAL_VALUE;
                held += u32::from(within);
                // The interval itself is made of just these.
                if seed < 20 {
                    let [low, high] = profile_interval(&fitted, share, &points).expect("reached");
                    // It is found to a few ten-thousandths.
                    let near = (low - truth).abs() < 1e-3 || (high - truth).abs() < 1e-3;
                    assert!(near || (low <= truth && truth <= high) == within, "{seed}: {low} {truth} {high}");
                }
            }
            println!("{task:?} {down}, slope {slope}, lapse rate {lapse_rate}: {held} of 1000");
            held
        };
        // A share of 0.95 of 1,000 is known to ±0.014.
        for (task, down) in [(Task::TwoOrOne, 2), (Task::WhichFirst, 3), (Task::WhichFirst, 1), (Task::TightOrLoose, 2)]
        {
            assert!((936..=980).contains(&held(task, down, 2.5, 0.01)), "{task:?} {down}");
        }
        assert!(held(Task::TwoOrOne, 2, 2.5, 0.05) >= 936);
        // Listeners whose curve is half as steep, or twice.
        assert!(held(Task::TwoOrOne, 2, 1.2, 0.01) >= 900);
        assert!(held(Task::TwoOrOne, 2, 5.0, 0.01) >= 960);
    }
}
