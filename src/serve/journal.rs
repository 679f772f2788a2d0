//! What is not saved, beside the patch: whoever opens it again after a crash finds it there.

use super::file::OnDisk;
use crate::store;
use serde::{Deserialize, Serialize};
use std::ffi::OsString;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};

/// The file beside the patch.
#[derive(Debug)]
pub(super) struct Journal(PathBuf);

/// A text that was not saved, and the text of the file that it was begun from.
#[derive(Debug, PartialEq, Eq, Deserialize, Serialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Unsaved {
    format: u32,
    begun: String,
    text: String,
}

/// Both texts, with what JSON adds to them.
const MOST: u64 = 8 << 20;

impl Journal {
    /// That of a patch: `.NAME.unsaved` in its folder.
    pub(super) fn of(patch: &Path) -> Self {
        let place = fs::canonicalize(patch).unwrap_or_else(|_| patch.to_owned());
        let mut name = OsString::from(".");
        name.push(place.file_name().unwrap_or_default());
        name.push(".unsaved");
        Self(place.with_file_name(name))
    }

    /// What was not saved; `None` where there is nothing, or nothing that this program wrote.
    pub(super) fn read(&self) -> Option<Unsaved> {
        let Ok(store::Contents::Bytes(bytes)) = store::contents(&self.0, MOST) else { return None };
        serde_json::from_slice(&bytes)
            .ok()
            .filter(|unsaved: &Unsaved| unsaved.format == 1 && unsaved.begun != unsaved.text)
    }

    /// Notes what is not saved; where all is, it goes away. Whole or not at all, should the program be ended meanwhile: that is
    /// what it is for. A power cut may take the last of it.
    ///
    /// # Errors
    /// If the folder cannot be written into.
    pub(super) fn note(&self, begun: &OnDisk, text: &str) -> io::Result<()> {
        if begun.text == text {
            return match fs::remove_file(&self.0) {
                Err(error) if error.kind() != io::ErrorKind::NotFound => Err(error),
                _ => Ok(()),
            };
        }
        let unsaved = Unsaved { format: 1, begun: begun.text.clone(), text: text.to_owned() };
        let next = self.0.with_extension("unsaved.new");
        fs::write(&next, serde_json::to_vec(&unsaved)?)?;
        fs::rename(&next, &self.0)
    }

    #[cfg(test)]
    pub(super) fn place(&self) -> &Path {
        &self.0
    }
}

impl Unsaved {
    /// What it was begun from, and what it had become.
    pub(super) fn texts(self) -> (OnDisk, String) {
        (OnDisk::new(self.begun), self.text)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_not_saved_is_found_again_and_what_is_saved_is_not() {
        let folder = tempfile::tempdir().expect("a folder");
        let journal = Journal::of(&folder.path().join("a.toml"));
        assert!(journal.read().is_none());
        let begun = OnDisk::new("one\n".to_owned());
        journal.note(&begun, "two\n").expect("written");
        assert_eq!(journal.read().expect("noted").texts(), (begun.clone(), "two\n".to_owned()));
        journal.note(&begun, "one\n").expect("taken away");
        assert!(journal.read().is_none() && fs::read_dir(folder.path()).expect("a folder").next().is_none());
        fs::write(journal.place(), "no such thing").expect("a file");
        assert!(journal.read().is_none());
    }
}
