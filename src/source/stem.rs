//! The names that files give to others.

use super::SourceError;
use crate::text::shown;
use std::path::Path;

/// The name of a file without its folder and its ending, after which other files are called.
///
/// # Errors
/// Where it has none, or one that no text can hold: two such could become one name.
pub fn stem(path: &Path) -> Result<String, SourceError> {
    let shown = || shown(&path.display().to_string());
    let Some(stem) = path.file_stem() else {
        return Err(SourceError::refused(format!("`{}` has no file name", shown()), "name a file"));
    };
    let stem = stem.to_string_lossy();
    // What is no Unicode has become this sign, here or before.
    if stem.contains('\u{fffd}') {
        let found = format!("the name of `{}` is not all Unicode, and files are called after it", shown());
        return Err(SourceError::refused(found, "rename it: two such names could become one"));
    }
    Ok(stem.into_owned())
}
