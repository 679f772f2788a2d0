//! From a file's name to a checked patch and the variants that were asked for.

use super::carried::Example;
use super::sounds::{Shelf, Sounds};
use super::takes::Reader;
use super::{SourceError, Talk, read_text, stem};
use crate::hits::recorded;
use crate::judge::mend::{Catalogue, WishError, Wishes};
use crate::patch::{Asked, BoxKinds, Component, Faults, FileKind, Patch, Variant, VariantError, other_kind};
use crate::show::report::take_notes;
use crate::store::sha256_hex;
use crate::text::plain;
use crate::time::{Span, Tempo, decimal_comma};
use std::path::{Path, PathBuf};

/// The carried list of components, for a patch that has nothing to put in.
const GENERIC: &str = "components";

/// A patch with the name and the bytes it came from.
#[derive(Debug)]
pub struct Loaded {
    /// The path as it was given.
    pub name: String,
    /// The text of the file.
    pub source: String,
    /// The texts of the files of kinds of boxes, one after the other.
    boxes: String,
    /// What it says.
    pub patch: Patch,
    /// The files of its takes.
    reader: Reader,
    /// The files of its voices.
    sounds: Sounds,
    talk: Talk,
}

/// What a patch is read with, beside what it says itself.
#[derive(Clone, Copy, Debug, Default)]
pub struct Wanted<'a> {
    /// Tempos instead of its own.
    pub tempos: Option<&'a [Tempo]>,
    /// Bars instead of its own.
    pub bars: Option<u64>,
    /// The largest gap that passes, instead of its own.
    pub max_gap: Option<Span>,
    /// Files of kinds of boxes.
    pub boxes: &'a [PathBuf],
    /// Whether takes outside of the patch's folder are refused.
    pub inside: bool,
    /// Whether sounds outside of it are read.
    pub allow_files: bool,
    /// Sounds that were read before.
    pub shelf: Option<&'a Shelf>,
}

/// Reads and checks a patch file, and says its warnings.
///
/// # Errors
/// If the file or one that it names cannot be read, or is not valid.
pub fn load(file: &Path, wanted: Wanted<'_>, talk: Talk) -> Result<Loaded, SourceError> {
    load_noting(file, None, (wanted, talk), &mut Vec::new())
}

/// The same, of another text than the file's where there is one, for who watches the files: notes all that are read, and those
/// that should be.
///
/// # Errors
/// As of [`load`].
pub fn load_noting(
    file: &Path,
    text: Option<String>,
    how: (Wanted<'_>, Talk),
    read: &mut Vec<PathBuf>,
) -> Result<Loaded, SourceError> {
    read.push(file.to_owned());
    read.extend_from_slice(how.0.boxes);
    let mut reader = Reader::new(file, how.0.inside);
    let mut sounds = Sounds::new(file, how.0.allow_files);
    let loaded = text
        .map_or_else(|| read_text(file, "a patch"), Ok)
        .and_then(|source| loaded(file, source, how, (&mut reader, &mut sounds)));
    read.extend_from_slice(reader.tried());
    read.extend_from_slice(sounds.tried());
    let (source, boxes, patch) = loaded?;
    Ok(Loaded { name: file.display().to_string(), source, boxes, patch, reader, sounds, talk: how.1 })
}

/// The text, those of the kinds of boxes, and what both say.
fn loaded(
    file: &Path,
    source: String,
    (wanted, talk): (Wanted<'_>, Talk),
    (reader, sounds): (&mut Reader, &mut Sounds),
) -> Result<(String, String, Patch), SourceError> {
    let name = file.display().to_string();
    wanted.tempos.and_then(decimal_comma).iter().for_each(|note| talk.say(&format!("note: {note}")));
    let tempos = wanted.tempos.map(<[Tempo]>::to_vec);
    let (boxes, texts) = boxes(wanted.boxes, talk.color)?;
    let mut asked = Asked { tempos, bars: wanted.bars, max_gap: wanted.max_gap, boxes, ..Asked::default() };
    if let Some(mut outline) = Patch::outline(&source, &asked) {
        // What cannot be read is told below, when the patch is known to be good.
        outline.variants.iter_mut().flatten().for_each(|take| drop(reader.fill(std::slice::from_mut(take))));
        asked.recorded = recorded(&outline);
    }
    match Patch::parse(&source, &asked) {
        Ok(mut patch) => {
            let warnings = patch.warnings.render(&name, &source, talk.color);
            if !warnings.is_empty() {
                talk.say(&warnings);
            }
            let rigs = std::iter::once(&mut patch.original).chain(&mut patch.fixes).map(|variant| &mut variant.rig);
            rigs.into_iter().try_for_each(|rig| {
                reader.fill(&mut rig.takes)?;
                sounds.fill(&mut rig.voices, wanted.shelf)
            })?;
            sounds.notes().iter().for_each(|note| talk.say(&format!("note: {note}")));
            take_notes(&patch, &asked.recorded).iter().for_each(|note| talk.say(note));
            Ok((source, texts, patch))
        }
        Err(faults) => Err(refused(&source, FileKind::Patch, (&name, &faults), talk.color)),
    }
}

/// Reads files of kinds of boxes, and gives back their texts beside them, one after the other.
///
/// # Errors
/// If one cannot be read, or is faulty.
pub fn boxes(files: &[PathBuf], color: bool) -> Result<(BoxKinds, String), SourceError> {
    let (mut all, mut texts) = (BoxKinds::default(), String::new());
    for file in files {
        let name = file.display().to_string();
        let source = read_text(file, "a list of kinds of boxes")?;
        let kinds = Patch::read_boxes(&source);
        all.extend(kinds.map_err(|faults| refused(&source, FileKind::Boxes, (&name, &faults), color))?);
        texts += &source;
    }
    Ok((all, texts))
}

/// What is said of a file that has faults as what it should be: of another kind, that it is one; else its faults.
#[must_use]
pub fn refused(source: &str, wanted: FileKind, (name, faults): (&str, &Faults), color: bool) -> SourceError {
    match other_kind(source, wanted) {
        Some(other) => {
            let name = plain(name);
            SourceError::refused(format!("`{name}` is {other}"), other.help(&name))
        }
        None => SourceError::Faulty(faults.render(name, source, color)),
    }
}

impl Loaded {
    /// The checksum of all that the patch says, as manifests have it: of its text, of the kinds of boxes that it was read with, and
    /// of the checksums of the sounds that it names.
    #[must_use]
    pub fn checksum(&self) -> String {
        sha256_hex(format!("{}{}{}", self.source, self.boxes, self.sounds.checksums()).as_bytes())
    }

    /// What there is to be told of the sounds that it names, a sentence each.
    #[must_use]
    pub fn sound_notes(&self) -> &[String] {
        self.sounds.notes()
    }

    /// The patch's name in the names of its files: the file's own, without folder and ending.
    ///
    /// # Errors
    /// For a path without a file name.
    pub fn stem(&self) -> Result<String, SourceError> {
        stem(Path::new(&self.name))
    }

    /// The variants that `--fix` asks for; without any, the original and every fix.
    ///
    /// # Errors
    /// For a fix that is not there, or two that contradict each other.
    pub fn variants(&self, fixes: &[String]) -> Result<Vec<Variant>, SourceError> {
        if fixes.is_empty() {
            return Ok(std::iter::once(&self.patch.original).chain(&self.patch.fixes).cloned().collect());
        }
        let mut all: Vec<Variant> = Vec::new();
        for spec in fixes {
            let variant = self.variant(spec)?;
            if !all.iter().any(|v| v.name == variant.name) {
                all.push(variant);
            }
        }
        Ok(all)
    }

    /// One variant by its name: `original`, a fix, or several joined by `+`.
    ///
    /// # Errors
    /// If there is none.
    pub fn variant(&self, spec: &str) -> Result<Variant, SourceError> {
        let mut variant = self.patch.variant(spec).map_err(|e| match e {
            VariantError::Together(faults) => {
                let color = self.talk.color;
                SourceError::Faulty(faults.render(&self.name, &self.source, color))
            }
            other => {
                // With a comma, each is a variant; with a plus, one has both.
                let all: Vec<&str> = spec.split(',').map(str::trim).collect();
                let help = match all.len() > 1 && all.iter().all(|name| self.patch.variant(name).is_ok()) {
                    true => format!("write --fix {}, or --fix {} for all at once", all.join(" --fix "), all.join("+")),
                    false => other.help(),
                };
                SourceError::refused(&other, help)
            }
        })?;
        // Two fixes together may ask for what neither does alone.
        self.reader.clone().fill(&mut variant.rig.takes)?;
        self.sounds.clone().fill(&mut variant.rig.voices, None)?;
        Ok(variant)
    }

    /// The path of the patch and the checksum of its text, as a manifest has them.
    #[must_use]
    pub fn origin(&self) -> (String, String) {
        (self.name.clone(), self.checksum())
    }

    /// All that could be done to the original: with the generic components where nothing else could be put in.
    ///
    /// # Errors
    /// Where a wish cannot be met.
    pub fn catalogue(&self, components: &[Component], wishes: &Wishes) -> Result<Catalogue, WishError> {
        let of = |components: &[Component]| Catalogue::new(&self.patch, components, wishes);
        let own = of(components);
        if components.is_empty() && own.as_ref().map_or(true, |own| own.parts.is_empty()) {
            let generic = self.generic();
            return if generic.is_empty() { own } else { of(&generic) };
        }
        own
    }

    /// The carried list of components, as the patch reads it.
    #[must_use]
    pub fn generic(&self) -> Vec<Component> {
        Example::named(GENERIC).and_then(|list| self.patch.read_components(list.file.text).ok()).unwrap_or_default()
    }

    /// The components of the patch and those of files.
    ///
    /// # Errors
    /// If a file cannot be read or is faulty, or two components have one name.
    pub fn components(&self, files: &[PathBuf]) -> Result<Vec<Component>, SourceError> {
        let mut all = self.patch.components.clone();
        for file in files {
            let name = file.display().to_string();
            let source = read_text(file, "a list of components")?;
            let of_file = self.patch.read_components(&source);
            let kind = FileKind::Components;
            for component in of_file.map_err(|faults| refused(&source, kind, (&name, &faults), self.talk.color))? {
                if all.iter().any(|c| c.name == component.name) {
                    let what = format!("the component `{}` of `{}` is there already", component.name, plain(&name));
                    return Err(SourceError::refused(what, "rename one of the two, so that the table can be read"));
                }
                all.push(component);
            }
        }
        Ok(all)
    }
}
