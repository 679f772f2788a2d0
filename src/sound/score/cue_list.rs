use super::Ensemble;
use crate::hits::Hit;
use crate::patch::Rig;
use crate::sound::render::Cue;
use crate::time::Instant;

/// What an ensemble is to play.
#[derive(Debug)]
pub struct CueList<'e> {
    ensemble: &'e Ensemble,
    cues: Vec<Cue>,
}

impl<'e> CueList<'e> {
    /// An empty sheet.
    #[must_use]
    pub fn new(ensemble: &'e Ensemble) -> Self {
        Self { ensemble, cues: Vec::new() }
    }

    /// Adds a hit of rig number `of` at a time of its own, with a factor on its level.
    pub fn add(&mut self, of: usize, rig: &Rig, hit: &Hit, at: Instant, gain: f64) {
        self.cues.extend(self.ensemble.cues(of, rig, hit, at, gain));
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
    use crate::dsp::amplitude;

    #[test]
    fn a_velocity_is_forty_decibels_a_decade() {
        for v in [1_u8, 64, 100, 127] {
            let db = 40.0 * (f64::from(v) / 127.0).log10();
            assert!((velocity(v) - amplitude(db)).abs() < 1e-12, "{v}");
        }
    }
}
