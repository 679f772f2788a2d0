use core::f64::consts::FRAC_1_SQRT_2;

/// The share of a standard normal distribution below `z`.
#[must_use]
pub fn normal_cdf(z: f64) -> f64 {
    0.5 * libm::erfc(-z * FRAC_1_SQRT_2)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Two-sided Gaussian tails beyond 1, 2, 3 and 4 standard deviations; six digits are given.
    #[test]
    fn tails_are_those_of_the_table() {
        for (z, both) in [(1.0, 0.317_311), (2.0, 0.045_500_3), (3.0, 0.002_699_8), (4.0, 6.334_25e-5)] {
            assert!((2.0 * normal_cdf(-z) / both - 1.0).abs() < 1e-5, "{z}");
            assert!((normal_cdf(z) + normal_cdf(-z) - 1.0).abs() < 1e-15);
        }
        assert_eq!(normal_cdf(0.0), 0.5);
    }
}
