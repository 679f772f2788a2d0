//! The mark of a live run, and what to do about dead ones.

use super::error::{Act, StoreError};
use std::ffi::OsStr;
use std::fs::{self, OpenOptions};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};
use tempfile::{Builder, NamedTempFile};

const RUN: &str = ".hitgap-run-";
const PART: &str = ".hitgap-part-";
/// Letters and digits in a run's mark; 62^12 marks, so that none comes twice.
const MARK: usize = 12;

/// This run's mark in the folder: a locked file, removed when it is dropped.
///
/// A lock rather than the process's number in the file: numbers are given out again, and mean nothing on another
/// machine that shares the folder. The system lets go of the lock however the program dies.
#[derive(Debug)]
pub(super) struct Run {
    mark: String,
    parts: AtomicU64,
    _file: NamedTempFile,
}

impl Run {
    /// Marks the folder. The folder's lock must be held: between making the file and locking it, it looks dead.
    pub(super) fn start(dir: &Path) -> Result<Self, StoreError> {
        let file = Builder::new()
            .prefix(RUN)
            .rand_bytes(MARK)
            .tempfile_in(dir)
            .map_err(|e| StoreError::io(Act::Write, dir, e))?;
        file.as_file().lock().map_err(|e| StoreError::io(Act::Lock, file.path(), e))?;
        let name = file.path().file_name().and_then(OsStr::to_str).unwrap_or_default();
        let mark = name.strip_prefix(RUN).unwrap_or_default().to_owned();
        Ok(Self { mark, parts: AtomicU64::new(0), _file: file })
    }

    /// What tells this run's files from those of others.
    pub(super) fn mark(&self) -> &str {
        &self.mark
    }

    /// A path in `dir` for an unfinished file, never given out before.
    pub(super) fn part(&self, dir: &Path) -> PathBuf {
        dir.join(format!("{PART}{}-{}", self.mark, self.parts.fetch_add(1, Ordering::Relaxed)))
    }
}

/// Removes what dead runs left: their unfinished files, then their marks. The folder's lock must be held.
///
/// A run is dead when nobody holds its mark's lock, or when the mark is gone: a run makes its mark first. What cannot
/// be removed (it is another user's) is left, since it harms nobody; only names of exactly this kind are touched.
///
/// Says whether there was one.
pub(super) fn clean(dir: &Path) -> Result<bool, StoreError> {
    let fail = |e| StoreError::io(Act::Read, dir, e);
    let (mut live, mut dead, mut parts) = (Vec::new(), Vec::new(), Vec::new());
    for found in fs::read_dir(dir).map_err(fail)? {
        let found = found.map_err(fail)?;
        let name = found.file_name();
        let Some(name) = name.to_str() else { continue };
        if !found.file_type().is_ok_and(|kind| kind.is_file()) {
            continue;
        }
        if let Some(mark) = run_mark(name) {
            if is_dead(&found.path()) { dead.push(found.path()) } else { live.push(mark.to_owned()) }
        } else if let Some(mark) = part_mark(name) {
            parts.push((mark.to_owned(), found.path()));
        }
    }
    parts.retain(|(mark, _)| !live.contains(mark));
    let died = !dead.is_empty() || !parts.is_empty();
    for (_, part) in parts {
        let _ = fs::remove_file(part);
    }
    for run in dead {
        let _ = fs::remove_file(run);
    }
    Ok(died)
}

/// Removes what the run of this mark has unfinished, and then its mark: for a run that is about to end.
pub(super) fn clean_own(dir: &Path, mark: &str) {
    for found in fs::read_dir(dir).into_iter().flatten().flatten() {
        if found.file_name().to_str().and_then(part_mark) == Some(mark) {
            let _ = fs::remove_file(found.path());
        }
    }
    let _ = fs::remove_file(dir.join(format!("{RUN}{mark}")));
}

/// Whether nobody holds the mark. One that cannot be opened or asked counts as live.
fn is_dead(run: &Path) -> bool {
    OpenOptions::new().read(true).write(true).open(run).is_ok_and(|file| file.try_lock().is_ok())
}

fn run_mark(name: &str) -> Option<&str> {
    name.strip_prefix(RUN).filter(|mark| is_mark(mark))
}

fn part_mark(name: &str) -> Option<&str> {
    let (mark, number) = name.strip_prefix(PART)?.split_once('-')?;
    (is_mark(mark) && !number.is_empty() && number.bytes().all(|b| b.is_ascii_digit())).then_some(mark)
}

fn is_mark(text: &str) -> bool {
    text.len() == MARK && text.bytes().all(|b| b.is_ascii_alphanumeric())
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::error::Error;

    #[test]
    fn only_names_of_exactly_this_kind_are_ours() {
        assert_eq!(part_mark(".hitgap-part-abcDEF012345-17"), Some("abcDEF012345"));
        assert_eq!(run_mark(".hitgap-run-abcDEF012345"), Some("abcDEF012345"));
        for other in [
            ".hitgap-part-notes",
            ".hitgap-part-abcDEF012345",
            ".hitgap-part-abcDEF012345-",
            ".hitgap-part-abcDEF012345-1x",
            ".hitgap-part-abcDEF01234-1",
            "hitgap-part-abcDEF012345-1",
            ".hitgap-run-abcDEF01234.",
        ] {
            assert_eq!((part_mark(other), run_mark(other)), (None, None), "{other}");
        }
    }

    #[test]
    fn the_dead_are_cleared_away_and_the_living_and_strangers_left() -> Result<(), Box<dyn Error>> {
        let dir = tempfile::tempdir()?;
        let dir = dir.path();
        let live = Run::start(dir)?;
        let own = live.part(dir);
        let strangers = [own.clone(), dir.join(".hitgap-part-notes"), dir.join("late.wav")];
        let left = [
            dir.join(".hitgap-run-aaaaaaaaaaaa"),
            dir.join(".hitgap-part-aaaaaaaaaaaa-0"),
            dir.join(".hitgap-part-bbbbbbbbbbbb-3"),
        ];
        for path in strangers.iter().chain(&left) {
            fs::write(path, "x")?;
        }
        fs::create_dir(dir.join(".hitgap-part-cccccccccccc-0"))?;
        clean(dir)?;
        assert!(strangers.iter().all(|path| path.exists()));
        assert!(left.iter().all(|path| !path.exists()));
        assert!(dir.join(".hitgap-part-cccccccccccc-0").exists());
        drop(live);
        clean(dir)?;
        assert!(!own.exists());
        Ok(())
    }
}
