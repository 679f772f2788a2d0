//! The songs of an evening, from a CSV file.

use super::{SourceError, read_text};
use crate::judge::advise::Song;
use crate::patch::shown;
use std::path::Path;

/// Reads a list of songs.
///
/// # Errors
/// If the file cannot be read, or is not such a list.
pub fn songs(file: &Path) -> Result<Vec<Song>, SourceError> {
    let text = read_text(file, "a list of songs")?;
    let name = shown(&file.display().to_string());
    crate::judge::advise::songs(&text).map_err(|e| SourceError::refused(format!("`{name}`: {e}"), e.help()))
}
