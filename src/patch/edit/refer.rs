//! Who names whom: found by the table of keys, so that a key more is known here by itself.

use super::Part;
use super::place::SET;
use crate::patch::check::fault::Place;
use crate::patch::check::node::{Key, Node, Table, Value};
use crate::patch::check::view::Kind;
use crate::patch::model::{Absent, KINDS, Row, Takes};
use crate::patch::read::{box_kind, component, output, sequencer, set, take, voice, wire};
use crate::patch::table;

/// A place where something is named.
#[derive(Clone, Debug)]
pub(in crate::patch) struct Reference {
    /// The way to the name; of what is set, to its key.
    pub(in crate::patch) path: Vec<Part>,
    /// The text in quotes, or the key.
    pub(in crate::patch) place: Place,
    pub(in crate::patch) kind: &'static str,
    pub(in crate::patch) name: String,
    pub(in crate::patch) role: Role,
}

/// As what something is named.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(in crate::patch) enum Role {
    /// Where a path begins.
    Begin { needed: bool },
    /// On a path, or on the way to the ear.
    Stage,
    /// Alone under a key.
    Name { needed: bool },
    /// In a list of names.
    Listed,
    /// In the path of what a fix or a change sets.
    Set,
}

/// The keys of a table of a kind; of a stage those of its own kind, where that is known.
pub(in crate::patch) fn rows_of(kind: &str, table: Option<&Table>) -> Vec<&'static Row> {
    let word = match table.and_then(|table| table.get("kind")).map(|node| &node.value) {
        Some(Value::Text(word)) => Some(word.as_str()),
        _ => None,
    };
    rows_by_word(kind, word)
}

/// The keys of a table of a kind; of a stage those of the kind that it says, or where that is not known those of all.
pub(super) fn rows_by_word(kind: &str, word: Option<&str>) -> Vec<&'static Row> {
    let stage = || {
        let known: Vec<_> = KINDS.iter().filter(|kind| word == Some(kind.word)).collect();
        let kinds = if known.is_empty() { KINDS.iter().collect() } else { known };
        kinds.into_iter().flat_map(|kind| kind.keys.rows).collect::<Vec<_>>()
    };
    match kind {
        "clock" => output::KEYS.rows.iter().collect(),
        "stage" => stage(),
        "component" => [stage(), component::KEYS.rows.iter().collect()].concat(),
        "wire" => wire::KEYS.rows.iter().collect(),
        "sequencer" => sequencer::KEYS.rows.iter().collect(),
        "box" => {
            let own = sequencer::KEYS.rows.iter().filter(|row| row.key != box_kind::LIKE);
            own.chain(box_kind::KEYS.rows).collect()
        }
        "hits" => take::KEYS.rows.iter().collect(),
        "voice" => voice::KEYS.rows.iter().collect(),
        "fix" => set::KEYS.rows.iter().collect(),
        _ => Vec::new(),
    }
}

/// All that names something, in the order of the file.
pub(in crate::patch) fn references(document: &Table) -> Vec<Reference> {
    let mut all = Vec::new();
    let rows: Vec<&Row> = table::keys().rows.iter().collect();
    walk(document, &rows, &mut Vec::new(), &mut all);
    all.sort_by_key(|reference| reference.place.start);
    all
}

fn walk(table: &Table, rows: &[&'static Row], path: &mut Vec<Part>, all: &mut Vec<Reference>) {
    for (key, node) in &table.entries {
        let Some(row) = rows.iter().find(|row| row.key == key.text) else { continue };
        path.push(Part::Key(key.text.clone()));
        value(node, row, path, all);
        path.pop();
    }
}

fn value(node: &Node, row: &'static Row, path: &mut Vec<Part>, all: &mut Vec<Reference>) {
    let needed = matches!(row.absent, Absent::Needed(_)) || row.key == "with";
    match row.takes {
        Takes::Path => each(node, path, |node, text, n, path| {
            let known = if n > 0 { Some(("stage", text, Role::Stage)) } else { begin(text, needed) };
            all.extend(known.map(|(kind, name, role)| reference(node, path, kind, name, role)));
        }),
        Takes::Out => each(node, path, |node, text, _, path| {
            all.push(reference(node, path, "stage", text, Role::Stage));
        }),
        Takes::Names(_) => each(node, path, |node, text, _, path| {
            let kinds = ["sequencer", "clock", "stage"];
            all.extend(kinds.map(|kind| reference(node, path, kind, text, Role::Listed)));
        }),
        Takes::Name(what) => {
            let kind = match what {
                "voice" => "voice",
                "output" => "clock",
                "kind of box" => "box",
                _ => "stage",
            };
            if let Value::Text(text) = &node.value {
                all.push(reference(node, path, kind, text, Role::Name { needed: needed || kind == "box" }));
            }
        }
        Takes::Notes => {
            if let Value::Table(notes) = &node.value {
                for (key, node) in &notes.entries {
                    if let Value::Text(text) = &node.value {
                        path.push(Part::Key(key.text.clone()));
                        all.push(reference(node, path, "voice", text, Role::Name { needed: false }));
                        path.pop();
                    }
                }
            }
        }
        Takes::Set => {
            if let Value::Table(set) = &node.value {
                set.entries.iter().for_each(|entry| set_entry(entry, path, all));
            }
        }
        Takes::Brings => {
            if let Value::Table(brought) = &node.value {
                for (key, node) in &brought.entries {
                    let kind = key.text.split('.').next().unwrap_or_default();
                    if let Value::Table(table) = &node.value {
                        path.push(Part::Key(key.text.clone()));
                        walk(table, &rows_of(kind, Some(table)), path, all);
                        path.pop();
                    }
                }
            }
        }
        Takes::Table(keys) => {
            if let Value::Table(table) = &node.value {
                walk(table, &keys.rows.iter().collect::<Vec<_>>(), path, all);
            }
        }
        Takes::Tables(keys, ..) => {
            if let Value::List(list) = &node.value {
                for (n, node) in list.iter().enumerate() {
                    if let Value::Table(table) = &node.value {
                        path.push(Part::Entry(n));
                        walk(table, &keys.rows.iter().collect::<Vec<_>>(), path, all);
                        path.pop();
                    }
                }
            }
        }
        Takes::Named(_) | Takes::Stages { .. } | Takes::Voices | Takes::Boxes => {
            if let Value::Table(named) = &node.value {
                for (name, node) in &named.entries {
                    if let Value::Table(table) = &node.value {
                        path.push(Part::Key(name.text.clone()));
                        walk(table, &rows_of(row.key, Some(table)), path, all);
                        path.pop();
                    }
                }
            }
        }
        _ => {}
    }
}

fn set_entry((key, node): &(Key, Node), path: &mut Vec<Part>, all: &mut Vec<Reference>) {
    let mut parts = key.text.splitn(3, '.');
    let (Some(kind), Some(name)) = (parts.next().and_then(Kind::of_key), parts.next()) else { return };
    path.push(Part::Key(key.text.clone()));
    all.push(Reference {
        path: path.clone(),
        place: key.at.clone(),
        kind: kind.key(),
        name: name.to_owned(),
        role: Role::Set,
    });
    match (parts.next(), &node.value) {
        (Some(field), _) => {
            if let Some(row) = rows_of(kind.key(), None).into_iter().find(|row| row.key == field) {
                value(node, row, path, all);
            }
        }
        (None, Value::Table(table)) => walk(table, &rows_of(kind.key(), Some(table)), path, all),
        (None, _) => {}
    }
    path.pop();
}

fn reference(node: &Node, path: &[Part], kind: &'static str, name: &str, role: Role) -> Reference {
    Reference { path: path.to_vec(), place: node.at.clone(), kind, name: name.to_owned(), role }
}

/// Each text of a list, or the one that stands alone.
fn each(node: &Node, path: &mut Vec<Part>, mut tell: impl FnMut(&Node, &str, usize, &[Part])) {
    match &node.value {
        Value::Text(text) => tell(node, text, 0, path),
        Value::List(list) => {
            for (n, node) in list.iter().enumerate() {
                if let Value::Text(text) = &node.value {
                    path.push(Part::Entry(n));
                    tell(node, text, n, path);
                    path.pop();
                }
            }
        }
        _ => {}
    }
}

/// What a path begins with.
pub(in crate::patch) fn begin(text: &str, needed: bool) -> Option<(&'static str, &str, Role)> {
    let role = Role::Begin { needed };
    let mut parts = text.splitn(3, '.');
    match (parts.next(), parts.next()) {
        (Some(output), None) => Some(("clock", output, role)),
        (Some("wire"), Some(wire)) => Some(("wire", wire, role)),
        (Some("sequencer"), Some(sequencer)) => Some(("sequencer", sequencer, role)),
        _ => None,
    }
}

/// Whether something stands in what a fix or a change sets, and how far the way to that leads.
pub(super) fn within_set(path: &[Part]) -> Option<&[Part]> {
    match path {
        [Part::Key(holder), _, Part::Key(set), _, ..] if (holder == "fix" || holder == "change") && set == SET => {
            Some(&path[..4])
        }
        _ => None,
    }
}
