//! The page of a box that is tried: its patch with every way of reading, and the tests.

use super::{Draw, ExportError, OutputFolder, SoundSettings, comparison_listening};
use crate::judge::identify::Plan;
use crate::patch::Variant;
use crate::show::page::{listening_page, over_budget};
use crate::show::scene::{Tried, identify_page, reading_variants};
use crate::show::workload::Workload;
use crate::source::Loaded;
use crate::store::Kind;

/// What a page is going to play.
#[derive(Debug)]
pub struct ReadingsPage<'a> {
    loaded: &'a Loaded,
    versions: Vec<Variant>,
    /// Its file.
    pub(super) name: String,
}

impl<'a> ReadingsPage<'a> {
    /// The patch with each way of reading that a plan tells apart.
    ///
    /// # Errors
    /// [`ExportError`] where that is too much to play.
    pub fn new(loaded: &'a Loaded, plan: &Plan, player: usize) -> Result<Self, ExportError> {
        let rig = &loaded.patch.original.rig;
        let versions = reading_variants(rig, player, plan);
        let mut work = Workload::default();
        work.files(1);
        work.compared(&loaded.patch, &versions, true, "the page of `identify`")?;
        let name = format!("{}.{}.identify.html", loaded.stem()?, rig.sequencers[player].name);
        Ok(Self { loaded, versions, name })
    }

    /// Writes the page.
    ///
    /// # Errors
    /// [`ExportError`] for what cannot be rendered, and for its file.
    pub(super) fn write(
        &self,
        (folder, sound): (&OutputFolder, &SoundSettings),
        tried: &Tried<'_>,
    ) -> Result<(), ExportError> {
        let Self { loaded, versions, name } = self;
        let page = comparison_listening(loaded, versions, (sound, Draw(None)), folder)?;
        let text = listening_page(&identify_page(page, tried));
        if let Some(words) = over_budget(text.len(), "tempos of the patch, length with `bars` in the patch") {
            folder.say(&format!("note: {words}"));
        }
        folder.write_bytes(Kind::Page, name, text.as_bytes(), "identify", Some(loaded.origin()), None)
    }
}
