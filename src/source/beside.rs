//! Files that a patch names, which lie beside it.

use super::SourceError;
use std::io;
use std::path::{Component, Path};

/// Whether a file lies below the folder of the patch that names it, by its name and by where links lead.
pub(super) fn is_inside(folder: &Path, file: &str) -> bool {
    let plain = Path::new(file).components().all(|part| matches!(part, Component::Normal(_) | Component::CurDir));
    let here = if folder.as_os_str().is_empty() { Path::new(".") } else { folder };
    // What is not there leads nowhere: that is told when it is read.
    let leads = |whole_folder| match folder.join(file).canonicalize() {
        Ok(whole) => whole.starts_with::<std::path::PathBuf>(whole_folder),
        Err(_) => true,
    };
    plain && here.canonicalize().is_ok_and(leads)
}

/// What is said of a file that cannot be read: what it is in the patch, and what it should be.
pub(super) fn unreadable(what: &str, error: &io::Error, meant: &str) -> SourceError {
    let help = match error.kind() {
        io::ErrorKind::NotFound => "look at the spelling: `file` is relative to the patch file".to_owned(),
        io::ErrorKind::PermissionDenied => "this user may not read it: change its permissions, or copy it".to_owned(),
        io::ErrorKind::InvalidInput => "write what comes out of it into a file first, and name that".to_owned(),
        _ => format!("{meant} is a file that can be read from start to end"),
    };
    SourceError::File(format!("{what} could not be read: {error}\nhelp: {help}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_leads_out_of_the_folder_is_seen() {
        let dir = tempfile::tempdir().expect("a folder");
        let folder = dir.path().join("in");
        std::fs::create_dir_all(folder.join("deep")).expect("folders");
        for file in ["out.csv", "in/a.csv", "in/deep/b.csv"] {
            std::fs::write(dir.path().join(file), "").expect("a file");
        }
        let out = dir.path().join("out.csv").display().to_string();
        for (file, inside) in [
            ("a.csv", true),
            ("./deep/b.csv", true),
            ("none.csv", true),
            ("../out.csv", false),
            ("deep/../../out.csv", false),
            (&out, false),
        ] {
            assert_eq!(is_inside(&folder, file), inside, "{file}");
        }
        #[cfg(unix)]
        {
            std::os::unix::fs::symlink(dir.path().join("out.csv"), folder.join("link.csv")).expect("a link");
            assert!(!is_inside(&folder, "link.csv"));
        }
    }
}
