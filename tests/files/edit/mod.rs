//! Edits of a patch's text: what each does to the bytes, against the same change made by another library, and of texts that
//! nobody meant.

mod bytes;
mod cases;
mod hostile;
mod kept;
mod otherwise;
mod random;

use hitgap::patch::{Edit, Patch, edited};
use serde_json::{Value, from_value};
use std::path::Path;
use std::sync::LazyLock;

/// An edit, as a page sends it.
fn edit(json: Value) -> Edit {
    let told = json.to_string();
    from_value(json).unwrap_or_else(|e| panic!("{told}: {e}"))
}

/// A text with an edit made.
fn with(text: &str, json: Value) -> String {
    let told = json.to_string();
    edited(text, &edit(json)).unwrap_or_else(|e| panic!("{told}: {e}\n{text}"))
}

/// Why an edit is refused.
fn refused(text: &str, json: Value) -> String {
    edited(text, &edit(json)).expect_err("a refusal").to_string()
}

/// Every example that is a patch, by its name.
pub(crate) fn examples() -> &'static [(String, String)] {
    static ALL: LazyLock<Vec<(String, String)>> = LazyLock::new(read);
    &ALL
}

fn read() -> Vec<(String, String)> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("patches");
    let mut all: Vec<_> = std::fs::read_dir(folder)
        .expect("the examples")
        .map(|entry| entry.expect("an entry").path())
        .filter(|path| path.extension().is_some_and(|end| end == "toml"))
        .map(|path| {
            (
                path.file_stem().expect("a name").to_string_lossy().into_owned(),
                std::fs::read_to_string(&path).expect("a text"),
            )
        })
        .filter(|(_, text)| Patch::parse(text, &Default::default()).is_ok())
        .collect();
    all.sort();
    assert!(all.len() > 15, "{}", all.len());
    all
}

/// All that a patch says, or all that is wrong with it.
pub(crate) fn said(text: &str) -> Result<String, Vec<String>> {
    match Patch::parse(text, &Default::default()) {
        Ok(patch) => Ok(format!(
            "{:?}",
            (
                (
                    &patch.title,
                    &patch.note,
                    &patch.tempos,
                    &patch.meter,
                    &patch.max_gap,
                    &patch.skew,
                    &patch.max_wobble
                ),
                (&patch.original, &patch.fixes, &patch.components),
            )
        )),
        Err(faults) => {
            let mut all: Vec<String> = faults.list().iter().map(|fault| fault.message.clone()).collect();
            all.sort();
            Err(all)
        }
    }
}
