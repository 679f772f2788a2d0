use super::{ExactPs, Instant, round_half_up};
use num_bigint::BigInt;
use num_integer::Integer;
use num_rational::Ratio;

/// The instants of evenly spaced pulses: pulse *k* falls at `start + k·step`, rounded once from its exact value.
///
/// The fraction is reduced once, so that a pulse costs one multiplication and one division of `i128`. Where even the
/// reduced numbers would not fit, arithmetic of any length does the same slowly; the answers are equal.
#[derive(Clone, Debug)]
pub struct Line {
    /// `(a·k + b) / c`
    a: i128,
    b: i128,
    c: i128,
    /// Largest `k` for which `a·k + b` is certain to fit.
    fits: i128,
}

/// An instant that an `i64` of picoseconds does not hold.
#[derive(Clone, Copy, PartialEq, Eq, Debug, thiserror::Error)]
#[error("a pulse falls outside the 106 days that time is counted in")]
pub struct LineError;

impl Line {
    /// A line from its first instant and its spacing, both exact, in picoseconds.
    ///
    /// # Errors
    /// If the common denominator does not fit an `i128`.
    pub fn new(start: ExactPs, step: ExactPs) -> Result<Self, LineError> {
        let g = start.denom().gcd(step.denom());
        let c = (start.denom() / g).checked_mul(*step.denom()).ok_or(LineError)?;
        let a = step.numer().checked_mul(c / step.denom()).ok_or(LineError)?;
        let b = start.numer().checked_mul(c / start.denom()).ok_or(LineError)?;
        let g = a.gcd(&b).gcd(&c);
        let (a, b, c) = (a / g, b / g, c / g);
        let fits = if a == 0 { i128::MAX } else { (i128::MAX / 4 - b.abs().min(i128::MAX / 8)) / a.abs() };
        let fits = if b.abs() >= i128::MAX / 8 { -1 } else { fits };
        Ok(Self { a, b, c, fits })
    }

    /// The instant of pulse `k`: `floor(exact + 1/2)`.
    ///
    /// # Errors
    /// If it does not fit an [`Instant`].
    pub fn at(&self, k: i64) -> Result<Instant, LineError> {
        let k = i128::from(k);
        let ps = if k.abs() <= self.fits {
            round_half_up(Ratio::new_raw(self.a * k + self.b, self.c))
        } else {
            self.at_any_length(k)?
        };
        i64::try_from(ps).map(Instant).map_err(|_| LineError)
    }

    #[cold]
    fn at_any_length(&self, k: i128) -> Result<i128, LineError> {
        let two_c = BigInt::from(self.c) * 2;
        let doubled: BigInt = (BigInt::from(self.a) * k + self.b) * 2 + self.c;
        i128::try_from(doubled.div_floor(&two_c)).map_err(|_| LineError)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::time::Tempo;
    use proptest::prelude::*;

    #[test]
    fn midi_timing_clock_does_not_drift_in_an_hour() {
        // MIDI 1.0 timing clock, 24 pulses a quarter note: 500,000/24 = 20,833.3 µs at 120 (second-hand: a MIDI clock
        // text quoted in open source). At 44.1 kHz that is 918.75 samples, never a whole number.
        let period = Tempo::whole(120).exact(Ratio::new(1, 24));
        let line = Line::new(Ratio::from_integer(0), period).expect("small numbers");
        assert_eq!(line.at(1), Ok(Instant(20_833_333_333)));
        let hour = 3600 * 48;
        assert_eq!(line.at(hour), Ok(Instant(3_600_000_000_000_000)));
        assert_eq!(line.at(hour + 1), Ok(Instant(3_600_020_833_333_333)));
    }

    proptest! {
        /// The quick way and the long way agree, halves and negative starts included.
        #[test]
        fn quick_and_long_arithmetic_agree(
            sn in -1_000_000_000_000_i128..1_000_000_000_000, sd in 1_i128..10_000,
            pn in 1_i128..1_000_000_000_000, pd in 1_i128..1_000_000, k in 0_i64..100_000,
        ) {
            let line = Line::new(Ratio::new(sn, sd), Ratio::new(pn, pd)).expect("fits");
            let long = line.at_any_length(i128::from(k)).expect("fits");
            match line.at(k) {
                Ok(at) => prop_assert_eq!(i128::from(at.0), long),
                Err(LineError) => prop_assert!(i64::try_from(long).is_err()),
            }
            prop_assert_eq!(long, round_half_up(Ratio::new(sn, sd) + Ratio::new(pn, pd) * i128::from(k)));
        }
    }
}
