//! Writing pictures: the same folder, manifest and manners as renders. All that is drawn goes through here.

use super::ExportError;
use super::folder::open;
use crate::show::album::Picture;
use crate::store::interrupt;
use crate::store::{Facts, Kind};
use crate::text::plain;
use std::io::Write;
use std::path::Path;

/// Puts files of a command without a patch into a folder and into its manifest, and says where they lie, as it may be printed.
/// Either every name is free or nothing is written.
///
/// # Errors
/// Where the folder or a file refuses, or the program is asked to end.
pub fn put(
    (dir, overwrite): (&Path, bool),
    command: &str,
    files: &[(Kind, String, Vec<u8>)],
) -> Result<Vec<String>, ExportError> {
    let (store, _at_work) = open(dir, overwrite)?;
    store.claim(&files.iter().map(|file| file.1.as_str()).collect::<Vec<_>>())?;
    for (kind, name, bytes) in files {
        interrupt::go_on()?;
        let draft = store.begin(name)?;
        draft.file().write_all(bytes).map_err(|e| draft.error(e))?;
        draft.commit(Facts::silent(*kind, command, None, 1))?;
    }
    Ok(files.iter().map(|file| plain(&store.dir().join(&file.1).display().to_string())).collect())
}

/// Puts pictures of a patch into a folder and into its manifest, and says where they lie, as it may be printed. Either
/// every name is free or nothing is written.
///
/// `patch` is the patch's path and the checksum of its text, where they are of one.
///
/// # Errors
/// Where the folder or a file refuses, or the program is asked to end.
pub fn hang(
    (dir, overwrite): (&Path, bool),
    command: &str,
    patch: Option<&(String, String)>,
    pictures: &[Picture],
) -> Result<Vec<String>, ExportError> {
    let (store, _at_work) = open(dir, overwrite)?;
    store.claim(&pictures.iter().map(|p| p.name.as_str()).collect::<Vec<_>>())?;
    for picture in pictures {
        interrupt::go_on()?;
        let draft = store.begin(&picture.name)?;
        draft.file().write_all(picture.svg.as_bytes()).map_err(|e| draft.error(e))?;
        draft.commit(Facts {
            variant: picture.variant.clone(),
            tempo_bpm: picture.tempo_bpm,
            ..Facts::silent(Kind::Picture, command, patch.cloned(), picture.seed)
        })?;
    }
    Ok(pictures.iter().map(|p| plain(&store.dir().join(&p.name).display().to_string())).collect())
}
