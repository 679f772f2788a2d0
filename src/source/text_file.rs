//! Files of text.

use super::{SourceError, wrong_file};
use crate::store::{Contents, contents};
use crate::text::plain;
use std::path::Path;

/// The largest text file, in bytes.
const LARGEST: u64 = 1 << 20;

/// Reads a file of text; `what` is what it should be.
///
/// # Errors
/// If it cannot be read, is too large, or is no text.
pub fn read_text(file: &Path, what: &str) -> Result<String, SourceError> {
    let shown = plain(&file.display().to_string());
    let thing = what.split(' ').nth(1).unwrap_or(what);
    let cannot = |e: std::io::Error| {
        let meant = || wrong_file::meant(file).map(|path| plain(&path.display().to_string()));
        let meant = (e.kind() == std::io::ErrorKind::NotFound).then(meant).flatten();
        let help = match e.kind() {
            std::io::ErrorKind::NotFound if meant.is_some() => format!("write {}", meant.unwrap_or_default()),
            std::io::ErrorKind::IsADirectory if what == "a patch" => wrong_file::in_folder(file),
            std::io::ErrorKind::NotFound if what.ends_with(" file") => "look at the spelling of its name".to_owned(),
            std::io::ErrorKind::NotFound => "look at the spelling; hitgap new --help lists the examples".to_owned(),
            std::io::ErrorKind::InvalidInput => {
                "write what comes out of it into a file first, and name that".to_owned()
            }
            std::io::ErrorKind::PermissionDenied => {
                "this user may not read it: change its permissions, or copy it".to_owned()
            }
            _ => format!("{what} is a text file that can be read from start to end"),
        };
        SourceError::File(format!("`{shown}` could not be read: {e}\nhelp: {help}"))
    };
    // A file of another kind is told as what it is.
    let told = |bytes: &[u8]| match what {
        "a patch" => wrong_file::other(file, &shown, bytes),
        "a page's file" => wrong_file::not_saved(&shown, bytes),
        _ => None,
    };
    let bytes = match contents(file, LARGEST).map_err(cannot)? {
        Contents::Bytes(bytes) => bytes,
        Contents::TooLarge(length) => {
            // Sounds are larger, and what they are stands at their beginning.
            if what == "a page's file"
                && let Some(told) = told(&wrong_file::head(file))
            {
                return Err(told);
            }
            let length = length.map_or_else(|| format!("more than {LARGEST}"), |length| length.to_string());
            let file = if what.ends_with(" file") { what.to_owned() } else { format!("{what} file") };
            let found = format!("`{shown}` has {length} bytes; {file} may hold at most {LARGEST} (1 MiB)");
            return Err(SourceError::refused(found, format!("{what} is a page of text: is this the right file?")));
        }
    };
    if let Some(told) = told(&bytes) {
        return Err(told);
    }
    String::from_utf8(bytes).map_err(|e| {
        let found = format!("`{shown}` is not UTF-8 text: byte {} cannot be read", e.utf8_error().valid_up_to());
        SourceError::refused(found, format!("save the {thing} as UTF-8, or check that this is the right file"))
    })
}
