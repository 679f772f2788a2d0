//! Single files that are named by their user, outside of any folder of renders.

use super::Failure;
use crate::patch::shown;
use std::io::Write;
use std::path::Path;

/// Writes a file that appears under its name only when it is whole.
///
/// # Errors
/// Exit status 3: where it cannot be written, or something has its name and may not be overwritten.
pub(super) fn write(path: &Path, bytes: &[u8], overwrite: bool) -> Result<(), Failure> {
    let name = shown(&path.display().to_string());
    let failed = |e: std::io::Error| {
        Failure::File(format!("error: `{name}` could not be written: {e}\nhelp: name a file in a folder that is there"))
    };
    let folder = path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
    // Opened as any new file, so that it may be read by whom the user lets read.
    let new = |path: &Path| std::fs::OpenOptions::new().write(true).create_new(true).open(path);
    let mut part = tempfile::Builder::new().make_in(folder, new).map_err(failed)?;
    part.write_all(bytes).map_err(failed)?;
    // On the disk before it has its name: else a power cut could leave the name with nothing in it.
    part.as_file().sync_all().map_err(failed)?;
    let done = if overwrite { part.persist(path) } else { part.persist_noclobber(path) };
    done.map(drop).map_err(|e| match e.error.kind() {
        std::io::ErrorKind::AlreadyExists => {
            let help = "name another file, or write over it with --overwrite";
            Failure::File(format!("error: `{name}` is there already\nhelp: {help}"))
        }
        _ => failed(e.error),
    })
}
