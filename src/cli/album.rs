//! Writing pictures: the same folder, manifest and manners as renders. Every command that draws goes through here.

use super::args::Format;
use super::{Failure, interrupt, terminal};
use crate::show::album::Picture;
use crate::show::report::plain;
use crate::store::{Facts, Kind};
use clap::Args;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

/// Where pictures go, for a command with `--plot`.
#[derive(Args, Debug)]
pub(super) struct AlbumArgs {
    /// The folder that pictures go to; it is made if need be
    #[arg(long, value_name = "DIR", default_value = "out", requires = "plot")]
    pub(super) out: PathBuf,
    /// Write over files that are not this program's, or were changed since it made them
    #[arg(long, requires = "plot")]
    pub(super) overwrite: bool,
}

/// Puts pictures of a patch into a folder and into its manifest, and says where they lie, as it may be printed. Either
/// every name is free or nothing is written.
///
/// `patch` is the patch's path and the checksum of its text.
///
/// # Errors
/// Exit status 3.
pub(super) fn hang(
    (dir, overwrite): (&Path, bool),
    command: &str,
    patch: &(String, String),
    pictures: &[Picture],
) -> Result<Vec<String>, Failure> {
    let (store, _at_work) = interrupt::open(dir, overwrite)?;
    store.claim(&pictures.iter().map(|p| p.name.as_str()).collect::<Vec<_>>())?;
    for picture in pictures {
        interrupt::go_on()?;
        let draft = store.begin(&picture.name)?;
        draft.file().write_all(picture.svg.as_bytes()).map_err(|e| draft.error(e))?;
        draft.commit(Facts {
            variant: picture.variant.clone(),
            tempo_bpm: picture.tempo_bpm,
            ..Facts::silent(Kind::Picture, command, Some(patch.clone()), picture.seed)
        })?;
    }
    Ok(pictures.iter().map(|p| plain(&store.dir().join(&p.name).display().to_string())).collect())
}

/// The lines below a table that say where pictures lie.
pub(super) fn lines(pictures: &[String]) -> String {
    let paths: String = pictures.iter().map(|path| format!("  {path}\n")).collect();
    match pictures.len() {
        0 => String::new(),
        1 => format!("\nPicture:\n{paths}"),
        _ => format!("\nPictures:\n{paths}"),
    }
}

/// Says on stderr where pictures lie, beside what programs read: that stays whole.
pub(super) fn beside(pictures: &[String]) {
    pictures.iter().for_each(|path| terminal::say(&format!("wrote {path}")));
}

/// Prints a result in the format that was asked for, and where its pictures lie.
///
/// # Errors
/// [`Failure::ClosedPipe`] where nobody reads any more.
pub(super) fn tell(
    (format, pictures): (Format, &[String]),
    table: impl FnOnce() -> String,
    json: impl FnOnce(&mut dyn Write) -> io::Result<()>,
    csv: impl FnOnce(&mut dyn Write) -> io::Result<()>,
) -> Result<(), Failure> {
    terminal::result(|out| match format {
        Format::Table => {
            out.write_all(table().as_bytes())?;
            out.write_all(lines(pictures).as_bytes())
        }
        Format::Json => json(out),
        Format::Csv => csv(out),
    })?;
    if format != Format::Table {
        beside(pictures);
    }
    Ok(())
}
