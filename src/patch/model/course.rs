use super::{Output, Path, Rig, Sequencer, Source, Stage, StageKind, Wire};
use crate::time::{Beat, Span, TempoStep};

/// What changes in the course of a piece; nothing by default.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Course {
    /// Where the tempo changes, in order and without overlap.
    pub tempo_map: Vec<TempoStep>,
    /// What is turned on the clock, in order of time; those of one beat in the order of the file.
    pub turns: Vec<KnobTurn>,
    /// Where the clock is stopped, started again, stopped … in order: it runs at the start.
    pub switches: Vec<Beat>,
    /// Those of the switches at which it does not begin again but goes on from where it stood.
    pub continues: Vec<Beat>,
    /// What boxes, stages and wires are from some beat on, in order of time; only where anything differs.
    pub eras: Vec<Era>,
    /// For each stage, into how many parts a multiplier takes a pulse apart in the whole piece: pulses keep one way of
    /// being numbered while it makes now more, now fewer of each. Empty where none is changed: then it is what it makes.
    pub parts: Vec<u32>,
}

/// A rig between two changes of its boxes, stages and wires.
#[derive(Clone, Debug, PartialEq)]
pub struct Era {
    /// From this beat on.
    pub from: Beat,
    /// The stages, each of the kind that it always was.
    pub stages: Vec<Stage>,
    /// The shared points.
    pub wires: Vec<Wire>,
    /// The sequencers. Each has its clock from the output from which it always had it, counted in the same parts.
    pub sequencers: Vec<Sequencer>,
    /// For each of [`Rig::voices`], which of them is heard in its place.
    pub voices: Vec<usize>,
}

/// A player turns a knob of a clock output.
#[derive(Clone, Debug, PartialEq)]
pub struct KnobTurn {
    /// When, in beats.
    pub after: Beat,
    /// Index into [`Rig::outputs`](super::Rig::outputs).
    pub output: usize,
    /// The output from then on. It has a rate, before and after.
    pub to: Output,
    /// How pulses of a new rate are counted.
    pub reading: RateChange,
    /// The output at each position that the knob passes on its way to another rate.
    pub passes: Vec<Output>,
    /// How long it stays at each of these.
    pub dwell: Span,
}

/// Where the pulses of a rate come that is set in the middle of a piece.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum RateChange {
    /// On multiples of the new period from the clock's start.
    #[default]
    OnGrid,
    /// The count begins anew where the knob was turned: with a pulse there and then.
    FromChange,
}

impl Era {
    /// The rig as it is in this era: outputs, takes and voices are those of the whole piece, and nothing changes in it.
    #[must_use]
    pub fn rig(&self, whole: &Rig) -> Rig {
        Rig {
            stages: self.stages.clone(),
            wires: self.wires.clone(),
            sequencers: self.sequencers.clone(),
            course: Course { parts: whole.course.parts.clone(), ..Course::default() },
            ..whole.clone()
        }
    }
}

impl Rig {
    /// The rig of the start, and what it is in each era, in order of time. What is asked of one stretch is asked of each.
    #[must_use]
    pub fn in_turn(&self) -> Vec<Self> {
        let later = self.course.eras.iter().map(|era| era.rig(self));
        let course = Course { eras: Vec::new(), ..self.course.clone() };
        std::iter::once(Self { course, ..self.clone() }).chain(later).collect()
    }

    /// What a sequencer is from the start on, and in each era.
    pub fn ever(&self, sequencer: usize) -> impl Iterator<Item = &Sequencer> {
        let later = self.course.eras.iter().map(move |era| &era.sequencers[sequencer]);
        std::iter::once(&self.sequencers[sequencer]).chain(later)
    }

    /// Into how many parts a multiplier takes each pulse apart.
    #[must_use]
    pub fn parts(&self, stage: usize) -> u32 {
        match (&self.stages[stage].kind, self.course.parts.get(stage)) {
            (_, Some(parts)) => *parts,
            (StageKind::Multiply(multiply), None) => multiply.by,
            _ => 1,
        }
    }

    /// Whether anything that a sequencer's plays depend on is changed in the course of the piece: the sequencer itself, or
    /// what lies on the ways to its inputs.
    #[must_use]
    pub fn is_refitted(&self, sequencer: usize) -> bool {
        let eras: Vec<Rig> = self.course.eras.iter().map(|era| era.rig(self)).collect();
        let mut before = self;
        eras.iter().any(|era| {
            let differs = differs(before, era, sequencer);
            before = era;
            differs
        })
    }
}

/// Whether a sequencer, or what it hangs on, differs between two rigs; what only comes after a play does not count.
pub(crate) fn differs(one: &Rig, other: &Rig, sequencer: usize) -> bool {
    let mut sequencers = vec![false; one.sequencers.len()];
    let mut wires = vec![false; one.wires.len()];
    let mut stages = vec![false; one.stages.len()];
    let mut open = vec![sequencer];
    let mut paths: Vec<&Path> = Vec::new();
    while let Some(n) = open.pop() {
        if std::mem::replace(&mut sequencers[n], true) {
            continue;
        }
        let here = &one.sequencers[n];
        // What only comes after a play changes none.
        let (voice, latency, offset, out) = (here.voice, here.latency, here.offset, here.out.clone());
        if *here != (Sequencer { voice, latency, offset, out, ..other.sequencers[n].clone() }) {
            return true;
        }
        paths.push(&here.clock);
        paths.extend(here.reset.as_ref().map(|reset| &reset.path));
        if here.poll.is_some_and(|poll| one.stages[poll] != other.stages[poll]) {
            return true;
        }
        while let Some(path) = paths.pop() {
            match path.source {
                Source::Output(_) => {}
                Source::Sequencer { index, .. } => open.push(index),
                Source::Wire(wire) => {
                    if !std::mem::replace(&mut wires[wire], true) {
                        if one.wires[wire] != other.wires[wire] {
                            return true;
                        }
                        paths.push(&one.wires[wire].path);
                    }
                }
            }
            for &stage in &path.stages {
                if std::mem::replace(&mut stages[stage], true) {
                    continue;
                }
                if one.stages[stage] != other.stages[stage] {
                    return true;
                }
                paths.extend(one.stages[stage].kind.second().map(|(_, path)| path));
            }
        }
    }
    false
}

impl Course {
    /// Whether nothing is turned, plugged or switched; the tempo may change.
    #[must_use]
    pub fn is_steady(&self) -> bool {
        self.turns.is_empty() && self.switches.is_empty() && self.eras.is_empty()
    }

    /// Whether the clock is never started a second time.
    #[must_use]
    pub fn starts_once(&self) -> bool {
        self.runs().skip(1).all(|(from, _)| self.continues.contains(&from))
    }

    /// The stretches in which the clock runs: from, and up to where it is stopped, if it is.
    pub fn runs(&self) -> impl Iterator<Item = (Beat, Option<Beat>)> {
        let nought = [Beat::from_integer(0)];
        let all: Vec<Beat> = nought.into_iter().chain(self.switches.iter().copied()).collect();
        let runs: Vec<_> = all.chunks(2).map(|run| (run[0], run.get(1).copied())).collect();
        runs.into_iter()
    }
}
