//! Files that are looked at for changes: the system tells, nobody asks it.

use notify::{Event, EventKind, RecommendedWatcher, RecursiveMode, Watcher};
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, channel};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

/// Editors write, rename and set modes within so much; what comes within it is one change.
const QUIET: Duration = Duration::from_millis(30);
/// So soon a page that is turned on asks again, once it has its answer and has handed it to the sound.
const TURNED: Duration = Duration::from_millis(25);
/// So long a change may at most be waited out, where something never stops writing.
const LONGEST: Duration = Duration::from_millis(500);

/// Watches files. It watches their folders, since many editors put another file in the place of the one that was.
pub(super) struct Watched {
    watcher: RecommendedWatcher,
    folders: BTreeSet<PathBuf>,
    files: Arc<Mutex<BTreeSet<PathBuf>>>,
    /// Each with how long another may be waited for.
    changes: Receiver<Duration>,
    tell: Sender<Duration>,
    /// Set as soon as a file changes, or a page asks for a change: what is being made is of yesterday.
    stale: Arc<AtomicBool>,
    /// How many changes are being made for pages.
    under_way: Arc<AtomicUsize>,
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
            let _ = telling.send(QUIET);
        })?;
        Ok(Self { watcher, folders: BTreeSet::new(), files, changes, tell, stale, under_way: Arc::default() })
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
        Bell { tell: self.tell.clone(), stale: Arc::clone(&self.stale), under_way: Arc::clone(&self.under_way) }
    }

    /// Waits for the next change, and until it is over. `None` where none can come any more.
    pub(super) fn next(&self) -> Option<()> {
        let mut quiet = self.changes.recv().ok()?;
        let since = Instant::now();
        while since.elapsed() < LONGEST {
            match self.changes.recv_timeout(quiet) {
                Ok(next) => quiet = next,
                // Whoever waits for an answer has the processors.
                Err(RecvTimeoutError::Timeout) if self.under_way.load(Ordering::Relaxed) > 0 => {}
                Err(RecvTimeoutError::Timeout) => break,
                Err(RecvTimeoutError::Disconnected) => return None,
            }
        }
        self.stale.store(false, Ordering::Relaxed);
        Some(())
    }

    /// Whether nothing changes for so long; it is looked at anew as soon as something does.
    pub(super) fn rests(&self, long: Duration) -> bool {
        match self.changes.recv_timeout(long) {
            // It comes again when it is asked for.
            Ok(quiet) => self.tell.send(quiet).is_err(),
            Err(end) => end == RecvTimeoutError::Timeout,
        }
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
    tell: Sender<Duration>,
    stale: Arc<AtomicBool>,
    under_way: Arc<AtomicUsize>,
}

impl Bell {
    /// A change is being made, until what this gives is let go: what is older is given up at once, and made anew afterwards.
    pub(super) fn change(&self) -> Change<'_> {
        self.under_way.fetch_add(1, Ordering::Relaxed);
        self.stale.store(true, Ordering::Relaxed);
        Change(self)
    }

    /// Something has changed.
    pub(super) fn ring(&self) {
        drop(self.change());
    }
}

/// A change that is being made.
#[derive(Debug)]
pub(super) struct Change<'b>(&'b Bell);

impl Drop for Change<'_> {
    fn drop(&mut self) {
        self.0.under_way.fetch_sub(1, Ordering::Relaxed);
        self.0.stale.store(true, Ordering::Relaxed);
        let _ = self.0.tell.send(TURNED);
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

    #[test]
    fn a_change_for_a_page_gives_up_what_is_older_and_is_waited_for() {
        let watched = Watched::new().expect("a watcher");
        let (bell, over) = (watched.bell(), AtomicBool::new(false));
        drop(bell.change());
        let second = bell.change();
        assert!(watched.is_stale());
        std::thread::scope(|beside| {
            beside.spawn(|| {
                std::thread::sleep(3 * TURNED);
                over.store(true, Ordering::Relaxed);
                drop(second);
            });
            watched.next().expect("a change");
        });
        assert!(over.load(Ordering::Relaxed) && !watched.is_stale());
        // Where nothing comes it is at rest; what comes while it is waited for is not lost.
        assert!(watched.rests(Duration::from_millis(1)));
        drop(bell.change());
        assert!(!watched.rests(Duration::from_secs(600)));
        watched.next().expect("it is still to come");
    }
}
