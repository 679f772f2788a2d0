//! The TOML document as a tree of our own: places everywhere, numbers as they were written, tables in file order.

use crate::patch::check::fault::{Fault, Faults, Place};
use crate::patch::check::mend::{Mended, mended};
use toml::de::{DeTable, DeValue};

/// The key of a table's entry.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(in crate::patch) struct Key {
    pub(in crate::patch) text: String,
    pub(in crate::patch) at: Place,
}

/// A value and where it stands.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(in crate::patch) struct Node {
    pub(in crate::patch) at: Place,
    pub(in crate::patch) value: Value,
}

/// What a value is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(in crate::patch) enum Value {
    Text(String),
    /// As it was written, without `_`; `None` for one that is not decimal.
    Number(Option<String>),
    Bool(bool),
    Date,
    List(Vec<Node>),
    Table(Table),
}

/// A table: its entries in the order of the file.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(in crate::patch) struct Table {
    pub(in crate::patch) entries: Vec<(Key, Node)>,
    /// Made by a dotted key (`a.b = 1` makes `a`), not by a heading or by braces.
    pub(in crate::patch) dotted: bool,
}

/// A table in braces, as TOML has it; what is no decimal number is left out.
pub(in crate::patch) fn to_toml<'a>(entries: impl Iterator<Item = (&'a str, &'a Node)>) -> String {
    let entry = |(key, node): (&str, &Node)| Some(format!("{key} = {}", node.to_toml()?));
    format!("{{ {} }}", entries.filter_map(entry).collect::<Vec<_>>().join(", "))
}

impl Node {
    /// As TOML has it; `None` for a number that is no decimal, and for a date.
    fn to_toml(&self) -> Option<String> {
        Some(match &self.value {
            Value::Text(text) => toml_edit::Value::from(text.as_str()).to_string(),
            Value::Number(number) => number.clone()?,
            Value::Bool(yes) => yes.to_string(),
            Value::Date => return None,
            Value::List(list) => {
                format!("[{}]", list.iter().map(Self::to_toml).collect::<Option<Vec<_>>>()?.join(", "))
            }
            Value::Table(table) => to_toml(table.entries.iter().map(|(key, node)| (key.text.as_str(), node))),
        })
    }

    /// What it is, for "found …".
    pub(in crate::patch) fn kind(&self) -> &'static str {
        match &self.value {
            Value::Text(_) => "a text",
            Value::Number(_) => "a bare number",
            Value::Bool(_) => "true or false",
            Value::Date => "a date",
            Value::List(_) => "a list",
            Value::Table(_) => "a table",
        }
    }

    /// Equal values, wherever they stand.
    pub(in crate::patch) fn same(&self, other: &Self) -> bool {
        match (&self.value, &other.value) {
            (Value::Text(a), Value::Text(b)) => a == b,
            (Value::Number(Some(a)), Value::Number(Some(b))) => a == b,
            (Value::Bool(a), Value::Bool(b)) => a == b,
            (Value::List(a), Value::List(b)) => a.len() == b.len() && a.iter().zip(b).all(|(a, b)| a.same(b)),
            (Value::Table(a), Value::Table(b)) => {
                a.entries.len() == b.entries.len()
                    && a.entries.iter().all(|(key, value)| b.get(&key.text).is_some_and(|other| value.same(other)))
            }
            _ => false,
        }
    }
}

impl Table {
    pub(in crate::patch) fn get(&self, key: &str) -> Option<&Node> {
        self.entries.iter().find(|(k, _)| k.text == key).map(|(_, node)| node)
    }

    pub(in crate::patch) fn has(&self, key: &str) -> bool {
        self.get(key).is_some()
    }

    pub(in crate::patch) fn get_mut(&mut self, key: &str) -> Option<&mut Node> {
        self.entries.iter_mut().find(|(k, _)| k.text == key).map(|(_, node)| node)
    }

    fn new(table: &DeTable<'_>, dotted: bool) -> Self {
        let mut entries: Vec<_> = table
            .iter()
            .map(|(key, value)| {
                let key = Key { text: key.get_ref().to_string(), at: key.span() };
                // The reader gives a table that a dotted key implies the place of that key.
                let node = Node::new(value.get_ref(), value.span(), value.span() == key.at);
                (key, node)
            })
            .collect();
        entries.sort_by_key(|(key, _)| key.at.start);
        Self { entries, dotted }
    }
}

impl Node {
    fn new(value: &DeValue<'_>, at: Place, dotted: bool) -> Self {
        let value = match value {
            DeValue::String(text) => Value::Text(text.to_string()),
            DeValue::Integer(n) => Value::Number((n.radix() == 10).then(|| n.as_str().to_owned())),
            DeValue::Float(n) => Value::Number(Some(n.as_str().to_owned())),
            DeValue::Boolean(b) => Value::Bool(*b),
            DeValue::Datetime(_) => Value::Date,
            DeValue::Array(list) => Value::List(list.iter().map(|v| Self::new(v.get_ref(), v.span(), false)).collect()),
            DeValue::Table(table) => Value::Table(Table::new(table, dotted)),
        };
        Self { at, value }
    }
}

/// The most bytes of a file: 1 MiB.
pub const LARGEST_FILE: usize = 1 << 20;

/// Reads a file that is written by hand; `help` is for one that is too large for that.
///
/// # Errors
/// Its size, or the first fault of syntax alone: one lost bracket would give twenty.
pub(in crate::patch) fn read_file(source: &str, help: &str) -> Result<Table, Faults> {
    if source.len() > LARGEST_FILE {
        let message = format!("the file has {} bytes; at most {LARGEST_FILE} (1 MiB)", source.len());
        return Err(Faults::one(Fault { at: None, ..Fault::new(0..0, message) }.help(help)));
    }
    read(source)
}

/// Reads a document.
///
/// # Errors
/// The first fault of syntax alone: one lost bracket would give twenty.
pub(in crate::patch) fn read(source: &str) -> Result<Table, Faults> {
    let error = match DeTable::parse(source) {
        Ok(table) => return Ok(Table::new(table.get_ref(), false)),
        Err(error) => error,
    };
    let at = error.span().unwrap_or(0..0);
    let text = source.get(at.clone()).unwrap_or_default();
    let what = error.message();
    let place = at.clone();
    let fault = |message: String| Fault::new(place.clone(), message);
    Err(Faults::one(if let Some(Mended { found, label, line, at: earlier }) = mended(source, at.start) {
        Fault::new(earlier.unwrap_or(at), found).label(label).help(format!("write {line}"))
    } else if let Some(key) = without_value(source, at.start) {
        fault(format!("`{}` has no value", crate::patch::check::show::shown(key)))
            .label("expected a value behind `=`")
            .help("write a value, or take the line out")
    } else if what == "duplicate key" {
        fault(format!("`{}` is defined a second time", crate::patch::check::show::shown(text)))
            .label("a name or a key may stand only once in its table")
            .help("keep one of the two")
    } else {
        let (found, expected) = what.split_once(", expected ").unwrap_or((what, ""));
        let label = if expected.is_empty() { String::new() } else { format!("expected {expected}") };
        fault(format!("this is not TOML: {found}"))
            .label(label)
            .help("a patch is TOML: headings such as [clock.slow], and below each lines such as width = \"5 ms\"")
    }))
}

/// The key of the line at a place, where that line is a key alone, with `=` or without.
fn without_value(source: &str, at: usize) -> Option<&str> {
    let start = source.get(..at)?.rfind('\n').map_or(0, |n| n + 1);
    let line = source[start..].lines().next()?.split('#').next()?.trim();
    let key = line.trim_end_matches(['=', ':']).trim_end();
    let plain = |c: char| c.is_ascii_alphanumeric() || c == '-' || c == '_';
    (!key.is_empty() && key.chars().all(plain)).then_some(key)
}
