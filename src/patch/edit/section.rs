//! Whole tables: added, taken out with all that names them, copied.

use super::place::SET;
use super::refer::{Reference, Role, references, rows_by_word, within_set};
use super::scan::Page;
use super::set::{clear, is_list, set};
use super::worth::{Worth, key};
use super::{EditError, Part, named, new_name, not_there, noun, told, way};
use crate::patch::check::node;
use crate::patch::check::view::MOST_OF_A_KIND;
use crate::patch::like::box_kinds;
use crate::patch::read::kit::kit;
use crate::text::{plural, shown};

/// Adds a named table, or an entry of a list of tables.
pub(super) fn add(text: &str, at: &[Part], to: &Worth) -> Result<String, EditError> {
    let Worth::Table(entries) = to else {
        return Err(EditError::new("what is added is a table", "write its keys and their values"));
    };
    let page = Page::read(text)?;
    let document = page.document();
    if let [Part::Key(list)] = at
        && is_list(list)
    {
        let count = match document.get(list) {
            Some(Worth::List(all)) => all.len(),
            _ => 0,
        };
        let entry = [at, &[Part::Entry(count)]].concat();
        if count == 0 && list == "change" && document.get(list).is_none() {
            return Ok(page.with_section(text.len(), &page.section(&entry, entries)));
        }
        return set(text, &entry, to);
    }
    let (kind, name) = named(at)?;
    new_name(&document, kind, name, None)?;
    room(&document, kind)?;
    set(text, at, &Worth::Table(in_order(kind, entries)))
}

/// The keys of a table in the order in which the table of keys lists them; a stage says its kind first.
fn in_order(kind: &str, entries: &[(String, Worth)]) -> Vec<(String, Worth)> {
    let word = entries.iter().find_map(|(key, value)| match value {
        Worth::Text(word) if key == "kind" => Some(word.as_str()),
        _ => None,
    });
    let rows = rows_by_word(kind, word);
    let rank = |key: &str| match key {
        "kind" => 0,
        key => rows.iter().position(|row| row.key == key).map_or(usize::MAX, |n| n + 1),
    };
    let mut all = entries.to_vec();
    all.sort_by_key(|(key, _)| rank(key));
    all
}

fn room(document: &Worth, kind: &str) -> Result<(), EditError> {
    match document.get(kind) {
        Some(Worth::Table(all)) if all.len() >= MOST_OF_A_KIND => {
            let message = format!("there are {} {} already", all.len(), plural(noun(kind)));
            Err(EditError::new(&message, &format!("a patch has at most {MOST_OF_A_KIND} of a kind")))
        }
        _ => Ok(()),
    }
}

/// A copy of a table, with its remarks.
pub(super) fn duplicate(text: &str, (kind, name): (&'static str, &str), to: &str) -> Result<String, EditError> {
    let page = Page::read(text)?;
    let document = page.document();
    let path = way(&[kind, name]);
    let Some(table @ Worth::Table(_)) = document.at(&path) else { return Err(not_there(kind, name)) };
    new_name(&document, kind, to, None)?;
    room(&document, kind)?;
    let own: Vec<usize> =
        page.statements.iter().enumerate().filter(|(_, s)| s.path().starts_with(&path)).map(|(n, _)| n).collect();
    let (Some(&first), Some(&last)) = (own.first(), own.last()) else { return Err(not_there(kind, name)) };
    if last - first + 1 != own.len() || !page.statements[first].is_heading() {
        return set(text, &way(&[kind, to]), table);
    }
    let (from, end) = (page.statements[first].lines.start, page.statements[last].lines.end);
    let mut copy = text[from..end].to_owned();
    for statement in page.statements[first..=last].iter().rev().filter(|s| s.is_heading()) {
        if let Some(segment) = statement.keys.get(1) {
            copy.replace_range(segment.at.start - from..segment.at.end - from, &key(to));
        }
    }
    if !copy.ends_with('\n') {
        copy += page.newline;
    }
    Ok(page.with_section(end, &copy))
}

/// In so many places something may be named that is taken out.
const MOST_NAMED: usize = 1000;

/// Takes a table out, and all that names it and can do without.
pub(super) fn remove(text: &str, at: &[Part]) -> Result<String, EditError> {
    if let [Part::Key(list), Part::Entry(_)] = at
        && is_list(list)
    {
        return clear(text, at);
    }
    let (kind, name) = named(at)?;
    let document = Page::read(text)?.document();
    if document.at(at).is_none() {
        return Err(not_there(kind, name));
    }
    let tree = node::read(text).map_err(|_| not_there(kind, name))?;
    let remains = match kind {
        "voice" => kit().iter().any(|voice| voice.name == name),
        "box" => box_kinds().iter().any(|kind| kind.name() == name),
        _ => false,
    };
    let means = |r: &Reference| {
        r.kind == kind && r.name == name && !r.path.starts_with(at) && !(remains && r.role != Role::Set)
    };
    let all: Vec<Reference> = references(&tree).into_iter().filter(means).collect();
    refuse(&all, &document, (kind, name))?;
    if all.len() > MOST_NAMED {
        let message = format!("the {} `{}` is named in {} places", noun(kind), shown(name), all.len());
        return Err(EditError::new(
            &message,
            &format!("at most {MOST_NAMED} are changed at once: take some out by hand"),
        ));
    }
    let mut text = text.to_owned();
    for found in all.iter().rev() {
        text = without(&text, found)?;
    }
    text = clear(&text, at)?;
    emptied(&text, &document)
}

/// Tells who needs what is to go.
fn refuse(all: &[Reference], document: &Worth, (kind, name): (&str, &str)) -> Result<(), EditError> {
    let needs = |found: &&Reference| match found.role {
        _ if within_set(&found.path).is_some() => false,
        Role::Begin { needed } => needed,
        Role::Name { needed } => {
            needed || (found.path.ends_with(&way(&["voice"])) && !has_notes(document, &found.path))
        }
        Role::Stage | Role::Listed | Role::Set => false,
    };
    let mut who: Vec<String> = Vec::new();
    for found in all.iter().filter(needs) {
        if let [Part::Key(_), Part::Key(name), ..] = &found.path[..]
            && !who.contains(&format!("`{}`", shown(name)))
        {
            who.push(format!("`{}`", shown(name)));
        }
    }
    let Some((last, before)) = who.split_last() else { return Ok(()) };
    let list = if before.is_empty() { last.clone() } else { format!("{} and {last}", before.join(", ")) };
    let verb = if before.is_empty() { "needs" } else { "need" };
    let message = format!("{list} {verb} the {} `{}`", noun(kind), shown(name));
    Err(EditError::new(&message, &format!("give {list} something else first, or remove {list}")))
}

fn has_notes(document: &Worth, path: &[Part]) -> bool {
    path.len() == 3 && document.at(&path[..2]).is_some_and(|table| table.get("notes").is_some())
}

/// The text without one place that names what is to go.
fn without(text: &str, found: &Reference) -> Result<String, EditError> {
    let document = Page::read(text)?.document();
    // It may have gone along with another.
    if document.at(&found.path).is_none() {
        return Ok(text.to_owned());
    }
    let whole = within_set(&found.path);
    match found.role {
        Role::Set => clear(text, &found.path),
        Role::Stage | Role::Listed => {
            let key = if matches!(found.path.last(), Some(Part::Entry(_))) {
                &found.path[..found.path.len() - 1]
            } else {
                &found.path[..]
            };
            let alone = !matches!(document.at(key), Some(Worth::List(list)) if list.len() > 1);
            if alone && whole.is_none() {
                return clear(text, key);
            }
            let text = if key.len() == found.path.len() {
                set(text, key, &Worth::List(Vec::new()))?
            } else {
                clear(text, &found.path)?
            };
            match whole {
                Some(whole) if says_nothing(&text, whole)? => clear(&text, whole),
                _ => Ok(text),
            }
        }
        Role::Begin { .. } | Role::Name { .. } => match whole {
            Some(whole) => clear(text, whole),
            None => {
                let text = clear(text, &found.path[..found.path.len().min(3)])?;
                if found.path.get(2) == Some(&Part::Key("reset".to_owned())) {
                    clear(&text, &way3(&found.path, "reset-mode"))
                } else {
                    Ok(text)
                }
            }
        },
    }
}

fn way3(path: &[Part], key: &str) -> Vec<Part> {
    [&path[..2], &[Part::Key(key.to_owned())]].concat()
}

/// Whether what a fix sets is what the patch has without it.
fn says_nothing(text: &str, whole: &[Part]) -> Result<bool, EditError> {
    let document = Page::read(text)?.document();
    let [Part::Key(holder), _, _, Part::Key(path)] = whole else { return Ok(false) };
    let own = document.at(&way(&path.splitn(3, '.').collect::<Vec<_>>()));
    let empty = Worth::List(Vec::new());
    Ok(holder == "fix" && document.at(whole).is_some_and(|set| alike(set, own.unwrap_or(&empty))))
}

/// Equal, or a name and a list of that name alone.
fn alike(a: &Worth, b: &Worth) -> bool {
    let one = |value: &Worth| match value {
        Worth::List(list) if list.len() == 1 => list[0].clone(),
        value => value.clone(),
    };
    one(a).same(&one(b))
}

/// The text without fixes and changes that have lost all that they set.
fn emptied(text: &str, before: &Worth) -> Result<String, EditError> {
    let mut text = text.to_owned();
    let had = |at: &[Part]| before.at(&[at, &way(&[SET])].concat()).is_some();
    let document = Page::read(&text)?.document();
    let empty = |table: &Worth| !matches!(table.get(SET), Some(Worth::Table(set)) if !set.is_empty());
    if let Some(Worth::Table(fixes)) = document.get("fix") {
        for (name, table) in fixes {
            let at = way(&["fix", name]);
            if had(&at) && empty(table) {
                text = clear(&text, &at)?;
            }
        }
    }
    if let Some(Worth::List(changes)) = document.get("change") {
        for (n, table) in changes.iter().enumerate().rev() {
            let at = [Part::Key("change".to_owned()), Part::Entry(n)];
            if had(&at) && empty(table) {
                text = clear(&text, &at)?;
            }
        }
    }
    Page::read(&text).map(|_| ()).map_err(|_| {
        EditError::new(&format!("`{}` cannot be taken out of this text", told(&[])), "take it out by hand")
    })?;
    Ok(text)
}
