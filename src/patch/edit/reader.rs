//! Goes through a text that is TOML, statement by statement, with the place of every key and value.

use super::Part;
use super::scan::{Is, Pair, Segment, Statement, Val};
use std::ops::Range;

/// All statements of a text; `None` where it is written in a way that is not known here.
pub(super) fn statements(text: &str) -> Option<Vec<Statement>> {
    Reader { text, at: if text.starts_with('\u{feff}') { 3 } else { 0 } }.statements()
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
