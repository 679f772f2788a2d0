//! The statements of a file with the place of every key and value, for splicing: nothing is written anew that nobody named.

use super::worth::Worth;
use super::{EditError, Part};
use crate::patch::check::node;
use std::ops::Range;

/// One part of a key.
#[derive(Clone, Debug)]
pub(super) struct Segment {
    pub(super) text: String,
    pub(super) at: Range<usize>,
}

/// A value and where it stands.
#[derive(Clone, Debug)]
pub(super) struct Val {
    pub(super) at: Range<usize>,
    pub(super) is: Is,
}

#[derive(Clone, Debug)]
pub(super) enum Is {
    Text(String),
    /// A number, true, false or a date.
    Bare,
    List(Vec<Val>),
    Table(Vec<Pair>),
}

/// A key and its value within braces.
#[derive(Clone, Debug)]
pub(super) struct Pair {
    pub(super) keys: Vec<Segment>,
    pub(super) value: Val,
}

/// A heading, or a key with its value.
#[derive(Clone, Debug)]
pub(super) struct Statement {
    pub(super) keys: Vec<Segment>,
    /// `None` of a heading.
    pub(super) value: Option<Val>,
    /// All of its lines, the last line break included.
    pub(super) lines: Range<usize>,
    /// The table in which a key stands; of a heading the table that it opens.
    pub(super) under: Vec<Part>,
}

impl Statement {
    pub(super) fn is_heading(&self) -> bool {
        self.value.is_none()
    }

    /// The whole path: of a heading, of the table that it opens.
    pub(super) fn path(&self) -> Vec<Part> {
        let mut path = self.under.clone();
        if !self.is_heading() {
            path.extend(self.keys.iter().map(|key| Part::Key(key.text.clone())));
        }
        path
    }
}

/// A file, statement by statement.
pub(super) struct Page<'a> {
    pub(super) text: &'a str,
    pub(super) statements: Vec<Statement>,
    /// How its lines end.
    pub(super) newline: &'static str,
}

impl<'a> Page<'a> {
    /// Reads a text that is TOML.
    pub(super) fn read(text: &'a str) -> Result<Self, EditError> {
        node::read_file(text, "a patch is written by hand").map_err(|faults| {
            let told = faults.list().first();
            let line = told.and_then(|fault| fault.at.as_ref()).map(|at| line_of(text, at.start));
            let message = told.map_or("", |fault| &fault.message);
            let place = line.map_or(String::new(), |line| format!(" in line {line}"));
            EditError::new(
                &format!("the text has a fault{place}: {message}"),
                told.map_or("mend it first", |fault| &fault.help),
            )
        })?;
        let newline = match text.find('\n') {
            Some(at) if text[..at].ends_with('\r') => "\r\n",
            _ => "\n",
        };
        let mut reader = Reader { text, at: if text.starts_with('\u{feff}') { 3 } else { 0 } };
        let statements = reader.statements().ok_or_else(|| {
            EditError::new("the text is written in a way that cannot be edited here", "edit it as text")
        })?;
        Ok(Self { text, statements, newline })
    }

    /// All that the file says.
    pub(super) fn document(&self) -> Worth {
        let mut all = Worth::Table(Vec::new());
        for statement in &self.statements {
            match &statement.value {
                None => stand(&mut all, &statement.under, None),
                Some(value) => stand(&mut all, &statement.path(), Some(self.worth(value))),
            }
        }
        all
    }

    /// A value as it is worth.
    pub(super) fn worth(&self, value: &Val) -> Worth {
        match &value.is {
            Is::Text(text) => Worth::Text(text.clone()),
            Is::Bare => bare(&self.text[value.at.clone()]),
            Is::List(list) => Worth::List(list.iter().map(|value| self.worth(value)).collect()),
            Is::Table(pairs) => {
                let mut all = Vec::new();
                for pair in pairs {
                    let keys: Vec<&str> = pair.keys.iter().map(|key| key.text.as_str()).collect();
                    put(&mut all, &keys, self.worth(&pair.value));
                }
                Worth::Table(all)
            }
        }
    }
}

/// Makes the tables to a place, and puts a value there.
fn stand(here: &mut Worth, path: &[Part], value: Option<Worth>) {
    let Some((first, rest)) = path.split_first() else {
        if let Some(value) = value {
            *here = value;
        }
        return;
    };
    let empty = || {
        if matches!(rest.first(), Some(Part::Entry(_))) { Worth::List(Vec::new()) } else { Worth::Table(Vec::new()) }
    };
    match (here, first) {
        (Worth::Table(entries), Part::Key(key)) => {
            let known = entries.iter().position(|(k, _)| k == key);
            let n = known.unwrap_or_else(|| {
                entries.push((key.clone(), empty()));
                entries.len() - 1
            });
            stand(&mut entries[n].1, rest, value);
        }
        (Worth::List(list), Part::Entry(n)) => {
            if *n == list.len() {
                list.push(empty());
            }
            if let Some(inner) = list.get_mut(*n) {
                stand(inner, rest, value);
            }
        }
        _ => {}
    }
}

/// Puts a value where a dotted key leads.
pub(super) fn put(table: &mut Vec<(String, Worth)>, keys: &[&str], value: Worth) {
    match keys {
        [] => {}
        [key] => table.push(((*key).to_owned(), value)),
        [key, rest @ ..] => {
            let known = table.iter().position(|(k, v)| k == key && matches!(v, Worth::Table(_)));
            let n = known.unwrap_or_else(|| {
                table.push(((*key).to_owned(), Worth::Table(Vec::new())));
                table.len() - 1
            });
            if let Worth::Table(inner) = &mut table[n].1 {
                put(inner, rest, value);
            }
        }
    }
}

/// A value without quotes. A date is kept as a text, which nothing here takes.
fn bare(text: &str) -> Worth {
    let digits = text.replace('_', "");
    match text {
        "true" => Worth::Bool(true),
        "false" => Worth::Bool(false),
        _ => match text.parse::<toml_edit::Value>() {
            Ok(toml_edit::Value::Integer(n)) => Worth::Whole(*n.value()),
            Ok(toml_edit::Value::Float(n)) => Worth::Number(*n.value()),
            _ => Worth::Text(digits),
        },
    }
}

/// The number of the line in which a byte stands, from 1.
pub(super) fn line_of(text: &str, at: usize) -> usize {
    text.as_bytes().iter().take(at).filter(|byte| **byte == b'\n').count() + 1
}

struct Reader<'a> {
    text: &'a str,
    at: usize,
}

impl Reader<'_> {
    fn byte(&self) -> Option<u8> {
        self.text.as_bytes().get(self.at).copied()
    }

    fn ahead(&self, what: &str) -> bool {
        self.text.as_bytes()[self.at.min(self.text.len())..].starts_with(what.as_bytes())
    }

    fn blanks(&mut self) {
        while matches!(self.byte(), Some(b' ' | b'\t')) {
            self.at += 1;
        }
    }

    /// Blanks, line breaks and remarks.
    fn gap(&mut self) {
        loop {
            match self.byte() {
                Some(b' ' | b'\t' | b'\r' | b'\n') => self.at += 1,
                Some(b'#') => self.at = self.line_end(),
                _ => return,
            }
        }
    }

    /// Where the line ends, before its break.
    fn line_end(&self) -> usize {
        self.text[self.at..].find('\n').map_or(self.text.len(), |n| self.at + n)
    }

    fn statements(&mut self) -> Option<Vec<Statement>> {
        let mut all: Vec<Statement> = Vec::new();
        let mut under: Vec<Part> = Vec::new();
        // Lists of tables, and how many they have so far.
        let mut lists: Vec<(Vec<Part>, usize)> = Vec::new();
        loop {
            self.gap();
            let start = self.at;
            let Some(first) = self.byte() else { return Some(all) };
            if first == b'[' {
                let is_entry = self.ahead("[[");
                self.at += if is_entry { 2 } else { 1 };
                let keys = self.keys()?;
                self.at += if is_entry { 2 } else { 1 };
                under = opened(&keys, is_entry, &mut lists);
                let lines = self.lines(start);
                all.push(Statement { keys, value: None, lines, under: under.clone() });
            } else {
                let keys = self.keys()?;
                (self.byte() == Some(b'=')).then_some(())?;
                self.at += 1;
                let value = self.value(0)?;
                let lines = self.lines(start);
                all.push(Statement { keys, value: Some(value), lines, under: under.clone() });
            }
        }
    }

    /// All lines of what begins at a place and ends here.
    fn lines(&self, start: usize) -> Range<usize> {
        let from =
            self.text[..start].rfind('\n').map_or(if self.text.starts_with('\u{feff}') { 3 } else { 0 }, |n| n + 1);
        let end = self.line_end();
        from..(end + 1).min(self.text.len())
    }

    /// A key, its parts joined by dots.
    fn keys(&mut self) -> Option<Vec<Segment>> {
        let mut all = Vec::new();
        loop {
            self.blanks();
            let start = self.at;
            let text = match self.byte()? {
                b'"' | b'\'' => {
                    let raw = self.quoted()?;
                    decoded(raw)?
                }
                _ => {
                    while self.byte().is_some_and(|b| b.is_ascii_alphanumeric() || b == b'-' || b == b'_') {
                        self.at += 1;
                    }
                    (self.at > start).then(|| self.text[start..self.at].to_owned())?
                }
            };
            all.push(Segment { text, at: start..self.at });
            self.blanks();
            if self.byte() != Some(b'.') {
                return Some(all);
            }
            self.at += 1;
        }
    }

    /// A text in quotes of any kind, with them.
    fn quoted(&mut self) -> Option<&str> {
        let start = self.at;
        let quote = self.byte()?;
        let three = if quote == b'"' { "\"\"\"" } else { "'''" };
        let long = self.ahead(three);
        self.at += if long { 3 } else { 1 };
        loop {
            match self.byte()? {
                b'\\' if quote == b'"' => self.at += 2,
                b if b == quote && !long => {
                    self.at += 1;
                    return self.text.get(start..self.at);
                }
                b if b == quote && self.ahead(three) => {
                    self.at += 3;
                    // Up to two more quotes belong to the text.
                    while self.byte() == Some(quote) {
                        self.at += 1;
                    }
                    return self.text.get(start..self.at);
                }
                _ => self.at += 1,
            }
        }
    }

    fn value(&mut self, depth: usize) -> Option<Val> {
        const DEEPEST: usize = 128;
        (depth < DEEPEST).then_some(())?;
        self.blanks();
        let start = self.at;
        let is = match self.byte()? {
            b'"' | b'\'' => {
                let raw = self.quoted()?;
                Is::Text(decoded(raw)?)
            }
            b'[' => {
                self.at += 1;
                let mut list = Vec::new();
                loop {
                    self.gap();
                    if self.byte()? == b']' {
                        self.at += 1;
                        break;
                    }
                    list.push(self.value(depth + 1)?);
                    self.gap();
                    if self.byte()? == b',' {
                        self.at += 1;
                    }
                }
                Is::List(list)
            }
            b'{' => {
                self.at += 1;
                let mut pairs = Vec::new();
                loop {
                    self.gap();
                    if self.byte()? == b'}' {
                        self.at += 1;
                        break;
                    }
                    let keys = self.keys()?;
                    self.gap();
                    (self.byte() == Some(b'=')).then_some(())?;
                    self.at += 1;
                    self.gap();
                    let value = self.value(depth + 1)?;
                    pairs.push(Pair { keys, value });
                    self.gap();
                    if self.byte()? == b',' {
                        self.at += 1;
                    }
                }
                Is::Table(pairs)
            }
            _ => {
                let ends = |b: u8| matches!(b, b',' | b']' | b'}' | b'\n' | b'\r' | b'#');
                while self.byte().is_some_and(|b| !ends(b)) {
                    self.at += 1;
                }
                self.at = start + self.text[start..self.at].trim_end().len();
                (self.at > start).then_some(Is::Bare)?
            }
        };
        Some(Val { at: start..self.at, is })
    }
}

/// The table that a heading opens.
fn opened(keys: &[Segment], is_entry: bool, lists: &mut Vec<(Vec<Part>, usize)>) -> Vec<Part> {
    let mut path = Vec::new();
    for (n, key) in keys.iter().enumerate() {
        path.push(Part::Key(key.text.clone()));
        let known = lists.iter_mut().find(|(list, _)| *list == path);
        let last = n + 1 == keys.len();
        let index = match (known, last && is_entry) {
            (Some((_, count)), true) => {
                *count += 1;
                Some(*count - 1)
            }
            (None, true) => {
                lists.push((path.clone(), 1));
                Some(0)
            }
            (Some((_, count)), false) => Some(*count - 1),
            (None, false) => None,
        };
        path.extend(index.map(Part::Entry));
    }
    path
}

/// What a text in quotes says.
fn decoded(raw: &str) -> Option<String> {
    let plain = raw.get(1..raw.len().checked_sub(1)?)?;
    if !raw.starts_with("\"\"\"") && !raw.starts_with("'''") && (raw.starts_with('\'') || !plain.contains('\\')) {
        return Some(plain.to_owned());
    }
    raw.parse::<toml_edit::Value>().ok()?.as_str().map(str::to_owned)
}
