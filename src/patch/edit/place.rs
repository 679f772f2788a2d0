//! Where something stands in a file, and where something new goes.

use super::scan::{Is, Page, Statement, Val};
use super::{KINDS, Part, worth};
use std::ops::Range;

/// What stands at the end of a way.
pub(super) enum Found<'p> {
    /// A value behind `=`, or within one.
    Value {
        value: &'p Val,
        /// All of it with its key, to be taken out; `None` for the whole statement.
        within: Option<Within<'p>>,
        /// The statement in which it stands.
        statement: usize,
    },
    /// A table made by headings or by keys with dots.
    Table,
    /// Made by keys with dots within braces.
    Dotted,
    Missing,
}

/// An entry of a list or of a table in braces.
pub(super) struct Within<'p> {
    pub(super) holder: &'p Val,
    /// Which entry.
    pub(super) index: usize,
    /// How far the way leads to the holder.
    pub(super) depth: usize,
}

impl Page<'_> {
    /// Follows a way.
    pub(super) fn find(&self, path: &[Part]) -> Found<'_> {
        if path.is_empty() {
            return Found::Table;
        }
        for (n, statement) in self.statements.iter().enumerate() {
            let Some(value) = &statement.value else { continue };
            let whole = statement.path();
            if path.starts_with(&whole) {
                return inside(value, path, whole.len(), None, n);
            }
        }
        let leads = |statement: &Statement| statement.path().starts_with(path);
        if self.statements.iter().any(leads) { Found::Table } else { Found::Missing }
    }

    /// The heading that opens a table, and the statements below it; those at the top where the way is empty.
    pub(super) fn body(&self, path: &[Part]) -> Option<(Option<&Statement>, Range<usize>)> {
        let first = if path.is_empty() {
            0
        } else {
            self.statements.iter().position(|s| s.is_heading() && s.under == path)? + 1
        };
        let heading = first.checked_sub(1).and_then(|n| self.statements.get(n)).filter(|_| !path.is_empty());
        Some((heading, first..self.body_end(first)))
    }

    /// Where the body in which a statement may stand ends: at the next heading.
    pub(super) fn body_end(&self, from: usize) -> usize {
        let next = self.statements.iter().skip(from).position(Statement::is_heading);
        next.map_or(self.statements.len(), |n| from + n)
    }

    /// A line for a key, aligned as its neighbours are.
    pub(super) fn line(&self, neighbours: Range<usize>, key: &str, value: &str) -> String {
        let of = |s: &Statement| {
            let (last, value) = (s.keys.last()?, s.value.as_ref()?);
            let gap = self.text.get(last.at.end..value.at.start)?;
            let equals = gap.find('=')?;
            let line = self.text.get(s.lines.start..last.at.end)?;
            let indent = line.len() - line.trim_start().len();
            Some((line.trim_start().chars().count() + equals, equals, &line[..indent], &gap[equals + 1..]))
        };
        let all: Vec<_> = self.statements[neighbours].iter().filter_map(of).collect();
        let Some((column, _, indent, behind)) = all.last().copied() else {
            return format!("{key} = {value}{}", self.newline);
        };
        let aligned = all.iter().all(|(c, ..)| *c == column);
        let padded = all.iter().any(|(_, gap, ..)| *gap > 1);
        let length = key.chars().count();
        let gap = match () {
            () if aligned && (padded || all.len() > 1) && length < column => column - length,
            () if all.iter().all(|(_, gap, ..)| *gap == 0) => 0,
            () => 1,
        };
        let behind = if behind.chars().all(|c| c == ' ') { behind } else { " " };
        format!("{indent}{key}{:gap$}={behind}{value}{}", "", self.newline)
    }

    /// The text with a piece put in between two lines.
    pub(super) fn with(&self, at: usize, piece: &str) -> String {
        let (before, after) = self.text.split_at(at);
        let begun = !before.is_empty() && !before.ends_with('\n') && before != "\u{feff}";
        format!("{before}{}{piece}{after}", if begun { self.newline } else { "" })
    }

    /// Where a new heading of a kind goes: behind the last of its kind, or of the kinds before it.
    pub(super) fn place_of_kind(&self, kind: &str) -> usize {
        let rank = KINDS.iter().position(|known| *known == kind).unwrap_or(KINDS.len());
        let of = |statement: &Statement| match statement.path().first() {
            Some(Part::Key(key)) if key == kind => Some(rank),
            Some(Part::Key(key)) => KINDS.iter().position(|known| known == key),
            _ => None,
        };
        let best = self.statements.iter().filter_map(of).filter(|other| *other <= rank).max();
        let last = best.and_then(|best| self.statements.iter().rposition(|s| of(s) == Some(best)));
        let first_heading = self.body_end(0);
        match last {
            // Its section goes on to the next heading; and headings come behind all keys of the top.
            Some(last) => {
                let end = self.body_end(last + 1).max(first_heading);
                end.checked_sub(1).map_or(0, |n| self.statements[n].lines.end)
            }
            None if first_heading < self.statements.len() => self.above(first_heading),
            None => self.text.len(),
        }
    }

    /// Above a heading and the remarks that stand right above it.
    pub(super) fn above(&self, heading: usize) -> usize {
        let least = heading.checked_sub(1).map_or(0, |n| self.statements[n].lines.end);
        let least = if least == 0 && self.text.starts_with('\u{feff}') { 3 } else { least };
        let mut at = self.statements[heading].lines.start;
        while at > least {
            let line = self.text[least..at - 1].rfind('\n').map_or(least, |n| least + n + 1);
            if !self.text[line..at].trim_start().starts_with('#') {
                break;
            }
            at = line;
        }
        at
    }

    /// Behind remarks that follow a place at once and belong to no heading: a blank line or the end comes after them.
    fn behind_remarks(&self, at: usize) -> usize {
        let lines = self.text[at..].split_inclusive('\n');
        let remarks: usize = lines.take_while(|line| line.trim_start().starts_with('#')).map(str::len).sum();
        let next = self.text[at + remarks..].lines().next().unwrap_or_default();
        if next.trim().is_empty() { at + remarks } else { at }
    }

    /// A heading and its keys between blank lines, put in at a place, or behind the remarks that still belong to what stands before.
    pub(super) fn with_section(&self, at: usize, section: &str) -> String {
        let begins_line = at == 0 || self.text[..at].ends_with('\n');
        let at = if begins_line && at > 0 { self.behind_remarks(at) } else { at };
        let (before, after) = self.text.split_at(at);
        let blank = |line: &str| line.trim().is_empty();
        let last = before.strip_suffix('\n').unwrap_or(before).rsplit('\n').next().unwrap_or_default();
        let first = blank(before.trim_start_matches('\u{feff}'));
        let lead = if first || (before.ends_with('\n') && blank(last)) { "" } else { self.newline };
        let end = if after.is_empty() || after.split('\n').next().is_some_and(blank) { "" } else { self.newline };
        self.with(at, &format!("{lead}{section}{end}"))
    }

    /// The lines of a section: aligned where the file's own are.
    pub(super) fn section(&self, path: &[Part], entries: &[(String, worth::Worth)]) -> String {
        let kind = path.first();
        let like = self.statements.iter().rposition(|s| s.is_heading() && s.under.first() == kind && s.under.len() > 1);
        let like = like.or_else(|| self.statements.iter().position(Statement::is_heading));
        let aligned = like.is_some_and(|n| self.is_aligned(n + 1..self.body_end(n + 1)));
        let is_entry = matches!(path.last(), Some(Part::Entry(_)));
        let keys: Vec<String> = path
            .iter()
            .filter_map(|part| if let Part::Key(key) = part { Some(worth::key(key)) } else { None })
            .collect();
        let heading = keys.join(".");
        let mut out = if is_entry { format!("[[{heading}]]") } else { format!("[{heading}]") } + self.newline;
        let mut lines: Vec<(String, String)> = Vec::new();
        for (name, value) in entries {
            match value {
                worth::Worth::Table(set) if name == SET && !set.is_empty() => {
                    let of = |(path, value): &(String, worth::Worth)| {
                        (format!("{SET}.{}", worth::key(path)), value.written())
                    };
                    lines.extend(set.iter().map(of));
                }
                _ => lines.push((worth::key(name), value.written())),
            }
        }
        let dotted = |name: &str| name.starts_with("set.");
        let width = lines.iter().filter(|(name, _)| !dotted(name)).map(|(name, _)| name.len()).max().unwrap_or(0);
        for (name, value) in &lines {
            let width = if aligned && !dotted(name) { width } else { 0 };
            out += &format!("{name:width$} = {value}{}", self.newline);
        }
        out
    }

    fn is_aligned(&self, body: Range<usize>) -> bool {
        let column = |s: &Statement| {
            let (last, value) = (s.keys.last()?, s.value.as_ref()?);
            let gap = self.text.get(last.at.end..value.at.start)?;
            Some((last.at.end - s.lines.start + gap.find('=')?, gap.find('=')? > 1))
        };
        let all: Vec<_> = self.statements[body].iter().filter_map(column).collect();
        all.windows(2).all(|two| two[0].0 == two[1].0) && all.iter().any(|(_, padded)| *padded)
    }
}

/// What a fix and a change set.
pub(super) const SET: &str = "set";

fn inside<'p>(value: &'p Val, path: &[Part], depth: usize, within: Option<Within<'p>>, statement: usize) -> Found<'p> {
    let Some(next) = path.get(depth) else { return Found::Value { value, within, statement } };
    match (&value.is, next) {
        (Is::List(list), Part::Entry(n)) => match list.get(*n) {
            Some(entry) => inside(entry, path, depth + 1, Some(Within { holder: value, index: *n, depth }), statement),
            None => Found::Missing,
        },
        (Is::Table(pairs), Part::Key(_)) => {
            let rest = &path[depth..];
            for (index, pair) in pairs.iter().enumerate() {
                let keys = || pair.keys.iter().map(|key| Part::Key(key.text.clone()));
                if keys().eq(rest.iter().take(pair.keys.len()).cloned()) {
                    let within = Some(Within { holder: value, index, depth });
                    return inside(&pair.value, path, depth + pair.keys.len(), within, statement);
                }
                if rest.len() < pair.keys.len() && rest.iter().cloned().eq(keys().take(rest.len())) {
                    return Found::Dotted;
                }
            }
            Found::Missing
        }
        _ => Found::Missing,
    }
}
