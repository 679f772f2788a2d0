//! How a voltage nears another through a resistance and a capacitance.
//!
//! v(t) = aim + (from − aim)·e^(−t/τ), and from there t = τ·ln((aim − from)/(aim − level)) to any level on the way: the
//! step response of one pole, a closed form of any text-book on circuits. Logarithm and exponential are `libm`'s, so
//! that the times are the same on every machine.

use crate::time::Instant;

/// An exponential approach to a voltage.
#[derive(Clone, Copy, Debug)]
pub(super) struct Approach {
    /// The voltage that is neared and never reached.
    pub(super) aim: f64,
    /// The time constant in picoseconds; 0 for at once.
    pub(super) tau: f64,
}

impl Approach {
    /// The voltage that many picoseconds after it was `from`.
    pub(super) fn after(self, from: f64, ps: f64) -> f64 {
        if ps <= 0.0 { from } else { self.aim + (from - self.aim) * libm::exp(-ps / self.tau) }
    }

    /// How many picoseconds it takes from one voltage up (or down) to another; `None` if it never comes there, 0 if it
    /// is there or beyond already.
    pub(super) fn time_to(self, from: f64, level: f64, up: bool) -> Option<f64> {
        let (whole, rest) = if up { (self.aim - from, self.aim - level) } else { (from - self.aim, level - self.aim) };
        if rest <= 0.0 {
            None
        } else if whole <= rest {
            Some(0.0)
        } else {
            Some(self.tau * libm::log(whole / rest))
        }
    }
}

/// A moment that lies a computed time after another, rounded once to the nearest picosecond; `None` past all time.
pub(super) fn later(at: Instant, ps: f64) -> Option<Instant> {
    // 2⁶³: what an `i64` does not hold any more.
    if ps < 9_223_372_036_854_775_808.0 { at.0.checked_add(ps.round() as i64).map(Instant) } else { None }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_and_voltages_are_each_others_inverse() {
        let course = Approach { aim: 5.0, tau: 1e9 };
        for level in [0.5, 1.0, 2.5, 4.9] {
            let ps = course.time_to(0.25, level, true).expect("on the way");
            // Two roundings of a double each way.
            assert!((course.after(0.25, ps) - level).abs() < 1e-14);
        }
        // One time constant covers 1 − 1/e of the way, ½ of it takes ln 2 (closed forms).
        assert!((course.after(0.0, 1e9) / 5.0 - 0.632_120_558_8).abs() < 1e-10);
        assert!((course.time_to(0.0, 2.5, true).expect("on the way") / 1e9 - std::f64::consts::LN_2).abs() < 1e-10);
    }

    #[test]
    fn the_aim_is_never_reached_and_what_is_past_is_past() {
        let course = Approach { aim: 5.0, tau: 1e9 };
        assert_eq!(course.time_to(0.0, 5.0, true), None);
        assert_eq!(course.time_to(0.0, 6.0, true), None);
        assert_eq!(course.time_to(3.0, 2.0, true), Some(0.0));
        let down = Approach { aim: 0.0, tau: 1e9 };
        assert_eq!(down.time_to(5.0, 0.0, false), None);
        assert_eq!(down.time_to(1.0, 2.0, false), Some(0.0));
    }

    #[test]
    fn without_a_time_constant_it_is_there_at_once() {
        let course = Approach { aim: 5.0, tau: 0.0 };
        assert_eq!(course.time_to(0.0, 4.0, true), Some(0.0));
        assert_eq!((course.after(1.0, 0.0), course.after(1.0, 1.0)), (1.0, 5.0));
    }

    #[test]
    fn a_moment_past_all_time_is_none() {
        assert_eq!(later(Instant(7), 0.5), Some(Instant(8)));
        assert_eq!(later(Instant(7), 1e19), None);
        assert_eq!(later(Instant(i64::MAX), 1.0), None);
        assert_eq!(later(Instant(0), f64::NAN), None);
    }
}
