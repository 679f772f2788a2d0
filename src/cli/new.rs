use super::file::write;
use super::{Failure, Outcome, talk};
use crate::report::plain;
use clap::Args;
use std::path::PathBuf;

/// What is written: a patch that passes its own checks.
const START: &str = include_str!("new.toml");

#[derive(Args, Debug)]
pub(super) struct NewArgs {
    /// The file to write, such as mine.toml
    patch: PathBuf,
    /// Write over a file that is there
    #[arg(long)]
    overwrite: bool,
}

pub(super) fn run(args: &NewArgs) -> Result<Outcome, Failure> {
    write(&args.patch, START.as_bytes(), args.overwrite)?;
    let name = plain(&args.patch.display().to_string());
    talk::result(|out| {
        writeln!(out, "{name}\n\nNext:  hitgap check {name}\n       hitgap compare {name}")?;
        writeln!(out, "Which way a box reads its reset, no manual says: hitgap identify")
    })?;
    Ok(Outcome::Done)
}
