use crate::time::{Instant, Span};
use std::io;

/// Why a render was refused or could not be finished.
#[derive(Debug, thiserror::Error)]
pub enum RenderError {
    /// The sample rate is out of bounds.
    #[error(
        "a sample rate of {found} Hz cannot be rendered\nhelp: it must lie within {least} and {most} Hz, such as 48000"
    )]
    SampleRate {
        /// What was asked for.
        found: u32,
        /// The lowest rate.
        least: u32,
        /// The highest rate.
        most: u32,
    },
    /// The file would not fit the sizes that a WAV header can hold; met before a byte is written.
    #[error(
        "the file would have {bytes} bytes, and a WAV file holds at most {bound}\n\
         help: render fewer bars, a lower sample rate or fewer bits"
    )]
    TooLarge {
        /// Size of the whole file in bytes.
        bytes: u128,
        /// The largest file in bytes.
        bound: u128,
    },
    /// A hit falls before the first sample of the file.
    #[error("a hit at {at} s falls before the file begins, which is {} ms before the clock starts\n\
             help: make the lead-in longer", lead_in.ms())]
    BeforeStart {
        /// The hit's time from the clock's start.
        at: Instant,
        /// The lead-in of the file.
        lead_in: Span,
    },
    /// A cue names a voice that the bank does not have; a fault of the calling code.
    #[error("a cue names voice {found}, and the bank has {count}")]
    NoVoice {
        /// The number in the cue.
        found: u32,
        /// How many voices there are.
        count: usize,
    },
    /// A cue's gain is no finite number; a fault of the calling code.
    #[error("the hit at {at} s has a gain that is no number")]
    Gain {
        /// The hit's time from the clock's start.
        at: Instant,
    },
    /// A cue comes after a later one; a fault of the calling code.
    #[error("the hit at {at} s comes after a later one")]
    Order {
        /// The hit's time from the clock's start.
        at: Instant,
    },
    /// The caller asked to stop.
    #[error("the render was stopped")]
    Cancelled,
    /// The finished bytes could not be written.
    #[error("the sound could not be written")]
    Sink(#[source] io::Error),
    /// The loudness meter refused.
    #[error("the loudness could not be measured")]
    Loudness(#[source] ebur128::Error),
}
