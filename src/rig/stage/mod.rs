//! What lies between an output and an input: a file a kind.
//!
//! A stage is a machine with one or more input ports and one or more output channels. It is handed edges in order of
//! time and says which levels its outputs will have, now or later. It never sees the future, and has no clock, chance
//! or wire of its own: what it needs is handed in.

mod approach;
pub mod audio_buffer;
pub mod envelope;
mod grid;
pub mod midi_cable;
mod out;
pub mod poll;
pub mod rc;
mod serial_line;
#[cfg(test)]
mod trial;

pub use out::{Out, Tally};

use super::Edge;
use crate::time::Instant;

/// A stage at work.
pub trait Stage: std::fmt::Debug + Send {
    /// An edge comes to an input port. Edges of one instant come in the order of the ports.
    fn edge(&mut self, port: usize, edge: Edge, out: &mut Out);

    /// A moment has come that the stage asked for by [`Out::wake`]. Edges of the same instant have been handed in before.
    fn wake(&mut self, _at: Instant, _out: &mut Out) {}

    /// The level of each output channel before the clock starts, with all settled. `inputs` are the levels of the ports.
    fn settled(&mut self, inputs: &[bool]) -> Vec<bool> {
        inputs.to_vec()
    }

    /// Whether no edge ever leaves at the instant at which its cause came: such a stage may close a loop.
    fn is_late(&self) -> bool {
        false
    }
}
