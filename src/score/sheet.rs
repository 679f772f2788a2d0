use super::Ensemble;
use super::ensemble::factor;
use crate::hits::Hit;
use crate::patch::Rig;
use crate::render::{self, Cue, Master, Source};
use crate::time::Instant;
use crate::voice::NoiseKey;

/// What an ensemble is to play: cues, and the noise of those hits that have their own.
#[derive(Debug)]
pub struct Sheet<'e> {
    ensemble: &'e Ensemble,
    cues: Vec<Cue>,
    takes: Takes<'e>,
}

/// Hits with noise of their own, each drawn when it is reached.
#[derive(Debug)]
pub struct Takes<'e> {
    ensemble: &'e Ensemble,
    /// Player and noise.
    fresh: Vec<(usize, NoiseKey)>,
}

impl Takes<'_> {
    /// The same sound with the noise that all hits of its voice share.
    #[must_use]
    pub fn kept(&self, source: Source) -> Source {
        match source {
            Source::Kept(_) => source,
            Source::Fresh(n) => Source::Kept(u32::try_from(self.fresh[n as usize].0).unwrap_or(u32::MAX)),
        }
    }
}

impl<'e> Sheet<'e> {
    /// An empty sheet.
    #[must_use]
    pub fn new(ensemble: &'e Ensemble) -> Self {
        Self { ensemble, cues: Vec::new(), takes: Takes { ensemble, fresh: Vec::new() } }
    }

    /// Adds a hit of rig number `of` at a time of its own, with a factor on its level.
    pub fn add(&mut self, of: usize, rig: &Rig, hit: &Hit, at: Instant, gain: f64) {
        let number = self.ensemble.player(of, hit.voice);
        let player = &self.ensemble.players()[number];
        let source = if player.is_fresh() {
            let key = NoiseKey::hit(self.ensemble.seed(), rig.player_name(hit.sequencer), hit.due);
            self.takes.fresh.push((number, key));
            Source::Fresh(u32::try_from(self.takes.fresh.len() - 1).unwrap_or(u32::MAX))
        } else {
            Source::Kept(u32::try_from(number).unwrap_or(u32::MAX))
        };
        let gain = gain * velocity(hit.velocity) * factor(f64::from(hit.level_mdb) / 1000.0);
        let [left, right] = player.gains.map(|g| (g * gain) as f32);
        self.cues.push(Cue { at, source, left, right });
    }

    /// The cues, and what makes the sounds that are drawn one by one.
    #[must_use]
    pub fn finish(self) -> (Vec<Cue>, Takes<'e>) {
        (self.cues, self.takes)
    }
}

/// The factor of a velocity: 40·log₁₀(v/127) dB, which is the square of v/127.
pub(super) fn velocity(v: u8) -> f64 {
    let share = f64::from(v) / 127.0;
    share * share
}

impl render::Takes for Takes<'_> {
    fn longest(&self) -> (usize, usize) {
        let mut longest = (0, 0);
        // Of those that play here only: what else the run makes must not lengthen this file.
        for &(player, _) in &self.fresh {
            let (pre, post) = self.ensemble.players()[player].drum.reach();
            longest = (longest.0.max(pre), longest.1.max(post));
        }
        longest
    }

    fn take(&self, n: u32) -> Master {
        let (player, key) = &self.fresh[n as usize];
        self.ensemble.players()[*player].hit(key)
    }
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
