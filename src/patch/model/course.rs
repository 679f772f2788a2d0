use super::Output;
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

impl Course {
    /// Whether the clock is never started a second time.
    #[must_use]
    pub fn starts_once(&self) -> bool {
        self.switches.len() < 2
    }

    /// The stretches in which the clock runs: from, and up to where it is stopped, if it is.
    pub fn runs(&self) -> impl Iterator<Item = (Beat, Option<Beat>)> {
        let nought = [Beat::from_integer(0)];
        let all: Vec<Beat> = nought.into_iter().chain(self.switches.iter().copied()).collect();
        let runs: Vec<_> = all.chunks(2).map(|run| (run[0], run.get(1).copied())).collect();
        runs.into_iter()
    }
}
