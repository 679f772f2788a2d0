//! The pictures of results: each session's trials and curve, a class's curve.

use super::Failure;
use super::album::hang;
use super::file::stem;
use crate::show::album::{Picture, training_pictures};
use crate::show::report::{Trained, plain};
use crate::store::sha256_hex;
use clap::Args;
use std::path::{Path, PathBuf};

#[derive(Args, Debug)]
pub(super) struct ResultsPlotArgs {
    /// Draw pictures: of each training session its trials and its curve, of a class its curve
    #[arg(long)]
    pub(super) plot: bool,
    /// The folder that pictures go to; it is made if need be
    #[arg(long, value_name = "DIR", default_value = "out", requires = "plot")]
    out: PathBuf,
    /// Write over pictures that are not this program's, or were changed since it made them; to an ear file, thresholds are only
    /// ever added
    #[arg(long, requires = "written")]
    overwrite: bool,
}

/// Two pictures of each session, whose intervals were drawn from `seed`; `texts` are the files by name and text, in the same order.
///
/// # Errors
/// Exit status 2 where two files have one name; 3 for the folder and its files.
pub(super) fn plot(
    args: &ResultsPlotArgs,
    texts: &[(String, String)],
    all: &[Trained],
    seed: u64,
) -> Result<Vec<String>, Failure> {
    let stems: Vec<String> = texts.iter().map(|(name, _)| stem(Path::new(name))).collect::<Result<_, _>>()?;
    for (n, one) in stems.iter().enumerate() {
        if stems[..n].iter().any(|other| other.to_lowercase() == one.to_lowercase()) {
            let found = format!("two files are called `{}`, and pictures have their names", plain(one));
            return Err(Failure::input(found, "rename one of the two, or draw them into two folders"));
        }
    }
    let mut shown = Vec::new();
    for ((name, text), (stem, trained)) in texts.iter().zip(stems.iter().zip(all)) {
        let pictures = training_pictures(stem, trained, seed);
        shown.extend(put(args, (name, text), &pictures)?);
    }
    Ok(shown)
}

/// Puts pictures of a file into the folder.
///
/// # Errors
/// Exit status 3.
pub(super) fn put(
    args: &ResultsPlotArgs,
    (name, text): (&str, &str),
    pictures: &[Picture],
) -> Result<Vec<String>, Failure> {
    let source = (name.to_owned(), sha256_hex(text.as_bytes()));
    Ok(hang((&args.out, args.overwrite), "results", Some(&source), pictures)?)
}
