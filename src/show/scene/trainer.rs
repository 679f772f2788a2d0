use crate::hits::Hit;
use crate::patch::Rig;
use crate::show::page::{PageVoice, TrainingBar, TrainingHit, TrainingPage};
use crate::sound::score::{Bar, BarHit, Ensemble, Seating};
use crate::time::{Beat, Instant, Tempo};
use crate::voice::VoiceError;

/// A page that trains an ear with two voices at a tempo.
///
/// `rig` has the two as its players, `bar` is a patch's own with its name, and all noise is drawn from `seed`.
///
/// # Errors
/// If a voice has settings that its model cannot draw; a voice of the kit or of a checked patch has none.
pub fn trainer(
    rig: &Rig,
    names: [&str; 2],
    tempo: Tempo,
    bar: Option<(String, Bar)>,
    seed: u64,
    care: &str,
) -> Result<TrainingPage, VoiceError> {
    let ensemble = Ensemble::new(&[rig], Seating::Centre, seed)?;
    let part = |sequencer: usize, velocity: u8| {
        let (at, beat, voice) = (Instant::START, Beat::default(), rig.sequencers[sequencer].voice);
        ensemble.part(0, &Hit { at, beat, due: beat, sequencer, step: 1, velocity, level_mdb: 0, voice })
    };
    let place = |sequencer: usize| part(sequencer, 127);
    let bar = bar.map(|(name, bar)| {
        let hit = |h: &BarHit| {
            let accent = part(h.player, h.velocity).1 / place(h.player).1;
            TrainingHit { beat: h.beat, player: h.player, accent }
        };
        TrainingBar { name, length: bar.length, hits: bar.hits.iter().map(hit).collect() }
    });
    Ok(TrainingPage {
        names: names.map(str::to_owned),
        sounds: [0, 1].map(|n| rig.voices[rig.sequencers[n].voice].sound.checksum()),
        voices: ensemble.masters().into_iter().map(PageVoice::new).collect(),
        places: [place(0), place(1)],
        tempo,
        bar,
        care: care.to_owned(),
    })
}
