use crate::patch::shown;

/// A fault of a file of hits: where it is, what was found, what was expected.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{place}found {found}, expected {expected}")]
pub struct ReadError {
    /// Where in the file; empty for the whole of it.
    pub place: FilePlace,
    /// What stands there.
    pub found: String,
    /// What should stand there.
    pub expected: String,
    /// What the user can do about it, for after `help: `.
    pub help: String,
}

/// A place in a file of hits.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum FilePlace {
    /// The file as such.
    Whole,
    /// A line of a text, from 1.
    Line(u64),
    /// A cell: the line and the column, from 1, and the column's heading.
    Cell {
        /// The line in which the row begins.
        line: u64,
        /// The column's number.
        column: usize,
        /// What stands over the column.
        heading: &'static str,
    },
    /// A byte of a file that is no text, from 0, and the number of its track, from 1, where it is in one.
    Byte {
        /// How many bytes come before it.
        at: usize,
        /// The track, from 1, where the file has several.
        track: Option<usize>,
    },
}

impl std::fmt::Display for FilePlace {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Whole => Ok(()),
            Self::Line(line) => write!(f, "line {line}: "),
            Self::Cell { line, column, heading } => write!(f, "line {line}, column {column} (`{heading}`): "),
            Self::Byte { at, track: Some(track) } => write!(f, "track {track}, byte {at}: "),
            Self::Byte { at, track: None } => write!(f, "byte {at}: "),
        }
    }
}

impl ReadError {
    pub(super) fn new(
        place: FilePlace,
        found: impl Into<String>,
        expected: impl Into<String>,
        help: impl Into<String>,
    ) -> Self {
        Self { place, found: found.into(), expected: expected.into(), help: help.into() }
    }
}

/// A text as it was found, in backticks, fit for a terminal.
pub(super) fn quoted(text: &str) -> String {
    if text.is_empty() { "nothing".to_owned() } else { format!("`{}`", shown(text)) }
}
