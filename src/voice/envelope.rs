//! How levels rise and fall.

use crate::stats::normal_cdf;
use core::f64::consts::PI;

/// From 10 to 90 % of a Gaussian's integral, in standard deviations: twice the 0.9 quantile of the normal distribution.
const RISE_IN_DEVIATIONS: f64 = 2.563_103_131_1;
/// A rise is below a ten-thousandth of a tenth, −101 dB, so many standard deviations before its middle.
const REACH: f64 = 4.3;

/// A rise from 0 to 1 whose middle is at 0: the integral of a Gaussian, which rises as fast as its narrow spectrum
/// allows and never overshoots. `time` and `length`, its 10 to 90 %, are in one unit.
pub(super) fn rise(time: f64, length: f64) -> f64 {
    normal_cdf(time / length * RISE_IN_DEVIATIONS)
}

/// How long before its middle a rise of `length` must be drawn.
pub(super) fn rise_reach(length: f64) -> f64 {
    REACH / RISE_IN_DEVIATIONS * length
}

/// A smooth way from 1 to 0 as `part` goes from 0 to 1: half a period of a cosine.
pub(super) fn fade(part: f64) -> f64 {
    0.5 + 0.5 * libm::cos(PI * part)
}

/// A fall from 1: one exponential, or a fast one and a slow one.
#[derive(Clone, Copy, Debug)]
pub(super) struct Decay {
    fast: Exponential,
    slow: Exponential,
}

#[derive(Clone, Copy, Debug)]
struct Exponential {
    level: f64,
    /// Time constant in seconds.
    tau: f64,
}

impl Decay {
    /// One exponential of time constant `tau`, in seconds.
    pub(super) const fn single(tau: f64) -> Self {
        Self { fast: Exponential { level: 1.0, tau }, slow: Exponential { level: 0.0, tau } }
    }

    /// A fast exponential, and a slow one that begins at `slow_level` of the fast one's level. Both together are 1 at 0.
    pub(super) fn double(fast_tau: f64, slow_level: f64, slow_tau: f64) -> Self {
        let both = 1.0 + slow_level;
        Self {
            fast: Exponential { level: 1.0 / both, tau: fast_tau },
            slow: Exponential { level: slow_level / both, tau: slow_tau },
        }
    }

    /// The level at `time` seconds.
    pub(super) fn at(&self, time: f64) -> f64 {
        let exponential = |e: Exponential| if e.level > 0.0 { e.level * libm::exp(-time / e.tau) } else { 0.0 };
        exponential(self.fast) + exponential(self.slow)
    }

    /// A time, in seconds, after which the level stays below `floor`.
    pub(super) fn length(&self, floor: f64) -> f64 {
        let exponential = |e: Exponential| {
            // Half the floor for each of the two.
            if e.level * 2.0 > floor { e.tau * libm::log(e.level * 2.0 / floor) } else { 0.0 }
        };
        exponential(self.fast).max(exponential(self.slow))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_rise_takes_its_length_from_a_tenth_to_nine_tenths() {
        // By the definition of the 10 to 90 % rise; the quantile has 11 digits.
        assert!((rise(-0.5e-3, 1e-3) - 0.1).abs() < 1e-9);
        assert!((rise(0.5e-3, 1e-3) - 0.9).abs() < 1e-9);
        assert!((rise(0.0, 1e-3) - 0.5).abs() < 1e-15);
        assert!(rise(-rise_reach(1e-3), 1e-3) < 1e-5);
    }

    #[test]
    fn a_decay_is_below_its_floor_after_its_length_and_not_long_before() {
        for decay in [Decay::single(0.01), Decay::double(0.003, 0.3, 0.025)] {
            assert!((decay.at(0.0) - 1.0).abs() < 1e-15);
            let length = decay.length(1e-5);
            assert!(decay.at(length) < 1e-5);
            // The halved floor costs at most ln 2 of the slow time constant.
            assert!(decay.at(length - 0.025 * 0.7) > 0.9e-5);
        }
    }
}
