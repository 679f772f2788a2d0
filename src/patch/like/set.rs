//! `like` where a fix or a change would set it, which cannot be: kinds are filled in before either is made.

use super::fill::{brought_name, pretend, text};
use super::known::{Known, no_kind};
use crate::patch::check::fault::{Fault, Faults};
use crate::patch::check::node::{Node, Table, Value};
use crate::patch::check::show::shown;
use crate::patch::check::view::Kind;
use crate::patch::read::box_kind::{BoxKind, LIKE};

/// Tells every `like` in what is set, with the lines that say the same.
pub(super) fn refuse_sets(table: &mut Table, known: &Known<'_>, faults: &mut Faults) {
    let set = |node: &Node| matches!(&node.value, Value::Table(table) if table.has("set"));
    let fixes = match table.get_mut("fix").map(|node| &mut node.value) {
        Some(Value::Table(fixes)) => fixes.entries.iter_mut().map(|(_, node)| node).filter(|node| set(node)).collect(),
        _ => Vec::new(),
    };
    for node in fixes {
        refuse(node, false, known, faults);
    }
    if let Some(Value::List(changes)) = table.get_mut("change").map(|node| &mut node.value) {
        for node in changes.iter_mut().filter(|node| set(node)) {
            refuse(node, true, known, faults);
        }
    }
}

fn refuse(node: &mut Node, changes: bool, known: &Known<'_>, faults: &mut Faults) {
    let who = if changes { "a change" } else { "a fix" };
    let Value::Table(table) = &mut node.value else { return };
    let Some(Value::Table(set)) = table.get_mut("set").map(|node| &mut node.value) else { return };
    let begin = format!("{}.", Kind::Sequencer.key());
    for (key, node) in &mut set.entries {
        let Some(path) = key.text.strip_prefix(&begin) else { continue };
        let (name, like, at) = match (path.split_once('.'), &node.value) {
            (Some((name, LIKE)), _) => (name, &*node, &key.at),
            (None, Value::Table(whole)) => {
                let Some((like_at, like)) = whole.entries.iter().find(|(key, _)| key.text == LIKE) else { continue };
                (path, like, &like_at.at)
            }
            _ => continue,
        };
        let kind = match &like.value {
            Value::Text(kind) => known.get(kind).ok_or_else(|| no_kind(like.at.clone(), kind, known)).map(Some),
            _ => Ok(None),
        };
        let refused = |help: String| {
            Fault::new(at.clone(), format!("{who} cannot set `{LIKE}`"))
                .label("kinds are filled in before anything is set")
                .help(help)
        };
        faults.push(match kind {
            Err(fault) => fault,
            // A change sets values; a whole table it cannot.
            Ok(Some(kind)) if changes && !kind.brings.is_empty() => refused(
                "compare the two with a fix: that kind brings outputs or stages, which cannot be added in a piece"
                    .to_owned(),
            ),
            Ok(Some(kind)) => refused(instead(kind, name)),
            Ok(None) => refused("set what the kind says, key by key: `hitgap boxes` lists it".to_owned()),
        });
        // What the kind would say is not missed besides: the key is told, and its table with it.
        let at = at.clone();
        if let Value::Table(whole) = &mut node.value {
            let filled = ["clock", "voice"].into_iter().filter(|key| !whole.has(key)).collect::<Vec<_>>();
            for key in filled {
                let value = if key == "clock" { known.output.as_deref() } else { Some("kick") };
                whole.entries.extend(value.map(|value| text(key, value, &at)));
            }
            pretend(whole, &at);
        }
    }
}

/// The lines that set what a kind says.
fn instead(kind: &BoxKind, name: &str) -> String {
    let path = |path: &str, value: &str| format!("set.\"{path}\" = {value}");
    let name = shown(name);
    let brought = kind.brings.iter().zip(kind.brings());
    let tables = brought.map(|(b, (_, value))| path(&format!("{}.{}", b.kind.key(), brought_name(b, &name)), &value));
    let keys = kind.keys().into_iter();
    let keys = keys.map(|(key, value)| path(&format!("sequencer.{name}.{key}"), &value.replacen('*', &name, 1)));
    let lines: Vec<String> = tables.chain(keys).collect();
    format!("write what it says: {}", lines.join("\nand                 "))
}
