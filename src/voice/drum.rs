//! From settings to a master.

use super::band::Band;
use super::envelope::fade;
use super::noise::Burst;
use super::parts::Parts;
use super::recorded::Stroke;
use super::tone::{Pulse, Tone};
use super::{Model, NoiseKey, Settings, VoiceError, click, hat, kick, snare};
use crate::dsp::Master;

/// The last stretch of a master, which is faded to nothing, in samples: 5 ms. The filters of a burst ring out in it.
const FADE: usize = 480;

/// How high noise may carry a sound after its attack, whose top is 1: 90 % of this is still below the attack's top, so that
/// the rise from 10 to 90 % is the attack's.
pub(super) const TOP: f64 = 1.05;

/// A voice made ready: all that does not depend on its noise. Another hit with noise of its own costs one pass of the
/// band's filter, and is as loud; where there are many, a [`Deck`](super::Deck) makes them for less.
///
/// The attack, which is the same for every noise, has a sample peak of 1.0. Noise after it may pass that: in 300 draws of
/// each built-in voice by 0.1 dB at most.
#[derive(Clone, Debug)]
pub struct Drum {
    pub(super) pre: usize,
    /// Tones, pulse and the impulse of the burst; its length is the master's.
    pub(super) steady: Vec<f64>,
    pub(super) noise: Option<Noise>,
}

#[derive(Clone, Debug)]
pub(super) struct Noise {
    pub(super) band: Band,
    /// The level of the white noise, from the hit on.
    pub(super) levels: Vec<f64>,
    /// The sum of its squares, on average over all draws.
    energy: f64,
}

impl Drum {
    /// Makes a voice ready.
    ///
    /// # Errors
    ///
    /// As [`Settings::check`].
    pub fn new(settings: &Settings) -> Result<Self, VoiceError> {
        settings.check()?;
        let parts = match settings.model {
            Model::Kick => kick::parts(settings),
            Model::Snare => snare::parts(settings),
            Model::Hat => hat::parts(settings),
            Model::Click => click::parts(settings),
        };
        Ok(Self::assemble(&parts))
    }

    /// What was read from a file, made ready.
    #[must_use]
    pub fn recorded(stroke: &Stroke) -> Self {
        Self { pre: stroke.pre, steady: stroke.samples.clone(), noise: None }
    }

    fn assemble(parts: &Parts) -> Self {
        let Parts { tones, burst, pulse } = parts;
        let pre = tones
            .iter()
            .map(Tone::pre)
            .chain(burst.iter().map(|burst| burst.band.reach()))
            .chain(pulse.iter().map(Pulse::pre))
            .max()
            .unwrap_or(0);
        let length = tones
            .iter()
            .map(Tone::length)
            .chain(burst.iter().map(Burst::length))
            .map(|length| length + FADE)
            .chain(pulse.iter().map(|pulse| pulse.pre() + 1))
            .max()
            .unwrap_or(0);
        let mut steady = vec![0.0; pre + length];
        for tone in tones {
            tone.draw(&mut steady, pre);
        }
        if let Some(burst) = burst {
            burst.open(&mut steady, pre);
        }
        if let Some(pulse) = pulse {
            pulse.draw(&mut steady, pre);
        }
        let peak = steady.iter().fold(0.0, |peak: f64, x| peak.max(x.abs()));
        steady.iter_mut().for_each(|x| *x /= peak);
        let noise = burst.as_ref().map(|burst| {
            let levels: Vec<f64> = burst.levels().iter().map(|level| level / peak).collect();
            let spread = burst.band.spread();
            let energy = levels.iter().map(|level| level * level).sum::<f64>() * spread * spread;
            Noise { band: burst.band.clone(), levels, energy }
        });
        Self { pre, steady, noise }
    }

    /// Whether its hits differ by their noise.
    #[must_use]
    pub const fn has_noise(&self) -> bool {
        self.noise.is_some()
    }

    /// How many samples of a master lie before the hit's instant, and from there on; the same for all its hits.
    #[must_use]
    pub fn reach(&self) -> (usize, usize) {
        (self.pre, self.steady.len() - self.pre)
    }

    /// Fades the last of a master out.
    pub(super) fn end(&self, sum: &mut [f64]) {
        // A click is complete as it stands: its ends are at −100 dB.
        if sum.len() > 2 * FADE {
            let start = sum.len() - FADE;
            for (n, x) in sum[start..].iter_mut().enumerate() {
                *x *= fade((n + 1) as f64 / FADE as f64);
            }
        }
    }

    /// One hit at velocity 127, with the noise of `key`: the attack's peak is 1.0 as a sample peak at 96 kHz, and at most 1 ms,
    /// the foot of the rise, lies before the hit's instant; of a recording 10 ms, and the peak is that of all of it.
    #[must_use]
    pub fn master(&self, key: &NoiseKey) -> Master {
        let mut sum = self.steady.clone();
        if let Some(noise) = &self.noise {
            // Its own length, and what the filter rings on, is all that is filtered.
            let mut white = vec![0.0; (self.pre + noise.levels.len() + FADE).min(sum.len())];
            for ((out, level), x) in white[self.pre..].iter_mut().zip(&noise.levels).zip(key.white()) {
                *out = level * x;
            }
            let drawn = noise.band.filter(white);
            // A short burst draws more or less energy by chance, a hat 1 dB; every hit is to be as loud as the next.
            let energy: f64 = drawn.iter().map(|x| x * x).sum();
            let even = libm::sqrt(noise.energy / energy);
            // Nor may a draw stand so far above the attack that the attack is no longer the top of the sound.
            let room = |(&steady, x): (&f64, &f64)| {
                let (before, after) = (steady.abs(), (steady + even * x).abs());
                if after > TOP && before < TOP { (TOP - before) / (after - before) } else { 1.0 }
            };
            let kept = even * sum.iter().zip(&drawn).map(room).fold(1.0, f64::min);
            for (sum, x) in sum.iter_mut().zip(drawn) {
                *sum += kept * x;
            }
        }
        self.end(&mut sum);
        Master { pre: self.pre as i64, samples: sum.into_iter().map(|x| x as f32).collect() }
    }
}

/// One hit of a voice at velocity 127: see [`Drum`], which draws many for less.
///
/// # Errors
///
/// As [`Settings::check`].
pub fn master(settings: &Settings, key: &NoiseKey) -> Result<Master, VoiceError> {
    Ok(Drum::new(settings)?.master(key))
}
