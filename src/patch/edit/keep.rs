//! What a text has changed against another, as a fix of the other.

use super::carry::carried;
use super::fixes::default;
use super::place::SET;
use super::refer::rows_by_word;
use super::scan::Page;
use super::worth::Worth;
use super::{EditError, new_name, noun, section, way};
use crate::patch::check::view::Kind;
use crate::patch::outline::{Own, Sight, Stand};
use crate::patch::read::box_kind::BoxKinds;
use crate::text::shown;

/// Keys that take each other's place.
const INSTEAD: [(&str, &[&str]); 7] = [
    ("rate", &["at"]),
    ("at", &["rate"]),
    ("steps", &["euclidean"]),
    ("euclidean", &["steps"]),
    ("delay", &["rise", "fall"]),
    ("rise", &["delay"]),
    ("fall", &["delay"]),
];

pub(super) fn keep(text: &str, fix: &str, about: Option<&str>, of: &str) -> Result<String, EditError> {
    // Fixes that were made since are no part of what has changed: they stay.
    let of = &carried(of, text)?;
    let (now, before) = (Page::read(text)?.document(), Page::read(of)?.document());
    new_name(&before, "fix", fix, None)?;
    let seen = |text: &str| Sight::new(text, &BoxKinds::default(), None);
    let set = changed(&before, &now, &|| (seen(of), seen(text)))?;
    if set.is_empty() {
        return Err(EditError::new("nothing has changed that a fix could set", "change something first"));
    }
    let mut entries: Vec<(String, Worth)> =
        about.map(|about| ("about".to_owned(), Worth::text(about))).into_iter().collect();
    entries.push((SET.to_owned(), Worth::Table(set)));
    section::add(of, &way(&["fix", fix]), &Worth::Table(entries))
}

/// What must be set in one document to have the other.
///
/// `seen` looks at both texts with kinds of boxes filled in, which a fix cannot set as such.
fn changed(before: &Worth, now: &Worth, seen: &dyn Fn() -> (Sight, Sight)) -> Result<Vec<(String, Worth)>, EditError> {
    let mut set = Vec::new();
    for kind in Kind::ALL {
        let tables = |document: &Worth| match document.get(kind.key()) {
            Some(Worth::Table(all)) => all.clone(),
            _ => Vec::new(),
        };
        let (old, new) = (tables(before), tables(now));
        if let Some((name, _)) = old.iter().find(|(name, _)| {
            new.iter().all(|(other, _)| other != name) && matches!(kind, Kind::Sequencer | Kind::Take)
        }) {
            let message = format!("the {} `{}` is not there any more", noun(kind.key()), shown(name));
            return Err(EditError::new(
                &message,
                "a fix takes nothing out: put it back, and keep what else has changed",
            ));
        }
        for (name, table) in &new {
            let path = format!("{}.{name}", kind.key());
            match old.iter().find(|(other, _)| other == name) {
                None if table.get("like").is_some() => filled(&path, name, &seen(), &mut set)?,
                None => set.push((path, table.clone())),
                Some((_, was)) if !was.same(table) => keys(kind, (name, &path), was, table, &mut set)?,
                Some(_) => {}
            }
        }
    }
    let known = |key: &str| Kind::of_key(key).is_some() || key == "fix";
    let top = |document: &Worth| match document {
        Worth::Table(entries) => entries.iter().map(|(key, _)| key.clone()).filter(|key| !known(key)).collect(),
        _ => Vec::new(),
    };
    let other = [top(before), top(now)].concat().into_iter().find(|key| match (before.get(key), now.get(key)) {
        (Some(a), Some(b)) => !a.same(b),
        (a, b) => a.is_some() || b.is_some(),
    });
    match other {
        Some(key) => {
            let message = format!("`{}` has changed, which holds for the whole patch", shown(&key));
            Err(EditError::new(&message, "a fix cannot set it: save it in the patch first, or undo it"))
        }
        None => Ok(set),
    }
}

/// A box that is new and like something: what its kind says, and what that brings.
fn filled(
    path: &str,
    name: &str,
    (before, now): &(Sight, Sight),
    set: &mut Vec<(String, Worth)>,
) -> Result<(), EditError> {
    let known = now.table("sequencer", name).filter(|table| table.entries.iter().any(|entry| entry.own == Own::Kind));
    let Some(table) = known else {
        let message = format!("`{}` is new, and nobody here knows what it is like", shown(name));
        return Err(EditError::new(&message, "a fix cannot set `like`: write what the kind says, key by key"));
    };
    for brought in now.tables.iter().filter(|table| table.own == Own::Kind) {
        let path = format!("{}.{}", brought.kind, brought.name);
        if before.table(brought.kind, &brought.name).is_none() && set.iter().all(|(known, _)| *known != path) {
            set.push((path, Worth::Table(entries(brought, &[]))));
        }
    }
    // What a kind says of an input without a wire has no effect, and could not be written.
    let idle: &[&str] = if table.get("reset").is_some() { &["like"] } else { OF_RESET };
    set.push((path.to_owned(), Worth::Table(entries(table, idle))));
    Ok(())
}

/// Keys that go with a reset, and `like`.
const OF_RESET: &[&str] = &[
    "like",
    "reset-mode",
    "setup-time",
    "on-tie",
    "holdoff",
    "grace",
    "reset-edge",
    "sounds-on-reset",
    "reset-clears-count",
];

fn entries(table: &Stand, but: &[&str]) -> Vec<(String, Worth)> {
    let all = table.entries.iter().filter(|entry| !but.contains(&entry.key.as_str()));
    all.map(|entry| (entry.key.clone(), entry.value.clone())).collect()
}

/// What must be set of one table.
fn keys(
    kind: Kind,
    (name, path): (&str, &str),
    was: &Worth,
    is: &Worth,
    set: &mut Vec<(String, Worth)>,
) -> Result<(), EditError> {
    let (Worth::Table(old), Worth::Table(new)) = (was, is) else { return Ok(()) };
    let mut own = Vec::new();
    for (key, value) in new {
        if was.get(key).is_none_or(|was| !was.same(value)) {
            if key == "like" {
                let message = format!("`like` of `{}` has changed", shown(name));
                return Err(EditError::new(&message, "a fix cannot set what a box is like: set what the kind says"));
            }
            own.push((format!("{path}.{key}"), value.clone()));
        }
    }
    let word = match is.get("kind") {
        Some(Worth::Text(word)) => Some(word.as_str()),
        _ => None,
    };
    let rows = rows_by_word(kind.key(), word);
    for (key, _) in old.iter().filter(|(key, _)| is.get(key).is_none()) {
        let instead = INSTEAD.iter().find(|(k, _)| k == key).map_or(&[][..], |(_, others)| *others);
        if instead.iter().any(|other| is.get(other).is_some() && was.get(other).is_none()) {
            continue;
        }
        let usual = match key.as_str() {
            "out" => Some(Worth::List(Vec::new())),
            _ => rows.iter().find(|row| row.key == key).and_then(|row| default(row)),
        };
        let like = is.get("like").is_some() || was.get("like").is_some();
        match usual {
            Some(value) if !like => own.push((format!("{path}.{key}"), value)),
            // A whole table holds instead of the patch's.
            None if !like => {
                set.push((path.to_owned(), is.clone()));
                return Ok(());
            }
            _ => {
                let message = format!("`{}` of `{}` has been taken out", shown(key), shown(name));
                return Err(EditError::new(&message, "a fix takes nothing out: set the value that is to hold"));
            }
        }
    }
    set.extend(own);
    Ok(())
}
