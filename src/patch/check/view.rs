//! The kinds of named tables of a patch, as one variant has them: borrowed, so that a fix costs a list of pointers.

use crate::patch::check::fault::{Fault, Faults, Place};
use crate::patch::check::node::{Key, Node, Table, Value};
use crate::patch::check::show::{listed, nearest, shown};
use crate::text::plural;
use std::cell::OnceCell;
use std::collections::HashMap;

/// The most of each kind of thing.
pub(in crate::patch) const MOST_OF_A_KIND: usize = 256;
/// The most characters of a name.
pub(in crate::patch) const LONGEST_NAME: usize = 64;
/// Names that files and variants of ours have.
pub(in crate::patch) const TAKEN: [&str; 2] = ["original", "matched"];

/// A kind of named table.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(in crate::patch) enum Kind {
    Output,
    Stage,
    Wire,
    Sequencer,
    Voice,
    Take,
}

impl Kind {
    pub(in crate::patch) const ALL: [Self; 6] =
        [Self::Output, Self::Stage, Self::Wire, Self::Sequencer, Self::Voice, Self::Take];

    /// The key that its tables stand under.
    pub(in crate::patch) const fn key(self) -> &'static str {
        match self {
            Self::Output => "clock",
            Self::Stage => "stage",
            Self::Wire => "wire",
            Self::Sequencer => "sequencer",
            Self::Voice => "voice",
            Self::Take => "hits",
        }
    }

    /// The kind whose tables stand under a key.
    pub(in crate::patch) fn of_key(key: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.key() == key)
    }

    /// What one of them is called.
    pub(in crate::patch) const fn noun(self) -> &'static str {
        match self {
            Self::Output => "output",
            Self::Stage => "stage",
            Self::Wire => "wire",
            Self::Sequencer => "sequencer",
            Self::Voice => "voice",
            Self::Take => "take",
        }
    }

    /// An example of a whole table, to be written after `=`.
    pub(in crate::patch) const fn example(self) -> &'static str {
        match self {
            Self::Output => "{ rate = \"4 per beat\" }",
            Self::Stage => "{ kind = \"delay\", delay = \"40 us\" }",
            Self::Wire => "{ path = [\"slow\", \"gate\"] }",
            Self::Sequencer => "{ clock = \"sixteenths\", steps = \"x...x...\", voice = \"kick\" }",
            Self::Voice => "{ model = \"kick\" }",
            Self::Take => "{ file = \"take.csv\", voice = \"kick\", grid = \"4 per beat\" }",
        }
    }
}

/// A named table.
#[derive(Clone, Debug)]
pub(in crate::patch) struct Section<'a> {
    pub(in crate::patch) name: &'a Key,
    pub(in crate::patch) fields: Vec<(&'a Key, &'a Node)>,
    /// Not a table at all: its name counts as defined, and the fault has been told.
    pub(in crate::patch) broken: bool,
}

impl<'a> Section<'a> {
    pub(in crate::patch) fn new(name: &'a Key, table: &'a Table) -> Self {
        Self { name, fields: table.entries.iter().map(|(k, v)| (k, v)).collect(), broken: false }
    }

    pub(in crate::patch) fn get(&self, key: &str) -> Option<(&'a Key, &'a Node)> {
        self.fields.iter().find(|(k, _)| k.text == key).copied()
    }
}

/// All named tables of one variant, each kind in the order of the file.
#[derive(Clone, Debug)]
pub(in crate::patch) struct View<'a> {
    /// Kinds of which nothing could be read; the fault has been told.
    unread: [bool; 6],
    sections: [Vec<Section<'a>>; 6],
    /// Where each name stands in its kind, worked out when first asked for: paths ask for very many.
    positions: OnceCell<[HashMap<String, usize>; 6]>,
}

impl<'a> View<'a> {
    /// The tables of the file, without any fix.
    pub(in crate::patch) fn new(document: &'a Table, faults: &mut Faults) -> Self {
        let unread =
            Kind::ALL.map(|kind| document.get(kind.key()).is_some_and(|n| !matches!(n.value, Value::Table(_))));
        let sections = Kind::ALL.map(|kind| match document.get(kind.key()) {
            None => Vec::new(),
            Some(node) => named_tables(node, kind.key(), kind.noun(), kind.example(), faults),
        });
        Self { unread, sections, positions: OnceCell::new() }
    }

    pub(in crate::patch) fn of(&self, kind: Kind) -> &[Section<'a>] {
        &self.sections[kind as usize]
    }

    pub(in crate::patch) fn of_mut(&mut self, kind: Kind) -> &mut Vec<Section<'a>> {
        self.positions.take();
        &mut self.sections[kind as usize]
    }

    /// Whether the file has none of a kind, and that is all that is wrong with the kind.
    pub(in crate::patch) fn has_none(&self, kind: Kind) -> bool {
        self.of(kind).is_empty() && !self.unread[kind as usize]
    }

    pub(in crate::patch) fn position(&self, kind: Kind, name: &str) -> Option<usize> {
        let of = |sections: &Vec<Section<'a>>| {
            sections.iter().enumerate().map(|(n, section)| (section.name.text.clone(), n)).collect()
        };
        let positions = self.positions.get_or_init(|| self.sections.each_ref().map(of));
        positions[kind as usize].get(name).copied()
    }

    pub(in crate::patch) fn names(&self, kind: Kind) -> impl Iterator<Item = &str> {
        self.of(kind).iter().map(|s| s.name.text.as_str())
    }

    /// Holds every name against the rules for names.
    pub(in crate::patch) fn check_names(&self, faults: &mut Faults) {
        for kind in Kind::ALL {
            check_names(self.of(kind).iter().map(|s| s.name), kind.noun(), faults);
        }
    }
}

/// The tables under `[key.NAME]`; what is no table is told and kept as broken.
pub(in crate::patch) fn named_tables<'a>(
    node: &'a Node,
    key: &str,
    noun: &str,
    example: &str,
    faults: &mut Faults,
) -> Vec<Section<'a>> {
    let Value::Table(table) = &node.value else {
        let fault = Fault::new(node.at.clone(), format!("`{key}` is {}, not tables with names", node.kind()))
            .label(format!("found {}, expected a table for each {noun}", node.kind()))
            .help(format!("write a heading such as [{key}.NAME], and its keys below it"));
        faults.push(fault);
        return Vec::new();
    };
    let section = |(name, node): &'a (Key, Node)| match &node.value {
        Value::Table(table) => Section::new(name, table),
        _ => {
            let shown = shown(&name.text);
            let fault = Fault::new(node.at.clone(), format!("the {noun} `{shown}` is {}, not a table", node.kind()))
                .label(format!("found {}, expected a table", node.kind()))
                .help(format!("write a heading [{key}.{shown}] and its keys below it, or {shown} = {example} here"));
            faults.push(fault);
            Section { name, fields: Vec::new(), broken: true }
        }
    };
    table.entries.iter().map(section).collect()
}

/// Names are `[A-Za-z0-9][A-Za-z0-9_-]*`, at most 64 characters, not taken, and differ by more than case.
pub(in crate::patch) fn check_names<'a>(names: impl Iterator<Item = &'a Key>, noun: &str, faults: &mut Faults) {
    let mut seen: HashMap<String, &Key> = HashMap::new();
    for (n, name) in names.enumerate() {
        if n == MOST_OF_A_KIND {
            let fault = Fault::new(name.at.clone(), format!("there are more than {MOST_OF_A_KIND} {}", plural(noun)))
                .label(format!("found {noun} {}, expected at most {MOST_OF_A_KIND}", n + 1))
                .help(format!("take {} out, or make two files of this one", plural(noun)));
            faults.push(fault);
            break;
        }
        if let Some((message, help)) = bad_name(&name.text, noun) {
            faults.push(Fault::new(name.at.clone(), message).label("not a name that can be used").help(help));
        }
        let lower = name.text.to_ascii_lowercase();
        if let Some(first) = seen.insert(lower, name) {
            let message = format!(
                "the {} `{}` and `{}` differ only by case",
                plural(noun),
                shown(&first.text),
                shown(&name.text)
            );
            let fault = Fault::new(name.at.clone(), message)
                .label("expected a name that differs by more than case")
                .context(first.at.clone(), "the other is here")
                .help("rename one of them: files are named after them, and not every disk tells `A` from `a`");
            faults.push(fault);
        }
    }
}

/// What is wrong with a name, and what to do.
pub(in crate::patch) fn bad_name(name: &str, noun: &str) -> Option<(String, String)> {
    let plain = |c: char| c.is_ascii_alphanumeric() || c == '-' || c == '_';
    let length = name.chars().count();
    if length > LONGEST_NAME {
        let message = format!("the name of a {noun} has {length} characters; at most {LONGEST_NAME}");
        return Some((message.replace("a output", "an output"), "write a shorter name".to_owned()));
    }
    if !name.starts_with(|c: char| c.is_ascii_alphanumeric()) || !name.chars().all(plain) {
        let help = "write letters from a to z, digits, `-` and `_`, beginning with a letter or a digit";
        return Some((format!("`{}` is not a name", shown(name)), help.to_owned()));
    }
    TAKEN.iter().find(|t| t.eq_ignore_ascii_case(name)).map(|taken| {
        let message = format!("the name `{taken}` is taken: files that hitgap writes are called so");
        (message, "write another name".to_owned())
    })
}

/// Words under which people look for a key, and the key, where that is one: the first that is known counts.
const SYNONYMS: [(&str, &[&str]); 67] = [
    ("bpm", &["tempos"]),
    ("tempo", &["tempos"]),
    ("time-signature", &["meter"]),
    ("length", &["bars", "width"]),
    ("name", &["title", "about"]),
    ("description", &["note", "about"]),
    ("division", &["rate"]),
    ("speed", &["rate"]),
    ("frequency", &["rate"]),
    ("offset", &["shift", "offset"]),
    ("delay", &["latency", "shift"]),
    ("nudge", &["offset", "shift"]),
    ("gate", &["width"]),
    ("duty", &["width"]),
    ("pulse-width", &["width"]),
    ("pattern", &["steps"]),
    ("silence", &["idle-reset"]),
    ("timeout", &["idle-reset"]),
    ("sequence", &["steps"]),
    ("sound", &["voice"]),
    ("drum", &["voice"]),
    ("instrument", &["voice"]),
    ("mode", &["reset-mode"]),
    ("type", &["kind", "model"]),
    ("beats-per-minute", &["tempos"]),
    ("signature", &["meter"]),
    ("measures", &["bars"]),
    ("threshold", &["max-gap"]),
    ("max-delay", &["max-gap"]),
    ("ppqn", &["rate"]),
    ("ppq", &["rate"]),
    ("every", &["rate"]),
    ("div", &["rate"]),
    ("pulse", &["width"]),
    ("gate-length", &["width"]),
    ("trigger-length", &["width"]),
    ("shuffle", &["swing"]),
    ("groove", &["swing"]),
    ("time", &["delay", "shift"]),
    ("latency", &["delay"]),
    ("hits", &["steps"]),
    ("notes", &["steps"]),
    ("trigger", &["clock", "steps"]),
    ("in", &["clock"]),
    ("source", &["clock"]),
    ("input", &["clock"]),
    ("rst", &["reset"]),
    ("reset-type", &["reset-mode"]),
    ("euclid", &["euclidean"]),
    ("gain", &["level"]),
    ("volume", &["level"]),
    ("panning", &["pan"]),
    ("pitch", &["pitch-start"]),
    ("tune", &["pitch-start"]),
    ("outputs", &["clock"]),
    ("output", &["clock"]),
    ("clk", &["clock"]),
    ("track", &["sequencer"]),
    ("tracks", &["sequencer"]),
    ("machine", &["sequencer"]),
    ("box", &["sequencer"]),
    ("seq", &["sequencer"]),
    ("device", &["sequencer", "stage"]),
    ("module", &["stage"]),
    ("effect", &["stage"]),
    ("sounds", &["voice"]),
    ("drums", &["voice"]),
];

/// The key that somebody means who uses another word for it.
fn synonym<'k>(found: &str, known: &[&'k str]) -> Option<&'k str> {
    let found = found.to_ascii_lowercase().replace('_', "-");
    let (_, keys) = SYNONYMS.iter().find(|(word, _)| *word == found)?;
    keys.iter().find_map(|key| known.iter().copied().find(|k| k == key))
}

/// The key that somebody means by another word or by a slip of the hand, and whether it is the word for it.
pub(in crate::patch) fn meant_key<'k>(found: &str, known: &[&'k str]) -> Option<(&'k str, bool)> {
    let word = synonym(found, known).map(|key| (key, true));
    word.or_else(|| nearest(found, known.iter().copied()).map(|key| (key, false)))
}

/// Tells every key that is not known, with the nearest that is.
pub(in crate::patch) fn check_keys(fields: &[(&Key, &Node)], known: &[&str], what: &str, faults: &mut Faults) {
    for (key, _) in fields {
        if known.contains(&key.text.as_str()) || faults.is_full() {
            continue;
        }
        let close = meant_key(&key.text, known).map(|(close, _)| close);
        let label = match close {
            Some(close) => format!("did you mean `{close}`?"),
            None => {
                let any = crate::patch::check::show::by_nearness(&key.text, known.iter().copied());
                format!("unknown key; the nearest known one is `{}`", any.first().map_or("none", |(_, k)| k))
            }
        };
        let help = match close {
            Some(close) => format!("write `{close}`; {what} may have {}", listed(known.iter().copied())),
            None => format!("{what} may have {}", listed(known.iter().copied())),
        };
        let message = format!("`{}` is not a key of {what}", shown(&key.text));
        faults.push(Fault::new(key.at.clone(), message).label(label).help(help));
    }
}

/// A name that is used and not defined.
pub(in crate::patch) fn undefined<'a>(
    at: Place,
    name: &str,
    noun: &str,
    known: impl IntoIterator<Item = &'a str>,
    how: &str,
) -> Fault {
    let known: Vec<_> = known.into_iter().collect();
    let close = nearest(name, known.iter().copied());
    let label = match close {
        Some(close) => format!("not defined; did you mean `{close}`?"),
        None => "not defined".to_owned(),
    };
    let help = if known.is_empty() {
        format!("the patch has no {noun} yet: {how}")
    } else {
        let ordered = crate::patch::check::show::by_nearness(name, known);
        let there = format!("there is {}", listed(ordered.into_iter().map(|(_, k)| k)));
        // What is no name cannot be defined.
        if bad_name(name, noun).is_some() { there } else { format!("{there}; or {how}") }
    };
    Fault::new(at, format!("there is no {noun} `{}`", shown(name))).label(label).help(help)
}
