//! What a fix sets: the patch itself stays as it is.

use super::place::SET;
use super::refer::rows_by_word;
use super::scan::Page;
use super::set::{change, clear as cleared, set as put};
use super::worth::Worth;
use super::{EditError, Part, new_name, not_there, told, way};
use crate::patch::check::view::Kind;
use crate::patch::model::{Absent, Row, Takes};
use crate::text::shown;

/// Where a fix sets what stands at a place: the way to it, and how far the place itself leads beyond.
struct Aim {
    /// From the fix on.
    path: Vec<Part>,
    /// What is set there: the path in quotes.
    key: String,
    /// Of the value that is set.
    rest: Vec<Part>,
    /// The value that the patch has without the fix.
    own: Vec<Part>,
    /// A whole table is set there, which holds instead of the patch's.
    whole: bool,
}

fn aim(document: &Worth, fix: &str, at: &[Part]) -> Result<Aim, EditError> {
    let (kind, name) = match at {
        [Part::Key(kind), Part::Key(name), ..] if Kind::of_key(kind).is_some() => (kind, name),
        _ => {
            let message = format!("a fix cannot set `{}`, which holds for the whole patch", told(at));
            return Err(EditError::new(&message, "set it in the patch itself"));
        }
    };
    let table = format!("{kind}.{name}");
    let set = way(&["fix", fix, SET]);
    let with = |key: &str| [set.clone(), way(&[key])].concat();
    if document.at(&with(&table)).is_some() || at.len() == 2 {
        return Ok(Aim { path: with(&table), key: table, rest: at[2..].to_vec(), own: at[..2].to_vec(), whole: true });
    }
    let Part::Key(field) = &at[2] else {
        return Err(EditError::new("this is not the way to a key", "write a kind, a name and a key"));
    };
    let key = format!("{table}.{field}");
    Ok(Aim { path: with(&key), key, rest: at[3..].to_vec(), own: at[..3].to_vec(), whole: false })
}

pub(super) fn set(text: &str, fix: &str, at: &[Part], to: &Worth) -> Result<String, EditError> {
    let document = Page::read(text)?.document();
    let aim = aim(&document, fix, at)?;
    let mut value = document.at(&aim.path).or_else(|| document.at(&aim.own)).cloned();
    if aim.rest.is_empty() {
        value = Some(to.clone());
    } else {
        change(value.get_or_insert(Worth::Table(Vec::new())), &aim.rest, Some(to));
    }
    let value = value.unwrap_or_else(|| to.clone());
    let there = document.at(&aim.path).is_some();
    if is_own(&document, &aim, &value) && (!there || others(&document, fix, &aim.key)) {
        return if there { cleared(text, &aim.path) } else { Ok(text.to_owned()) };
    }
    if document.at(&way(&["fix", fix])).is_none() {
        new_name(&document, "fix", fix, None)?;
        let set = Worth::Table(vec![(SET.to_owned(), Worth::Table(vec![(aim.key, value)]))]);
        return put(text, &way(&["fix", fix]), &set);
    }
    // A key of a whole table, or of one in braces, keeps what stands around it.
    if there && !aim.rest.is_empty() {
        return put(text, &[aim.path, aim.rest].concat(), to);
    }
    put(text, &aim.path, &value)
}

pub(super) fn clear(text: &str, fix: &str, at: &[Part]) -> Result<String, EditError> {
    let document = Page::read(text)?.document();
    if document.at(&way(&["fix", fix])).is_none() {
        return Err(not_there("fix", fix));
    }
    let aim = aim(&document, fix, at)?;
    if document.at(&aim.path).is_none() {
        return Ok(text.to_owned());
    }
    if !aim.rest.is_empty() {
        return cleared(text, &[aim.path, aim.rest].concat());
    }
    if !others(&document, fix, &aim.key) {
        let message = format!("the fix `{}` sets nothing else", shown(fix));
        return Err(EditError::new(&message, "remove the fix, or let it set something else first"));
    }
    cleared(text, &aim.path)
}

/// Whether a fix sets more than this.
fn others(document: &Worth, fix: &str, key: &str) -> bool {
    match document.at(&way(&["fix", fix, SET])) {
        Some(Worth::Table(set)) => set.iter().any(|(other, _)| other != key),
        _ => false,
    }
}

/// Whether the patch itself has this value.
fn is_own(document: &Worth, aim: &Aim, value: &Worth) -> bool {
    if let Some(own) = document.at(&aim.own) {
        return own.same(value);
    }
    let [Part::Key(kind), Part::Key(name), Part::Key(field)] = &aim.own[..] else { return false };
    let filled = document.at(&way(&[kind, name, "like"])).is_some();
    let word = match document.at(&way(&[kind, name, "kind"])) {
        Some(Worth::Text(word)) => Some(word.as_str()),
        _ => None,
    };
    let row = rows_by_word(kind, word).into_iter().find(|row| row.key == field);
    !aim.whole && !filled && row.and_then(default).is_some_and(|default| default.same(value))
}

/// What holds where a key is not written, as it would be written.
pub(in crate::patch) fn default(row: &Row) -> Option<Worth> {
    let Absent::Is(text) = row.absent else { return None };
    Some(match row.takes {
        Takes::Whole(..) => text.parse().map(Worth::Whole).unwrap_or(Worth::text(text)),
        Takes::YesNo | Takes::Yes => Worth::Bool(text == "true"),
        _ => Worth::text(text),
    })
}
