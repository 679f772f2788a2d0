//! Another name for a table, wherever it is named.

use super::place::SET;
use super::refer::{Role, references};
use super::scan::{Is, Page, Segment, Val};
use super::worth::{Worth, key};
use super::{EditError, Part, new_name, not_there, way};
use crate::patch::check::node;
use std::ops::Range;

pub(super) fn rename(text: &str, (kind, old): (&'static str, &str), new: &str) -> Result<String, EditError> {
    let page = Page::read(text)?;
    let document = page.document();
    if document.at(&way(&[kind, old])).is_none() {
        return Err(not_there(kind, old));
    }
    if old == new {
        return Ok(text.to_owned());
    }
    new_name(&document, kind, new, Some(old))?;
    let mut pieces: Vec<(Range<usize>, String)> = Vec::new();
    let begin = format!("{kind}.{old}");
    page.segments(&mut |path, segment| match path {
        [Part::Key(k), Part::Key(name)] if k == kind && name == old => {
            pieces.push((segment.at.clone(), key(new)));
        }
        [Part::Key(holder), _, Part::Key(set), Part::Key(path)]
            if (holder == "fix" || holder == "change") && set == SET =>
        {
            if let Some(rest) = path.strip_prefix(&begin).filter(|rest| rest.is_empty() || rest.starts_with('.')) {
                pieces.push((segment.at.clone(), quoted(&format!("{kind}.{new}{rest}"))));
            }
        }
        _ => {}
    });
    let tree = node::read(text).map_err(|_| not_there(kind, old))?;
    let ambiguous = |role: Role| role == Role::Listed && is_named_twice(&document, kind, old);
    for found in references(&tree).into_iter().filter(|r| r.kind == kind && r.name == old && r.role != Role::Set) {
        if ambiguous(found.role) || brought(&document, &found.path, kind, old) {
            continue;
        }
        let written = match tree_text(&document, &found.path) {
            Some(text) => text.strip_prefix(&begin).map_or(new.to_owned(), |rest| format!("{kind}.{new}{rest}")),
            None => continue,
        };
        pieces.push((found.place, quoted(&written)));
    }
    pieces.sort_by_key(|(at, _)| at.start);
    pieces.dedup_by(|a, b| a.0 == b.0);
    let mut out = text.to_owned();
    for (at, piece) in pieces.into_iter().rev() {
        out.replace_range(at, &piece);
    }
    Ok(out)
}

fn quoted(text: &str) -> String {
    Worth::text(text).written()
}

fn tree_text<'d>(document: &'d Worth, path: &[Part]) -> Option<&'d str> {
    match document.at(path)? {
        Worth::Text(text) => Some(text),
        _ => None,
    }
}

/// Whether a list of names could mean something else by this name.
fn is_named_twice(document: &Worth, kind: &str, name: &str) -> bool {
    ["sequencer", "clock", "stage"].iter().any(|k| *k != kind && document.at(&way(&[k, name])).is_some())
}

/// Whether a kind of box that brings something of this name is meant by itself.
fn brought(document: &Worth, path: &[Part], kind: &str, name: &str) -> bool {
    let [Part::Key(holder), of, ..] = path else { return false };
    let brings = [Part::Key(holder.clone()), of.clone(), Part::Key("brings".to_owned())];
    holder == "box" && document.at(&brings).is_some_and(|brings| brings.get(&format!("{kind}.{name}")).is_some())
}

impl Page<'_> {
    /// Goes through all parts of keys, each with the way that ends in it.
    pub(super) fn segments(&self, tell: &mut dyn FnMut(&[Part], &Segment)) {
        for statement in &self.statements {
            let mut path = if statement.is_heading() { Vec::new() } else { statement.under.clone() };
            if statement.is_heading() {
                // The entries of lists stand in the way, not in the heading.
                let mut keys = statement.keys.iter();
                for part in &statement.under {
                    path.push(part.clone());
                    if let (Part::Key(_), Some(segment)) = (part, keys.as_slice().first()) {
                        keys.next();
                        tell(&path, segment);
                    }
                }
                continue;
            }
            for segment in &statement.keys {
                path.push(Part::Key(segment.text.clone()));
                tell(&path, segment);
            }
            if let Some(value) = &statement.value {
                inner(value, &mut path, tell);
            }
        }
    }
}

fn inner(value: &Val, path: &mut Vec<Part>, tell: &mut dyn FnMut(&[Part], &Segment)) {
    match &value.is {
        Is::List(list) => {
            for (n, value) in list.iter().enumerate() {
                path.push(Part::Entry(n));
                inner(value, path, tell);
                path.pop();
            }
        }
        Is::Table(pairs) => {
            for pair in pairs {
                let depth = path.len();
                for segment in &pair.keys {
                    path.push(Part::Key(segment.text.clone()));
                    tell(path, segment);
                }
                inner(&pair.value, path, tell);
                path.truncate(depth);
            }
        }
        Is::Text(_) | Is::Bare => {}
    }
}
