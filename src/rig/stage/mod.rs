//! What lies between an output and an input: a file a kind.
//!
//! A stage is a machine with one or more input ports and one or more output channels. It is handed edges in order of
//! time and says which levels its outputs will have, now or later. It never sees the future, and has no clock, chance
//! or wire of its own: what it needs is handed in.

mod air;
mod approach;
pub mod audio_buffer;
mod delay;
mod divide;
pub mod envelope;
mod grid;
mod jitter;
mod logic;
pub mod midi_cable;
mod multiply;
mod out;
pub mod passing;
pub mod poll;
pub mod rc;
mod serial_line;
mod strike;
#[cfg(test)]
mod trial;

pub use air::{Air, speed_of_sound};
pub use delay::Delay;
pub use divide::Divide;
pub use jitter::{Jitter, Sway};
pub use logic::Logic;
pub use multiply::Multiply;
pub use out::{Out, Tally};
pub use strike::Strike;

use super::{Chance, Edge};
use crate::patch::StageKind;
use crate::time::{Instant, Span};

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

    /// How much later than it came the first pulse left, and the last, where that is not the same for all.
    fn held_up(&self) -> Option<HeldUp> {
        None
    }
}

/// By how much a stage whose delay depends on what went before held its pulses up.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct HeldUp {
    /// The rise of the first pulse that left.
    pub first: Span,
    /// The rise of the last one, when all has settled.
    pub last: Span,
}

/// A stage of a path, set up. `device` draws once a run, `events` once an event.
///
/// What only acts on hits passes edges as they are; a checked patch does not put it on a path. A serial line is one device
/// for all who name it, and is set up by the circuit.
pub(super) fn make(kind: &StageKind, device: Chance, events: Chance) -> Box<dyn Stage> {
    match kind {
        StageKind::Delay(delay) => Box::new(Delay::new(delay, device)),
        StageKind::Rc(rc) => Box::new(rc::Rc::new(rc, device)),
        StageKind::Envelope(envelope) => Box::new(envelope::Envelope::new(envelope, device)),
        StageKind::Logic(logic) => Box::new(Logic::new(logic, device)),
        StageKind::Divide(divide) => Box::new(Divide::new(divide)),
        StageKind::Multiply(multiply) => Box::new(Multiply::new(multiply)),
        StageKind::Poll(poll) => Box::new(poll::Poll::new(poll, device)),
        StageKind::Jitter(jitter) => Box::new(Jitter::new(jitter, device, events)),
        StageKind::AudioBuffer(buffer) => Box::new(audio_buffer::AudioBuffer::new(buffer, device)),
        StageKind::MidiCable(_) | StageKind::Air(_) | StageKind::Strike(_) => Box::new(Through),
    }
}

/// Passes edges as they are.
#[derive(Debug)]
struct Through;

impl Stage for Through {
    fn edge(&mut self, _port: usize, edge: Edge, out: &mut Out) {
        out.send(0, edge);
    }
}
