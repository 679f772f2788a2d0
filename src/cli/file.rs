//! Single files that are named by their user, outside of any folder of renders.

use super::{Failure, interrupt};
use crate::store::{WriteError, write_whole};
use crate::text::shown;
use std::path::Path;

/// Writes a file that appears under its name only when it is whole.
///
/// # Errors
/// Exit status 3: where it cannot be written, or something has its name and may not be overwritten.
pub(super) fn write(path: &Path, bytes: &[u8], overwrite: bool) -> Result<(), Failure> {
    let _at_work = interrupt::at_work();
    Ok(write_whole(path, bytes, overwrite)?)
}

impl From<WriteError> for Failure {
    fn from(error: WriteError) -> Self {
        Self::File(format!("error: {error}\nhelp: {}", error.help()))
    }
}

/// The name of a file without its folder and its ending, after which other files are called.
///
/// # Errors
/// Exit status 2 where it has none, or one that no text can hold: two such could become one name.
pub(super) fn stem(path: &Path) -> Result<String, Failure> {
    let shown = || shown(&path.display().to_string());
    let Some(stem) = path.file_stem() else {
        return Err(Failure::input(format!("`{}` has no file name", shown()), "name a file"));
    };
    let stem = stem.to_string_lossy();
    // What is no Unicode has become this sign, here or before.
    if stem.contains('\u{fffd}') {
        let found = format!("the name of `{}` is not all Unicode, and files are called after it", shown());
        return Err(Failure::input(found, "rename it: two such names could become one"));
    }
    Ok(stem.into_owned())
}
