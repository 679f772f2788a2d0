/// A gap on the ladder of training: millionths of an octave above 1 ms, so 0 is 1 ms and 1,000,000 is 2 ms.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Level(pub i32);

/// How many levels an octave has.
pub(super) const OCTAVE: i32 = 1_000_000;

impl Level {
    /// The gap in milliseconds.
    #[must_use]
    pub fn ms(self) -> f64 {
        libm::exp2(f64::from(self.0) / f64::from(OCTAVE))
    }

    /// The natural logarithm of the gap in milliseconds.
    #[must_use]
    pub fn ln_ms(self) -> f64 {
        f64::from(self.0) / f64::from(OCTAVE) * std::f64::consts::LN_2
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_octave_is_twice_the_gap() {
        assert_eq!([Level(0).ms(), Level(3_000_000).ms(), Level(-2_000_000).ms()], [1.0, 8.0, 0.25]);
        // Two ways to one number, each rounded a few times.
        assert!((Level(2_321_928).ln_ms() - libm::log(Level(2_321_928).ms())).abs() < 1e-14);
    }
}
