//! Tones: functions of time whose spectra end far below 18 kHz by themselves.

use super::envelope::{rise, rise_reach};
use crate::dsp::MASTER_RATE;
use core::f64::consts::PI;
use core::ops::Range;
use rayon::prelude::*;

/// Where a tone is given up: −96 dB. What is left is faded out.
const FLOOR_IN_TAUS: f64 = 11.05;
/// How long before the hit the middle of a rise is, in rises: at 1.92 standard deviations a Gaussian's integral is 97 %.
const RISEN: f64 = 0.75;
/// Where a pulse is given up, against its peak: −100 dB.
const PULSE_FLOOR: f64 = 1e-5;
/// How long the correction of a tone's mean lasts, in time constants of its decay.
const CORRECTION_IN_TAUS: f64 = 4.0;

/// A pitch that falls exponentially.
#[derive(Clone, Copy, Debug)]
pub(super) struct Sweep {
    /// At the hit, in hertz.
    pub(super) start: f64,
    /// The pitch that it settles to, in hertz.
    pub(super) end: f64,
    /// Time constant in seconds.
    pub(super) fall: f64,
}

impl Sweep {
    /// A pitch that stays.
    pub(super) const fn level(pitch: f64) -> Self {
        Self { start: pitch, end: pitch, fall: 1.0 }
    }

    /// Radians since the hit: the integral of the pitch.
    fn phase(&self, time: f64) -> f64 {
        2.0 * PI * (self.end * time - (self.start - self.end) * self.fall * libm::expm1(-time / self.fall))
    }
}

/// A cosine whose level rises at the hit and then decays.
///
/// It starts at the top of its swing, so that its waveform rises as fast as its envelope does: a sine would take a
/// quarter of a period to get there, more than a millisecond in a kick.
#[derive(Clone, Copy, Debug)]
pub(super) struct Tone {
    /// The factor on its amplitude at the hit.
    pub(super) level: f64,
    /// 10 to 90 % of its rise, in seconds. It has risen to 97 % at the hit, so that its top meets that of a burst
    /// or a pulse, both of which are at the hit.
    pub(super) rise: f64,
    /// Time constant of its level, in seconds.
    pub(super) decay: f64,
    /// How its pitch goes over time.
    pub(super) pitch: Sweep,
}

impl Tone {
    /// Samples that it needs before the hit.
    pub(super) fn pre(&self) -> usize {
        samples(rise_reach(self.rise) + RISEN * self.rise)
    }

    /// Samples from the hit to where it ends.
    pub(super) fn length(&self) -> usize {
        samples(self.decay * FLOOR_IN_TAUS)
    }

    /// Adds the tone, with the hit at `pre`, and takes its mean away.
    ///
    /// The mean goes by one swell as slow as the decay, from the hit on: 60 dB below a usual kick's peak and at a few
    /// hertz, where a high-pass would have drawn every tail out.
    pub(super) fn draw(&self, out: &mut [f64], pre: usize) {
        let swell = samples(self.decay * CORRECTION_IN_TAUS).min(out.len() - pre);
        let at = |n: usize| {
            let time = (n as f64 - pre as f64) / f64::from(MASTER_RATE);
            let level = self.level * rise(time + RISEN * self.rise, self.rise) * libm::exp(-time / self.decay);
            level * libm::cos(self.pitch.phase(time))
        };
        let hann = |n: usize| 0.5 - 0.5 * libm::cos(2.0 * PI * n as f64 / swell as f64);
        // Sample by sample on all cores; then summed in order, so that the sums are the same on any number of them.
        let tone = each(0..(pre + self.length()).min(out.len()), at);
        let hann = each(0..swell, hann);
        let (sum, swell_sum) = (tone.iter().sum::<f64>(), hann.iter().sum::<f64>());
        out.iter_mut().zip(&tone).for_each(|(out, x)| *out += x);
        out[pre..].iter_mut().zip(&hann).for_each(|(out, hann)| *out -= hann * sum / swell_sum);
    }
}

/// A function of the number of a sample, at each.
fn each(samples: Range<usize>, f: impl Fn(usize) -> f64 + Send + Sync) -> Vec<f64> {
    samples.into_par_iter().with_min_len(1 << 11).map(f).collect()
}

/// A cosine under a Gaussian, both with their top at the hit, less as much of the Gaussian as takes its mean away.
#[derive(Clone, Copy, Debug)]
pub(super) struct Pulse {
    /// In hertz.
    pub(super) pitch: f64,
    /// The Gaussian's standard deviation in seconds.
    pub(super) width: f64,
}

impl Pulse {
    /// Samples that it needs before the hit, and as many after.
    pub(super) fn pre(&self) -> usize {
        // The spectrum of the Gaussian, at the pitch, against that at 0 Hz: the mean of the pulse, up to rounding.
        let turns = 2.0 * PI * self.pitch * self.width;
        let mean = libm::exp(-0.5 * turns * turns);
        let most = (1.0 + mean) / (1.0 - mean);
        samples(self.width * libm::sqrt(2.0 * libm::log(most / PULSE_FLOOR)))
    }

    /// Adds the pulse, with the hit at `pre`.
    pub(super) fn draw(&self, out: &mut [f64], pre: usize) {
        let gauss = |time: f64| libm::exp(-0.5 * (time / self.width) * (time / self.width));
        let swing = |time: f64| libm::cos(2.0 * PI * self.pitch * time);
        let times = |n: usize| (n as f64 - pre as f64) / f64::from(MASTER_RATE);
        let range = pre - self.pre()..pre + self.pre() + 1;
        let sum: f64 = range.clone().map(|n| gauss(times(n)) * swing(times(n))).sum();
        let mean = sum / range.clone().map(|n| gauss(times(n))).sum::<f64>();
        for n in range {
            out[n] += gauss(times(n)) * (swing(times(n)) - mean);
        }
    }
}

fn samples(seconds: f64) -> usize {
    libm::ceil(seconds * f64::from(MASTER_RATE)) as usize
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_phase_is_the_integral_of_the_pitch() {
        let sweep = Sweep { start: 180.0, end: 50.0, fall: 0.022 };
        // f(t) = end + (start − end) e^(−t/fall), by the mean over a short stretch.
        for time in [0.0, 0.01, 0.1] {
            let step = 1e-6;
            let found = (sweep.phase(time + step) - sweep.phase(time - step)) / (4.0 * PI * step);
            let expected = 50.0 + 130.0 * (-time / 0.022f64).exp();
            assert!((found - expected).abs() < 1e-4, "{found} {expected}");
        }
        assert!((Sweep::level(185.0).phase(0.1) - 2.0 * PI * 18.5).abs() < 1e-12);
    }

    #[test]
    fn no_mean_is_left() {
        let tone = Tone { level: 1.0, rise: 0.000_25, decay: 0.05, pitch: Sweep::level(50.0) };
        let mut out = vec![0.0; tone.pre() + tone.length()];
        tone.draw(&mut out, tone.pre());
        assert!(out.iter().sum::<f64>().abs() < 1e-9);
        let pulse = Pulse { pitch: 3000.0, width: 0.000_14 };
        let mut out = vec![0.0; 2 * pulse.pre() + 1];
        pulse.draw(&mut out, pulse.pre());
        assert!(out.iter().sum::<f64>().abs() < 1e-9);
    }
}
