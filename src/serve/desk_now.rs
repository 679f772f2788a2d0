//! The patch as a page has it: its text, how it stands to the file, and the rig in sentences.

use super::desk::View;
use super::file::OnDisk;
use super::opened::Opened;
use super::telling::Telling;
use crate::show::page::ServedParts;
use crate::show::sentence::Desk;
use crate::time::Tempo;
use serde::{Deserialize, Serialize};

/// For which tempo and which version the words of the desk are, and what of them the page has.
#[derive(Debug, Default, Deserialize)]
pub(super) struct At {
    tempo: Option<String>,
    version: Option<String>,
    has: Option<String>,
}

impl At {
    /// The tempo, where one is named.
    pub(super) fn tempo(&self) -> Option<Tempo> {
        self.tempo.as_ref()?.parse().ok()
    }
}

/// What a page takes over.
#[derive(Serialize)]
pub(super) struct Now<'a> {
    pub(super) edition: u64,
    /// The revision that the edition is made of.
    pub(super) of: u64,
    /// Left out where the page has the edition.
    #[serde(flatten)]
    pub(super) parts: Option<ServedParts<'a>>,
    pub(super) desk: DeskNow<'a>,
}

/// What is said of the patch as it is.
pub(super) struct Told<'a> {
    /// What is wrong with it, as the command line says it.
    pub(super) fault: Option<String>,
    /// What is right and has no effect.
    pub(super) warnings: &'a [String],
}

/// The desk as a page has it: the text and how it stands to the file, and the rig in sentences.
#[derive(Serialize)]
pub(super) struct DeskNow<'a> {
    revision: u64,
    text: &'a str,
    saved: bool,
    hash: &'a str,
    undo: usize,
    redo: usize,
    keeps: &'a [&'static str],
    patch: &'a str,
    gallery: bool,
    fault: Option<String>,
    file: Option<&'a OnDisk>,
    was: Option<&'a str>,
    kept: Option<&'static str>,
    warnings: Vec<&'a String>,
    #[serde(flatten)]
    words: Telling<'a>,
}

/// The words of a view of the desk; where the patch has faults, each at its word.
pub(super) fn words(rig: &Opened, view: &View, at: &At, faulty: bool) -> Desk {
    rig.maker.words(view, (at.tempo(), at.version.as_deref()), faulty)
}

/// What a page is told of a view of the desk.
pub(super) fn desk<'a>(rig: &Opened, (view, words): (&'a View, &'a Desk), at: &At, told: &Told<'a>) -> DeskNow<'a> {
    DeskNow {
        revision: view.revision,
        text: &view.text,
        saved: view.saved(),
        hash: &view.begun.hash,
        undo: view.steps[0],
        redo: view.steps[1],
        keeps: &view.keeps,
        patch: &view.patch,
        gallery: rig.gallery,
        fault: told.fault.clone(),
        file: view.theirs.as_ref(),
        was: (!view.saved()).then_some(&*view.begun.text),
        kept: view.taken_up.then_some("Work that was not saved is taken up. Undo leads back to the file."),
        warnings: view.unkept.iter().chain(told.warnings).collect(),
        words: rig.tellings.of(words, at.has.as_deref()),
    }
}
