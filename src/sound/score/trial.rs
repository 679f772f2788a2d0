use super::{CueList, Ensemble};
use crate::hits::Hit;
use crate::judge::identify::{BOX, Performed};
use crate::patch::Rig;
use crate::sound::render::Cue;
use crate::time::Beat;

/// The voices of the test bench, by their places: of step 1, of the other steps, and of the clock.
const LOW: usize = 0;
const HIGH: usize = 1;
const TICK: usize = 2;

/// The hits of a trial of a box: its own in a low voice for step 1 and a high one for the others, and the clock's ticks.
#[must_use]
pub fn trial_hits(performed: &Performed) -> Vec<Hit> {
    let own = performed.hits.iter().map(|hit| {
        let voice = if hit.step == 1 { LOW } else { HIGH };
        Hit { sequencer: BOX, voice, ..hit.clone() }
    });
    let ticks = performed.pulses.iter().map(|&at| {
        let beat = Beat::from_integer(0);
        Hit { at, beat, due: beat, sequencer: BOX, step: 1, velocity: 64, level_mdb: 0, voice: TICK }
    });
    own.chain(ticks).collect()
}

/// Their cues. `voices` is the rig of the test bench, the only one of the ensemble.
#[must_use]
pub fn trial(ensemble: &Ensemble, voices: &Rig, performed: &Performed) -> Vec<Cue> {
    let mut sheet = CueList::new(ensemble);
    trial_hits(performed).iter().for_each(|hit| sheet.add(0, voices, hit, hit.at, 1.0));
    sheet.finish()
}
