//! Pages: one file that opens by a double click, on a phone or a laptop, and asks the network for nothing.
//!
//! A page holds no recordings. It holds the kit's masters, as 16-bit numbers, and the hits of every version with all their
//! picoseconds, and mixes them as the renderer does: so it stays small, loops without a seam at any length, and every
//! version is at hand at once. A test holds what a browser mixes against what the renderer writes.

mod frame;
mod listen;
mod sounds;
mod train;

pub use frame::escape;
pub use listen::{Cell, ListeningPage, PageTempo, PageVariant, Pair, listening_page};
pub use sounds::PageVoice;
pub use train::{TrainingPage, training_page};
