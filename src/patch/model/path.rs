/// The way that pulses take to an input: where they begin, then stages in order.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct Path {
    /// Where the pulses come from.
    pub source: Source,
    /// Indices into [`Rig::stages`](super::Rig::stages).
    pub stages: Vec<usize>,
}

/// Where a path begins.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Source {
    /// An output of the clock: an index into [`Rig::outputs`](super::Rig::outputs).
    Output(usize),
    /// Another sequencer.
    Sequencer {
        /// Index into [`Rig::sequencers`](super::Rig::sequencers).
        index: usize,
        /// Which of its outputs.
        tap: Tap,
    },
    /// A physical point that several paths share: an index into [`Rig::wires`](super::Rig::wires).
    Wire(usize),
}

/// An output of a sequencer.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Tap {
    /// A pulse whenever step 1 is played.
    Step1,
    /// A pulse whenever the last step is played.
    End,
    /// A pulse at every hit.
    Hits,
    /// What its clock input gets.
    Thru,
}

/// One physical point: all who begin there share every random draw on the way to it.
#[derive(Clone, Debug, PartialEq)]
pub struct Wire {
    /// Its name in the patch.
    pub name: String,
    /// The way to it.
    pub path: Path,
}
