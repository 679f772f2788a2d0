//! The page of a box that is tried: its patch with every way of reading, and the tests.

use super::args::{DrawArgs, SoundArgs};
use super::compare::listening;
use super::load::Loaded;
use super::output_folder::{OutputFolder, origin};
use super::work::Work;
use super::{Failure, terminal};
use crate::judge::identify::Plan;
use crate::patch::Variant;
use crate::show::page::{listening_page, over_budget};
use crate::show::scene::{Tried, identify_page, reading_variants};
use crate::store::Kind;
use std::path::PathBuf;

/// What a page is going to play.
#[derive(Debug)]
pub(super) struct IdentifyPage<'a> {
    loaded: &'a Loaded,
    versions: Vec<Variant>,
    /// Its file.
    pub(super) name: String,
}

impl<'a> IdentifyPage<'a> {
    /// The patch with each way of reading.
    ///
    /// # Errors
    /// Exit status 2 where that is too much to play.
    pub(super) fn new(loaded: &'a Loaded, plan: &Plan, player: usize) -> Result<Self, Failure> {
        let rig = &loaded.patch.original.rig;
        let versions = reading_variants(rig, player, plan);
        let mut work = Work::default();
        work.files(1);
        work.compared(&loaded.patch, &versions, true, "the page of `identify`")?;
        let name = format!("{}.{}.identify.html", loaded.stem()?, rig.sequencers[player].name);
        Ok(Self { loaded, versions, name })
    }

    /// Writes the page; gives back where it lies, and that as it may be printed.
    ///
    /// # Errors
    /// Exit status 2 for what cannot be rendered, 3 for what cannot be written, 130 on Ctrl-C.
    pub(super) fn write(
        self,
        folder: &OutputFolder,
        sound: &SoundArgs,
        tried: &Tried<'_>,
    ) -> Result<(PathBuf, String), Failure> {
        let Self { loaded, versions, name } = self;
        let page = listening(loaded, &versions, (sound, &DrawArgs { run: None }), folder)?;
        let text = listening_page(&identify_page(page, tried));
        if let Some(words) = over_budget(text.len(), "tempos of the patch, length with `bars` in the patch") {
            terminal::say(&format!("note: {words}"));
        }
        folder.write_bytes(Kind::Page, &name, text.as_bytes(), "identify", Some(origin(loaded)), None)?;
        Ok((folder.path(&name), folder.shown(&name)))
    }
}
