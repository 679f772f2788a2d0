//! Files that are looked at for changes: the system tells, nobody asks it.

use notify::{Event, EventKind, RecommendedWatcher, RecursiveMode, Watcher};
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, channel};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

/// Editors write, rename and set modes within so much, and a dial is turned on; what comes within it is one change.
const QUIET: Duration = Duration::from_millis(30);
/// So long a change may at most be waited out, where something never stops writing.
const LONGEST: Duration = Duration::from_millis(500);

/// Watches files. It watches their folders, since many editors put another file in the place of the one that was.
pub(super) struct Watched {
    watcher: RecommendedWatcher,
    folders: BTreeSet<PathBuf>,
    files: Arc<Mutex<BTreeSet<PathBuf>>>,
    changes: Receiver<()>,
    tell: Sender<()>,
    /// Set as soon as a file changes: what is being made is of yesterday.
    stale: Arc<AtomicBool>,
}

impl Watched {
    /// Watches nothing yet.
    ///
    /// # Errors
    /// Where the system does not tell of changes.
    pub(super) fn new() -> notify::Result<Self> {
        let (files, stale) = (Arc::<Mutex<BTreeSet<PathBuf>>>::default(), Arc::<AtomicBool>::default());
        let (tell, changes) = channel();
        let (of, is, telling) = (Arc::clone(&files), Arc::clone(&stale), tell.clone());
        let watcher = notify::recommended_watcher(move |event: notify::Result<Event>| {
            let ours = |event: &Event| {
                let files = of.lock().unwrap_or_else(PoisonError::into_inner);
                event.need_rescan() || event.paths.iter().any(|path| files.contains(path))
            };
            // That a file is read is no change; what the system could not tell may be one.
            if event.is_ok_and(|event| matches!(event.kind, EventKind::Access(_)) || !ours(&event)) {
                return;
            }
            is.store(true, Ordering::Relaxed);
            let _ = telling.send(());
        })?;
        Ok(Self { watcher, folders: BTreeSet::new(), files, changes, tell, stale })
    }

    /// From now on these files, whether they are there or not. A folder that is not there is looked at from the next time on.
    ///
    /// # Errors
    /// Where the system watches no folder at all.
    pub(super) fn look_at<'p>(&mut self, files: impl IntoIterator<Item = &'p PathBuf>) -> notify::Result<()> {
        let all: BTreeSet<PathBuf> = files.into_iter().flat_map(|file| places(file)).collect();
        let folders: BTreeSet<PathBuf> = all.iter().filter_map(|file| file.parent()).map(Path::to_owned).collect();
        *self.files.lock().unwrap_or_else(PoisonError::into_inner) = all;
        let mut last = Ok(());
        for folder in folders.difference(&self.folders.clone()) {
            match self.watcher.watch(folder, RecursiveMode::NonRecursive) {
                Ok(()) => drop(self.folders.insert(folder.clone())),
                Err(error) => last = Err(error),
            }
        }
        for folder in self.folders.clone().difference(&folders) {
            let _ = self.watcher.unwatch(folder);
            self.folders.remove(folder);
        }
        if self.folders.is_empty() { last } else { Ok(()) }
    }

    /// Tells of changes that are none of a file.
    pub(super) fn bell(&self) -> Bell {
        Bell { tell: self.tell.clone(), stale: Arc::clone(&self.stale) }
    }

    /// Waits for the next change, and until it is over. `None` where none can come any more.
    pub(super) fn next(&self) -> Option<()> {
        self.changes.recv().ok()?;
        self.settle()
    }

    fn settle(&self) -> Option<()> {
        let since = Instant::now();
        while since.elapsed() < LONGEST {
            match self.changes.recv_timeout(QUIET) {
                Ok(()) => {}
                Err(RecvTimeoutError::Timeout) => break,
                Err(RecvTimeoutError::Disconnected) => return None,
            }
        }
        self.stale.store(false, Ordering::Relaxed);
        Some(())
    }

    pub(super) fn is_stale(&self) -> bool {
        self.stale.load(Ordering::Relaxed)
    }

    /// Whether something has changed since [`Watched::next`] came back.
    pub(super) fn stale(&self) -> &AtomicBool {
        &self.stale
    }
}

/// Tells of changes on the desk.
#[derive(Debug)]
pub(super) struct Bell {
    tell: Sender<()>,
    stale: Arc<AtomicBool>,
}

impl Bell {
    pub(super) fn ring(&self) {
        self.stale.store(true, Ordering::Relaxed);
        let _ = self.tell.send(());
    }
}

/// Where a file lies: under its name, and where a link of that name leads.
fn places(file: &Path) -> Vec<PathBuf> {
    let whole = std::path::absolute(file).ok();
    whole.into_iter().chain(std::fs::canonicalize(file).ok()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_renamed_over_a_file_is_a_change_and_another_file_is_none() {
        let dir = tempfile::tempdir().expect("a folder");
        let (file, other) = (dir.path().join("a.toml"), dir.path().join("b.toml"));
        std::fs::write(&file, "1").expect("a file");
        let mut watched = Watched::new().expect("a watcher");
        watched.look_at([&file]).expect("watched");
        std::fs::write(&other, "2").expect("a file");
        std::fs::read(&file).expect("read");
        // By the time that what comes after it has been told, it would have been.
        std::fs::rename(&other, &file).expect("renamed");
        watched.next().expect("a change");
        assert!(!watched.stale().load(Ordering::Relaxed));
        std::fs::write(&file, "3").expect("a file");
        watched.next().expect("a change");
        std::fs::remove_file(&file).expect("removed");
        watched.next().expect("a change");
    }
}
