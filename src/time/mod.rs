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
    // floor(n/d + 1/2) without doubling n: the remainder decides.
    let (q, r) = (n.div_euclid(d), n.rem_euclid(d));
    if r >= d - r { q + 1 } else { q }
}

#[cfg(test)]
mod tests {
    use super::*;

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
