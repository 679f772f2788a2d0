//! The page of an advice: its window, and its components to be heard.

use super::args::{DrawArgs, SoundArgs};
use super::compare::listening;
use super::load::Loaded;
use super::output_folder::{OutputFolder, origin};
use super::work::Work;
use super::{Failure, terminal};
use crate::judge::Target;
use crate::patch::{Component, Variant};
use crate::show::page::{listening_page, over_budget};
use crate::show::report::Advised;
use crate::show::scene::{advise_page, part_variants, ranked};
use crate::store::Kind;
use crate::time::Span;
use std::path::PathBuf;

/// The most components of one page: a browser mixes all of a tempo before it plays, and holds them.
const MOST: usize = 50;

/// What a page is going to play.
#[derive(Debug)]
pub(super) struct AdvisePage {
    versions: Vec<Variant>,
}

impl AdvisePage {
    /// The components of a variant, put into a path one by one.
    ///
    /// # Errors
    /// Exit status 2 where there is none, and where they are too many, or too much to play.
    pub(super) fn new(
        loaded: &Loaded,
        variant: &Variant,
        target: Target,
        components: &[Component],
    ) -> Result<Self, Failure> {
        if components.is_empty() {
            return Err(Failure::input(
                "there is no component to be heard on a page",
                "name a list with --components, or write [component.NAME] tables into the patch",
            ));
        }
        if components.len() > MOST {
            let found = components.len();
            return Err(Failure::input(
                format!("a page of {found} components is more than a browser takes well: at most {MOST}"),
                "a shorter list, or leave --page out",
            ));
        }
        let versions = part_variants(variant, target, components);
        let mut work = Work::default();
        work.files(1);
        work.compared(&loaded.patch, &versions, true, "the page of `advise`")?;
        Ok(Self { versions })
    }

    /// Writes the page; gives back where it lies, and that as it may be printed.
    ///
    /// # Errors
    /// Exit status 2 for what cannot be rendered, 3 for what cannot be written, 130 on Ctrl-C.
    pub(super) fn write(
        self,
        loaded: &Loaded,
        advised: &Advised<'_>,
        out: PathBuf,
        overwrite: bool,
    ) -> Result<(PathBuf, String), Failure> {
        let stem = loaded.stem()?;
        let on = advised.advice.target.name(advised.rig).replacen("sequencer.", "", 1);
        let name = format!("{stem}.{}.{on}.html", advised.variant);
        let sound = SoundArgs {
            out,
            overwrite,
            sample_rate: 48_000,
            bits: "24".to_owned(),
            seed: 1,
            lead_in: Span::from_ms(100),
        };
        let folder = OutputFolder::open(&sound, std::slice::from_ref(&name))?;
        let versions = ranked(self.versions, &advised.advice.parts);
        let page = listening(loaded, &versions, (&sound, &DrawArgs { run: None }), &folder)?;
        let text = listening_page(&advise_page(page, &stem, advised));
        if let Some(words) = over_budget(text.len(), "tempos with `--tempo`, components, length with `--bars`") {
            terminal::say(&format!("note: {words}"));
        }
        folder.write_bytes(Kind::Page, &name, text.as_bytes(), "advise", Some(origin(loaded)), None)?;
        let made = (folder.path(&name), folder.shown(&name));
        folder.done();
        Ok(made)
    }
}
