//! Whose a file is.

use super::error::{Act, StoreError, Why};
use super::manifest::Manifest;
use super::plain_file::{self, Opened};
use super::{checksum, entry::Entry};
use std::fs::{self, Metadata, OpenOptions};
use std::io;
use std::path::PathBuf;
use std::time::SystemTime;

/// The folder, and how it tells names apart.
#[derive(Debug)]
pub(super) struct Folder {
    pub(super) dir: PathBuf,
    /// Whether `A.wav` and `a.wav` are one file here.
    pub(super) ignores_case: bool,
}

/// Whether a name is free, hitgap's own, or taken.
#[derive(Debug, PartialEq)]
pub(super) enum Standing {
    /// There is nothing by that name.
    Absent,
    /// A file that hitgap made and nobody changed since.
    Own(Seen),
    /// Anything else.
    Foreign(Why),
}

/// A file whose content was read: as long as size and time of change stay, so does the checksum.
///
/// Within one run that spares a second reading. It is not kept beyond: the manifest holds no times.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Seen {
    bytes: u64,
    modified: Option<SystemTime>,
    sha256: String,
}

impl Seen {
    /// Whether this is the file that the entry speaks of.
    pub(super) fn is(&self, entry: &Entry) -> bool {
        entry.bytes == self.bytes && entry.sha256 == self.sha256
    }
}

impl Folder {
    /// Finds out whose the file is. `known` is what was read of it before.
    pub(super) fn look(&self, name: &str, manifest: &Manifest, known: Option<&Seen>) -> Result<Standing, StoreError> {
        let path = self.dir.join(name);
        let Some(found) = self.found(name)? else { return Ok(Standing::Absent) };
        if found.is_dir() {
            return Ok(Standing::Foreign(Why::Folder));
        }
        let listed: Vec<&Entry> = manifest.listed(name, self.ignores_case).collect();
        if listed.is_empty() {
            return Ok(Standing::Foreign(Why::NotListed));
        }
        // A link or a device is none of ours, whatever it leads to. Another size settles it without reading.
        if !found.is_file() || listed.iter().all(|entry| entry.bytes != found.len()) {
            return Ok(Standing::Foreign(Why::Changed));
        }
        let modified = found.modified().ok();
        let sha256 = match known {
            Some(seen) if seen.bytes == found.len() && seen.modified == modified && modified.is_some() => {
                seen.sha256.clone()
            }
            _ => match plain_file::open(OpenOptions::new().read(true), &path, false) {
                Ok(Opened::File(file)) => checksum::of_file(&file).map_err(|e| StoreError::io(Act::Read, &path, e))?,
                Ok(Opened::Odd(_)) => return Ok(Standing::Foreign(Why::Changed)),
                Err(e) => return Err(StoreError::io(Act::Read, &path, e)),
            },
        };
        if listed.iter().any(|entry| entry.sha256 == sha256) {
            Ok(Standing::Own(Seen { bytes: found.len(), modified, sha256 }))
        } else {
            Ok(Standing::Foreign(Why::Changed))
        }
    }

    /// Makes a manifest agree with the folder: intents of dead runs that came true are fulfilled, the others forgotten, and
    /// entries whose file has vanished are dropped. The lock must be held.
    pub(super) fn settle(&self, manifest: &mut Manifest) -> Result<(), StoreError> {
        for (name, entry) in manifest.intents.clone() {
            let mut alone = Manifest::default();
            alone.files.insert(name.clone(), entry);
            match self.look(&name, &alone, None)? {
                Standing::Own(_) => manifest.fulfil(&name, self.ignores_case),
                Standing::Absent | Standing::Foreign(_) => manifest.forget(&name),
            }
        }
        for name in manifest.files.keys().cloned().collect::<Vec<_>>() {
            if !self.found(&name)?.is_some_and(|found| found.is_file()) {
                manifest.files.remove(&name);
            }
        }
        Ok(())
    }

    /// What there is by that name; a link is not followed.
    pub(super) fn found(&self, name: &str) -> Result<Option<Metadata>, StoreError> {
        let path = self.dir.join(name);
        match fs::symlink_metadata(&path) {
            Ok(found) => Ok(Some(found)),
            Err(e) if e.kind() == io::ErrorKind::NotFound => Ok(None),
            Err(e) => Err(StoreError::io(Act::Read, &path, e)),
        }
    }
}
