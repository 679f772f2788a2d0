use super::Ensemble;
use super::ensemble::factor;
use crate::hits::Hit;
use crate::patch::Rig;
use crate::render::Cue;
use crate::time::Instant;
use crate::voice::{Deck, NoiseKey};

/// What an ensemble is to play.
#[derive(Debug)]
pub struct Sheet<'e> {
    ensemble: &'e Ensemble,
    cues: Vec<Cue>,
}

impl<'e> Sheet<'e> {
    /// An empty sheet.
    #[must_use]
    pub fn new(ensemble: &'e Ensemble) -> Self {
        Self { ensemble, cues: Vec::new() }
    }

    /// Adds a hit of rig number `of` at a time of its own, with a factor on its level.
    pub fn add(&mut self, of: usize, rig: &Rig, hit: &Hit, at: Instant, gain: f64) {
        let number = self.ensemble.player(of, hit.voice);
        let player = &self.ensemble.players()[number];
        let gain = gain * velocity(hit.velocity) * factor(f64::from(hit.level_mdb) / 1000.0);
        let [left, right] = player.gains.map(|g| (g * gain) as f32);
        let voice = |n: usize| u32::try_from(n).unwrap_or(u32::MAX);
        let Some(deck) = player.deck else {
            self.cues.push(Cue { at, voice: voice(number), left, right });
            return;
        };
        let key = NoiseKey::hit(self.ensemble.seed(), rig.player_name(hit.sequencer), hit.due);
        self.cues.extend(Deck::hit(&key).map(|(piece, flipped)| {
            let sign = if flipped { -1.0 } else { 1.0 };
            Cue { at, voice: voice(deck + piece), left: sign * left, right: sign * right }
        }));
    }

    /// The cues: of a hit with noise of its own, one for each of its pieces.
    #[must_use]
    pub fn finish(self) -> Vec<Cue> {
        self.cues
    }
}

/// The factor of a velocity: 40·log₁₀(v/127) dB, which is the square of v/127.
pub(super) fn velocity(v: u8) -> f64 {
    let share = f64::from(v) / 127.0;
    share * share
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_velocity_is_forty_decibels_a_decade() {
        for v in [1_u8, 64, 100, 127] {
            let db = 40.0 * (f64::from(v) / 127.0).log10();
            assert!((velocity(v) - factor(db)).abs() < 1e-12, "{v}");
        }
    }
}
