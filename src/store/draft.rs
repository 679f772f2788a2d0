//! A file on its way.

use super::Store;
use super::checksum::{self, Following};
use super::entry::{Entry, Facts};
use super::error::{Act, StoreError, Why};
use super::lock::Lock;
use super::manifest::Manifest;
use super::standing::Standing;
use std::collections::BTreeMap;
use std::fs::{File, OpenOptions};
use std::io;
use std::path::Path;
use std::sync::{Arc, OnceLock};
use std::thread::{Builder, JoinHandle};
use tempfile::TempPath;

/// An unfinished file. It vanishes when it is dropped, and gets its name by [`Draft::commit`], or with others by
/// [`Draft::finish`] and [`Store::place`].
#[derive(Debug)]
pub struct Draft<'s> {
    store: &'s Store,
    name: String,
    // Before the path, so that it is closed when the path is removed: not every system removes an open file at once.
    file: File,
    part: TempPath,
    /// The checksum of a long file, from where it is known that the file is long; `None` where nothing can follow it.
    following: OnceLock<Option<Following>>,
}

/// From how many bytes on a file is followed while it is written.
const LONG: u64 = 8 << 20;

impl<'s> Draft<'s> {
    pub(super) fn new(store: &'s Store, name: &str) -> Result<Self, StoreError> {
        let part = store.run.part(store.dir());
        let fail = |e| StoreError::io(Act::Write, &store.dir().join(name), e);
        let _gate = store.traces.enter();
        // Made with the user's usual permissions, since it will be a usual file. `create_new` follows no link.
        let file = OpenOptions::new().read(true).write(true).create_new(true).open(&part).map_err(fail)?;
        let part = TempPath::try_from_path(part).map_err(fail)?;
        Ok(Self { store, name: name.to_owned(), file, part, following: OnceLock::new() })
    }

    /// The name that it will have.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name
    }

    /// The file, to be read and written, at any position.
    #[must_use]
    pub fn file(&self) -> &File {
        &self.file
    }

    /// So many bytes of the file, from its start, are written and will not change any more: a long file's checksum is worked
    /// out while it is being written.
    pub fn reached(&self, bytes: u64) {
        if bytes >= LONG
            && let Some(following) = self.following.get_or_init(|| Following::begin(&self.part).ok())
        {
            following.reached(bytes);
        }
    }

    /// What to tell the user when writing to [`Draft::file`] failed: the error with the name that the file was to have.
    #[must_use]
    pub fn error(&self, cause: io::Error) -> StoreError {
        StoreError::io(Act::Write, &self.store.dir().join(&self.name), cause)
    }

    /// Sends the finished file to the disk, and reads it back for its checksum: from any thread, with nothing locked.
    ///
    /// The file may be on its way still when this is done; [`Store::place`] waits for it, so that the disk can take many
    /// files together. Only then is it complete: some disks (shared, delayed) say that they are full no sooner.
    ///
    /// # Errors
    ///
    /// When it cannot be read back. The unfinished file is gone then.
    pub fn finish(self, facts: Facts) -> Result<Ready, StoreError> {
        let Self { store, name, file, part, following } = self;
        let path = store.dir().join(&name);
        let file = Arc::new(file);
        let sending = Sending::begin(&file);
        let sha256 = match following.into_inner().flatten() {
            Some(following) => following.end(),
            None => checksum::of_file(&file),
        };
        let sha256 = sha256.map_err(|e| StoreError::io(Act::Read, &path, e))?;
        let bytes = file.metadata().map_err(|e| StoreError::io(Act::Write, &path, e))?.len();
        Ok(Ready { sending, entry: Entry { file: name, facts, bytes, sha256, later: BTreeMap::new() }, part })
    }

    /// Finishes the file and puts it in place: [`Draft::finish`], then [`Store::place`].
    ///
    /// # Errors
    ///
    /// As those two.
    pub fn commit(self, facts: Facts) -> Result<Entry, StoreError> {
        let store = self.store;
        let ready = self.finish(facts)?;
        let entry = ready.entry.clone();
        store.place(vec![ready])?;
        Ok(entry)
    }
}

/// A complete file that waits for its name. It vanishes when it is dropped.
#[derive(Debug)]
pub struct Ready {
    // Before the path, so that it is closed when the path is removed or renamed: not every system does that to an open file.
    sending: Sending,
    entry: Entry,
    part: TempPath,
}

/// A file on its way to the disk.
#[derive(Debug)]
struct Sending {
    /// The thread that sends it and holds it open.
    under_way: Option<JoinHandle<io::Result<()>>>,
    /// What came of it where there was no thread to be had.
    over: io::Result<()>,
}

impl Sending {
    fn begin(file: &Arc<File>) -> Self {
        let sent = Arc::clone(file);
        match Builder::new().spawn(move || sent.sync_all()) {
            Ok(thread) => Self { under_way: Some(thread), over: Ok(()) },
            Err(_) => Self { under_way: None, over: file.sync_all() },
        }
    }

    /// Waits until the disk has it.
    fn end(&mut self) -> io::Result<()> {
        match self.under_way.take() {
            Some(thread) => thread.join().unwrap_or_else(|_| Err(io::Error::other("the thread that wrote it ended"))),
            None => std::mem::replace(&mut self.over, Ok(())),
        }
    }
}

impl Drop for Sending {
    fn drop(&mut self) {
        let _ = self.end();
    }
}

impl Store {
    /// Puts finished files in place and into the manifest, all of them at one time under the lock, once the disk has them all.
    ///
    /// In this order, so that a kill at any point leaves a folder in good order:
    ///
    /// 1. The lock is taken and the manifest read again, since other runs may have changed it; the names are looked at
    ///    again, since foreign files may have come meanwhile.
    /// 2. The manifest says what is about to be put in place, and goes to the disk: a run that dies after the next
    ///    step has left files that the next run knows for its own. Where a file is to be replaced, both are listed,
    ///    since one that dies before has left the old one. Where none is, the entry is simply early.
    /// 3. Each file gets its name in one step.
    /// 4. Where files were replaced, the manifest drops the old ones.
    ///
    /// That is one or two waits for the disk, for a file as for a hundred. The folder's own list of names is sent there
    /// once a run, when the [`Store`] is dropped: before, a power cut may undo the last steps, but no name leads to half a
    /// file.
    ///
    /// # Errors
    ///
    /// As [`Store::claim`], before anything is put in place; and when the disk takes no more: then the files before the one
    /// that failed have their names, and the others are gone. What had a name before still has it.
    pub fn place(&self, mut files: Vec<Ready>) -> Result<(), StoreError> {
        let sent = |file: &mut Ready| {
            file.sending.end().map_err(|e| StoreError::io(Act::Write, &self.dir().join(&file.entry.file), e))
        };
        let refused = files.iter_mut().enumerate().find_map(|(n, file)| Some((n, sent(file).err()?)));
        if let Some((n, _)) = refused {
            files.truncate(n);
        }
        if let Err(error) = self.place_sent(&mut files) {
            // Of those that are left the last makes room for the manifest.
            files.pop();
            self.rescue(files);
            return Err(error);
        }
        refused.map_or(Ok(()), |(_, error)| Err(error))
    }

    /// Puts as many of some finished files in place as will go, the first ones: after something else has failed, a full disk
    /// say, on which the manifest may need the room of the last ones.
    pub fn rescue(&self, mut files: Vec<Ready>) {
        if let Some(refused) = files.iter_mut().position(|file| file.sending.end().is_err()) {
            files.truncate(refused);
        }
        while !files.is_empty() && self.place_sent(&mut files).is_err() {
            files.pop();
        }
    }

    /// Leaves the files where they are if the manifest cannot be written.
    fn place_sent(&self, files: &mut Vec<Ready>) -> Result<(), StoreError> {
        if files.is_empty() {
            return Ok(());
        }
        let _lock = Lock::take(self.dir())?;
        let _gate = self.traces.enter();
        let mut manifest = Manifest::read(self.dir())?;
        let mut replaces = Vec::with_capacity(files.len());
        for Ready { entry, .. } in files.iter() {
            let standing = self.look(&entry.file, &manifest)?;
            if let Some(why) = self.refusal(&standing) {
                return Err(StoreError::Foreign { path: self.dir().join(&entry.file), why, more: 0 });
            }
            replaces.push(standing != Standing::Absent);
        }
        self.folder.settle(&mut manifest)?;
        for (Ready { entry, .. }, replaces) in files.iter().zip(&replaces) {
            manifest.intend(entry.clone());
            if !replaces {
                manifest.fulfil(&entry.file, self.folder.ignores_case);
            }
        }
        self.leaves();
        manifest.write(self.dir(), &self.run)?;
        let mut refused = Ok(());
        for (Ready { entry, part, .. }, replaces) in files.drain(..).zip(&replaces) {
            if refused.is_ok() {
                refused = self.name(part, &entry.file, *replaces);
            }
            match (&refused, replaces) {
                (Ok(()), true) => manifest.fulfil(&entry.file, self.folder.ignores_case),
                (Ok(()), false) => {}
                (Err(_), _) => manifest.forget(&entry.file),
            }
        }
        if refused.is_err() {
            // If this fails too, the next run finds what did not come true, and forgets it.
            let _ = manifest.write(self.dir(), &self.run);
        } else if replaces.contains(&true) {
            manifest.write(self.dir(), &self.run)?;
        }
        refused
    }

    /// Gives one file its name.
    fn name(&self, part: TempPath, name: &str, replaces: bool) -> Result<(), StoreError> {
        let path = self.dir().join(name);
        let placed = if replaces || self.overwrite {
            part.persist(&path).map_err(|e| e.error)
        } else {
            // Nothing is there: let the system itself refuse if something comes in this very moment.
            place_new(part, &path)
        };
        placed.map_err(|e| match e.kind() {
            // Nothing was there a moment ago, so that what is there now is nobody's whom the manifest knows.
            io::ErrorKind::AlreadyExists => StoreError::Foreign { path, why: Why::NotListed, more: 0 },
            _ => StoreError::io(Act::Name, &path, e),
        })
    }
}

/// Gives a file a name that nothing has, and replaces nothing where the system can promise that.
fn place_new(part: TempPath, path: &Path) -> io::Result<()> {
    match part.persist_noclobber(path) {
        Ok(()) => Ok(()),
        Err(e) if e.error.kind() == io::ErrorKind::AlreadyExists => Err(e.error),
        // Some file systems (of memory cards, say) have no such promise; it was looked at a moment ago.
        Err(e) => e.path.persist(path).map_err(|e| e.error),
    }
}
