//! Makes the patch into a page, again and again.

use super::shown::{Edition, Shown};
use super::watched::Watched;
use crate::export::{Draw, ExportError, SoundSettings, comparison_served};
use crate::hits::MOST_BYTES;
use crate::patch::Variant;
use crate::show::page::ListeningPage;
use crate::source::{Loaded, SourceError, Talk, Wanted, load_noting};
use crate::store::{self, sha256_hex};
use crate::time::{Span, Tempo};
use std::collections::BTreeMap;
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

/// What is shown of which patch.
#[derive(Clone, Debug)]
pub struct Subject {
    /// The patch file.
    pub patch: PathBuf,
    /// Fixes that are held against the original; all where none is named.
    pub fixes: Vec<String>,
    /// Tempos instead of its own.
    pub tempos: Option<Vec<Tempo>>,
    /// Bars instead of its own.
    pub bars: Option<u64>,
    /// The largest gap that passes, instead of its own.
    pub max_gap: Option<Span>,
    /// Files of kinds of boxes.
    pub boxes: Vec<PathBuf>,
    /// What all chance is drawn from.
    pub seed: u64,
    /// Whose draws are heard.
    pub draw: Draw,
    /// How warnings reach people.
    pub talk: Talk,
    /// How a fault is told.
    pub tell: fn(ExportError) -> String,
}

impl Subject {
    /// Makes a page of the patch as it is now; notes the files that it is made from, or should be.
    ///
    /// # Errors
    /// For what the patch is refused for, or where `cancel` is set meanwhile.
    pub(super) fn page(&self, read: &mut Vec<PathBuf>, cancel: &AtomicBool) -> Result<ListeningPage, ExportError> {
        let wanted = Wanted {
            tempos: self.tempos.as_deref(),
            bars: self.bars,
            max_gap: self.max_gap,
            boxes: &self.boxes,
            inside: true,
        };
        let loaded = load_noting(&self.patch, None, (wanted, self.talk), read)?;
        let fixes = self.fixes(&loaded)?;
        comparison_served(&loaded, &fixes, (&SoundSettings::of_page(self.seed), self.draw), cancel)
    }

    fn fixes(&self, loaded: &Loaded) -> Result<Vec<Variant>, SourceError> {
        if self.fixes.is_empty() {
            return Ok(loaded.patch.fixes.clone());
        }
        let mut variants = loaded.variants(&self.fixes)?;
        variants.retain(|variant| variant.name != "original");
        Ok(variants)
    }
}

/// What stands in some files, in short; `None` for one that cannot be read.
pub(super) type Contents = BTreeMap<PathBuf, Option<String>>;

/// Reads them.
pub(super) fn contents(files: &[PathBuf]) -> Contents {
    let of = |file: &PathBuf| match store::contents(file, MOST_BYTES as u64) {
        Ok(store::Contents::Bytes(bytes)) => Some(sha256_hex(&bytes)),
        Ok(store::Contents::TooLarge(_)) => Some("too large".to_owned()),
        Err(_) => None,
    };
    files.iter().map(|file| (file.clone(), of(file))).collect()
}

/// What was made, from which files as they were before it was begun.
pub(super) struct Made {
    pub(super) page: Result<ListeningPage, ExportError>,
    pub(super) of: Contents,
}

impl Made {
    /// Makes a page; `before` are the files that it may be made from.
    pub(super) fn new(subject: &Subject, before: &Contents, cancel: &AtomicBool) -> Self {
        let mut read = Vec::new();
        let page = subject.page(&mut read, cancel);
        let mut of = contents(&read);
        // What has changed since it was read will be seen to differ.
        of.iter_mut().for_each(|(file, now)| before.get(file).into_iter().for_each(|was| now.clone_from(was)));
        Self { page, of }
    }
}

/// Follows the files of the patch: makes a new edition of each change, until no change can come any more.
pub(super) fn follow(subject: &Subject, shown: &Arc<Shown>, mut watched: Watched, mut made_of: Contents) {
    let mut number = shown.edition().number;
    while watched.next().is_some() {
        let now = contents(&made_of.keys().cloned().collect::<Vec<_>>());
        if now == made_of {
            continue;
        }
        let made = Made::new(subject, &now, watched.stale());
        if watched.stale().load(Ordering::Relaxed) {
            // Something newer has come meanwhile.
            continue;
        }
        made_of = made.of;
        if let Err(error) = watched.look_at(made_of.keys()) {
            (subject.talk.say)(&format!("note: changes are not seen any more: {error}"));
        }
        match made.page {
            Ok(page) => {
                number += 1;
                shown.renew(Edition::new(number, page));
            }
            Err(error) => {
                let told = (subject.tell)(error);
                (subject.talk.say)(&told);
                shown.fails(told);
            }
        }
    }
}
