use super::{
    Counting, Later, MOST_PULSES, Performance, RigError, Run, Sound, Timeline, Track, chain, circuit, way_to_ear,
};
use crate::patch::{Path, Rig, Sequencer, Source, StageKind};
use crate::time::Tempo;

/// A rig made ready for one tempo: what no run changes is worked out once, and then it is played as often as is asked.
#[derive(Clone, Debug)]
pub struct Rehearsal<'r> {
    rig: &'r Rig,
    tempo: Tempo,
    timelines: Vec<Timeline>,
    countings: Vec<Counting>,
    later: Vec<Later>,
    /// Two streams of pulses a sequencer say all.
    plain: bool,
    /// How many pulses come to the inputs of all sequencers, if none is lost on the way.
    pulses: u128,
}

/// The rig's outputs at a tempo, in its order; then, where the clock is started again, its starts.
pub(super) fn timelines(rig: &Rig, tempo: Tempo) -> Result<Vec<Timeline>, RigError> {
    let clockwork = rig.clockwork(tempo);
    let named = |output: &str| {
        let output = output.to_owned();
        |source| RigError::Time { output, source }
    };
    let mut all = (0..rig.outputs.len())
        .map(|o| Timeline::of(rig, o, &clockwork).map_err(named(&rig.outputs[o].name)))
        .collect::<Result<Vec<_>, _>>()?;
    all.extend(Timeline::starts(rig, &clockwork).map_err(named("start"))?);
    Ok(all)
}

/// How many pulses come to the inputs of all sequencers, if none is lost on the way.
pub(super) fn received(rig: &Rig, timelines: &[Timeline]) -> u128 {
    let paths = rig.sequencers.iter().flat_map(|s| std::iter::once(&s.clock).chain(s.reset.as_ref().map(|r| &r.path)));
    let sent = |path: &Path| u128::from(timelines[rig.origin(path)].most(rig.end).unsigned_abs());
    paths.fold(0, |all, path| all.saturating_add(after_stages(rig, path, sent(path))))
}

/// How many of so many pulses arrive at the end of a path behind its multipliers and dividers.
fn after_stages<'r>(rig: &'r Rig, mut path: &'r Path, pulses: u128) -> u128 {
    let (mut made, mut of) = (pulses, 1_u128);
    // What leads back into itself has been followed then.
    for _ in 0..=rig.sequencers.len() + rig.wires.len() {
        for &stage in &path.stages {
            match &rig.stages[stage].kind {
                StageKind::Divide(divide) => of = of.saturating_mul(u128::from(divide.by)),
                StageKind::Multiply(_) => made = made.saturating_mul(u128::from(rig.parts(stage))),
                _ => {}
            }
        }
        path = match path.source {
            Source::Output(_) => break,
            Source::Wire(wire) => &rig.wires[wire].path,
            Source::Sequencer { index, .. } => &rig.sequencers[index].clock,
        };
    }
    made.div_ceil(of)
}

/// How many pulses come to the inputs of all sequencers of a rig at a tempo, if none is lost on the way: how much there is to
/// work out.
///
/// # Errors
/// [`RigError::Time`] if an instant does not fit; a patch that was checked at this tempo never does that.
pub fn pulses(rig: &Rig, tempo: Tempo) -> Result<u128, RigError> {
    Ok(received(rig, &timelines(rig, tempo)?))
}

impl<'r> Rehearsal<'r> {
    /// Makes a rig ready.
    ///
    /// # Errors
    /// [`RigError::Time`] if an instant does not fit; a patch that was checked at this tempo never does that.
    /// [`RigError::TooMany`] if there is more to do than memory holds.
    pub fn new(rig: &'r Rig, tempo: Tempo) -> Result<Self, RigError> {
        let timelines = timelines(rig, tempo)?;
        let found = received(rig, &timelines);
        if found > MOST_PULSES {
            return Err(RigError::TooMany { found, tempo });
        }
        let countings = rig.sequencers.iter().map(|s| Counting::of(rig, &s.clock)).collect();
        let later = Later::of(rig, tempo);
        let plain = later.is_empty() && rig.sequencers.iter().all(|s| chain::is_plain(rig, s));
        Ok(Self { rig, tempo, timelines, countings, later, plain, pulses: found })
    }

    /// A rehearsal that is run edge by edge even where two streams of pulses would do.
    pub(super) fn by_edges(self) -> Self {
        Self { plain: false, ..self }
    }

    /// A rehearsal with what the clock sends worked out once for all who hang on it: faster where the tempo changes, and it takes
    /// the memory of as many pulses.
    #[must_use]
    pub fn keeping(mut self) -> Self {
        self.timelines.iter_mut().for_each(|line| line.keep(self.rig.end));
        self
    }

    /// The rig that is rehearsed.
    #[must_use]
    pub fn rig(&self) -> &'r Rig {
        self.rig
    }

    /// How many pulses come to the inputs of all sequencers, if none is lost on the way: how much there is to play.
    #[must_use]
    pub fn pulses(&self) -> u128 {
        self.pulses
    }

    /// The tempo at which it is rehearsed.
    #[must_use]
    pub fn tempo(&self) -> Tempo {
        self.tempo
    }

    /// The rig's outputs at this tempo, in its order.
    #[must_use]
    pub fn timelines(&self) -> &[Timeline] {
        &self.timelines
    }

    /// For each sequencer, how the pulses of its clock are numbered.
    #[must_use]
    pub fn countings(&self) -> &[Counting] {
        &self.countings
    }

    /// What a sequencer is later on, and how the pulses of its clock are numbered then.
    pub fn later_on(&self, sequencer: usize) -> impl Iterator<Item = (&Sequencer, &Counting)> {
        self.later.iter().map(move |later| (&later.rig.sequencers[sequencer], &later.countings[sequencer]))
    }

    /// For each sequencer its sounds in a run, in order of time and then of step, without any being kept: of a rig whose
    /// sequencers hang on the clock by plain delays and sound directly. `None` of any other, which has to be played as a whole.
    #[must_use]
    pub fn sounds(&self, run: Run) -> Option<Vec<impl Iterator<Item = Sound>>> {
        let Self { rig, timelines, countings, .. } = self;
        let direct = self.plain && rig.sequencers.iter().all(|s| s.out.is_empty());
        let both = rig.sequencers.iter().zip(countings);
        direct.then(|| both.map(|(s, c)| Track::sounds(rig, s, timelines, c, run)).collect())
    }

    /// Plays it with the draws of a run, from the start to the end of the patch.
    #[must_use]
    pub fn run(&self, run: Run) -> Performance {
        let mut performance = Performance {
            tempo: self.tempo,
            timelines: self.timelines.clone(),
            countings: self.countings.clone(),
            tracks: Vec::new(),
            passages: Vec::new(),
            rests: true,
        };
        self.again(run, &mut performance);
        performance
    }

    /// Plays a run into a performance that [`Rehearsal::run`] has given, in its memory.
    pub fn again(&self, run: Run, performance: &mut Performance) {
        let Self { rig, timelines, countings, later, .. } = self;
        (performance.tracks, performance.passages, performance.rests) = if self.plain {
            let both = rig.sequencers.iter().zip(countings);
            (both.map(|(s, c)| Track::play(rig, s, timelines, c, run)).collect(), Vec::new(), true)
        } else {
            circuit::run(rig, later, timelines, countings, run)
        };
        way_to_ear::sequencers(rig, later, &mut performance.tracks, run);
    }
}
