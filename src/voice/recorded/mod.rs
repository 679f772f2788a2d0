//! Drums from files: what a voice sounds like that is not drawn.
//!
//! A file is decoded (`decode`), cleaned (`wave`), its onset is found or taken as given (`onset`), and it is read at
//! [`MASTER_RATE`](crate::dsp::MASTER_RATE) with the onset on a whole sample (`reader`): a [`Stroke`], which a
//! [`Drum`](super::Drum) plays as it plays what a model draws. Whoever hands in the bytes opens the files.

mod decode;
mod error;
mod flaw;
mod onset;
mod reader;
mod stroke;
mod wave;

pub use error::RecordingError;
pub use flaw::Flaw;
pub use onset::Onset;
pub use stroke::{FileFacts, Stroke};

use crate::time::Span;
use std::sync::Arc;

/// The most bytes of a file.
pub const MOST_BYTES: usize = 64 << 20;
/// The longest file, in seconds; how much of it is played is bounded by [`LONGEST`].
pub const LONGEST_FILE_S: u32 = 60;
/// The longest that a drum sounds after its onset.
pub const LONGEST: Span = Span::from_ms(3_000);
/// The lowest and the highest sample rate of a file, in hertz: those that can be rendered.
pub const RATES: [u32; 2] = [8_000, 384_000];
/// How file names end that are read.
pub const ENDINGS: [&str; 6] = ["wav", "wave", "aif", "aiff", "aifc", "flac"];

/// How a file is to be cut.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Cut {
    /// The instant of the hit from the file's start on; `None` where it is to be found.
    pub onset: Option<Span>,
    /// How long it sounds after that; `None` for all that there is.
    pub trim: Option<Span>,
}

/// A voice of files, one a stroke.
#[derive(Clone, Debug, PartialEq)]
pub struct Recorded {
    /// The loudest stroke first, and each softer one after it.
    pub files: Vec<StrokeFile>,
    /// How all of them are cut.
    pub cut: Cut,
    /// What was read, in the same order; none until somebody hands it in. Copies share them.
    pub strokes: Arc<[Arc<Stroke>]>,
}

/// Which file is played how hard.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StrokeFile {
    /// Where it lies, as written: relative to the patch file.
    pub file: String,
    /// The highest velocity that it is played at.
    pub up_to: u8,
}

impl Recorded {
    /// Which of the files is played at a velocity.
    #[must_use]
    pub fn stroke(&self, velocity: u8) -> usize {
        self.files.iter().rposition(|file| velocity <= file.up_to).unwrap_or(0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_velocity_is_played_by_the_softest_file_that_reaches_it() {
        let file = |name: &str, up_to| StrokeFile { file: name.to_owned(), up_to };
        let files = vec![file("hard", 127), file("middle", 100), file("soft", 40)];
        let voice = Recorded { files, cut: Cut::default(), strokes: Arc::default() };
        // By hand: up to 40 the soft one, up to 100 the middle one, above it the hard one.
        let played: Vec<usize> = [1, 40, 41, 100, 101, 127].map(|v| voice.stroke(v)).into();
        assert_eq!(played, [2, 2, 1, 1, 0, 0]);
    }
}
