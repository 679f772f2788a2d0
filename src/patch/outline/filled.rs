//! What a box would have from its kind, and from the rest of the patch, if it did not say it itself.

use super::{BoxKinds, Faults, Kind, LIKE, Table, Value, merged};
use std::collections::HashMap;

/// For each sequencer that is like something, the keys that are there even where it writes none of them. Its reset stays as it is:
/// on which output it steps depends on who is reset by what.
pub(super) fn filled(text: &str, document: &Table, boxes: &BoxKinds) -> HashMap<String, Vec<String>> {
    let mut bare = document.clone();
    let mut like = Vec::new();
    if let Some(Value::Table(sequencers)) = bare.get_mut(Kind::Sequencer.key()).map(|node| &mut node.value) {
        for (name, node) in &mut sequencers.entries {
            let Value::Table(own) = &mut node.value else { continue };
            if own.has(LIKE) {
                own.entries.retain(|(key, _)| [LIKE, "reset"].contains(&key.text.as_str()));
                like.push(name.text.clone());
            }
        }
    }
    if like.is_empty() {
        return HashMap::new();
    }
    let whole = merged(text, bare, boxes, &mut Faults::default());
    let Some(Value::Table(sequencers)) = whole.get(Kind::Sequencer.key()).map(|node| &node.value) else {
        return HashMap::new();
    };
    let keys = |value: &Value| match value {
        Value::Table(own) => own.entries.iter().map(|(key, _)| key.text.clone()).collect(),
        _ => Vec::new(),
    };
    let of = sequencers.entries.iter().filter(|(name, _)| like.contains(&name.text));
    of.map(|(name, node)| (name.text.clone(), keys(&node.value))).collect()
}
