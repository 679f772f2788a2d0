use super::rehearsal::{received, timelines};
use super::{Counting, Later, MOST_PULSES, Performance, RigError, Run, Track, chain, circuit, way_to_ear};
use crate::patch::{Rig, StageKind};
use crate::time::Tempo;

/// A rig that is played again and again at one tempo, with one stage set to this and that. Whatever that stage has no say in is
/// worked out once: the clock's pulses, what changes in the course of the piece, how pulses are counted.
#[derive(Clone, Debug)]
pub struct Repeat {
    rig: Rig,
    stage: usize,
    later: Vec<Later>,
    performance: Performance,
}

impl Repeat {
    /// Makes a rig ready whose stage of this index will be set.
    ///
    /// # Errors
    /// As [`super::play`].
    pub fn new(rig: Rig, stage: usize, tempo: Tempo) -> Result<Self, RigError> {
        let mut timelines = timelines(&rig, tempo)?;
        timelines.iter_mut().for_each(|line| line.keep(rig.end));
        let later = Later::of(&rig, tempo);
        let countings = countings(&rig);
        let (tracks, passages) = (Vec::new(), Vec::new());
        let performance = Performance { tempo, timelines, countings, tracks, passages, rests: true };
        Ok(Self { rig, stage, later, performance })
    }

    /// The rig with its stage as it was last set.
    #[must_use]
    pub fn rig(&self) -> &Rig {
        &self.rig
    }

    /// How many pulses come to the inputs of all sequencers, if none is lost on the way: how much there is to play.
    #[must_use]
    pub fn pulses(&self) -> u128 {
        received(&self.rig, &self.performance.timelines)
    }

    /// What was played last.
    #[must_use]
    pub fn played(&self) -> &Performance {
        &self.performance
    }

    /// Plays it with the stage set so.
    ///
    /// # Errors
    /// As [`super::play_run`].
    pub fn play(&mut self, kind: StageKind, run: Run) -> Result<&Performance, RigError> {
        let counts = |kind: &StageKind| matches!(kind, StageKind::Divide(_) | StageKind::Multiply(_));
        let counted_anew = counts(&kind) || counts(&self.rig.stages[self.stage].kind);
        let Self { rig, stage, later, performance } = self;
        let later_stages = later.iter_mut().flat_map(|later| {
            // What is set to come later is told by the rig too.
            later.rig.stages.get_mut(*stage)
        });
        let eras = rig.course.eras.iter_mut().flat_map(|era| era.stages.get_mut(*stage));
        later_stages.chain(eras).for_each(|s| s.kind = kind.clone());
        rig.stages[*stage].kind = kind;
        if counted_anew {
            performance.countings = countings(rig);
            later.iter_mut().for_each(|later| later.countings = countings(&later.rig));
        }
        let tempo = performance.tempo;
        let found = received(rig, &performance.timelines);
        if found > MOST_PULSES {
            return Err(RigError::TooMany { found, tempo });
        }
        let Performance { timelines, countings, .. } = &*performance;
        let plain = later.is_empty() && rig.sequencers.iter().all(|s| chain::is_plain(rig, s));
        let (mut tracks, passages, rests) = if plain {
            let both = rig.sequencers.iter().zip(countings);
            (both.map(|(s, c)| Track::play(rig, s, timelines, c, run)).collect(), Vec::new(), true)
        } else {
            circuit::run(rig, later, timelines, countings, run)
        };
        way_to_ear::sequencers(rig, later, &mut tracks, run);
        (performance.tracks, performance.passages, performance.rests) = (tracks, passages, rests);
        if rests { Ok(&self.performance) } else { Err(RigError::Restless { tempo }) }
    }
}

fn countings(rig: &Rig) -> Vec<Counting> {
    rig.sequencers.iter().map(|s| Counting::of(rig, &s.clock)).collect()
}
