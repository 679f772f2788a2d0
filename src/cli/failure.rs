use crate::export::ExportError;
use crate::source::SourceError;
use crate::store::StoreError;
use crate::voice::VoiceError;
use std::io;

/// How a command ends that did what it was asked.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Outcome {
    /// Done, or all that was checked passes: exit status 0.
    Done,
    /// `check` found that something fails: exit status 1.
    Fails,
}

/// How a command ends that could not; the text is ready for people.
#[derive(Debug, thiserror::Error)]
pub enum Failure {
    /// Bad usage, bad input, a bound: exit status 2.
    #[error("{0}")]
    Input(String),
    /// A file could not be read or written, or a foreign one is in the way: exit status 3.
    #[error("{0}")]
    File(String),
    /// Finished bytes could not be written; whoever knows the file's name says more: exit status 3.
    #[error("error: the sound could not be written: {0}")]
    Sink(io::Error),
    /// Interrupted from the keyboard: exit status 130.
    #[error("interrupted; no half-written file is left under a final name")]
    Interrupted,
    /// Whoever read our output went away: exit status 0, without a word.
    #[error("")]
    ClosedPipe,
}

impl Failure {
    /// A fault of usage or input: what was found, and what to do.
    #[must_use]
    pub fn input(what: impl std::fmt::Display, help: impl std::fmt::Display) -> Self {
        Self::Input(format!("error: {what}\nhelp: {help}"))
    }

    /// The exit status.
    #[must_use]
    pub fn status(&self) -> u8 {
        match self {
            Self::Input(_) => 2,
            Self::File(_) | Self::Sink(_) => 3,
            Self::Interrupted => 130,
            Self::ClosedPipe => 0,
        }
    }
}

impl From<ExportError> for Failure {
    fn from(error: ExportError) -> Self {
        match error {
            ExportError::Refused(told) => Self::Input(format!("error: {told}")),
            ExportError::Sink(cause) => Self::Sink(cause),
            ExportError::Interrupted(_) => Self::Interrupted,
            ExportError::Store(error) => error.into(),
            ExportError::Source(error) => error.into(),
        }
    }
}

impl From<SourceError> for Failure {
    fn from(error: SourceError) -> Self {
        match error {
            SourceError::Refused(told) => Self::Input(format!("error: {told}")),
            SourceError::File(told) => Self::File(format!("error: {told}")),
            SourceError::Faulty(told) => Self::Input(told),
        }
    }
}

impl From<StoreError> for Failure {
    fn from(error: StoreError) -> Self {
        match error {
            // A patch or a folder whose name cannot be part of a file's name is bad input, not a bad disk.
            StoreError::Name { .. } => Self::Input(format!("error: {error}")),
            other => Self::File(format!("error: {other}")),
        }
    }
}

impl From<VoiceError> for Failure {
    fn from(error: VoiceError) -> Self {
        Self::Input(format!("error: {error}"))
    }
}

impl From<io::Error> for Failure {
    /// For the standard streams only: files have their own errors, with their paths.
    fn from(error: io::Error) -> Self {
        match error.kind() {
            io::ErrorKind::BrokenPipe => Self::ClosedPipe,
            _ => Self::File(format!("error: the output could not be written: {error}")),
        }
    }
}
