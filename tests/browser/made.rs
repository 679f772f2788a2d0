//! What the program makes for these tests, once: a folder with a page and the WAV files beside it.

use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::OnceLock;
use tempfile::TempDir;

/// A page, and the folder that it lies in.
pub(crate) struct Made {
    /// Goes with this.
    _dir: Option<TempDir>,
    pub(crate) folder: PathBuf,
    pub(crate) page: PathBuf,
    /// What the program printed.
    pub(crate) printed: String,
}

pub(crate) fn compare(patch: &Path, more: &[&str]) -> Made {
    let dir = TempDir::new().expect("a temporary folder");
    let folder = dir.path().join("out");
    Made { _dir: Some(dir), ..compare_into(patch, folder, more) }
}

fn compare_into(patch: &Path, folder: PathBuf, more: &[&str]) -> Made {
    let stem = patch.file_stem().expect("a name").to_string_lossy();
    let patch = patch.to_str().expect("a path that is text");
    made_into(&[&["compare", patch], more].concat(), &format!("{stem}.html"), folder)
}

/// The page of this name that a command writes, run where `patches/` is.
pub(crate) fn made(args: &[&str], page: &str) -> Made {
    let dir = TempDir::new().expect("a temporary folder");
    let folder = dir.path().join("out");
    Made { _dir: Some(dir), ..made_into(args, page, folder) }
}

fn made_into(args: &[&str], page: &str, folder: PathBuf) -> Made {
    let output = Command::new(env!("CARGO_BIN_EXE_hitgap"))
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .args(args)
        .arg("--out")
        .arg(&folder)
        .output()
        .expect("the program starts");
    let stderr = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(0), "{stderr}");
    let page = folder.join(page);
    Made { _dir: None, folder, page, printed: String::from_utf8(output.stdout).expect("text") }
}

pub(crate) fn patches() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("patches")
}

/// The page that the README's first command makes.
pub(crate) fn late_bell() -> &'static Made {
    static MADE: OnceLock<Made> = OnceLock::new();
    // What a static holds is not dropped: this folder is the build's own.
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("browser-late-bell");
    MADE.get_or_init(|| compare_into(&patches().join("late-bell.toml"), folder, &["--overwrite"]))
}

/// Files of few bytes: the page beside them is the same.
pub(crate) const SMALL: [&str; 4] = ["--sample-rate", "8000", "--bits", "16"];

/// An example that has a fix to be compared with, and its page.
pub(crate) struct Example {
    pub(crate) patch: PathBuf,
    pub(crate) made: Made,
}

/// The pages of all examples that can be compared, made once, in the build's own folder.
pub(crate) fn examples() -> &'static [Example] {
    static MADE: OnceLock<Vec<Example>> = OnceLock::new();
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("browser-examples");
    let example = |patch: PathBuf| {
        let text = std::fs::read_to_string(&patch).expect("text");
        let compared =
            patch.extension().is_some_and(|e| e == "toml") && text.contains("[sequencer.") && text.contains("[fix.");
        let made = || compare_into(&patch, folder.clone(), &[&SMALL[..], &["--overwrite"]].concat());
        compared.then(|| Example { made: made(), patch: patch.clone() })
    };
    MADE.get_or_init(|| {
        let entries = std::fs::read_dir(patches()).expect("the examples");
        entries.filter_map(|entry| example(entry.expect("an entry").path())).collect()
    })
}

/// The page of the lesson that comes with the program, made once.
pub(crate) fn lesson() -> &'static Made {
    static MADE: OnceLock<Made> = OnceLock::new();
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("browser-lesson");
    let args = ["lesson", "patches/three-robots.lesson.toml", "--overwrite"];
    MADE.get_or_init(|| made_into(&args, "three-robots.html", folder))
}
