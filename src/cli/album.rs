//! Writing pictures: the same folder, manifest and manners as renders. Every command that draws goes through here.

use super::Failure;
use crate::report::plain;
use crate::store::{Facts, Kind, Store};
use std::io::Write;
use std::path::Path;

/// A picture, drawn and not yet written.
#[derive(Clone, Debug)]
pub(super) struct Picture {
    /// Its name in the folder.
    pub(super) name: String,
    /// The variant, where it shows one alone.
    pub(super) variant: Option<String>,
    /// Quarter notes a minute, where it shows one tempo.
    pub(super) tempo_bpm: Option<f64>,
    /// The seed of what is drawn by chance in it.
    pub(super) seed: u64,
    /// The file's text.
    pub(super) svg: String,
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
    let store = Store::open(dir, overwrite)?;
    store.claim(&pictures.iter().map(|p| p.name.as_str()).collect::<Vec<_>>())?;
    for picture in pictures {
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
