//! Tables, and keys that belong into another one.

use super::words;
use crate::patch::check::node::{Key, Node, Value};
use crate::patch::check::show::shown;
use crate::patch::check::view::Kind;
use crate::patch::model::{KINDS, Keys, Row, Takes};
use crate::patch::read::top_keys::KEYS;
use crate::patch::read::voice;
use crate::voice::Model;

/// The keys of the tables of a kind, where all of the kind have the same.
pub(super) fn keys(kind: Kind) -> Option<&'static Keys> {
    match KEYS.row(kind.key())?.takes {
        Takes::Named(keys) => Some(keys),
        Takes::Voices => Some(&voice::KEYS),
        _ => None,
    }
}

/// Whether some kind of stage has a key.
pub(super) fn is_of_stage(key: &str) -> bool {
    KINDS.iter().any(|kind| kind.keys.row(key).is_some())
}

/// The kind that was most likely meant, as it is written.
pub(super) fn stage_kind(node: &Node) -> Option<String> {
    let Value::Text(text) = &node.value else { return None };
    let all: Vec<&str> = KINDS.iter().map(|kind| kind.word).collect();
    words::meant(text, &all).map(|word| format!("kind = \"{word}\""))
}

/// A name that a table of a kind may have, for an example.
const fn example(kind: Kind) -> &'static str {
    match kind {
        Kind::Output => "sixteenths",
        Kind::Stage => "gate",
        Kind::Wire => "slow",
        Kind::Sequencer => "ox",
        Kind::Voice => "bell",
        Kind::Take => "take",
    }
}

/// What to do where tables with names belong and something else stands.
pub(super) fn no_tables(kind: Kind, node: &Node) -> String {
    let (key, name) = (kind.key(), example(kind));
    match &node.value {
        Value::List(list) if matches!(list.first().map(|n| &n.value), Some(Value::Table(_))) => {
            format!("write [{key}.{name}] instead of [[{key}]]: single brackets, and a name for each {}", kind.noun())
        }
        _ => format!("write a heading such as [{key}.{name}], and its keys below it"),
    }
}

/// What to do where a table with a name belongs and something else stands.
pub(super) fn unnamed(kind: Kind, name: &Key, node: &Node, source: &str) -> Option<String> {
    let (key, written) = (kind.key(), shown(&name.text));
    if let Value::List(list) = &node.value
        && matches!(list.first().map(|n| &n.value), Some(Value::Table(_)))
    {
        return Some(format!("write [{key}.{written}] instead of [[{key}.{written}]]: with single brackets"));
    }
    // A key of such a table, so that the heading above it has no name.
    let is_key = match kind {
        Kind::Stage => name.text == "kind" || is_of_stage(&name.text),
        Kind::Voice => keys(kind)?.row(&name.text).is_some() || is_of_voice(&name.text),
        _ => keys(kind)?.row(&name.text).is_some(),
    };
    // The heading is the line before, or further up.
    let bare = source.get(..name.at.start)?.contains(&format!("[{key}]"));
    (is_key && bare).then(|| {
        format!("write [{key}.{}] instead of [{key}]: each {} has a name of its own", example(kind), kind.noun())
    })
}

/// A heading to write for a key at the top that is a word for another.
pub(super) fn heading(row: &Row, node: &Node) -> Option<String> {
    let named = matches!(row.takes, Takes::Named(_) | Takes::Stages { .. } | Takes::Voices);
    let (Value::Table(table), true) = (&node.value, named) else { return None };
    let headings: Vec<String> =
        table.entries.iter().take(3).map(|(name, _)| format!("[{}.{}]", row.key, shown(&name.text))).collect();
    (!headings.is_empty()).then(|| headings.join(", "))
}

fn is_of_voice(key: &str) -> bool {
    Model::ALL.iter().any(|model| model.params().iter().any(|param| param.key == key))
}

/// Where a key belongs that its table has not: what is said under it, and where to write it.
pub(super) fn elsewhere(key: &str, kind: Option<Kind>) -> Option<(String, String)> {
    let of_top = || {
        let tables = Kind::ALL.iter().any(|kind| kind.key() == key);
        (kind.is_some() && !tables && KEYS.row(key).is_some())
            .then(|| ("a key of the patch itself".to_owned(), "above the first heading".to_owned()))
    };
    let has = |other: Kind| match other {
        Kind::Stage => is_of_stage(key),
        Kind::Voice => keys(other).is_some_and(|keys| keys.row(key).is_some()) || is_of_voice(key),
        _ => keys(other).is_some_and(|keys| keys.row(key).is_some()),
    };
    let of_table = || {
        // Those that most patches have come first.
        let order = [Kind::Output, Kind::Sequencer, Kind::Voice, Kind::Stage, Kind::Take];
        let other = order.into_iter().find(|other| Some(*other) != kind && has(*other))?;
        let article = if other == Kind::Output { "an" } else { "a" };
        Some((
            format!("a key of {article} {}", other.noun()),
            format!("below a heading [{}.{}]", other.key(), example(other)),
        ))
    };
    of_top().or_else(of_table)
}

/// Keys that no table has, since what they ask for is done otherwise: what is said under them, and what to do.
pub(super) fn foreign(key: &str, kind: Option<Kind>) -> Option<(String, String)> {
    let key = key.to_lowercase();
    let (label, help) = match (key.as_str(), kind) {
        ("sample" | "wav" | "path" | "sound", Some(Kind::Voice)) => {
            ("a sound file is named with `file`", "write file = \"drum.wav\", relative to the patch file")
        }
        ("file" | "sample" | "wav" | "path", Some(Kind::Sequencer)) => (
            "a sequencer plays a voice",
            "write file = \"drum.wav\" below a heading [voice.bell], and voice = \"bell\" in the sequencer",
        ),
        ("name" | "id" | "label", Some(_)) => {
            ("the heading says the name", "take it out: a table is named in its heading, such as [clock.NAME]")
        }
        ("mute" | "muted" | "enabled" | "on", Some(_)) => (
            "nothing is switched on or off in a patch",
            "put `#` before the lines of what is not to play, or take them out",
        ),
        _ => return None,
    };
    Some((label.to_owned(), help.to_owned()))
}
