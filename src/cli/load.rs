//! From a file's name to a checked patch and the variants that were asked for.

use super::args::{BoxesArgs, PatchArgs, comma_note};
use super::takes::Reader;
use super::{Failure, terminal, wrong_file};
use crate::hits::recorded;
use crate::patch::{Asked, BoxKinds, Faults, FileKind, Patch, Variant, VariantError, other_kind};
use crate::show::report::{plain, take_notes};
use crate::store::{Contents, contents, sha256_hex};
use crate::time::Span;
use std::path::Path;

/// A patch with the name and the bytes it came from.
#[derive(Debug)]
pub(super) struct Loaded {
    /// The path as it was given.
    pub(super) name: String,
    /// The text of the file.
    pub(super) source: String,
    /// The texts of the files of kinds of boxes, one after the other.
    boxes: String,
    /// What it says.
    pub(super) patch: Patch,
    /// The files of its takes.
    reader: Reader,
}

/// The largest text file, in bytes.
const LARGEST: u64 = 1 << 20;

/// Reads a file of text; `what` is what it should be.
///
/// # Errors
/// Exit status 3 if it cannot be read, 2 if it is too large or no text.
pub(super) fn read_text(file: &Path, what: &str) -> Result<String, Failure> {
    let shown = plain(&file.display().to_string());
    let thing = what.split(' ').nth(1).unwrap_or(what);
    let cannot = |e: std::io::Error| {
        let meant = || wrong_file::meant(file).map(|path| plain(&path.display().to_string()));
        let meant = (e.kind() == std::io::ErrorKind::NotFound).then(meant).flatten();
        let help = match e.kind() {
            std::io::ErrorKind::NotFound if meant.is_some() => format!("write {}", meant.unwrap_or_default()),
            std::io::ErrorKind::IsADirectory if what == "a patch" => wrong_file::in_folder(file),
            std::io::ErrorKind::NotFound if what.ends_with(" file") => "look at the spelling of its name".to_owned(),
            std::io::ErrorKind::NotFound => "look at the spelling; hitgap new --help lists the examples".to_owned(),
            std::io::ErrorKind::InvalidInput => {
                "write what comes out of it into a file first, and name that".to_owned()
            }
            std::io::ErrorKind::PermissionDenied => {
                "this user may not read it: change its permissions, or copy it".to_owned()
            }
            _ => format!("{what} is a text file that can be read from start to end"),
        };
        Failure::File(format!("error: `{shown}` could not be read: {e}\nhelp: {help}"))
    };
    let bytes = match contents(file, LARGEST).map_err(cannot)? {
        Contents::Bytes(bytes) => bytes,
        Contents::TooLarge(length) => {
            let length = length.map_or_else(|| format!("more than {LARGEST}"), |length| length.to_string());
            let file = if what.ends_with(" file") { what.to_owned() } else { format!("{what} file") };
            let found = format!("`{shown}` has {length} bytes; {file} may hold at most {LARGEST} (1 MiB)");
            return Err(Failure::input(found, format!("{what} is a page of text: is this the right file?")));
        }
    };
    if what == "a patch"
        && let Some(told) = wrong_file::other(file, &shown, &bytes)
    {
        return Err(told);
    }
    String::from_utf8(bytes).map_err(|e| {
        let found = format!("`{shown}` is not UTF-8 text: byte {} cannot be read", e.utf8_error().valid_up_to());
        Failure::input(found, format!("save the {thing} as UTF-8, or check that this is the right file"))
    })
}

/// Reads and checks a patch file; warnings are said on stderr.
///
/// # Errors
/// Exit status 3 if the file cannot be read, 2 if it is no valid patch.
pub(super) fn load(args: &PatchArgs, max_gap: Option<Span>) -> Result<Loaded, Failure> {
    let name = args.patch.display().to_string();
    let source = read_text(&args.patch, "a patch")?;
    args.tempo.as_ref().and_then(comma_note).iter().for_each(|note| terminal::say(note));
    let mut reader = Reader::new(&args.patch);
    let tempos = args.tempo.as_ref().map(|t| t.0.clone());
    let (boxes, texts) = boxes(&args.boxes)?;
    let mut asked = Asked { tempos, bars: args.bars, max_gap, boxes, ..Asked::default() };
    if let Some(mut outline) = Patch::outline(&source, &asked) {
        // What cannot be read is told below, when the patch is known to be good.
        outline.variants.iter_mut().flatten().for_each(|take| drop(reader.fill(std::slice::from_mut(take))));
        asked.recorded = recorded(&outline);
    }
    match Patch::parse(&source, &asked) {
        Ok(mut patch) => {
            let warnings = patch.warnings.render(&name, &source, terminal::color());
            if !warnings.is_empty() {
                terminal::say(&warnings);
            }
            let rigs = std::iter::once(&mut patch.original).chain(&mut patch.fixes).map(|variant| &mut variant.rig);
            rigs.into_iter().try_for_each(|rig| reader.fill(&mut rig.takes))?;
            take_notes(&patch, &asked.recorded).iter().for_each(|note| terminal::say(note));
            Ok(Loaded { name, source, boxes: texts, patch, reader })
        }
        Err(faults) => Err(refused(&source, FileKind::Patch, &name, &faults)),
    }
}

/// Reads the files of kinds of boxes, and gives back their texts beside them.
///
/// # Errors
/// Exit status 3 if one cannot be read, 2 if one is faulty.
pub(super) fn boxes(args: &BoxesArgs) -> Result<(BoxKinds, String), Failure> {
    let (mut all, mut texts) = (BoxKinds::default(), String::new());
    for file in &args.boxes {
        let name = file.display().to_string();
        let source = read_text(file, "a list of kinds of boxes")?;
        all.extend(Patch::read_boxes(&source).map_err(|faults| refused(&source, FileKind::Boxes, &name, &faults))?);
        texts += &source;
    }
    Ok((all, texts))
}

/// What is said of a file that has faults as what it should be: of another kind, that it is one; else its faults.
pub(super) fn refused(source: &str, wanted: FileKind, name: &str, faults: &Faults) -> Failure {
    match other_kind(source, wanted) {
        Some(other) => {
            let name = plain(name);
            Failure::input(format!("`{name}` is {other}"), other.help(&name))
        }
        None => Failure::Input(faults.render(name, source, terminal::color())),
    }
}

impl Loaded {
    /// The checksum of all that the patch says, as manifests have it: of its text, and of the kinds of boxes that it was read with.
    pub(super) fn checksum(&self) -> String {
        sha256_hex(format!("{}{}", self.source, self.boxes).as_bytes())
    }

    /// The patch's name in the names of its files: the file's own, without folder and ending.
    ///
    /// # Errors
    /// Exit status 2 for a path without a file name.
    pub(super) fn stem(&self) -> Result<String, Failure> {
        super::file::stem(Path::new(&self.name))
    }

    /// The variants that `--fix` asks for; without any, the original and every fix.
    ///
    /// # Errors
    /// Exit status 2 for a fix that is not there, or two that contradict each other.
    pub(super) fn variants(&self, fixes: &[String]) -> Result<Vec<Variant>, Failure> {
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
    /// Exit status 2.
    pub(super) fn variant(&self, spec: &str) -> Result<Variant, Failure> {
        let mut variant = self.patch.variant(spec).map_err(|e| match e {
            VariantError::Together(faults) => {
                let color = terminal::color();
                Failure::Input(faults.render(&self.name, &self.source, color))
            }
            other => {
                // With a comma, each is a variant; with a plus, one has both.
                let all: Vec<&str> = spec.split(',').map(str::trim).collect();
                let help = match all.len() > 1 && all.iter().all(|name| self.patch.variant(name).is_ok()) {
                    true => format!("write --fix {}, or --fix {} for all at once", all.join(" --fix "), all.join("+")),
                    false => other.help(),
                };
                Failure::input(&other, help)
            }
        })?;
        // Two fixes together may ask for what neither does alone.
        self.reader.clone().fill(&mut variant.rig.takes)?;
        Ok(variant)
    }
}
