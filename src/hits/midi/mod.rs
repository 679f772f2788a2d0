//! Standard MIDI Files: what a take may be, and what a hit list may be written as. `midly` knows the format.

mod read;
mod write;

pub use read::read_midi;
pub use write::{MidiError, TICKS_PER_BEAT, half_tick, may_mean, midi_tempo, tempo_meant, write_midi};

#[cfg(test)]
mod tests;
