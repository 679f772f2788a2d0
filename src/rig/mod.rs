//! The simulation: from a checked rig and a tempo to every play of every sequencer, in whole picoseconds.
//!
//! Pulses flow from an output through the stages of a path to an input, as lazy streams in order of time. A
//! [`Machine`] is one sequencer; it is handed rises of its clock and of its reset one after the other and says what it
//! plays. Nothing is kept but what sounded and where each sequencer's counting stood.

mod book;
mod chain;
mod chance;
mod circuit;
mod counting;
mod edge;
mod player;
mod machine;
mod one;
mod output;
mod pulse;
pub mod stage;
mod track;

pub use chance::{CUT, Chance, Run};
pub use counting::Counting;
pub use edge::Edge;
pub use machine::{Machine, Play};
pub use one::Ones;
pub use output::{Pulses, Timeline};
pub use pulse::{Pulse, Wire};
pub use track::{Settled, Sound, Track};

use crate::patch::Rig;
use crate::time::{LineError, Tempo};

/// Why a rig cannot be played at a tempo.
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
}

/// What a rig does at one tempo.
#[derive(Clone, Debug)]
pub struct Performance {
    /// The tempo.
    pub tempo: Tempo,
    /// The rig's outputs at this tempo, in its order.
    pub timelines: Vec<Timeline>,
    /// A track a sequencer, in the rig's order.
    pub tracks: Vec<Track>,
}

/// Plays a rig at a tempo, from the start to the end of the patch.
///
/// # Errors
/// [`RigError::Time`] if an instant does not fit; a patch that was checked at this tempo never does that.
pub fn play(rig: &Rig, tempo: Tempo) -> Result<Performance, RigError> {
    let timelines = rig
        .outputs
        .iter()
        .map(|o| Timeline::new(o, tempo).map_err(|source| RigError::Time { output: o.name.clone(), source }))
        .collect::<Result<Vec<_>, _>>()?;
    let tracks = rig
        .sequencers
        .iter()
        .map(|s| {
            Track::play(rig, s, &timelines)
                .map_err(|(o, source)| RigError::Time { output: rig.outputs[o].name.clone(), source })
        })
        .collect::<Result<Vec<_>, _>>()?;
    Ok(Performance { tempo, timelines, tracks })
}
