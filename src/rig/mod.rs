//! The simulation: from a checked rig and a tempo to every play of every sequencer, in whole picoseconds.
//!
//! Pulses flow from an output through the stages of a path to an input: where all stages are plain delays as two lazy
//! streams a sequencer, else edge by edge through a circuit of nodes. A [`Machine`] is one sequencer; it is handed the edges
//! of its clock and of its reset one after the other and says what it plays. Nothing is kept but what sounded and where each
//! sequencer's counting stood.

mod chain;
mod chance;
mod circuit;
mod counting;
mod cycle;
mod edge;
mod era;
mod inputs;
mod jittered;
mod lane;
mod machine;
mod margin;
mod one;
mod output;
mod player;
mod pulse;
mod recorder;
mod rehearsal;
mod repeat;
mod resets;
mod schedule;
pub mod stage;
mod track;
mod way_to_ear;

pub use chance::{CUT, Chance, Run};
pub use circuit::{Passage, Point, Probed};
pub use counting::Counting;
pub use edge::Edge;
use era::Later;
pub use inputs::InputPulses;
pub use machine::{Machine, Play};
pub use margin::{Margin, Moved, Reach, Sides, latest_look, margins};
pub use one::Ones;
pub use output::{Pulses, Timeline};
pub use pulse::{Pulse, Wire};
pub use rehearsal::{Rehearsal, pulses};
pub use repeat::Repeat;
pub use resets::Resets;
pub use track::{Move, Settled, Sound, Track};

use crate::patch::Rig;
use crate::time::{LineError, Tempo};

/// The reasons for which a rig cannot be played at a tempo.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
pub enum RigError {
    /// An instant that an `i64` of picoseconds does not hold; a checked patch does not come here.
    #[error("output `{output}`: {source}")]
    Time {
        /// The output's name.
        output: String,
        /// What was wrong.
        source: LineError,
    },
    /// A loop that keeps itself going for ever.
    #[error("something in this patch never comes to rest at {tempo}: a loop keeps itself going for ever")]
    Restless {
        /// The tempo at which it was to be played.
        tempo: Tempo,
    },
    /// More pulses than are worked out at once.
    #[error("the sequencers would get {found} pulses at {tempo}, and at most {MOST_PULSES} are worked out at once")]
    TooMany {
        /// How many there would be.
        found: u128,
        /// The tempo at which it was to be played.
        tempo: Tempo,
    },
}

impl RigError {
    /// What to do, for after `help: `.
    #[must_use]
    pub const fn help(&self) -> &'static str {
        match self {
            Self::Restless { .. } => {
                "take a stage or a path out of the loop, or let something else than the loop end it"
            }
            Self::Time { .. } | Self::TooMany { .. } => "fewer bars, or a faster tempo",
        }
    }
}

/// The most pulses that the inputs of all sequencers together may get: a day at 24 a quarter note and 120 for eight
/// sequencers is 33 million. Beyond, memory would run out before patience.
pub const MOST_PULSES: u128 = 50_000_000;

/// What a rig does at one tempo.
#[derive(Clone, Debug)]
pub struct Performance {
    /// The tempo at which it was to be played.
    pub tempo: Tempo,
    /// The rig's outputs at this tempo, in its order; then, where the clock is started again, its starts.
    pub timelines: Vec<Timeline>,
    /// For each sequencer, how the pulses of its clock are numbered.
    pub countings: Vec<Counting>,
    /// A track a sequencer, in the rig's order.
    pub tracks: Vec<Track>,
    /// What happened to the pulses on the way, for each channel of each stage that a path passes.
    pub passages: Vec<Passage>,
    /// Whether all came to rest: a loop that keeps itself going for ever is cut off.
    pub rests: bool,
}

/// Plays a rig at a tempo, from the start to the end of the patch, without chance.
///
/// # Errors
/// [`RigError::Time`] if an instant does not fit; a patch that was checked at this tempo never does that.
/// [`RigError::TooMany`] if there is more to do than memory holds, [`RigError::Restless`] if a loop keeps itself going.
pub fn play(rig: &Rig, tempo: Tempo) -> Result<Performance, RigError> {
    play_run(rig, tempo, Run::Typical)
}

/// Plays a rig at a tempo with the draws of a run.
///
/// # Errors
/// As [`play`].
pub fn play_run(rig: &Rig, tempo: Tempo, run: Run) -> Result<Performance, RigError> {
    let performance = Rehearsal::new(rig, tempo)?.run(run);
    if performance.rests { Ok(performance) } else { Err(RigError::Restless { tempo }) }
}

/// Plays a rig edge by edge even where two streams of pulses would do: the twin against which they are held.
///
/// # Errors
/// As [`play`].
pub fn play_by_edges(rig: &Rig, tempo: Tempo) -> Result<Performance, RigError> {
    Ok(Rehearsal::new(rig, tempo)?.by_edges().run(Run::Typical))
}

/// What comes to the inputs of each sequencer in the typical run: for its margins.
#[must_use]
pub fn listen(rig: &Rig, performance: &Performance) -> Vec<InputPulses> {
    circuit::listen(rig, &Later::of(rig, performance.tempo), &performance.timelines, &performance.countings)
}

/// For each sequencer what leaves every point on the way to its clock input in a run, from the output on: on the way as it is
/// plugged at the start of the piece.
#[must_use]
pub fn trace(rig: &Rig, performance: &Performance, run: Run) -> Vec<Vec<Probed>> {
    let later = Later::of(rig, performance.tempo);
    circuit::trace(rig, &later, &performance.timelines, &performance.countings, run)
}

/// What leaves every output, stage, shared point and sequencer in the typical run: for pictures.
#[must_use]
pub fn probe(rig: &Rig, performance: &Performance) -> Vec<Probed> {
    let later = Later::of(rig, performance.tempo);
    circuit::probe(rig, &later, &performance.timelines, &performance.countings, Run::Typical)
}
