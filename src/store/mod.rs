//! Where renders land: one folder, its `manifest.json`, and the promise that nothing in it is ever half written.
//!
//! What a folder holds beside the files themselves:
//!
//! | name | what it is | how long it lives |
//! |---|---|---|
//! | `manifest.json` | what hitgap made here, see [`Entry`] | stays |
//! | `.hitgap-lock` | empty; locked while somebody cleans up or changes the manifest | stays, so that all runs lock one file; a run that made it and places nothing takes it away |
//! | `.hitgap-run-ID` | empty; locked by the run ID for as long as it lives | the run |
//! | `.hitgap-part-ID-N` | an unfinished file of the run ID | until it is complete, or the run ends |
//!
//! The promises, whatever kills a run and whenever:
//!
//! - A file under its final name is whole ([`Draft::commit`] renames, and only what has reached the disk).
//! - A file that hitgap did not make, or that was changed since, is not replaced unless the user said so.
//! - `manifest.json` is whole, loses no entry of another run, and says enough to recognise every file of its own.
//! - What a dead run left unfinished goes away when the folder is next opened; what a live run is at stays.
//!
//! Nothing here is global. A run that is interrupted lets go of its [`Draft`]s and its [`Store`], and they clean up.

mod checksum;
mod contents;
mod draft;
mod entry;
mod error;
pub mod interrupt;
mod ledger;
mod leftovers;
mod lock;
mod manifest;
mod name;
mod plain_file;
mod run;
mod standing;
mod tidy;
mod whole_file;

pub use checksum::{sha256_file, sha256_hex};
pub use contents::{Contents, contents};
pub use draft::{Draft, Ready};
pub use entry::{Entry, Facts, Kind, SampleFormat};
pub use error::{Act, NameFault, StoreError, Why, in_words};
pub use ledger::{Entries, Ledger, LedgerError};
pub use leftovers::Leftovers;
pub use lock::Lock;
pub use plain_file::Odd;
pub use tidy::Tidied;
pub use whole_file::{FileLock, WriteError, resolved, write_whole};

use leftovers::Traces;
use manifest::Manifest;
use rayon::prelude::*;
use run::Run;
use standing::{Folder, Seen, Standing};
use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};

/// The manifest's name.
pub const MANIFEST: &str = "manifest.json";

/// A folder that takes renders, held open by one run.
///
/// Drop it: a program that ends by `std::process::exit` before leaves its unfinished files to the next run.
#[derive(Debug)]
pub struct Store {
    folder: Folder,
    overwrite: bool,
    run: Run,
    /// Files that [`Store::claim`] found to be hitgap's own, so that a commit need not read them all again.
    seen: Mutex<BTreeMap<String, Seen>>,
    // The last, since the run's own mark must be gone before the folder can be.
    traces: Arc<Traces>,
}

impl Store {
    /// Opens `dir`, and makes it if it is not there. With `overwrite`, files that hitgap did not make may be replaced.
    ///
    /// Cleans up after runs that died, and finishes what they had begun to write into the manifest.
    ///
    /// # Errors
    ///
    /// When the folder cannot be made, read, locked or written, and when its `manifest.json` is not one that this
    /// program can read: that is never overwritten, not even with `overwrite`.
    pub fn open(dir: &Path, overwrite: bool) -> Result<Self, StoreError> {
        Self::open_watched(dir, overwrite, |_| ())
    }

    /// Opens a folder for a program that may have to end at any moment: `watch` is handed, before the run makes anything in the
    /// folder, what to clear away then.
    ///
    /// # Errors
    ///
    /// As [`Store::open`].
    pub fn open_watched(dir: &Path, overwrite: bool, watch: impl FnOnce(Leftovers)) -> Result<Self, StoreError> {
        let dir = if dir.as_os_str().is_empty() { PathBuf::from(".") } else { dir.to_path_buf() };
        let traces = Arc::new(Traces::make(&dir)?);
        watch(Leftovers(Arc::clone(&traces)));
        // All of it under the lock: until a run's file is locked, it looks like the file of a dead run.
        let lock = Lock::take(&dir)?;
        let gate = traces.enter();
        if lock.is_new() {
            traces.made_lock();
        }
        let folder = Folder { ignores_case: lock::ignores_case(&dir), dir };
        let mut manifest = Manifest::read(&folder.dir)?;
        let died = run::clean(&folder.dir)?;
        let run = Run::start(&folder.dir)?;
        traces.marked(run.mark());
        // Only a run that died leaves an intent behind, or an entry of a file that never got its name. Entries of files that
        // vanished otherwise wait for the next merge: opening a folder in good order changes nothing in it.
        if died || manifest.has_intents() {
            folder.settle(&mut manifest)?;
            manifest.write(&folder.dir, &run)?;
        }
        drop(lock);
        drop(gate);
        Ok(Self { folder, overwrite, run, seen: Mutex::default(), traces })
    }

    /// The folder, as it was given (`.` where that was empty).
    #[must_use]
    pub fn dir(&self) -> &Path {
        &self.folder.dir
    }

    /// Makes sure, before anything is rendered, that every one of these names can be written.
    ///
    /// Reads each file of its own that stands in the way to compare its checksum, several at once: about 0.1 s for
    /// 170 MB on a processor with instructions for SHA-256.
    ///
    /// # Errors
    ///
    /// [`StoreError::Name`] for a name that cannot be a file's or that comes twice (also if only case differs: on
    /// many systems that is one file); [`StoreError::Foreign`] where a file is in the way that the manifest does not
    /// list or that is not as the manifest says, and `overwrite` was not given. A folder is in the way always.
    pub fn claim<S: AsRef<str> + Sync>(&self, names: &[S]) -> Result<(), StoreError> {
        let mut folded = BTreeMap::new();
        for name in names.iter().map(AsRef::as_ref) {
            name::check(name)?;
            if let Some(other) = folded.insert(name.to_lowercase(), name) {
                let fault = if other == name { NameFault::Twice } else { NameFault::Case(other.to_owned()) };
                return Err(StoreError::name(name, fault));
            }
        }
        // Without the lock first, since reading the files takes a while that other runs need not wait for.
        let manifest = Manifest::read(&self.folder.dir)?;
        let verdicts: Vec<_> = names.par_iter().map(|name| self.look(name.as_ref(), &manifest)).collect();
        let mut refused = Vec::new();
        for (name, verdict) in names.iter().map(AsRef::as_ref).zip(verdicts) {
            if self.refusal(&verdict?).is_none() {
                continue;
            }
            // Another run may have replaced the file since the manifest was read: look again while none can.
            let _lock = Lock::take(&self.folder.dir)?;
            let standing = self.look(name, &Manifest::read(&self.folder.dir)?)?;
            refused.extend(self.refusal(&standing).map(|why| (name, why)));
        }
        match refused.first() {
            None => Ok(()),
            Some(&(name, why)) => {
                Err(StoreError::Foreign { path: self.folder.dir.join(name), why, more: refused.len() - 1 })
            }
        }
    }

    /// Starts a file that will be called `name`. Until it is committed it has another name, in the same folder.
    ///
    /// # Errors
    ///
    /// When the name cannot be a file's, or the folder takes no new file.
    pub fn begin(&self, name: &str) -> Result<Draft<'_>, StoreError> {
        name::check(name)?;
        Draft::new(self, name)
    }

    /// What the manifest says of a file that stands under its name just as it says.
    ///
    /// # Errors
    ///
    /// When folder, manifest or file cannot be read.
    pub fn kept(&self, name: &str) -> Result<Option<Entry>, StoreError> {
        let manifest = Manifest::read(&self.folder.dir)?;
        Ok(match self.look(name, &manifest)? {
            Standing::Own(seen) => manifest.listed(name, self.folder.ignores_case).find(|e| seen.is(e)).cloned(),
            Standing::Absent | Standing::Foreign(_) => None,
        })
    }

    /// From now on this run leaves something.
    fn leaves(&self) {
        self.traces.keep();
    }

    /// How the name stands; remembers what it read.
    fn look(&self, name: &str, manifest: &Manifest) -> Result<Standing, StoreError> {
        let known = self.seen.lock().unwrap_or_else(PoisonError::into_inner).get(name).cloned();
        let standing = self.folder.look(name, manifest, known.as_ref())?;
        if let Standing::Own(seen) = &standing {
            self.seen.lock().unwrap_or_else(PoisonError::into_inner).insert(name.to_owned(), seen.clone());
        }
        Ok(standing)
    }

    /// Why a file that stands so may not be written over, if it may not.
    fn refusal(&self, standing: &Standing) -> Option<Why> {
        match *standing {
            Standing::Absent | Standing::Own(_) => None,
            Standing::Foreign(Why::Folder) => Some(Why::Folder),
            Standing::Foreign(why) => (!self.overwrite).then_some(why),
        }
    }
}

impl Drop for Store {
    /// Sends the folder's list of names to the disk, where the system knows of such a thing: the files and the manifest
    /// are there already. That it cannot be done (on some shared and mounted file systems) is nothing to report.
    fn drop(&mut self) {
        if cfg!(unix) {
            let _ = fs::File::open(self.dir()).and_then(|folder| folder.sync_all());
        }
    }
}
