//! The pictures of a check, on their way into a folder.

use super::Failure;
use super::album::{AlbumArgs, hang};
use super::load::Loaded;
use crate::patch::Variant;
use crate::show::album::{AlbumError, Subject, check_pictures};
use crate::show::report::Checked;
use clap::Args;

#[derive(Args, Debug)]
pub(super) struct PlotArgs {
    /// Draw pictures: gap over tempo and, of each variant at the tempo where it is worst, what happens at a reset and how
    /// a hit looks
    #[arg(long)]
    pub(super) plot: bool,
    #[command(flatten)]
    album: AlbumArgs,
}

/// Draws and writes all pictures of a check; gives back where they lie.
///
/// # Errors
/// Exit status 3 for the folder and its files.
pub(super) fn plot(
    args: &PlotArgs,
    loaded: &Loaded,
    variants: &[Variant],
    checked: &Checked<'_>,
    seed: u64,
) -> Result<Vec<String>, Failure> {
    let stem = loaded.stem()?;
    let subject = Subject { stem: &stem, patch: &loaded.patch, source: &loaded.source, seed };
    let pictures = check_pictures(subject, variants, checked).map_err(|e| match e {
        AlbumError::Rig(e) => Failure::input(&e, e.help()),
        AlbumError::Wave(e) => Failure::Input(format!("error: {e}")),
    })?;
    Ok(hang((&args.album.out, args.album.overwrite), "check", Some(&loaded.origin()), &pictures)?)
}
