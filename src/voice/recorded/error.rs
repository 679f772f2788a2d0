//! What can be wrong with the file of a drum.

use super::{ENDINGS, LONGEST, LONGEST_FILE_S, RATES};
use crate::text::{counted, rounded};

/// A file that is no drum. What was found; [`RecordingError::help`] says what to do.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum RecordingError {
    /// It begins like no format that is read.
    #[error("it is {0}, expected WAV, AIFF or FLAC")]
    Kind(&'static str),
    /// A format that is read, in a form that is not.
    #[error("it is a {format} file that cannot be read: {told}")]
    Form {
        /// WAV, AIFF or FLAC.
        format: &'static str,
        /// What its reader says.
        told: String,
    },
    /// It has more channels than two, or none.
    #[error("it has {}, expected 1 or 2", counted(*.0, "channel"))]
    Channels(usize),
    /// Its samples follow too fast or too slowly.
    #[error("it has {found} samples a second, expected {} to {}", RATES[0], RATES[1], found = .0)]
    Rate(u32),
    /// Its header promises other than there is.
    #[error(
        "its header promises {promised} samples a channel, and {found} are there: it is cut short, or its header is wrong"
    )]
    Short {
        /// What the header says.
        promised: u64,
        /// What could be read.
        found: u64,
    },
    /// It does not decode to what its own checksum says.
    #[error("its sound is damaged: it is not what the checksum in the file says")]
    Damaged,
    /// It goes on for too long to be a drum.
    #[error("it promises {} s of sound, expected at most {LONGEST_FILE_S} s", rounded(*.0, 1))]
    TooLong(f64),
    /// What of it would be heard lasts too long.
    #[error("it sounds for {} s after its onset, expected at most {} s", rounded(*.0, 2), LONGEST.ms() / 1000.0)]
    Sounds(f64),
    /// It holds no sample, or none that can be heard.
    #[error("it is silent: {0}")]
    Silent(String),
    /// Its two channels are each other's opposite.
    #[error("its two channels cancel each other when they are mixed to one")]
    Cancels,
    /// A sample is infinite or no number.
    #[error("sample {0} of it is no number")]
    NoNumber(u64),
    /// The onset that was given lies where there is no file.
    #[error("its `onset` is {} ms, and it lasts {} ms", rounded(*.onset_ms, 3), rounded(*.lasts_ms, 3))]
    Onset {
        /// What was given.
        onset_ms: f64,
        /// How long the file is.
        lasts_ms: f64,
    },
}

impl RecordingError {
    /// What to do, for after `help: `.
    #[must_use]
    pub fn help(&self) -> String {
        match self {
            Self::Kind(_) => format!("save it as one of these; names end in .{}", ENDINGS.join(", .")),
            Self::Form { .. } => {
                "save it as WAV with 16, 24 or 32 bits a sample, as AIFF without compression, or as FLAC".to_owned()
            }
            Self::Channels(_) => "mix it to one or two channels, or save one channel of it".to_owned(),
            Self::Rate(_) => "save it with a usual rate, such as 48000".to_owned(),
            Self::Short { .. } | Self::Damaged => "copy or save it again".to_owned(),
            Self::TooLong(_) => "is this the right file? cut one hit out of it".to_owned(),
            Self::Sounds(_) => "write trim = \"1 s\" in the voice: how much of it is played after the onset".to_owned(),
            Self::Silent(_) => "is this the right file? save it louder".to_owned(),
            Self::Cancels => "save one of its channels as a file of one channel".to_owned(),
            Self::NoNumber(_) => "save it again, with whole numbers of 24 bits".to_owned(),
            Self::Onset { .. } => "write a time within the file, or leave `onset` out: then it is found".to_owned(),
        }
    }
}
