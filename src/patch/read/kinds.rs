//! Which kind a stage is of, before its table is read.

use crate::patch::check::node::Value;
use crate::patch::check::show::listed;
use crate::patch::check::view::Section;
use crate::patch::model::{KINDS, KindOfStage};

/// The kind that a table says, if it does.
pub(in crate::patch) fn kind_of(section: &Section<'_>) -> Option<&'static KindOfStage> {
    match section.get("kind").map(|(_, node)| &node.value) {
        Some(Value::Text(word)) => KINDS.iter().find(|kind| kind.word == word),
        _ => None,
    }
}

/// The words of some kinds, for a sentence.
pub(in crate::patch) fn kinds_that(may: impl Fn(&KindOfStage) -> bool) -> String {
    listed(KINDS.iter().filter(|kind| may(kind)).map(|kind| kind.word))
}
