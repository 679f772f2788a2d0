//! The render: from hits and the sounds of voices to the bytes of a WAV file.
//!
//! A hit lies where its time says, between samples ([`Program`]); the mix is never kept, only a few blocks of it; and
//! the bytes are the same on any number of threads, in any order, on any machine.

mod bank;
mod bound;
mod cue;
mod cues;
mod dither;
mod encode;
mod error;
mod kernel;
mod loudness;
mod lowpass;
mod mix;
mod notes;
mod peak;
mod program;
mod sink;
pub mod wav;
mod write;

pub use crate::dsp::{MASTER_RATE, Master};
pub use bank::Bank;
pub use cue::Cue;
pub use cues::Cues;
pub use error::RenderError;
pub use kernel::{HIGHEST_RATE, LOWEST_RATE};
pub use loudness::Loudness;
pub use lowpass::for_rate;
pub use notes::{Info, MOST_MARKS, Mark};
pub use peak::{CEILING_DBTP, IN_HAND_DB, Levels};
pub use program::{LEAD_IN, Program, Watch};
pub use sink::{Memory, Sink};
pub use wav::{Channels, Format, Spec};
pub use write::{Gain, Written};
