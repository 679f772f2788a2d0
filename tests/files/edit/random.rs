//! A thousand edits by chance, each made in the text and, by another library, in the document: both must be one patch.
//!
//! The other way (`otherwise`) reads the text with `toml_edit`, changes its tables, and writes all of it anew.

use super::otherwise::{document, json_of, otherwise};
use super::{edit, examples, said};
use crate::fuzz::cases;
use hitgap::patch::{Absent, KINDS as KINDS_OF_STAGES, Takes, edited, keys};
use proptest::prelude::*;
use serde_json::{Value as Json, json};
use std::collections::BTreeMap;
use std::sync::LazyLock;
use toml_edit::{DocumentMut, Item, TableLike};

const KINDS: [&str; 6] = ["clock", "stage", "wire", "sequencer", "hits", "voice"];
/// Values and tables of all examples, by where they stand.
pub(super) struct Pool {
    values: BTreeMap<(String, String), Vec<Json>>,
    tables: Vec<(String, Json)>,
}

fn named<'d>(document: &'d DocumentMut, kind: &str) -> Vec<(String, &'d dyn TableLike)> {
    let Some(all) = document.get(kind).and_then(Item::as_table_like) else { return Vec::new() };
    all.iter().filter_map(|(name, item)| Some((name.to_owned(), item.as_table_like()?))).collect()
}

fn pool() -> Pool {
    let mut pool = Pool { values: BTreeMap::new(), tables: Vec::new() };
    for (_, text) in examples() {
        let document = document(text);
        for kind in KINDS {
            for (_, table) in named(&document, kind) {
                let mut whole = serde_json::Map::new();
                for (key, item) in table.iter() {
                    whole.insert(key.to_owned(), json_of(item));
                    let of = pool.values.entry((kind.to_owned(), key.to_owned())).or_default();
                    of.extend(Some(json_of(item)).filter(|value| !of.contains(value)));
                }
                pool.tables.push((kind.to_owned(), Json::Object(whole)));
            }
        }
    }
    pool
}

/// An edit by numbers, for a text; `None` where there is nothing for it.
pub(super) fn chosen(text: &str, pool: &Pool, (what, a, b, c): (u8, usize, usize, usize)) -> Option<Json> {
    let document = document(text);
    let all: Vec<(&str, String)> =
        KINDS.iter().flat_map(|kind| named(&document, kind).into_iter().map(|(name, _)| (*kind, name))).collect();
    let (kind, name) = all.get(a.checked_rem(all.len())?)?;
    let table = document.get(kind)?.get(name.as_str())?.as_table_like()?;
    let keys: Vec<String> = table.iter().map(|(key, _)| key.to_owned()).collect();
    let known: Vec<_> = pool.values.iter().filter(|((k, _), _)| k == kind).collect();
    let any = &known[b % known.len()];
    let value = || json!(any.1[c % any.1.len()]);
    let fix = named(&document, "fix").into_iter().map(|(name, _)| name).nth(c % 2).unwrap_or("tried".to_owned());
    Some(match what {
        0..=4 => json!({"do": "set", "at": [kind, name, any.0.1], "to": value()}),
        5 => json!({"do": "clear", "at": [kind, name, keys.get(b.checked_rem(keys.len())?)?]}),
        6 => {
            let (kind, to) = &pool.tables[b % pool.tables.len()];
            json!({"do": "add", "at": [kind, format!("n{}", c % 50)], "to": to})
        }
        7 => json!({"do": "remove", "at": [kind, name]}),
        8 => json!({"do": "rename", "at": [kind, name], "as": format!("r{}", c % 50)}),
        9 => json!({"do": "duplicate", "at": [kind, name], "as": format!("d{}", c % 50)}),
        _ => json!({"do": "set", "at": [kind, name, any.0.1], "to": value(), "fix": fix}),
    })
}

/// Whether a fix would set what holds without it, by the table of keys.
fn is_default(text: &str, edit: &Json) -> bool {
    let part = |n: usize| edit["at"][n].as_str().expect("a word");
    let document = document(text);
    let table = document.get(part(0)).and_then(|all| all.get(part(1)));
    if edit.get("fix").is_none() || table.and_then(|table| table.get(part(2))).is_some() {
        return false;
    }
    let word = table.and_then(|table| table.get("kind")?.as_str());
    let row = match keys().row(part(0)).expect("a kind").takes {
        Takes::Named(keys) => keys.row(part(2)),
        Takes::Stages { .. } => {
            KINDS_OF_STAGES.iter().find(|kind| Some(kind.word) == word).and_then(|kind| kind.keys.row(part(2)))
        }
        _ => None,
    };
    let written = match &edit["to"] {
        Json::String(text) => text.clone(),
        other => other.to_string(),
    };
    row.is_some_and(|row| matches!(row.absent, Absent::Is(default) if default == written))
}

/// Whether a name is one of several things: the lists of a cable would be read by another rule.
fn is_shared(text: &str, name: &str) -> bool {
    let document = document(text);
    KINDS.iter().filter(|kind| named(&document, kind).iter().any(|(known, _)| known == name)).count() > 1
}

pub(super) static POOL: LazyLock<Pool> = LazyLock::new(pool);

proptest! {
    #![proptest_config(cases(70))]

    #[test]
    fn edits_of_the_text_and_of_the_document_are_one_patch(
        which in any::<usize>(),
        all in prop::collection::vec((0_u8..12, any::<usize>(), any::<usize>(), any::<usize>()), 15),
    ) {
        let (examples, pool) = (examples(), &*POOL);
        let begun = &examples[which % examples.len()].1;
        let mut text = begun.clone();
        for numbers in all {
            let Some(change) = chosen(&text, pool, numbers) else { continue };
            let name = change["at"][1].as_str().expect("a name");
            if ["rename", "remove"].contains(&change["do"].as_str().expect("a word")) && is_shared(&text, name) {
                continue;
            }
            if is_default(&text, &change) {
                continue;
            }
            let Ok(done) = edited(&text, &edit(change.clone())) else { continue };
            let other = otherwise(&text, &change);
            let (one, two) = (said(&done), said(&other));
            prop_assert!(one == two, "{change}\n---\n{text}\n--- edited\n{done}\n--- otherwise\n{other}\n--- {one:?}\n--- {two:?}");
            // What is no patch any more is left, so that most edits are of good ones.
            if one.is_ok() {
                text = done;
            }
        }
    }
}
