//! Edits of a patch's text: what an edit names changes, and every other byte stays, remarks, order and blank lines with it.
//!
//! The text is what holds. An edit is made in it, statement by statement; whether the patch is good afterwards is for
//! [`Patch::parse`](crate::patch::Patch::parse) to say.

mod carry;
mod fixes;
mod keep;
mod new_fix;
mod place;
mod reader;
mod refer;
mod rename;
mod scan;
mod section;
mod set;
mod worth;

pub(in crate::patch) use new_fix::with_top;
pub use new_fix::{NewFix, WithFix, fix_lines, with_fix};
pub(in crate::patch) use refer::{Reference, references, rows_of};
pub use worth::Worth;

use crate::patch::check::node::LARGEST_FILE;
use crate::patch::check::view::{LONGEST_NAME, bad_name};
use crate::text::shown;
use serde::{Deserialize, Serialize};
use std::fmt;

/// A step on the way to a value.
#[derive(Clone, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(untagged)]
pub enum Part {
    /// A key of a table.
    Key(String),
    /// An entry of a list, from 0.
    Entry(usize),
}

/// A change of a patch's text.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "do", rename_all = "lowercase", deny_unknown_fields)]
pub enum Edit {
    /// A key is set, or added at the end of its table.
    Set {
        /// Where.
        at: Vec<Part>,
        /// To what.
        to: Worth,
        /// Within this fix, instead of the patch itself.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        fix: Option<String>,
    },
    /// A key is taken out, so that its default holds.
    Clear {
        /// Where.
        at: Vec<Part>,
        /// Of this fix, instead of the patch itself.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        fix: Option<String>,
    },
    /// A new named table, after the last of its kind; or an entry more of a list of tables.
    Add {
        /// Its kind and its name; of a list its key alone.
        at: Vec<Part>,
        /// Its keys.
        to: Worth,
    },
    /// A named table is taken out, and whatever names it and can do without.
    Remove {
        /// Its kind and its name; of a list its key and which.
        at: Vec<Part>,
    },
    /// A copy of a named table, behind it.
    Duplicate {
        /// Its kind and its name.
        at: Vec<Part>,
        /// The name of the copy.
        #[serde(rename = "as")]
        to: String,
    },
    /// Another name for a named table, wherever it is named.
    Rename {
        /// Its kind and its name.
        at: Vec<Part>,
        /// The new name.
        #[serde(rename = "as")]
        to: String,
    },
    /// What has changed against another text becomes a fix of that text; fixes that were made since stay.
    Keep {
        /// The name of the fix.
        fix: String,
        /// What it says of itself.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        about: Option<String>,
        /// The other text.
        of: String,
    },
}

/// Why an edit cannot be made: what was found, and what to do.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct EditError {
    /// What was found, in a line that begins in lower case.
    pub says: String,
    /// What to do.
    pub help: String,
}

impl EditError {
    pub(in crate::patch) fn new(says: &str, help: &str) -> Self {
        Self { says: says.to_owned(), help: help.to_owned() }
    }
}

impl fmt::Display for EditError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}\nhelp: {}", self.says, self.help)
    }
}

impl std::error::Error for EditError {}

/// Kinds of named tables, in the order in which a file has them.
pub(super) const KINDS: [&str; 9] = ["clock", "stage", "wire", "box", "sequencer", "hits", "voice", "fix", "component"];
/// Lists of tables.
const LISTS: [&str; 2] = ["tempo-map", "change"];
/// The most steps of a way, and the most letters of one.
const LONGEST_WAY: usize = 8;
const LONGEST_KEY: usize = 4 * LONGEST_NAME;

/// The text with an edit made. Where the edit changes nothing, it is the same to the last byte.
///
/// # Errors
/// If the text is no TOML, if what is named is not there, or if the edit cannot be made without breaking what it does not name.
pub fn edited(text: &str, edit: &Edit) -> Result<String, EditError> {
    let done = match edit {
        Edit::Set { at, to, fix } => {
            known_way(at)?;
            to.bounded()?;
            match fix {
                None => set::set(text, at, to),
                Some(fix) => fixes::set(text, fix, at, to),
            }
        }
        Edit::Clear { at, fix } => {
            known_way(at)?;
            match fix {
                None => set::clear(text, at),
                Some(fix) => fixes::clear(text, fix, at),
            }
        }
        Edit::Add { at, to } => {
            known_way(at)?;
            to.bounded()?;
            section::add(text, at, to)
        }
        Edit::Remove { at } => {
            known_way(at)?;
            section::remove(text, at)
        }
        Edit::Duplicate { at, to } => section::duplicate(text, named(at)?, to),
        Edit::Rename { at, to } => rename::rename(text, named(at)?, to),
        Edit::Keep { fix, about, of } => keep::keep(text, fix, about.as_deref(), of),
    }?;
    if done.len() > LARGEST_FILE {
        let message = format!("the file would have {} bytes; at most {LARGEST_FILE} (1 MiB)", done.len());
        return Err(EditError::new(&message, "make it shorter"));
    }
    Ok(done)
}

fn known_way(at: &[Part]) -> Result<(), EditError> {
    let long = |part: &Part| matches!(part, Part::Key(key) if key.len() > LONGEST_KEY);
    if !matches!(at.first(), Some(Part::Key(_))) || at.len() > LONGEST_WAY || at.iter().any(long) {
        let help = "write the keys that lead there, such as [\"clock\", \"slow\", \"phase\"]";
        return Err(EditError::new("this is not the way to a key", help));
    }
    Ok(())
}

/// The kind and the name of a named table.
fn named(at: &[Part]) -> Result<(&'static str, &str), EditError> {
    if let [Part::Key(kind), Part::Key(name)] = at
        && let Some(kind) = KINDS.iter().find(|known| *known == kind)
    {
        return Ok((kind, name));
    }
    let help = format!("write a kind and a name; kinds are {}", KINDS.join(", "));
    Err(EditError::new("this is not the way to a table with a name", &help))
}

/// What people call a kind.
fn noun(kind: &str) -> &str {
    match kind {
        "clock" => "output",
        "hits" => "take",
        "box" => "kind of box",
        kind => kind,
    }
}

/// Refuses a name that cannot be used or is taken.
fn new_name(document: &Worth, kind: &str, name: &str, but: Option<&str>) -> Result<(), EditError> {
    if let Some((message, help)) = bad_name(name, noun(kind)) {
        return Err(EditError::new(&message, &help));
    }
    let Some(Worth::Table(all)) = document.get(kind) else { return Ok(()) };
    let same = all.iter().find(|(known, _)| known.eq_ignore_ascii_case(name) && Some(known.as_str()) != but);
    match same {
        Some((known, _)) => {
            let article = if noun(kind).starts_with('o') { "an" } else { "a" };
            let message = format!("there is {article} {} `{}` already", noun(kind), shown(known));
            Err(EditError::new(&message, "take another name"))
        }
        None => Ok(()),
    }
}

/// What a table that is not there is told as.
fn not_there(kind: &str, name: &str) -> EditError {
    EditError::new(&format!("there is no {} `{}`", noun(kind), shown(name)), "name one that the patch has")
}

/// A way as it is told.
fn told(at: &[Part]) -> String {
    let part = |part: &Part| match part {
        Part::Key(key) => shown(key),
        Part::Entry(n) => (n + 1).to_string(),
    };
    at.iter().map(part).collect::<Vec<_>>().join(".")
}

/// A way of keys.
fn way(keys: &[&str]) -> Vec<Part> {
    keys.iter().map(|key| Part::Key((*key).to_owned())).collect()
}
