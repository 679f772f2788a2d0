//! The songs of an evening, from a CSV file.

use super::Failure;
use super::load::read_text;
use crate::judge::advise::Song;
use crate::patch::shown;
use std::path::Path;

/// Reads a list of songs.
///
/// # Errors
/// Exit status 3 if the file cannot be read, 2 if it is not such a list.
pub(super) fn songs(file: &Path) -> Result<Vec<Song>, Failure> {
    let text = read_text(file, "a list of songs")?;
    let name = shown(&file.display().to_string());
    crate::judge::advise::songs(&text).map_err(|e| Failure::input(format!("`{name}`: {e}"), e.help()))
}
