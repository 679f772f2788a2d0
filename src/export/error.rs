//! Why files could not be made.

use crate::judge::JudgedError;
use crate::rig::RigError;
use crate::show::workload::TooMuch;
use crate::sound::render::RenderError;
use crate::source::SourceError;
use crate::store::StoreError;
use crate::store::interrupt::Interrupted;
use crate::voice::VoiceError;
use std::fmt::Display;
use std::io;

/// Why files could not be made.
#[derive(Debug, thiserror::Error)]
pub enum ExportError {
    /// What was asked for cannot be: what was found and, after `help: ` on a line of its own, what to do.
    #[error("{0}")]
    Refused(String),
    /// What is read for it.
    #[error(transparent)]
    Source(#[from] SourceError),
    /// The folder or a file in it.
    #[error(transparent)]
    Store(StoreError),
    /// Finished bytes could not be written; whoever knows the file's name says more.
    #[error("the sound could not be written: {0}")]
    Sink(io::Error),
    /// The program was asked to end.
    #[error(transparent)]
    Interrupted(#[from] Interrupted),
}

impl ExportError {
    /// What was found, and what to do.
    pub(super) fn refused(what: impl Display, help: impl Display) -> Self {
        Self::Refused(format!("{what}\nhelp: {help}"))
    }
}

impl From<RenderError> for ExportError {
    fn from(error: RenderError) -> Self {
        match error {
            RenderError::Cancelled => Self::Interrupted(Interrupted),
            RenderError::Sink(cause) => Self::Sink(cause),
            other => Self::Refused(other.to_string()),
        }
    }
}

impl From<StoreError> for ExportError {
    fn from(error: StoreError) -> Self {
        Self::Store(error)
    }
}

impl From<VoiceError> for ExportError {
    fn from(error: VoiceError) -> Self {
        Self::Refused(error.to_string())
    }
}

impl From<RigError> for ExportError {
    fn from(error: RigError) -> Self {
        Self::refused(&error, error.help())
    }
}

impl From<JudgedError> for ExportError {
    fn from(error: JudgedError) -> Self {
        Self::refused(&error, error.help())
    }
}

impl From<TooMuch> for ExportError {
    fn from(error: TooMuch) -> Self {
        Self::refused(&error, error.help())
    }
}
