//! Makes the patch into a page, again and again: at once what is heard now, and then all of it.

use super::desk::{Desk, View};
use super::file::OnDisk;
use super::hears::Hears;
use super::shown::Shown;
use super::watched::Watched;
use crate::export::{Depth, Draw, ExportError, Laid, SoundSettings, Workbench};
use crate::hits::MOST_BYTES;
use crate::patch::{Asked, Fault, Faults, ORIGINAL, Patch, Variant};
use crate::rig::play;
use crate::show::page::ListeningPage;
use crate::show::sentence::{self, Look, desk};
use crate::source::{Loaded, Shelf, SourceError, Talk, Wanted, boxes, load_noting};
use crate::store::{self, sha256_hex};
use crate::time::{Span, Tempo};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::atomic::AtomicBool;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

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
    /// Whether sounds outside of the patch's folder are read.
    pub allow_files: bool,
    /// What all chance is drawn from.
    pub seed: u64,
    /// Whose draws are heard.
    pub draw: Draw,
    /// The folder for files that are asked for from the page.
    pub out: PathBuf,
    /// How the server itself says what goes wrong.
    pub talk: Talk,
    /// How a fault is told.
    pub tell: fn(ExportError) -> String,
}

#[cfg(test)]
impl Subject {
    /// A patch with nothing else asked for.
    pub(super) fn of(patch: PathBuf) -> Self {
        let talk = Talk { color: false, say: |_| {} };
        Self {
            patch,
            fixes: Vec::new(),
            tempos: None,
            bars: None,
            max_gap: None,
            boxes: Vec::new(),
            allow_files: false,
            seed: 1,
            draw: Draw(None),
            out: "out".into(),
            talk,
            tell: |error| error.to_string(),
        }
    }
}

/// What the version is called that the file has while the desk has another.
pub(super) const AS_SAVED: &str = "as saved";

/// Makes pages of one patch.
#[derive(Debug)]
pub(super) struct Maker {
    pub(super) subject: Subject,
    bench: Workbench,
    saved: Mutex<Option<Saved>>,
    /// The components that are heard in a path, for as long as they are wanted.
    pub(super) hears: Hears,
    /// The sounds of its voices: a page is made of them again and again.
    shelf: Shelf,
}

/// The version that the file has.
#[derive(Debug)]
struct Saved {
    /// The file's checksum.
    hash: String,
    /// `None` where the file has a fault.
    variant: Option<Arc<Variant>>,
    /// The tempos at which it was found to play.
    plays_at: Vec<Tempo>,
}

/// A page, and what there is to warn of.
#[derive(Debug)]
pub(super) struct Made {
    pub(super) page: ListeningPage,
    /// Whether all its levels are measured.
    level: bool,
    /// What is right and has no effect, a sentence each.
    pub(super) warnings: Vec<String>,
}

impl Maker {
    pub(super) fn new(subject: Subject) -> Self {
        let bench = Workbench::new(SoundSettings::of_page(subject.seed), subject.draw);
        Self { subject, bench, saved: Mutex::default(), hears: Hears::default(), shelf: Shelf::default() }
    }

    /// Reads a text as the patch; notes the files that it is made from, or should be.
    pub(super) fn loaded(&self, text: &str, read: &mut Vec<PathBuf>) -> Result<Loaded, SourceError> {
        self.loaded_at(text, self.subject.tempos.as_deref(), read)
    }

    /// The same at these tempos instead of its own.
    fn loaded_at(&self, text: &str, tempos: Option<&[Tempo]>, read: &mut Vec<PathBuf>) -> Result<Loaded, SourceError> {
        let Subject { patch, bars, max_gap, boxes, allow_files, .. } = &self.subject;
        let wanted = Wanted {
            tempos,
            bars: *bars,
            max_gap: *max_gap,
            boxes,
            inside: true,
            allow_files: *allow_files,
            shelf: Some(&self.shelf),
        };
        // What there is to warn of stands on the page.
        let silent = Talk { color: false, say: |_| {} };
        load_noting(patch, Some(text.to_owned()), (wanted, silent), read)
    }

    /// The words of a view of the desk, at a tempo and of a version; where the patch has faults, each at its word.
    pub(super) fn words(
        &self,
        view: &View,
        (tempo, version): (Option<Tempo>, Option<&str>),
        faulty: bool,
    ) -> sentence::Desk {
        let boxes = boxes(&self.subject.boxes, false).map(|(kinds, _)| kinds).unwrap_or_default();
        let asked = || Asked { boxes: boxes.clone(), tempos: self.subject.tempos.clone(), ..Asked::default() };
        let faults = faulty.then(|| Patch::parse(&view.text, &asked()).err()).flatten();
        let faults: Vec<Fault> = faults.iter().flat_map(Faults::list).cloned().collect();
        let tempo = tempo.or_else(|| self.subject.tempos.as_ref()?.first().copied()).unwrap_or(Tempo::USUAL);
        let fix = version.filter(|name| !matches!(*name, ORIGINAL | AS_SAVED) && !self.hears.has(name));
        desk(&Look { text: &view.text, boxes: &boxes, tempo, fix, faults: &faults })
    }

    /// Makes a page of a view of the desk.
    ///
    /// # Errors
    /// For what the patch is refused for, or where `cancel` is set meanwhile.
    pub(super) fn make(
        &self,
        view: &View,
        depth: Depth,
        cancel: &AtomicBool,
        read: &mut Vec<PathBuf>,
    ) -> Result<Made, ExportError> {
        let mut loaded = self.loaded(&view.text, read)?;
        let depth = match depth {
            Depth::Moment(tempo) if !loaded.patch.tempos.contains(&tempo) => {
                // A page may be at a tempo of its own; where the patch cannot be played at it, at the nearest.
                if let Ok(own) = self.loaded_at(&view.text, Some(&[tempo]), &mut Vec::new()) {
                    loaded = own;
                }
                let near = loaded.patch.tempos.iter().min_by_key(|own| own.micro().abs_diff(tempo.micro()));
                Depth::Moment(near.copied().unwrap_or(tempo))
            }
            other => other,
        };
        let fixes = self.fixes(&loaded)?;
        let saved = if view.saved() { None } else { self.saved(&view.begun, &loaded) };
        let mut versions: Vec<&Variant> = vec![&loaded.patch.original];
        versions.extend(&fixes);
        versions.extend(saved.as_deref());
        let heard = self.hears.versions(&loaded);
        versions.extend(&heard);
        let Laid { page, level } = self.bench.page(&loaded, &versions, depth, cancel)?;
        let warned = |fault: &Fault| format!("{}; {}", fault.message, fault.help);
        let notes = loaded.sound_notes().iter().cloned();
        let warnings = loaded.patch.warnings.list().iter().map(warned).chain(notes).collect();
        Ok(Made { page, level, warnings })
    }

    pub(super) fn fixes(&self, loaded: &Loaded) -> Result<Vec<Variant>, SourceError> {
        if self.subject.fixes.is_empty() {
            return Ok(loaded.patch.fixes.clone());
        }
        // One that is gone is left out: a patch changes.
        let known = |spec: &&String| spec.split('+').all(|name| loaded.patch.fixes.iter().any(|fix| fix.name == name));
        let named: Vec<String> = self.subject.fixes.iter().filter(known).cloned().collect();
        if named.is_empty() {
            return Ok(Vec::new());
        }
        let mut variants = loaded.variants(&named)?;
        variants.retain(|variant| variant.name != "original");
        Ok(variants)
    }

    /// The version that the file has, where it can be played at all of these tempos.
    fn saved(&self, file: &OnDisk, loaded: &Loaded) -> Option<Arc<Variant>> {
        let mut saved = self.saved.lock().unwrap_or_else(PoisonError::into_inner);
        if saved.as_ref().is_none_or(|saved| saved.hash != file.hash) {
            let own = self.loaded(&file.text, &mut Vec::new()).ok().map(|own| {
                let original = own.patch.original;
                Arc::new(Variant {
                    name: AS_SAVED.to_owned(),
                    about: Some("the patch as the file has it".to_owned()),
                    ..original
                })
            });
            *saved = Some(Saved { hash: file.hash.clone(), variant: own, plays_at: Vec::new() });
        }
        let Saved { variant, plays_at: known, .. } = saved.as_mut()?;
        let own = variant.clone()?;
        let plays = |tempo: &Tempo| {
            let new = !known.contains(tempo);
            if new && play(&own.rig, *tempo).is_ok() {
                known.push(*tempo);
            }
            known.contains(tempo)
        };
        (own.rig.end == loaded.patch.original.rig.end && loaded.patch.tempos.iter().all(plays)).then_some(own)
    }
}

/// What an edition was made of: a revision of the desk, and the files beside the patch.
#[derive(Debug, PartialEq, Eq)]
pub(super) struct Origin {
    revision: u64,
    beside: Contents,
    /// Which components are heard.
    hears: u64,
}

impl Origin {
    /// Of a revision, and what `read` names but the patch itself; what changed since `before` will be seen to differ.
    pub(super) fn new((revision, hears): (u64, u64), patch: &Path, read: &[PathBuf], before: &Contents) -> Self {
        let mut beside = contents(read.iter().filter(|file| *file != patch));
        beside.iter_mut().for_each(|(file, is)| before.get(file).into_iter().for_each(|was| is.clone_from(was)));
        Self { revision, beside, hears }
    }
}

/// What stands in some files, in short; `None` for one that cannot be read.
pub(super) type Contents = BTreeMap<PathBuf, Option<String>>;

/// Reads them.
pub(super) fn contents<'p>(files: impl IntoIterator<Item = &'p PathBuf>) -> Contents {
    let of = |file: &PathBuf| match store::contents(file, MOST_BYTES as u64) {
        Ok(store::Contents::Bytes(bytes)) => Some(sha256_hex(&bytes)),
        Ok(store::Contents::TooLarge(_)) => Some("too large".to_owned()),
        Err(_) => None,
    };
    files.into_iter().map(|file| (file.clone(), of(file))).collect()
}

/// What is loud is measured, which takes its time, when nobody has changed anything for so long.
const AT_REST: Duration = Duration::from_millis(300);

/// Follows the desk and the files of the patch: makes an edition of each change, until no change can come any more.
pub(super) fn follow(maker: &Maker, desk: &Desk, shown: &Shown, mut watched: Watched, mut made_of: Origin) {
    let Subject { patch, talk, tell, .. } = &maker.subject;
    loop {
        if desk.follow() {
            shown.tell();
        }
        let view = desk.view();
        let hears = maker.hears.number();
        let now = Origin { revision: view.revision, beside: contents(made_of.beside.keys()), hears };
        if now != made_of {
            let mut read = Vec::new();
            let made = maker.make(&view, Depth::Pictures, watched.stale(), &mut read);
            // What is newer comes next.
            if !watched.is_stale() {
                made_of = Origin::new((view.revision, hears), patch, &read, &now.beside);
                if let Err(error) = watched.look_at(std::iter::once(patch).chain(made_of.beside.keys())) {
                    (talk.say)(&format!("note: changes are not seen any more: {error}"));
                }
                let level = made.as_ref().map_or(true, |made| made.level);
                shown.show(&view, made, *tell);
                let leveled = (!level && watched.rests(AT_REST))
                    .then(|| maker.make(&view, Depth::Levels, watched.stale(), &mut Vec::new()));
                if let Some(Ok(made)) = leveled.filter(|_| !watched.is_stale()) {
                    shown.show(&view, Ok(made), *tell);
                }
            }
        }
        if watched.next().is_none() || desk.left() {
            return;
        }
    }
}
