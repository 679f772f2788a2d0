//! What there is to begin from, where no patch was named: examples and bare rigs, written into the folder when one is chosen.

use super::maker::Subject;
use crate::judge::{Judged, State};
use crate::patch::{Asked, FileKind, Patch, Variant, other_kind};
use crate::rig::Run;
use crate::show::page::GalleryRig;
use crate::show::report::verdict_sentence;
use crate::source::carried::{EXAMPLES, Embedded, Example, TEMPLATES, Template};
use crate::store::write_whole;
use rayon::prelude::*;
use std::path::{Path, PathBuf};

/// The rigs to build upon, then the examples: patches all.
pub(super) fn rigs() -> [Vec<GalleryRig>; 2] {
    let begin = templates().into_par_iter().map(|template| {
        let title = template.about.chars().next().into_iter().flat_map(char::to_uppercase);
        let title = title.chain(template.about.chars().skip(1)).collect();
        GalleryRig { title, ..rig(template.name, template.text) }
    });
    let examples = examples().into_par_iter().map(|example| rig(example.name(), example.file.text));
    [begin.collect(), examples.collect()]
}

/// The barest first.
fn templates() -> Vec<&'static Template> {
    let patches = TEMPLATES.iter().filter(|template| Patch::parse(template.text, &Asked::default()).is_ok());
    let mut all: Vec<&Template> = patches.collect();
    all.sort_by_key(|template| template.text.len());
    all
}

fn examples() -> Vec<&'static Example> {
    let patch = |example: &&Example| {
        example.file.name.ends_with(".toml") && other_kind(example.file.text, FileKind::Patch).is_none()
    };
    EXAMPLES.iter().filter(patch).collect()
}

fn rig(name: &str, text: &str) -> GalleryRig {
    let patch = Patch::parse(text, &Asked::default()).ok();
    let table: toml::Table = text.parse().unwrap_or_default();
    let said = |key: &str| table.get(key).and_then(toml::Value::as_str).unwrap_or_default().trim().to_owned();
    let note = said("note").split_whitespace().collect::<Vec<_>>().join(" ");
    let first = note.find(". ").map_or(note.as_str(), |end| &note[..=end]);
    let mut rig = GalleryRig {
        name: name.to_owned(),
        title: said("title"),
        about: first.to_owned(),
        lead: String::new(),
        tempos: Vec::new(),
        versions: Vec::new(),
    };
    if let Some(patch) = patch {
        let variants: Vec<&Variant> = std::iter::once(&patch.original).chain(&patch.fixes).collect();
        let judged = |v: &&Variant| -> Option<Vec<Judged<'_>>> {
            let (patch, v) = (&patch, variants.iter().find(|own| own.name == v.name)?);
            patch.tempos.iter().map(|tempo| Judged::new(v, *tempo, patch, Run::Typical).ok()).collect()
        };
        // One that plays a take is not heard before it lies beside that.
        let takes = variants.iter().any(|v| !v.rig.takes.is_empty());
        if !takes && let Some(all) = variants.iter().map(judged).collect::<Option<Vec<_>>>() {
            let lent: Vec<Vec<&Judged<'_>>> = all.iter().map(|of| of.iter().collect()).collect();
            rig.lead = verdict_sentence(&lent, patch.max_gap);
            rig.tempos = patch.tempos.iter().map(ToString::to_string).collect();
            let states = |of: &Vec<Judged<'_>>| of.iter().map(Judged::state).collect::<Vec<State>>();
            rig.versions = variants.iter().map(|v| v.name.clone()).zip(all.iter().map(states)).collect();
        }
    }
    rig
}

/// Writes what was chosen into a folder, with all that goes with it, under a name that is free there; what is then open.
///
/// # Errors
/// For a name that is none of the gallery's, and where it cannot be written.
pub(super) fn begin(name: &str, folder: &Path, subject: &Subject) -> Result<Subject, String> {
    let (file, beside): (Embedded, &[Embedded]) =
        if let Some(example) = examples().into_iter().find(|e| e.name() == name) {
            (example.file, example.beside)
        } else if let Some(template) = templates().into_iter().find(|t| t.name == name) {
            let name = match template.name {
                "one-box" => "rig.toml",
                _ => "mine.toml",
            };
            (Embedded { name, text: template.text }, &[])
        } else {
            return Err("there is no such rig".to_owned());
        };
    for file in beside {
        let path = folder.join(file.name);
        if std::fs::read(&path).is_ok_and(|there| there == file.text.as_bytes()) {
            continue;
        }
        write_whole(&path, file.text.as_bytes(), false).map_err(|e| format!("{e}: {}", e.help()))?;
    }
    let patch = free(folder, file.name);
    write_whole(&patch, file.text.as_bytes(), false).map_err(|e| format!("{e}: {}", e.help()))?;
    Ok(Subject { patch, ..subject.clone() })
}

/// A name in the folder that nothing has: its own, or with a number.
fn free(folder: &Path, name: &str) -> PathBuf {
    let (stem, end) = name.split_once('.').unwrap_or((name, "toml"));
    let numbered = (2_u32..).map(|n| folder.join(format!("{stem}-{n}.{end}")));
    let mut all = std::iter::once(folder.join(name)).chain(numbered);
    all.find(|path| path.symlink_metadata().is_err()).unwrap_or_else(|| folder.join(name))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_rig_of_the_gallery_has_a_title_and_what_is_heard_of_it() {
        let [begin, examples] = rigs();
        assert!(begin.len() >= 3 && examples.len() >= 20, "{} {}", begin.len(), examples.len());
        for rig in begin.iter().chain(&examples) {
            assert!(!rig.title.is_empty(), "{rig:?}");
            assert_eq!(rig.lead.is_empty(), rig.name == "taken-by-hand", "{rig:?}");
            assert!(rig.versions.iter().all(|(_, states)| states.len() == rig.tempos.len()), "{rig:?}");
        }
        // Design, section 5: the gate puts Wren right at every tempo.
        let bell = examples.iter().find(|rig| rig.name == "late-bell").expect("the first example");
        assert_eq!(
            bell.versions.iter().find(|(name, _)| name == "or-gate").map(|(_, s)| &s[..]),
            Some(&[State::Together; 4][..])
        );
    }

    #[test]
    fn what_is_chosen_never_lies_over_something() {
        let folder = tempfile::tempdir().expect("a folder");
        let subject = Subject::of(PathBuf::new());
        let first = begin("late-bell", folder.path(), &subject).expect("written").patch;
        let second = begin("late-bell", folder.path(), &subject).expect("written").patch;
        assert_eq!([&first, &second], [&folder.path().join("late-bell.toml"), &folder.path().join("late-bell-2.toml")]);
        let taken = begin("taken-by-hand", folder.path(), &subject).expect("written").patch;
        assert!(taken.exists() && folder.path().join("taken-by-hand.csv").exists());
        assert!(
            begin("../late-bell", folder.path(), &subject).is_err()
                && begin("components", folder.path(), &subject).is_err()
        );
    }
}
