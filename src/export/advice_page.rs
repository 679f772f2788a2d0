//! The page of an advice: its window, and its components to be heard.

use super::{Destination, Draw, ExportError, OutputFolder, comparison_listening};
use crate::judge::Target;
use crate::patch::{Component, Variant};
use crate::show::page::{listening_page, over_budget};
use crate::show::report::Advised;
use crate::show::scene::{advise_page, part_variants, ranked};
use crate::show::workload::Workload;
use crate::source::Loaded;
use crate::store::Kind;
use std::path::PathBuf;

/// The most components of one page: a browser mixes all of a tempo before it plays, and holds them.
const MOST: usize = 50;

/// What a page is going to play.
#[derive(Debug)]
pub struct AdvicePage {
    versions: Vec<Variant>,
}

impl AdvicePage {
    /// The components of a variant, put into a path one by one.
    ///
    /// # Errors
    /// [`ExportError`] where there is none, and where they are too many, or too much to play.
    pub fn new(
        loaded: &Loaded,
        variant: &Variant,
        target: Target,
        components: &[Component],
    ) -> Result<Self, ExportError> {
        if components.is_empty() {
            return Err(ExportError::refused(
                "there is no component to be heard on a page",
                "name a list with --components, or write [component.NAME] tables into the patch",
            ));
        }
        if components.len() > MOST {
            let found = components.len();
            return Err(ExportError::refused(
                format!("a page of {found} components is more than a browser takes well: at most {MOST}"),
                "a shorter list, or leave --page out",
            ));
        }
        let versions = part_variants(variant, target, components);
        let mut work = Workload::default();
        work.files(1);
        work.compared(&loaded.patch, &versions, true, "the page of `advise`")?;
        Ok(Self { versions })
    }

    /// Writes the page; gives back where it lies, and that as it may be shown.
    ///
    /// # Errors
    /// [`ExportError`] for what cannot be rendered, and for the folder and its file.
    pub fn write(
        self,
        loaded: &Loaded,
        advised: &Advised<'_>,
        to: &Destination,
    ) -> Result<(PathBuf, String), ExportError> {
        let stem = loaded.stem()?;
        let on = advised.advice.target.name(advised.rig).replacen("sequencer.", "", 1);
        let name = format!("{stem}.{}.{on}.html", advised.variant);
        let folder = OutputFolder::open(to, std::slice::from_ref(&name))?;
        let versions = ranked(self.versions, &advised.advice.parts);
        let page = comparison_listening(loaded, &versions, (&to.sound, Draw(None)), &folder)?;
        let text = listening_page(&advise_page(page, &stem, advised));
        if let Some(words) = over_budget(text.len(), "tempos with `--tempo`, components, length with `--bars`") {
            folder.say(&format!("note: {words}"));
        }
        folder.write_bytes(Kind::Page, &name, text.as_bytes(), "advise", Some(loaded.origin()), None)?;
        let made = (folder.path(&name), folder.shown(&name));
        folder.done();
        Ok(made)
    }
}
