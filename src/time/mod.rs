//! Exact time: beats as fractions, instants as whole picoseconds, tempos as the decimal that was written.
//!
//! Nothing here adds periods up. The instant of pulse *k* is computed from *k* by [`Line`], and it is rounded once.

mod line;
mod map;
mod meant;
mod tempo;
mod tempos;

pub use line::{Line, LineError, Steps};
pub use map::{Aim, Clockwork, Ramp, TempoStep};
pub use meant::{decimal_comma, tempos_meant};
pub use tempo::{Tempo, TempoError};
pub use tempos::{MOST_TEMPOS, TemposError, tempo_range, tempos};

use num_rational::Ratio;
use std::fmt;

/// A position or a distance in quarter notes, exact.
pub type Beat = Ratio<i128>;

/// A length of time in picoseconds, exact and not yet rounded.
pub type ExactPs = Ratio<i128>;

/// Picoseconds in one second.
pub const PS_PER_SECOND: i64 = 1_000_000_000_000;
/// Picoseconds in one millisecond.
pub const PS_PER_MS: i64 = 1_000_000_000;
/// Picoseconds in one microsecond.
pub const PS_PER_US: i64 = 1_000_000;
/// The longest that a piece may last: 100 days, in picoseconds. An `i64` spans 106.
pub const LONGEST_PIECE_PS: i64 = 100 * 86_400 * PS_PER_SECOND;

/// A moment, in whole picoseconds since the clock started. It may be negative (a nudge before the start).
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Default)]
pub struct Instant(pub i64);

/// A signed length of time in whole picoseconds.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Default)]
pub struct Span(pub i64);

impl Instant {
    /// The start of the clock.
    pub const START: Self = Self(0);

    /// Seconds since the clock started, to the nearest `f64`.
    #[must_use]
    pub fn seconds(self) -> f64 {
        self.0 as f64 / PS_PER_SECOND as f64
    }
}

impl Span {
    /// No time at all.
    pub const ZERO: Self = Self(0);

    /// A length of whole milliseconds.
    #[must_use]
    pub const fn from_ms(ms: i64) -> Self {
        Self(ms * PS_PER_MS)
    }

    /// Milliseconds, to the nearest `f64`.
    #[must_use]
    pub fn ms(self) -> f64 {
        self.0 as f64 / PS_PER_MS as f64
    }

    /// The length without its sign.
    #[must_use]
    pub const fn abs(self) -> Self {
        Self(self.0.abs())
    }
}

impl std::ops::Sub for Instant {
    type Output = Span;
    fn sub(self, other: Self) -> Span {
        Span(self.0 - other.0)
    }
}

impl std::ops::Add<Span> for Instant {
    type Output = Self;
    fn add(self, by: Span) -> Self {
        Self(self.0 + by.0)
    }
}

impl fmt::Display for Instant {
    /// Seconds with twelve decimals: every picosecond shows.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let sign = if self.0 < 0 { "-" } else { "" };
        let ps = self.0.unsigned_abs();
        let one = PS_PER_SECOND.unsigned_abs();
        write!(f, "{sign}{}.{:012}", ps / one, ps % one)
    }
}

/// Rounds an exact value to the nearest whole number, halves upwards: `floor(x + 1/2)`.
///
/// This is the project's only rounding rule for time.
#[must_use]
pub fn round_half_up(exact: Ratio<i128>) -> i128 {
    let (n, d) = (*exact.numer(), *exact.denom());
    // floor(n/d + 1/2) without doubling n: the remainder decides. In 64 bits the processor divides itself.
    if let (Ok(n), Ok(d)) = (i64::try_from(n), i64::try_from(d)) {
        let (q, r) = (n.div_euclid(d), n.rem_euclid(d));
        return i128::from(q) + i128::from(r >= d - r);
    }
    let (q, r) = (n.div_euclid(d), n.rem_euclid(d));
    if r >= d - r { q + 1 } else { q }
}

/// A fraction as simple as it can be. What it is under is more than 0.
#[must_use]
pub fn simple(over: i128, under: i128) -> Beat {
    match (i64::try_from(over), i64::try_from(under)) {
        // In 64 bits it takes a fifth of the time.
        (Ok(over), Ok(under)) => {
            let shared = num_integer::gcd(over, under);
            Ratio::new_raw(i128::from(over / shared), i128::from(under / shared))
        }
        _ => Ratio::new(over, under),
    }
}

/// How many whole `unit`s, more than none long, lie between two beats: `floor((to − from) / unit)`. Fractions are not made simple on the
/// way, which takes longer than all else.
#[must_use]
pub fn wholes(from: Beat, to: Beat, unit: Beat) -> i128 {
    let quick = || {
        let (ahead, behind) = (to.numer().checked_mul(*from.denom())?, from.numer().checked_mul(*to.denom())?);
        let over = ahead.checked_sub(behind)?.checked_mul(*unit.denom())?;
        let under = to.denom().checked_mul(*from.denom())?.checked_mul(*unit.numer())?;
        Some(match (i64::try_from(over), i64::try_from(under)) {
            (Ok(over), Ok(under)) => i128::from(over.div_euclid(under)),
            _ => over.div_euclid(under),
        })
    };
    quick().unwrap_or_else(|| ((to - from) / unit).floor().to_integer())
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        /// Against what `num-rational` makes of the same formula, small and too large for a quick way.
        #[test]
        fn wholes_are_the_floor_of_the_quotient(
            a in -1_000_000_i128..1_000_000, b in -1_000_000_i128..1_000_000, c in 1_i128..10_000, d in 1_i128..10_000,
            e in 1_i128..10_000, by in prop::sample::select(vec![1, 1_000_000_007, i128::from(i64::MAX)]),
        ) {
            let (from, to, unit) = (Ratio::new(a, c * by), Ratio::new(b, c * by), Ratio::new(d, e));
            prop_assert_eq!(wholes(from, to, unit), ((to - from) / unit).floor().to_integer());
        }

        /// Against `num-rational`: the same numbers, not only the same value.
        #[test]
        fn simple_is_as_simple_as_it_goes(n in -1_000_000_i128..1_000_000, d in 1_i128..100_000, huge in prop::bool::ANY) {
            let by = if huge { i128::from(i64::MAX) } else { 12 };
            let (own, exact) = (simple(n * by, d * by), Ratio::new(n, d));
            prop_assert_eq!((own.numer(), own.denom()), (exact.numer(), exact.denom()));
        }

        /// In 64 bits and in more: halves go up.
        #[test]
        fn rounding_is_a_floor_of_a_half_more(n in -1_000_000_000_i128..1_000_000_000, d in 1_i128..1_000, huge in prop::bool::ANY) {
            let by = if huge { i128::from(i64::MAX) } else { 1 };
            let exact = Ratio::new_raw(n * by, d * by);
            prop_assert_eq!(round_half_up(exact), (Ratio::new(n, d) + Ratio::new(1, 2)).floor().to_integer());
        }
    }

    #[test]
    fn halves_go_up_on_both_sides_of_zero() {
        let r = |n, d| round_half_up(Ratio::new(n, d));
        assert_eq!([r(1, 2), r(-1, 2), r(3, 2), r(-3, 2), r(1, 3), r(2, 3), r(-2, 3)], [1, 0, 2, -1, 0, 1, -1]);
    }

    #[test]
    fn an_instant_shows_every_picosecond() {
        assert_eq!(Instant(1_000_000_000_001).to_string(), "1.000000000001");
        assert_eq!(Instant(-5).to_string(), "-0.000000000005");
    }
}
