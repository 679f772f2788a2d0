//! The statements of a file with the place of every key and value, for splicing: nothing is written anew that nobody named.

use super::worth::Worth;
use super::{EditError, Part, reader};
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
        let statements = reader::statements(text).ok_or_else(|| {
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
