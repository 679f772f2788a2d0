use crate::stats::normal_cdf;
use std::f64::consts::{PI, SQRT_2};

/// The share of right answers among `m` alternatives that a sensitivity of `d` gives: `∫ φ(x − d)·Φ(x)^(m−1) dx`, for an
/// unbiased listener with equal variances (Green and Dai, Perception & Psychophysics 49:100, 1991).
#[must_use]
pub fn proportion_correct(d: f64, m: u32) -> f64 {
    if m == 2 {
        return normal_cdf(d / SQRT_2);
    }
    // The trapezoid rule is all but exact for a smooth function that vanishes at both ends.
    let (steps, half) = (800, 10.0);
    let h = 2.0 * half / f64::from(steps);
    let at = |n: i32| {
        let z = -half + h * f64::from(n);
        libm::exp(-z * z / 2.0) / (2.0 * PI).sqrt() * libm::pow(normal_cdf(z + d), f64::from(m - 1))
    };
    h * (0..=steps).map(at).sum::<f64>()
}

/// The sensitivity d′ at which a share of answers among `m` alternatives is right: the inverse of [`proportion_correct`].
/// `None` for a share of 0 or 1, or for fewer than two alternatives: no finite sensitivity gives them.
#[must_use]
pub fn d_prime(share: f64, m: u32) -> Option<f64> {
    if m < 2 || !(share > 0.0 && share < 1.0) {
        return None;
    }
    let (mut low, mut high) = (-8.0, 8.0);
    if proportion_correct(low, m) > share || proportion_correct(high, m) < share {
        return None;
    }
    for _ in 0..60 {
        let middle = (low + high) / 2.0;
        if proportion_correct(middle, m) < share { low = middle } else { high = middle }
    }
    Some((low + high) / 2.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Hacker and Ratcliff's table (1979, not seen; at 75 % from memory, the formula that of `dprime.mAFC` in the R package psyphy; the others computed by the formula in another program).
    #[test]
    fn sensitivities_are_those_of_the_table() {
        let rows = [
            (0.60, [0.3583, 0.8852, 1.1532]),
            (0.70, [0.7416, 1.2380, 1.4933]),
            (0.75, [0.9539, 1.4338, 1.6822]),
            (0.80, [1.1902, 1.6524, 1.8932]),
            (0.90, [1.8124, 2.2302, 2.4516]),
            (0.95, [2.3262, 2.7101, 2.9162]),
        ];
        for (share, all) in rows {
            for (m, d) in (2..).zip(all) {
                let got = d_prime(share, m).expect("within");
                // Four places are given.
                assert!((got - d).abs() < 6e-5, "{share} {m}: {got}");
            }
        }
    }

    /// The closed form for two alternatives, by the integral; and shares at d′ 1 and 2 from another program.
    #[test]
    fn shares_are_those_of_the_table() {
        for (d, all) in [(1.0, [0.760_25, 0.633_70, 0.552_03]), (2.0, [0.921_35, 0.865_77, 0.822_79])] {
            for (m, share) in (2..).zip(all) {
                assert!((proportion_correct(d, m) - share).abs() < 6e-6, "{d} {m}");
            }
        }
        // No sensitivity, no more than guessing.
        assert!((proportion_correct(0.0, 3) - 1.0 / 3.0).abs() < 1e-12);
        assert_eq!(d_prime(1.0, 3), None);
        assert_eq!(d_prime(0.0, 2), None);
    }
}
