//! What of a newer text stays where an older one comes back: its fixes, and what they name.

use super::refer::{Reference, Role, references};
use super::scan::Page;
use super::set::{clear, set};
use super::worth::Worth;
use super::{EditError, Part, noun, way};
use crate::patch::check::node;
use crate::text::shown;

/// Tables that change nothing by being there: a fix may name one that nothing else does.
const IDLE: [&str; 6] = ["clock", "stage", "wire", "voice", "box", "component"];

/// The text `of` with the fixes of another, and with what is new there and named by one of them.
pub(super) fn carried(of: &str, now: &str) -> Result<String, EditError> {
    let page = Page::read(now)?;
    let (before, after) = (Page::read(of)?.document(), page.document());
    let fixes = |document: &Worth| match document.get("fix") {
        Some(Worth::Table(all)) => all.clone(),
        _ => Vec::new(),
    };
    let (old, new) = (fixes(&before), fixes(&after));
    let mut text = of.to_owned();
    for (name, _) in old.iter().filter(|(name, _)| new.iter().all(|(other, _)| other != name)) {
        text = clear(&text, &way(&["fix", name]))?;
    }
    let known = |name: &str| old.iter().find(|(other, _)| other == name).map(|(_, table)| table);
    let other: Vec<&(String, Worth)> =
        new.iter().filter(|(name, table)| known(name).is_none_or(|was| !was.same(table))).collect();
    let named: Vec<Vec<Part>> = other.iter().map(|(name, _)| way(&["fix", name])).collect();
    for (kind, name) in needed(now, &before, &after, named)? {
        text = brought(&text, &page, &after, &way(&[kind, &name]))?;
    }
    for (name, table) in other {
        let at = way(&["fix", name]);
        text = if known(name).is_some() { set(&text, &at, table)? } else { brought(&text, &page, &after, &at)? };
    }
    Ok(text)
}

/// What tables name, and what that names again, as far as it is new.
fn needed(
    now: &str,
    before: &Worth,
    after: &Worth,
    mut whose: Vec<Vec<Part>>,
) -> Result<Vec<(&'static str, String)>, EditError> {
    if whose.is_empty() {
        return Ok(Vec::new());
    }
    let Ok(tree) = node::read(now) else { return Ok(Vec::new()) };
    let all = references(&tree);
    let mut needed: Vec<(&'static str, String)> = Vec::new();
    while let Some(path) = whose.pop() {
        let new = |found: &&Reference| {
            let at = way(&[found.kind, &found.name]);
            found.path.starts_with(&path) && after.at(&at).is_some() && before.at(&at).is_none()
        };
        for found in all.iter().filter(new) {
            let table = (found.kind, found.name.clone());
            if needed.contains(&table) {
                continue;
            }
            if !IDLE.contains(&found.kind) {
                // A list of names may mean it, and need not.
                if found.role == Role::Listed {
                    continue;
                }
                let fix = path.get(1).map_or(String::new(), |part| super::told(std::slice::from_ref(part)));
                let says = format!(
                    "the fix `{fix}` names the {} `{}`, which is new since",
                    noun(found.kind),
                    shown(&found.name)
                );
                return Err(EditError::new(&says, "keep what has changed since a later moment"));
            }
            whose.push(way(&[found.kind, &found.name]));
            needed.push(table);
        }
    }
    Ok(needed)
}

/// A text with a table of another text: as it is written there where it stands in one piece.
fn brought(text: &str, from: &Page<'_>, document: &Worth, at: &[Part]) -> Result<String, EditError> {
    let Some(table) = document.at(at) else { return Ok(text.to_owned()) };
    let own: Vec<usize> =
        from.statements.iter().enumerate().filter(|(_, s)| s.path().starts_with(at)).map(|(n, _)| n).collect();
    let page = Page::read(text)?;
    if let (Some(&first), Some(&last)) = (own.first(), own.last())
        && last - first + 1 == own.len()
        && from.statements[first].is_heading()
        && from.newline == page.newline
        && let Some(Part::Key(kind)) = at.first()
    {
        let (begin, end) = (from.above(first), from.statements[last].lines.end);
        let mut copy = from.text[begin..end].to_owned();
        if !copy.ends_with('\n') {
            copy += page.newline;
        }
        let done = page.with_section(page.place_of_kind(kind), &copy);
        let same = |done: &str| Page::read(done).is_ok_and(|p| p.document().at(at).is_some_and(|is| is.same(table)));
        if same(&done) {
            return Ok(done);
        }
    }
    set(text, at, table)
}
