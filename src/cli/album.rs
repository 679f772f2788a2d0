//! Where pictures go, and how it is said that they are there.

use super::args::Format;
use super::{Failure, terminal};
use clap::Args;
use std::io::{self, Write};
use std::path::PathBuf;

pub(super) use crate::export::hang;

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
