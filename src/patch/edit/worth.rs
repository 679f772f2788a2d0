//! A value of TOML by itself: as it comes in JSON, and as it is written into a file.

use super::{EditError, Part};
use serde::de::{Error, MapAccess, SeqAccess, Visitor};
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use std::fmt;

/// What may stand under a key. A table keeps the order of its keys.
#[derive(Clone, Debug, PartialEq)]
pub enum Worth {
    /// A text in quotes.
    Text(String),
    /// A whole number.
    Whole(i64),
    /// Any other number.
    Number(f64),
    /// True or false.
    Bool(bool),
    /// A list.
    List(Vec<Worth>),
    /// A table.
    Table(Vec<(String, Worth)>),
}

/// How deep values may lie within each other.
const DEEPEST: usize = 8;
/// The most values within one.
const MOST_VALUES: usize = 4096;

impl Worth {
    /// A text.
    #[must_use]
    pub fn text(text: &str) -> Self {
        Self::Text(text.to_owned())
    }

    /// What stands under a key of a table.
    #[must_use]
    pub fn get(&self, key: &str) -> Option<&Self> {
        match self {
            Self::Table(entries) => entries.iter().find(|(k, _)| k == key).map(|(_, value)| value),
            _ => None,
        }
    }

    /// What a path leads to.
    #[must_use]
    pub fn at(&self, path: &[Part]) -> Option<&Self> {
        path.iter().try_fold(self, |here, part| match (here, part) {
            (table, Part::Key(key)) => table.get(key),
            (Self::List(list), Part::Entry(n)) => list.get(*n),
            _ => None,
        })
    }

    /// Equal values; the order of a table's keys does not count.
    #[must_use]
    pub fn same(&self, other: &Self) -> bool {
        match (self, other) {
            (Self::List(a), Self::List(b)) => a.len() == b.len() && a.iter().zip(b).all(|(a, b)| a.same(b)),
            (Self::Table(a), Self::Table(b)) => {
                a.len() == b.len() && a.iter().all(|(key, value)| other.get(key).is_some_and(|b| value.same(b)))
            }
            (a, b) => a == b,
        }
    }

    /// As it is written on one line.
    #[must_use]
    pub fn written(&self) -> String {
        match self {
            Self::Text(text) => toml_edit::Value::from(text.as_str()).to_string(),
            Self::Whole(n) => n.to_string(),
            Self::Number(n) => toml_edit::Value::from(*n).to_string(),
            Self::Bool(yes) => yes.to_string(),
            Self::List(list) => format!("[{}]", list.iter().map(Self::written).collect::<Vec<_>>().join(", ")),
            Self::Table(entries) if entries.is_empty() => "{}".to_owned(),
            Self::Table(entries) => {
                let entry = |(name, value): &(String, Self)| format!("{} = {}", key(name), value.written());
                format!("{{ {} }}", entries.iter().map(entry).collect::<Vec<_>>().join(", "))
            }
        }
    }

    /// Refuses what is larger than any file needs.
    pub(super) fn bounded(&self) -> Result<(), EditError> {
        fn count(value: &Worth, depth: usize, left: &mut usize) -> Result<(), EditError> {
            *left = left.checked_sub(1).ok_or_else(|| {
                EditError::new("the value has too many parts", &format!("write at most {MOST_VALUES} of them"))
            })?;
            if depth > DEEPEST {
                let message = "the value has lists and tables in each other too deeply";
                return Err(EditError::new(message, &format!("put at most {DEEPEST} in each other")));
            }
            match value {
                Worth::List(list) => list.iter().try_for_each(|value| count(value, depth + 1, left)),
                Worth::Table(entries) => {
                    for (n, (name, value)) in entries.iter().enumerate() {
                        if entries[..n].iter().any(|(other, _)| other == name) {
                            let message = format!("`{}` is twice in one table", crate::text::shown(name));
                            return Err(EditError::new(&message, "write each key once"));
                        }
                        count(value, depth + 1, left)?;
                    }
                    Ok(())
                }
                Worth::Number(n) if !n.is_finite() => {
                    Err(EditError::new("the number has no end", "write a number such as 120.5"))
                }
                _ => Ok(()),
            }
        }
        count(self, 0, &mut MOST_VALUES.clone())
    }
}

/// A key as it is written: in quotes where it needs them.
pub(super) fn key(name: &str) -> String {
    toml_edit::Key::new(name).to_string()
}

impl Serialize for Worth {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        match self {
            Self::Text(text) => serializer.serialize_str(text),
            Self::Whole(n) => serializer.serialize_i64(*n),
            Self::Number(n) => serializer.serialize_f64(*n),
            Self::Bool(yes) => serializer.serialize_bool(*yes),
            Self::List(list) => serializer.collect_seq(list),
            Self::Table(entries) => serializer.collect_map(entries.iter().map(|(key, value)| (key, value))),
        }
    }
}

impl<'de> Deserialize<'de> for Worth {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        deserializer.deserialize_any(Reader)
    }
}

struct Reader;

impl<'de> Visitor<'de> for Reader {
    type Value = Worth;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a text, a number, true or false, a list or a table")
    }

    fn visit_bool<E: Error>(self, yes: bool) -> Result<Worth, E> {
        Ok(Worth::Bool(yes))
    }

    fn visit_i64<E: Error>(self, n: i64) -> Result<Worth, E> {
        Ok(Worth::Whole(n))
    }

    fn visit_u64<E: Error>(self, n: u64) -> Result<Worth, E> {
        i64::try_from(n).map(Worth::Whole).map_err(|_| E::custom("a number past what a file can hold"))
    }

    fn visit_f64<E: Error>(self, n: f64) -> Result<Worth, E> {
        Ok(Worth::Number(n))
    }

    fn visit_str<E: Error>(self, text: &str) -> Result<Worth, E> {
        Ok(Worth::text(text))
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut list: A) -> Result<Worth, A::Error> {
        let mut all = Vec::new();
        while let Some(value) = list.next_element()? {
            all.push(value);
        }
        Ok(Worth::List(all))
    }

    fn visit_map<A: MapAccess<'de>>(self, mut table: A) -> Result<Worth, A::Error> {
        let mut all = Vec::new();
        while let Some(entry) = table.next_entry()? {
            all.push(entry);
        }
        Ok(Worth::Table(all))
    }
}
