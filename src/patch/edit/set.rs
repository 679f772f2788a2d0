//! A key set anew, added or taken out.

use super::place::{Found, SET, Within};
use super::scan::{Is, Page, Statement, Val};
use super::worth::{Worth, key};
use super::{EditError, KINDS, LISTS, Part, told};
use std::ops::Range;

/// Sets a key, or adds it.
pub(super) fn set(text: &str, path: &[Part], to: &Worth) -> Result<String, EditError> {
    let page = Page::read(text)?;
    let now = page.document();
    if now.at(path).is_some_and(|was| was.same(to)) {
        return Ok(text.to_owned());
    }
    let done = match (page.find(path), to) {
        (Found::Value { value, .. }, _) => spliced(text, value.at.clone(), &to.written()),
        (Found::Table, Worth::Table(entries)) => return whole(text, path, &now, entries),
        (Found::Table, _) => {
            let message = format!("`{}` is a table with keys of its own", told(path));
            return Err(EditError::new(&message, "set one of its keys"));
        }
        (Found::Dotted, _) => return rewritten(text, path, &now, Some(to)),
        (Found::Missing, _) => added(&page, path, to)?,
    };
    held(&done, path, to)?;
    Ok(done)
}

/// Sees that a text says what it should.
fn held(text: &str, path: &[Part], to: &Worth) -> Result<(), EditError> {
    let page = Page::read(text);
    if page.is_ok_and(|page| page.document().at(path).is_some_and(|now| now.same(to))) {
        return Ok(());
    }
    let message = format!("`{}` cannot be written into this text", told(path));
    Err(EditError::new(&message, "write it into the text by hand"))
}

/// Sets all keys of a table that has a heading, and takes the others out.
fn whole(text: &str, path: &[Part], now: &Worth, to: &[(String, Worth)]) -> Result<String, EditError> {
    let mut text = text.to_owned();
    let below = |name: &str| [path, &[Part::Key(name.to_owned())]].concat();
    for (name, value) in to {
        text = set(&text, &below(name), value)?;
    }
    if let Some(Worth::Table(old)) = now.at(path) {
        for (name, _) in old.iter().filter(|(name, _)| to.iter().all(|(new, _)| new != name)) {
            text = clear(&text, &below(name))?;
        }
    }
    Ok(text)
}

/// The value of the statement around a place written anew, with a change deep in it.
fn rewritten(text: &str, path: &[Part], now: &Worth, to: Option<&Worth>) -> Result<String, EditError> {
    let page = Page::read(text)?;
    let around = (1..path.len()).find_map(|n| match page.find(&path[..n]) {
        Found::Value { value, .. } => Some((n, value.at.clone())),
        _ => None,
    });
    let Some((n, at)) = around else {
        return Err(EditError::new(&format!("`{}` cannot be edited here", told(path)), "edit it as text"));
    };
    let mut value = now.at(&path[..n]).cloned().unwrap_or(Worth::Table(Vec::new()));
    change(&mut value, &path[n..], to);
    Ok(spliced(text, at, &value.written()))
}

/// Sets something within a value, or takes it out.
pub(super) fn change(value: &mut Worth, path: &[Part], to: Option<&Worth>) {
    match (value, path) {
        (Worth::Table(entries), [Part::Key(name)]) => match (entries.iter().position(|(k, _)| k == name), to) {
            (Some(n), Some(to)) => entries[n].1 = to.clone(),
            (Some(n), None) => drop(entries.remove(n)),
            (None, Some(to)) => entries.push((name.clone(), to.clone())),
            (None, None) => {}
        },
        (Worth::Table(entries), [Part::Key(name), rest @ ..]) => {
            if to.is_some() && entries.iter().all(|(k, _)| k != name) {
                entries.push((name.clone(), Worth::Table(Vec::new())));
            }
            if let Some((_, inner)) = entries.iter_mut().find(|(k, _)| k == name) {
                change(inner, rest, to);
            }
        }
        (Worth::List(list), [Part::Entry(n)]) if *n < list.len() => match to {
            Some(to) => list[*n] = to.clone(),
            None => drop(list.remove(*n)),
        },
        (Worth::List(list), [Part::Entry(n), rest @ ..]) => {
            if let Some(inner) = list.get_mut(*n) {
                change(inner, rest, to);
            }
        }
        _ => {}
    }
}

pub(super) fn spliced(text: &str, at: Range<usize>, new: &str) -> String {
    format!("{}{new}{}", &text[..at.start], &text[at.end..])
}

/// Adds what is not there.
fn added(page: &Page<'_>, path: &[Part], to: &Worth) -> Result<String, EditError> {
    let known = (0..path.len()).rev().find(|n| !matches!(page.find(&path[..*n]), Found::Missing)).unwrap_or(0);
    let (at, rest) = path.split_at(known);
    match page.find(at) {
        Found::Value { value, .. } => within(page, value, path, rest, to),
        Found::Dotted => rewritten(page.text, path, &page.document(), Some(to)),
        Found::Table | Found::Missing => below(page, at, rest, to),
    }
}

/// Adds to a list or to a table in braces.
fn within(page: &Page<'_>, holder: &Val, path: &[Part], rest: &[Part], to: &Worth) -> Result<String, EditError> {
    let piece = match (&rest[0], &holder.is) {
        (Part::Key(name), Is::Table(_)) => format!("{} = {}", key(name), nested(&rest[1..], to, path)?.written()),
        (Part::Entry(n), Is::List(list)) if *n == list.len() => nested(&rest[1..], to, path)?.written(),
        _ => {
            let message = format!("there is nothing in which `{}` could stand", told(path));
            return Err(EditError::new(&message, "set what stands around it first"));
        }
    };
    let last = match &holder.is {
        Is::Table(pairs) => pairs.last().map(|pair| pair.value.at.end),
        Is::List(list) => list.last().map(|value| value.at.end),
        _ => None,
    };
    Ok(match last {
        Some(end) => spliced(page.text, end..end, &format!(", {piece}")),
        None if matches!(holder.is, Is::Table(_)) => spliced(page.text, holder.at.clone(), &format!("{{ {piece} }}")),
        None => spliced(page.text, holder.at.clone(), &format!("[{piece}]")),
    })
}

/// A value in as many tables as lead to it.
fn nested(rest: &[Part], to: &Worth, path: &[Part]) -> Result<Worth, EditError> {
    rest.iter().rev().try_fold(to.clone(), |value, part| match part {
        Part::Key(name) => Ok(Worth::Table(vec![(name.clone(), value)])),
        Part::Entry(0) => Ok(Worth::List(vec![value])),
        Part::Entry(_) => {
            let message = format!("there is nothing before `{}`", told(path));
            Err(EditError::new(&message, "add the entries in order"))
        }
    })
}

/// Adds to a table of headings or dotted keys.
fn below(page: &Page<'_>, at: &[Part], rest: &[Part], to: &Worth) -> Result<String, EditError> {
    let path = [at, rest].concat();
    // An entry more of a list of headings.
    if let Part::Entry(_) = rest[0] {
        return appended(page, at, rest, to);
    }
    if let Some(made) = heading_of(page, &path, to)? {
        return Ok(made);
    }
    if let Some((heading, body)) = page.body(at) {
        let lines = lines(page, body.clone(), "", rest, to)?;
        let last = body.clone().next_back().map(|n| page.statements[n].lines.end);
        if let Some(end) = last.or(heading.map(|heading| heading.lines.end)) {
            return Ok(page.with(end, &lines));
        }
        // The file begins with a heading: below what is said of the whole file, above what is said of that heading.
        let begin = first_place(page).unwrap_or(if page.text.starts_with('\u{feff}') { 3 } else { 0 });
        let blank = if page.text[begin..].is_empty() { "" } else { page.newline };
        return Ok(page.with(begin, &format!("{lines}{blank}")));
    }
    let dotted = |s: &Statement| !s.is_heading() && s.under.len() < at.len() && s.path().starts_with(at);
    if let Some(n) = page.statements.iter().rposition(dotted) {
        let statement = &page.statements[n];
        let keys = at[statement.under.len()..].iter().map(|part| match part {
            Part::Key(name) => format!("{}.", key(name)),
            Part::Entry(_) => String::new(),
        });
        let lines = lines(page, n..n + 1, &keys.collect::<String>(), rest, to)?;
        return Ok(page.with(statement.lines.end, &lines));
    }
    // Made by headings of what lies in it alone: it gets one of its own before them.
    let first = page.statements.iter().position(|s| s.under.starts_with(at)).unwrap_or(page.statements.len());
    let entries = match nested(rest, to, &path)? {
        Worth::Table(entries) => entries,
        _ => Vec::new(),
    };
    let place = if first < page.statements.len() { page.above(first) } else { page.text.len() };
    Ok(page.with_section(place, &page.section(at, &entries)))
}

/// The lines of a key that is added; what a fix or a change sets has a line each.
fn lines(
    page: &Page<'_>,
    neighbours: Range<usize>,
    before: &str,
    rest: &[Part],
    to: &Worth,
) -> Result<String, EditError> {
    let line = |name: &str, value: &Worth| page.line(neighbours.clone(), &format!("{before}{name}"), &value.written());
    match (rest, to) {
        ([Part::Key(set)], Worth::Table(all)) if set == SET && !all.is_empty() => {
            Ok(all.iter().map(|(path, value)| line(&format!("{SET}.{}", key(path)), value)).collect())
        }
        ([Part::Key(set), Part::Key(path), more @ ..], _) if set == SET => {
            Ok(line(&format!("{SET}.{}", key(path)), &nested(more, to, rest)?))
        }
        ([Part::Key(name), more @ ..], _) => Ok(line(&key(name), &nested(more, to, rest)?)),
        _ => Err(EditError::new("there is nothing to be written", "name a key")),
    }
}

/// A named table, or the one of a key, gets a heading of its own.
fn heading_of(page: &Page<'_>, path: &[Part], to: &Worth) -> Result<Option<String>, EditError> {
    let Part::Key(first) = &path[0] else { return Ok(None) };
    let depth = match first.as_str() {
        kind if KINDS.contains(&kind) => 2,
        "jitter" => 1,
        _ => return Ok(None),
    };
    let whole = path.len() == depth && matches!(to, Worth::Table(_));
    let under = matches!(page.find(&path[..depth.min(path.len())]), Found::Missing) && (path.len() > depth || whole);
    let held =
        (1..depth).any(|n| matches!(page.find(&path[..n]), Found::Value { .. }) || page.body(&path[..n]).is_some());
    if !under || held {
        return Ok(None);
    }
    let Worth::Table(entries) = nested(&path[depth..], to, path)? else { return Ok(None) };
    let section = page.section(&path[..depth], &entries);
    let place = if depth == 1 { page.place_of_kind("") } else { page.place_of_kind(first) };
    let place = if depth == 1 { first_place(page).unwrap_or(place) } else { place };
    Ok(Some(page.with_section(place, &section)))
}

/// Before the first heading.
fn first_place(page: &Page<'_>) -> Option<usize> {
    let first = page.body_end(0);
    (first < page.statements.len()).then(|| page.above(first))
}

/// An entry more of a list whose entries have headings.
fn appended(page: &Page<'_>, at: &[Part], rest: &[Part], to: &Worth) -> Result<String, EditError> {
    let path = [at, rest].concat();
    let count = (0..).find(|n| matches!(page.find(&[at, &[Part::Entry(*n)]].concat()), Found::Missing)).unwrap_or(0);
    let Worth::Table(entries) = nested(&rest[1..], to, &path)? else {
        return Err(EditError::new(&format!("`{}` is a list of tables", told(at)), "write a table"));
    };
    if rest[0] != Part::Entry(count) {
        let message = format!("`{}` has {count} entries so far", told(at));
        return Err(EditError::new(&message, "add the entries in order"));
    }
    let last = page.statements.iter().rposition(|s| s.under.starts_with(at));
    let place = last.map_or(page.text.len(), |n| page.statements[n].lines.end);
    Ok(page.with_section(place, &page.section(&[at, &rest[..1]].concat(), &entries)))
}

/// Takes a key out, or a table.
pub(super) fn clear(text: &str, path: &[Part]) -> Result<String, EditError> {
    let page = Page::read(text)?;
    match page.find(path) {
        Found::Missing => Ok(text.to_owned()),
        Found::Table => Ok(without(&page, path)),
        Found::Dotted => rewritten(text, path, &page.document(), None),
        Found::Value { within: None, statement, .. } => {
            let lines = page.statements[statement].lines.clone();
            Ok(spliced(text, lines, ""))
        }
        Found::Value { value, within: Some(within), .. } => {
            let Some(at) = place_within(&within) else {
                let lists = matches!(value.is, Is::Table(_)) || matches!(within.holder.is, Is::Table(_));
                // The last of a table or of a list of tables takes it along.
                return if lists {
                    clear(text, &path[..within.depth])
                } else {
                    Ok(spliced(text, value.at.clone(), ""))
                };
            };
            Ok(spliced(text, at, ""))
        }
    }
}

/// An entry of a list or of a table in braces, with the comma that goes with it; `None` where it is the only one.
fn place_within(within: &Within<'_>) -> Option<Range<usize>> {
    let all: Vec<Range<usize>> = match &within.holder.is {
        Is::Table(pairs) => {
            let start = |keys: &[super::scan::Segment]| keys.first().map_or(0, |key| key.at.start);
            pairs.iter().map(|pair| start(&pair.keys)..pair.value.at.end).collect()
        }
        Is::List(list) => list.iter().map(|value| value.at.clone()).collect(),
        _ => Vec::new(),
    };
    let own = all.get(within.index)?;
    match (all.get(within.index + 1), within.index.checked_sub(1).map(|n| &all[n])) {
        (Some(next), _) => Some(own.start..next.start),
        (None, Some(before)) => Some(before.end..own.end),
        (None, None) => None,
    }
}

/// The text without the statements of a table; of the blank lines around them one lot goes too.
fn without(page: &Page<'_>, path: &[Part]) -> String {
    let text = page.text;
    let mut runs: Vec<(usize, usize)> = Vec::new();
    for (n, _) in page.statements.iter().enumerate().filter(|(_, s)| s.path().starts_with(path)) {
        match runs.last_mut() {
            Some((_, last)) if *last + 1 == n => *last = n,
            _ => runs.push((n, n)),
        }
    }
    let mut out = text.to_owned();
    for (first, last) in runs.into_iter().rev() {
        let mut at = page.statements[first].lines.start..page.statements[last].lines.end;
        if page.statements[first].is_heading() {
            let blank = |line: &str| line.trim().is_empty();
            let before = &text[..at.start];
            let opens = before.trim_start_matches('\u{feff}').is_empty()
                || before.strip_suffix('\n').is_some_and(|b| blank(b.rsplit('\n').next().unwrap_or_default()));
            let mut end = at.end;
            while let Some(line) = text[end..].split_inclusive('\n').next().filter(|line| blank(line)) {
                end += line.len();
            }
            if end == text.len() {
                let kept = before.trim_end();
                let from = kept.len();
                let line = text[from..].find('\n').map_or(from, |n| from + n + 1);
                at = if kept.is_empty() { at.start..end } else { line.min(at.start)..end };
            } else if opens {
                at.end = end;
            }
        }
        out = spliced(&out, at, "");
    }
    out
}

/// The entries of a list of tables, where a key is one.
pub(super) fn is_list(key: &str) -> bool {
    LISTS.contains(&key)
}
