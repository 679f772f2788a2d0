//! Single files that are named by their user, outside of any folder of renders.

use super::Failure;
use crate::store::interrupt;
use crate::store::{WriteError, write_whole};
use std::path::Path;

pub(super) use crate::source::stem;

/// Writes a file that appears under its name only when it is whole.
///
/// # Errors
/// Exit status 3: where it cannot be written, or something has its name and may not be overwritten.
pub(super) fn write(path: &Path, bytes: &[u8], overwrite: bool) -> Result<(), Failure> {
    let _at_work = interrupt::at_work();
    Ok(write_whole(path, bytes, overwrite)?)
}

/// Whether a file may be written once what it holds is known: nothing has its name.
///
/// # Errors
/// Exit status 3, as [`write`] says it in the end.
pub(super) fn free(path: &Path) -> Result<(), Failure> {
    match path.symlink_metadata() {
        Ok(_) => Err(WriteError::There(path.to_owned()).into()),
        Err(_) => Ok(()),
    }
}

impl From<WriteError> for Failure {
    fn from(error: WriteError) -> Self {
        Self::File(format!("error: {error}\nhelp: {}", error.help()))
    }
}
