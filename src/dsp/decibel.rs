/// The factor on an amplitude that a level in decibels is: `10^(dB/20)`. Exactly 1 for 0 dB.
#[must_use]
pub fn amplitude(db: f64) -> f64 {
    if db == 0.0 { 1.0 } else { libm::pow(10.0, db / 20.0) }
}

/// The level in decibels of a factor on an amplitude: `20·log₁₀`; −∞ for 0.
#[must_use]
pub fn decibels(amplitude: f64) -> f64 {
    20.0 * libm::log10(amplitude)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Closed forms: twice the amplitude is 20·log₁₀ 2 dB, ten times is 20.
    #[test]
    fn levels_and_factors_are_each_others_inverse() {
        assert_eq!((amplitude(0.0), amplitude(20.0), amplitude(-40.0)), (1.0, 10.0, 0.01));
        assert!((decibels(2.0) - 6.020_599_913_279_624).abs() < 1e-14);
        for db in [-96.0, -3.0, 0.1, 12.0] {
            // A rounding of the power and one of the logarithm.
            assert!((decibels(amplitude(db)) - db).abs() < 1e-13, "{db}");
        }
        assert_eq!(decibels(0.0), f64::NEG_INFINITY);
    }
}
