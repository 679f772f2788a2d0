//! What a fix or a change sets, made in the tables of the patch.

use crate::patch::check::fault::Faults;
use crate::patch::check::node::{Key, Value};
use crate::patch::check::show::shown;
use crate::patch::check::view::{Kind, Section, View, undefined};
use crate::patch::read::kit::kit;
use crate::patch::read::set::Change;
use crate::patch::read::voice;
use std::collections::HashMap;

/// Two changes that cannot both be made: the path, and where each stands.
pub(in crate::patch) struct Clash<'a> {
    pub(in crate::patch) first: &'a Change,
    pub(in crate::patch) second: &'a Change,
}

/// Finds the first two changes that set one thing to different values, or of which the later undoes the earlier.
///
/// A whole table first and then one of its keys is good: the key refines the table.
pub(in crate::patch) fn clash<'a>(changes: &[&'a Change]) -> Option<Clash<'a>> {
    let mut of_table: HashMap<(&str, &str), Vec<&Change>> = HashMap::new();
    for second in changes {
        let before = of_table.entry((second.kind.key(), &second.name.text)).or_default();
        let undone = |first: &&&Change| {
            let one_thing = match (&first.field, &second.field) {
                (Some(a), Some(b)) => a.text == b.text || siblings(second.kind, &a.text).contains(&b.text.as_str()),
                (None | Some(_), None) => true,
                (None, Some(_)) => false,
            };
            one_thing && !first.value.same(&second.value)
        };
        if let Some(first) = before.iter().find(undone) {
            return Some(Clash { first, second });
        }
        before.push(second);
    }
    None
}

/// The keys that a key replaces.
fn siblings(kind: Kind, key: &str) -> &'static [&'static str] {
    match (kind, key) {
        (Kind::Output, "rate") => &["at"],
        (Kind::Output, "at") => &["rate"],
        (Kind::Sequencer, "steps") => &["euclidean"],
        (Kind::Sequencer, "euclidean") => &["steps"],
        (Kind::Voice, "file") => &["model"],
        (Kind::Voice, "model") => &voice::OF_FILE,
        (Kind::Stage, "delay") => &["rise", "fall"],
        (Kind::Stage, "rise" | "fall") => &["delay"],
        _ => &[],
    }
}

/// Makes changes, in their order.
pub(in crate::patch) fn apply<'a>(view: &mut View<'a>, changes: &[&'a Change], faults: &mut Faults) {
    for change in changes {
        let position = view.position(change.kind, &change.name.text);
        match (&change.field, &change.value.value, position) {
            (None, Value::Table(table), Some(n)) => {
                view.of_mut(change.kind)[n] = Section::new(&change.name, table);
            }
            (None, Value::Table(table), None) => view.of_mut(change.kind).push(Section::new(&change.name, table)),
            (Some(field), _, Some(n)) => set_field(&mut view.of_mut(change.kind)[n], change, field),
            (Some(field), _, None) if is_of_kit(change) => {
                let fields = vec![(field, &change.value)];
                view.of_mut(change.kind).push(Section { name: &change.name, fields, broken: false });
            }
            (Some(_), _, None) => {
                let (key, name) = (change.kind.key(), shown(&change.name.text));
                let how = format!("set the whole table: set.\"{key}.{name}\" = {}", change.kind.example());
                let (at, noun) = (change.name.at.clone(), change.kind.noun());
                faults.push(undefined(at, &change.name.text, noun, view.names(change.kind), &how));
            }
            // Told when the fix was read.
            (None, _, _) => {}
        }
    }
}

fn is_of_kit(change: &Change) -> bool {
    change.kind == Kind::Voice && kit().iter().any(|v| v.name == change.name.text)
}

fn set_field<'a>(section: &mut Section<'a>, change: &'a Change, field: &'a Key) {
    let replaced = siblings(change.kind, &field.text);
    section.fields.retain(|(key, _)| !replaced.contains(&key.text.as_str()) && key.text != field.text);
    if (change.kind, field.text.as_str()) == (Kind::Voice, "file") {
        // A file has none of the settings of a model.
        section.fields.retain(|(key, _)| voice::KEYS.row(&key.text).is_some());
    }
    section.fields.push((field, &change.value));
}
