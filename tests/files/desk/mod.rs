//! The rig as sentences: what is said, that every key is reached, and that a word set to what it is changes nothing.

mod hostile;
mod joins;
mod reached;
mod said;
mod same;

use hitgap::patch::{Asked, BoxKinds, Faults, Patch};
use hitgap::show::sentence::{Desk, Look, desk};

/// What is said of a text at 120, with a fix or none.
fn of(text: &str, fix: Option<&str>) -> Desk {
    let faults = Patch::parse(text, &Asked::default()).map_or_else(|faults| faults, |_| Faults::default());
    let tempo = "120".parse().expect("a tempo");
    desk(&Look { text, boxes: &BoxKinds::default(), tempo, fix, faults: faults.list() })
}

/// All examples, and the rigs that people have told in words.
fn all() -> Vec<(String, String)> {
    let mut all = crate::edit::examples().to_vec();
    for page in crate::fuzz::edits::examples("tests/rigs-in-words", ".md") {
        let title = page.lines().next().expect("a title").trim_start_matches("# ").to_owned();
        let toml = page.split("```toml\n").nth(1).and_then(|rest| rest.split("```").next()).expect("a patch");
        all.push((title, toml.to_owned()));
    }
    all
}
