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

/// The cues of a trial of a box: its hits in a low voice for step 1 and a high one for the others, over the clock's ticks.
/// `voices` is the rig of the test bench, the only one of the ensemble.
#[must_use]
pub fn trial(ensemble: &Ensemble, voices: &Rig, performed: &Performed) -> Vec<Cue> {
    let mut sheet = CueList::new(ensemble);
    for hit in &performed.hits {
        let voice = if hit.step == 1 { LOW } else { HIGH };
        sheet.add(0, voices, &Hit { sequencer: BOX, voice, ..hit.clone() }, hit.at, 1.0);
    }
    for &at in &performed.pulses {
        let beat = Beat::from_integer(0);
        let hit = Hit { at, beat, due: beat, sequencer: BOX, step: 1, velocity: 64, level_mdb: 0, voice: TICK };
        sheet.add(0, voices, &hit, at, 1.0);
    }
    sheet.finish()
}
