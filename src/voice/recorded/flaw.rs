//! What is not as it should be in a file that can be played all the same.

use crate::text::{counted, rounded};
use std::fmt;

/// What is told of a file, and what to do.
#[derive(Clone, Debug, PartialEq)]
pub enum Flaw {
    /// So many samples stand at the end of the scale.
    Clipped(usize),
    /// It stands off zero by this part of its largest sample; that was taken out.
    Offset(f64),
    /// Mixed to one, its channels lose so many decibels against their mean.
    Cancels(f64),
    /// Its onset is uncertain by so many milliseconds.
    Blurred(f64),
}

impl fmt::Display for Flaw {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Clipped(count) => {
                write!(f, "it is clipped: {} at the end of the scale; record it softer", counted(*count, "sample"))
            }
            Self::Offset(part) => {
                write!(
                    f,
                    "it stands off zero by {} % of its largest sample, which is taken out",
                    rounded(part * 100.0, 1)
                )
            }
            Self::Cancels(db) => write!(
                f,
                "its channels cancel by {} dB when they are mixed to one; save one of them as a file of one channel",
                rounded(*db, 1)
            ),
            Self::Blurred(ms) => write!(
                f,
                "it begins so slowly that its onset is uncertain by {} ms; write `onset` in the voice, a time from the file's \
                 start, if you know better",
                rounded(*ms, 2)
            ),
        }
    }
}
