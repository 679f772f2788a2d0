//! The ticks of a device's own clock: evenly spaced, never added up.

use crate::time::Instant;

/// Ticks *n* at `first + n·numer/denom` picoseconds, each rounded once from its exact value to a whole picosecond
/// (halves upwards). Which tick comes next is found by the inverse of the same whole numbers.
#[derive(Clone, Copy, Debug)]
pub(super) struct Grid {
    first: i64,
    numer: i128,
    denom: i128,
}

/// A drift counts in 2⁻⁴⁰ths: 10⁻¹², a picosecond a second.
const DRIFT_UNIT: i128 = 1 << 40;

impl Grid {
    /// Ticks from `first` on, `numer/denom` picoseconds apart (at least one) and longer by `drift` parts of 1.
    ///
    /// `numer` is at most 2⁶³ and `denom` at most 2²⁰, so that no product below passes an `i128`.
    pub(super) fn new(first: Instant, numer: i128, denom: i128, drift: f64) -> Self {
        let parts = (drift * DRIFT_UNIT as f64).round() as i128;
        if parts == 0 {
            return Self { first: first.0, numer, denom };
        }
        Self { first: first.0, numer: numer * (DRIFT_UNIT + parts), denom: denom * DRIFT_UNIT }
    }

    /// The moment of tick `n`; the last of all moments for what lies beyond.
    pub(super) fn tick(&self, n: i64) -> Instant {
        let Some(twice) = (2 * i128::from(n)).checked_mul(self.numer) else { return Instant(i64::MAX) };
        // floor(n·a/c + 1/2) in whole numbers.
        let ps = (twice + self.denom).div_euclid(2 * self.denom);
        Instant(i64::try_from(i128::from(self.first) + ps).unwrap_or(i64::MAX))
    }

    /// The number of the first tick at a moment or after.
    pub(super) fn at_or_after(&self, at: Instant) -> i64 {
        // floor(n·a/c + 1/2) ≥ d just where n ≥ (2d − 1)·c/(2a).
        let d = i128::from(at.0) - i128::from(self.first);
        let (over, under) = ((2 * d - 1) * self.denom, 2 * self.numer);
        i64::try_from(-(-over).div_euclid(under)).unwrap_or(i64::MAX)
    }

    /// The number of the last tick at a moment or before.
    pub(super) fn at_or_before(&self, at: Instant) -> i64 {
        self.at_or_after(Instant(at.0.saturating_add(1))) - 1
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::time::round_half_up;
    use num_rational::Ratio;
    use proptest::prelude::*;

    #[test]
    fn frames_of_an_odd_rate_do_not_drift_in_an_hour() {
        // 44,100 frames a second are 22,675,736.96… ps apart; after an hour all that is rounded off is under one.
        let grid = Grid::new(Instant(0), 1_000_000_000_000, 44_100, 0.0);
        assert_eq!(grid.tick(1), Instant(22_675_737));
        assert_eq!(grid.tick(3600 * 44_100), Instant(3_600_000_000_000_000));
        // 30 millionths slow: an hour lasts 108 ms longer; the drift itself is rounded to 10⁻¹² (3.6 ns of an hour).
        let slow = Grid::new(Instant(0), 1_000_000_000_000, 44_100, 30e-6);
        assert!((slow.tick(3600 * 44_100).0 - 3_600_108_000_000_000).abs() < 3_600);
    }

    #[test]
    fn the_far_end_of_time_is_reached_without_overflow() {
        let frames = Grid::new(Instant(0), 1_000_000_000_000, 192_000, 30e-6);
        let end = Instant(crate::time::LONGEST_PIECE_PS);
        let n = frames.at_or_after(end);
        assert!(frames.tick(n) >= end && frames.tick(n - 1) < end);
        assert_eq!(frames.tick(i64::MAX), Instant(i64::MAX));
    }

    proptest! {
        #[test]
        fn the_tick_that_is_found_is_the_next_one(
            first in -1_000_000_i64..1_000_000, numer in 1_000_i128..1_000_000, denom in 1_i128..900,
            drift in -1e-3_f64..1e-3, at in -10_000_000_i64..10_000_000,
        ) {
            let grid = Grid::new(Instant(first), numer, denom, drift);
            let n = grid.at_or_after(Instant(at));
            prop_assert!(grid.tick(n) >= Instant(at) && grid.tick(n - 1) < Instant(at));
            let m = grid.at_or_before(Instant(at));
            prop_assert!(grid.tick(m) <= Instant(at) && grid.tick(m + 1) > Instant(at));
            // The project's rule of rounding, done with ratios.
            let exact = Ratio::new(grid.numer, grid.denom) * i128::from(n);
            prop_assert_eq!(i128::from(grid.tick(n).0), i128::from(first) + round_half_up(exact));
        }
    }
}
