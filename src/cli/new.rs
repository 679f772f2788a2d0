use super::file::write;
use super::{Failure, Outcome, terminal};
use crate::show::report::plain;
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
    // What a shell would take for several words, or for more than a name.
    let plainly = |c: char| c.is_alphanumeric() || "._-/+:\\".contains(c);
    let word = if name.chars().all(plainly) { name.clone() } else { format!("\"{name}\"") };
    terminal::result(|out| {
        writeln!(out, "{name}\n\nNext:  hitgap check {word}\n       hitgap compare {word}")?;
        writeln!(out, "Which way a box reads its reset, no manual says: hitgap identify")
    })?;
    Ok(Outcome::Done)
}
