//! Why a file does not say what it should.

use std::fmt::Display;

/// Why a file does not say what it should.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum SourceError {
    /// It is not what was wanted: what was found and, after `help: ` on a line of its own, what to do.
    #[error("{0}")]
    Refused(String),
    /// It cannot be read, in the same form.
    #[error("{0}")]
    File(String),
    /// It has faults, each drawn at its place.
    #[error("{0}")]
    Faulty(String),
}

impl SourceError {
    /// What was found, and what to do.
    pub(super) fn refused(what: impl Display, help: impl Display) -> Self {
        Self::Refused(format!("{what}\nhelp: {help}"))
    }
}
