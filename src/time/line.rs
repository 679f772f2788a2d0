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
    /// The three numbers in 64 bits, where they are so small that the processor divides them itself, up to a largest `k`.
    short: Option<Short>,
}

/// `(a·k + b) / c` in 64 bits.
#[derive(Clone, Copy, Debug)]
struct Short {
    a: i64,
    b: i64,
    c: i64,
    fits: i64,
}

impl Short {
    /// Of `floor((a·k + b) / c + 1/2)`, doubled.
    fn of(a: i128, b: i128, c: i128) -> Option<Self> {
        let [a, b, c] = [2 * a, 2 * b + c, 2 * c].map(|n| i64::try_from(n).ok());
        let (a, b, c) = (a?, b?, c?);
        let room = i64::MAX - b.checked_abs()?;
        Some(Self { a, b, c, fits: room.checked_div(a.checked_abs()?).unwrap_or(i64::MAX) })
    }
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
        let small = [a, b, c].iter().all(|n| n.abs() < i128::MAX / 8);
        Ok(Self { a, b, c, fits, short: small.then(|| Short::of(a, b, c)).flatten() })
    }

    /// The instant of pulse `k`: `floor(exact + 1/2)`.
    ///
    /// # Errors
    /// If it does not fit an [`Instant`].
    pub fn at(&self, k: i64) -> Result<Instant, LineError> {
        if let Some(short) = self.short.filter(|short| -short.fits <= k && k <= short.fits) {
            return Ok(Instant((short.a * k + short.b).div_euclid(short.c)));
        }
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

/// The instants of a line's pulses one after the other: an addition a pulse, where [`Line::at`] divides.
#[derive(Clone, Debug)]
pub struct Steps<'l> {
    line: &'l Line,
    /// The number of the pulse that comes next.
    k: i64,
    /// Its instant as a whole and a rest, and what a pulse adds to both; `None` where the numbers are too large.
    sum: Option<Sum>,
}

/// `whole + rest / of`, with `rest` from 0 up to `of`.
#[derive(Clone, Copy, Debug)]
struct Sum {
    whole: i128,
    rest: i128,
    of: i128,
    add_whole: i128,
    add_rest: i128,
}

impl Line {
    /// The instants from pulse `k` on.
    #[must_use]
    pub fn steps(&self, k: i64) -> Steps<'_> {
        // A quarter of what there is leaves room for doubling and for one addition.
        let small = |n: i128| n.abs() < i128::MAX / 8;
        let sum = (small(self.a) && small(self.c) && i128::from(k).abs() <= self.fits).then(|| {
            let (of, from) = (2 * self.c, 2 * (self.a * i128::from(k) + self.b) + self.c);
            let ((whole, rest), (add_whole, add_rest)) = (from.div_mod_floor(&of), (2 * self.a).div_mod_floor(&of));
            Sum { whole, rest, of, add_whole, add_rest }
        });
        Steps { line: self, k, sum }
    }
}

impl Steps<'_> {
    /// The instant of the next pulse, as [`Line::at`] says it.
    ///
    /// # Errors
    /// If it does not fit an [`Instant`].
    pub fn advance(&mut self) -> Result<Instant, LineError> {
        let Some(sum) = &mut self.sum else {
            let at = self.line.at(self.k);
            self.k += 1;
            return at;
        };
        let at = i64::try_from(sum.whole).map(Instant).map_err(|_| LineError)?;
        sum.whole += sum.add_whole;
        sum.rest += sum.add_rest;
        if sum.rest >= sum.of {
            sum.rest -= sum.of;
            sum.whole += 1;
        }
        Ok(at)
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

        /// Step by step and pulse by pulse, lines of small numbers and of huge ones, and lines that run backwards.
        #[test]
        fn steps_are_the_pulses_one_after_the_other(
            sn in -1_000_000_000_000_i128..1_000_000_000_000, sd in 1_i128..10_000,
            pn in -1_000_000_000_000_i128..1_000_000_000_000, pd in 1_i128..1_000_000, k in -100_000_i64..100_000,
            huge in prop::bool::ANY,
        ) {
            let prime = if huge { 1_000_000_000_000_000_003 } else { 1 };
            let line = Line::new(Ratio::new(sn, sd), Ratio::new(pn * prime, pd * prime + i128::from(huge))).expect("fits");
            let mut steps = line.steps(k);
            for k in k..k + 300 {
                let at = line.at(k);
                prop_assert_eq!(steps.advance(), at);
                if let Ok(at) = at {
                    prop_assert_eq!(i128::from(at.0), line.at_any_length(i128::from(k)).expect("fits"));
                }
            }
        }
    }
}
