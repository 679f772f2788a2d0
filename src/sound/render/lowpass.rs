use super::kernel::{correlate, unity};
use crate::dsp::{MASTER_RATE, Master};
use crate::dsp::{kaiser, kaiser_beta, sinc};
use std::f64::consts::PI;

/// From this rate on half of it lies far above the 18 kHz in which voices live.
const NEEDLESS_FROM: u32 = 88_200;
/// What a voice may hold, in hertz.
const VOICES_TO: f64 = 18_000.0;
const DEPTH_DB: f64 = 100.0;

/// Takes away all that an output rate cannot hold, before it is folded down.
///
/// At the usual rates that is only what a voice leaves above 18 kHz, near −100 dB; but at 44.1 kHz that would come down
/// among the lowest tones and move them, by 0.12 µs in a snare's weakest bands. At low rates it is the top of the sound.
#[derive(Clone, Debug)]
pub(super) struct Lowpass {
    /// An odd number, the middle one at the sample itself; none where nothing has to be taken away.
    taps: Vec<f32>,
}

impl Lowpass {
    /// For an output rate in hertz.
    pub(super) fn new(rate: u32) -> Self {
        if rate >= NEEDLESS_FROM {
            return Self { taps: Vec::new() };
        }
        let (rate, master) = (f64::from(rate), f64::from(MASTER_RATE));
        // All must be gone at half the rate; what lies below 0.85 of that stays.
        let (pass, stop) = (VOICES_TO.min(0.425 * rate), 0.5 * rate);
        let cutoff = (pass + stop) / master;
        // The length by Kaiser's formula, (A − 7.95)/(2.285·Δω): the documentation of `scipy.signal.kaiserord`.
        let half = ((DEPTH_DB - 8.0) / (2.285 * 2.0 * PI * (stop - pass) / master) / 2.0).ceil();
        let tap = |j: usize| {
            let t = j as f64 - half;
            sinc(cutoff * t) * kaiser(t / half, kaiser_beta(DEPTH_DB))
        };
        let taps: Vec<f64> = (0..=2 * half as usize).map(tap).collect();
        Self { taps: unity(&taps) }
    }

    /// By how many samples a filtered master is longer, at either end.
    pub(super) fn reach(&self) -> usize {
        self.taps.len() / 2
    }

    /// A master without what the rate cannot hold.
    pub(super) fn filter(&self, master: Master) -> Master {
        if self.taps.is_empty() {
            return master;
        }
        let reach = self.reach();
        let mut around = vec![0.0; 2 * reach];
        around.extend(&master.samples);
        around.resize(master.samples.len() + 4 * reach, 0.0);
        let mut samples = vec![0.0; master.samples.len() + 2 * reach];
        correlate(&self.taps, &around, &mut samples);
        Master { samples, pre: master.pre + reach as i64 }
    }
}

/// A master without what an output rate in hertz cannot hold: what a [`Bank`](super::Bank) at that rate reads.
#[must_use]
pub fn for_rate(rate: u32, master: Master) -> Master {
    Lowpass::new(rate).filter(master)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The gain at a frequency in dB: the taps' Fourier sum.
    fn response(lowpass: &Lowpass, hz: f64) -> f64 {
        let at = |j: usize| (2.0 * PI * hz / f64::from(MASTER_RATE) * (j as f64 - lowpass.reach() as f64)).cos();
        let sum: f64 = lowpass.taps.iter().enumerate().map(|(j, tap)| f64::from(*tap) * at(j)).sum();
        20.0 * sum.abs().log10()
    }

    #[test]
    fn what_a_rate_can_hold_passes_and_the_rest_does_not() {
        for rate in [8_000, 11_025, 16_000, 32_000, 44_100, 48_000, 64_000, 88_199] {
            let lowpass = Lowpass::new(rate);
            let half = f64::from(rate) / 2.0;
            for hz in [0.0, 0.1 * half, 0.4 * half, (0.85 * half).min(18_000.0)] {
                let gain = response(&lowpass, hz);
                assert!(gain.abs() < 2e-4, "{rate} Hz, tone of {hz}: {gain} dB");
            }
            for hz in [half, 1.01 * half, 47_000.0] {
                let gain = response(&lowpass, hz);
                assert!(gain < -98.0, "{rate} Hz, tone of {hz}: {gain} dB");
            }
        }
    }

    #[test]
    fn each_sample_is_the_sum_of_its_neighbours() {
        let lowpass = Lowpass::new(44_100);
        let samples: Vec<f32> = (0..1_000_u32).map(|n| (n.wrapping_mul(2_654_435_761) >> 8) as f32 / 1e7).collect();
        let filtered = lowpass.filter(Master { samples: samples.clone(), pre: 3 });
        let reach = lowpass.reach();
        assert_eq!((filtered.pre, filtered.samples.len()), (3 + reach as i64, 1_000 + 2 * reach));
        for (n, v) in filtered.samples.iter().enumerate() {
            let term = |(j, tap): (usize, &f32)| {
                let sample = (n + j).checked_sub(2 * reach).and_then(|i| samples.get(i));
                f64::from(*tap) * f64::from(sample.copied().unwrap_or(0.0))
            };
            let plain: f64 = lowpass.taps.iter().enumerate().map(term).sum();
            assert!((f64::from(*v) - plain).abs() < 1e-5, "{n}: {v} for {plain}");
        }
    }
}
