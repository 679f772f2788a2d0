//! What a kind says, put into the table of one sequencer.

use crate::patch::check::fault::Place;
use crate::patch::check::node::{Key, Node, Table, Value};
use crate::patch::read::box_kind::{BoxKind, Brought};

/// Keys that go with one reset mode and not with another.
const OF_MODE: [&str; 6] = ["setup-time", "on-tie", "holdoff", "grace", "reset-edge", "sounds-on-reset"];
const PATTERNS: [&str; 2] = ["steps", "euclidean"];

/// Fills what a kind says into the table of the sequencer `name`; what stands there holds. What is filled in stands at `at`, or
/// where it stands in the kind.
pub(super) fn fill(table: &mut Table, kind: &BoxKind, name: &str, at: Option<&Place>) {
    let has_pattern = PATTERNS.iter().any(|key| table.has(key));
    let other_mode = match (table.get("reset-mode"), kind.keys.get("reset-mode")) {
        (Some(own), Some(of_kind)) => !own.same(of_kind),
        _ => false,
    };
    let has_setup = table.has("setup-time");
    for (key, node) in &kind.keys.entries {
        let word = key.text.as_str();
        let idle = table.has(word)
            || (has_pattern && PATTERNS.contains(&word))
            || (other_mode && OF_MODE.contains(&word))
            // Which is read first at one instant matters only where no time must lie between the two.
            || (has_setup && word == "on-tie");
        if !idle {
            table
                .entries
                .push((Key { text: key.text.clone(), at: at.unwrap_or(&key.at).clone() }, placed(node, name, at)));
        }
    }
}

/// A key and a text under it, both at one place.
pub(super) fn text(key: &str, text: &str, at: &Place) -> (Key, Node) {
    let key = Key { text: key.to_owned(), at: at.clone() };
    (key, Node { at: at.clone(), value: Value::Text(text.to_owned()) })
}

/// Fills in something for what a kind would say that is not known, so that it is not missed besides.
pub(super) fn pretend(table: &mut Table, at: &Place) {
    if table.has("reset") && !table.has("reset-mode") {
        table.entries.push(text("reset-mode", "ignored", at));
    }
    if !PATTERNS.iter().any(|key| table.has(key)) {
        table.entries.push(text("steps", "x", at));
    }
}

/// The name of what a kind brings for the sequencer `name`.
pub(super) fn brought_name(brought: &Brought, name: &str) -> String {
    starred(&brought.name.text, name)
}

/// What a kind brings for the sequencer `name`, as an entry of the tables of its kind.
pub(super) fn entry(brought: &Brought, name: &str, at: Option<&Place>) -> (Key, Node) {
    let key = Key { text: brought_name(brought, name), at: at.unwrap_or(&brought.name.at).clone() };
    (key, placed(&brought.table, name, at))
}

/// A copy of a value that stands elsewhere, for the sequencer `name`.
fn placed(node: &Node, name: &str, at: Option<&Place>) -> Node {
    let value = match &node.value {
        Value::Text(text) => Value::Text(starred(text, name)),
        Value::List(list) => Value::List(list.iter().map(|node| placed(node, name, at)).collect()),
        Value::Table(table) => {
            let entry = |(key, node): &(Key, Node)| {
                (Key { text: key.text.clone(), at: at.unwrap_or(&key.at).clone() }, placed(node, name, at))
            };
            Value::Table(Table { entries: table.entries.iter().map(entry).collect(), dotted: table.dotted })
        }
        other => other.clone(),
    };
    Node { at: at.unwrap_or(&node.at).clone(), value }
}

/// The first `*` stands for the sequencer's name.
fn starred(text: &str, name: &str) -> String {
    text.replacen('*', name, 1)
}
