//! Noise: where its bits come from, and a burst of it.

use super::band::Band;
use super::envelope::{Decay, rise};
use crate::dsp::{MASTER_RATE, StreamKey};
use crate::time::Beat;
use rand_chacha::rand_core::Rng;

/// What a stretch of noise is drawn from.
///
/// The words of its stream are the seed (8 bytes, least first) and a purpose. Equal seeds and purposes give equal noise on any
/// machine; any difference gives unrelated noise.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct NoiseKey(StreamKey);

impl NoiseKey {
    /// The key of a seed and a purpose, such as `noise/voice/snare`.
    #[must_use]
    pub fn new(seed: u64, purpose: &str) -> Self {
        Self(StreamKey::of(&[&seed.to_le_bytes(), purpose.as_bytes()]))
    }

    /// The noise that every hit of a voice has: `noise/voice/NAME`.
    #[must_use]
    pub fn voice(seed: u64, voice: &str) -> Self {
        Self::new(seed, &format!("noise/voice/{voice}"))
    }

    /// The noise of one hit alone: `noise/hit/SEQUENCER/NUMERATOR/DENOMINATOR`, the due beat in lowest terms.
    #[must_use]
    pub fn hit(seed: u64, sequencer: &str, due: Beat) -> Self {
        let due = due.reduced();
        Self::new(seed, &format!("noise/hit/{sequencer}/{}/{}", due.numer(), due.denom()))
    }

    /// What hits of a voice that have each noise of its own are put together from: `noise/deck/NAME`.
    #[must_use]
    pub fn deck(seed: u64, voice: &str) -> Self {
        Self::new(seed, &format!("noise/deck/{voice}"))
    }

    /// Bits without end, 32 at a time.
    pub(super) fn bits(&self) -> impl Iterator<Item = u32> + use<> {
        let mut bits = self.0.stream();
        core::iter::from_fn(move || Some(bits.next_u32()))
    }

    /// White noise without end: mean 0, variance 1, uniform.
    pub(super) fn white(&self) -> impl Iterator<Item = f64> + use<> {
        self.bits().map(uniform)
    }
}

/// 32 bits to one of as many even steps from −√3 to √3, none of them 0: variance 1.
fn uniform(bits: u32) -> f64 {
    const ROOT_3: f64 = 1.732_050_807_568_877_2;
    (f64::from(bits) + 0.5) / 2_147_483_648.0 * ROOT_3 - ROOT_3
}

/// The noise follows the impulse after this time, in seconds, so that every hit starts alike whatever its noise.
const WAIT: f64 = 0.000_2;
/// The 10 to 90 % rise of the noise, in seconds.
const RISE: f64 = 0.000_1;
/// Where noise is given up. Peaks of noise stand 12 dB above its RMS at most, so this keeps them below −90 dB.
const FLOOR: f64 = 4e-6;

/// A band of noise that opens with an impulse, which is the same at every hit.
#[derive(Clone, Debug)]
pub(super) struct Burst {
    /// The impulse's peak.
    pub(super) level: f64,
    /// The RMS of the noise at its start, against the impulse's peak. If it were higher, the noise would in some draws
    /// pass the impulse, and the attack would no longer be where the hit is.
    pub(super) noise: f64,
    /// Where in the spectrum the noise lies.
    pub(super) band: Band,
    /// How the noise falls.
    pub(super) decay: Decay,
}

impl Burst {
    /// Samples from the hit to where the noise ends.
    pub(super) fn length(&self) -> usize {
        let floor = FLOOR / self.noise / self.level.min(1.0);
        libm::ceil((WAIT + self.decay.length(floor)) * f64::from(MASTER_RATE)) as usize
    }

    /// Adds the impulse, its peak at the hit, which is at `pre`.
    pub(super) fn open(&self, out: &mut [f64], pre: usize) {
        let mut impulse = vec![0.0; out.len()];
        impulse[pre - self.band.delay()] = self.level;
        for (out, x) in out.iter_mut().zip(self.band.filter(impulse)) {
            *out += x;
        }
    }

    /// The level of the white noise that goes into the band, from the hit on.
    pub(super) fn levels(&self) -> Vec<f64> {
        let white = self.level * self.noise / self.band.spread();
        (0..self.length())
            .map(|n| {
                let time = n as f64 / f64::from(MASTER_RATE);
                white * rise(time - WAIT, RISE) * self.decay.at(time)
            })
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_key_is_the_hash_of_seed_and_purpose() {
        // Python: hashlib.sha256((1).to_bytes(8, "little") + b"noise/voice/snare").hexdigest()
        let key = NoiseKey::voice(1, "snare");
        assert_eq!(key, NoiseKey::new(1, "noise/voice/snare"));
        assert_eq!(key.0.bytes()[..4], SNARE_KEY);
    }

    const SNARE_KEY: [u8; 4] = [235, 99, 252, 137];

    #[test]
    fn a_hit_has_the_noise_of_its_due_beat_however_it_is_written() {
        let half = NoiseKey::hit(1, "ox", Beat::new(1, 2));
        assert_eq!(half, NoiseKey::hit(1, "ox", Beat::new_raw(2, 4)));
        assert_ne!(half, NoiseKey::hit(1, "ox", Beat::new(3, 2)));
        assert_ne!(half, NoiseKey::hit(1, "wren", Beat::new(1, 2)));
        assert_ne!(half, NoiseKey::hit(2, "ox", Beat::new(1, 2)));
    }

    #[test]
    fn white_noise_is_even_white_and_of_variance_one() {
        assert!((uniform(0) + uniform(u32::MAX)).abs() < 1e-12);
        let noise: Vec<f64> = NoiseKey::new(7, "test").white().take(100_000).collect();
        let n = noise.len() as f64;
        let mean = noise.iter().sum::<f64>() / n;
        let variance = noise.iter().map(|x| x * x).sum::<f64>() / n;
        let next = noise.windows(2).map(|w| w[0] * w[1]).sum::<f64>() / n;
        // Standard errors are 1/√n = 0.0032 for the mean and the neighbours, √(0.8/n) = 0.0028 for the variance
        // (the fourth moment of an even spread is 9/5): five of them.
        assert!(mean.abs() < 0.016, "{mean}");
        assert!((variance - 1.0).abs() < 0.014, "{variance}");
        assert!(next.abs() < 0.016, "{next}");
    }
}
