//! Kinds of boxes: what a `like` in a sequencer's table stands for.

use crate::patch::check::fault::{Fault, Faults};
use crate::patch::check::node::{Key, Node, Table, Value};
use crate::patch::check::show::shown;
use crate::patch::check::view::{Kind, MOST_OF_A_KIND, check_keys, check_names, named_tables};
use crate::patch::model::{Keys, Row, Takes};
use crate::patch::read::fields::{Fields, Told};
use crate::patch::read::sequencer;
use crate::patch::read::words::words;

/// The key that kinds stand under.
pub(in crate::patch) const KEY: &str = "box";
/// The key that names one.
pub(in crate::patch) const LIKE: &str = "like";
/// What a kind may bring.
pub(in crate::patch) const BRINGS: [Kind; 2] = [Kind::Output, Kind::Stage];
/// The keys of a kind beside those of a sequencer.
pub(in crate::patch) static KEYS: Keys = Keys {
    what: "a kind of box",
    about: "a kind of box, for `like` in the table of a sequencer",
    rows: &[
        Row::free("about", Takes::Text { lines: false }, "none", "what such a box does, in a line"),
        Row::free("tell", Takes::Text { lines: false }, "none", "how to tell that you own one"),
        Row::free(
            "brings",
            Takes::Brings,
            "nothing",
            "outputs and stages that are added where the patch has none of their names; \
             a `*` stands for the sequencer's name",
        ),
    ],
    rules: &[],
};
/// What may stand at the top of a file of kinds.
pub(in crate::patch) const TOP: [&str; 3] = ["title", "note", KEY];
pub(in crate::patch) const EXAMPLE: &str = "{ reset-mode = \"immediate\" }";
/// The most bytes of what a kind says: it is copied to every sequencer that is like it.
const MOST_BYTES: usize = 16_384;

/// A kind of box: keys of a sequencer that go together, and what else such a box needs.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct BoxKind {
    pub(in crate::patch) name: Key,
    pub(in crate::patch) about: Option<String>,
    pub(in crate::patch) tell: Option<String>,
    /// Keys of a sequencer.
    pub(in crate::patch) keys: Table,
    pub(in crate::patch) brings: Vec<Brought>,
}

/// An output or a stage that a kind brings.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(in crate::patch) struct Brought {
    pub(in crate::patch) kind: Kind,
    /// Its name, with a `*` where that of the sequencer goes.
    pub(in crate::patch) name: Key,
    pub(in crate::patch) table: Node,
}

/// Kinds of boxes from a file.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct BoxKinds(pub(in crate::patch) Vec<BoxKind>);

impl BoxKinds {
    /// Each kind, in the order of the file.
    #[must_use]
    pub fn list(&self) -> &[BoxKind] {
        &self.0
    }

    /// Adds the kinds of another file; where both have one name, the later holds.
    pub fn extend(&mut self, later: Self) {
        self.0.retain(|kind| later.0.iter().all(|other| other.name.text != kind.name.text));
        self.0.extend(later.0);
    }
}

impl BoxKind {
    /// What `like` calls it.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name.text
    }

    /// What such a box does, in a line.
    #[must_use]
    pub fn about(&self) -> Option<&str> {
        self.about.as_deref()
    }

    /// How to tell that one owns such a box, in a line.
    #[must_use]
    pub fn tell(&self) -> Option<&str> {
        self.tell.as_deref()
    }

    /// What it says, as keys of a sequencer and their values as they are written.
    #[must_use]
    pub fn keys(&self) -> Vec<(String, String)> {
        self.keys.entries.iter().map(|(key, node)| (shown(&key.text), written(node))).collect()
    }

    /// What it brings, as quoted paths and tables as they are written.
    #[must_use]
    pub fn brings(&self) -> Vec<(String, String)> {
        let path = |b: &Brought| format!("{}.{}", b.kind.key(), shown(&b.name.text));
        self.brings.iter().map(|b| (path(b), written(&b.table))).collect()
    }
}

/// A value as it is written on one line.
fn written(node: &Node) -> String {
    match &node.value {
        Value::Text(text) => format!("\"{}\"", shown(text)),
        Value::Number(number) => shown(number.as_deref().unwrap_or("0")),
        Value::Bool(yes) => yes.to_string(),
        Value::Date => "a date".to_owned(),
        Value::List(list) => format!("[{}]", list.iter().map(written).collect::<Vec<_>>().join(", ")),
        Value::Table(table) => {
            let entry = |(key, node): &(Key, Node)| format!("{} = {}", shown(&key.text), written(node));
            format!("{{ {} }}", table.entries.iter().map(entry).collect::<Vec<_>>().join(", "))
        }
    }
}

/// Reads the `[box.NAME]` tables of a patch or of a file of their own. What each says as a sequencer is not looked at yet.
pub(in crate::patch) fn box_kinds(source: &str, document: &Table, faults: &mut Faults) -> Vec<BoxKind> {
    let Some(node) = document.get(KEY) else { return Vec::new() };
    let sections = named_tables(node, KEY, "kind", EXAMPLE, faults);
    check_names(sections.iter().map(|s| s.name), "kind", faults);
    let warnings = &mut Faults::warnings();
    let mut all = Vec::new();
    for section in sections.iter().filter(|s| !s.broken).take(MOST_OF_A_KIND) {
        let what = format!("the kind `{}`", shown(&section.name.text));
        let mut fields = Fields { source, what, at: section.name.at.clone(), section, faults, warnings };
        all.extend(box_kind(&mut fields).ok());
    }
    all
}

fn box_kind(fields: &mut Fields<'_, '_>) -> Result<BoxKind, Told> {
    let before = fields.faults.count();
    let of_box = || sequencer::KEYS.names().filter(|key| *key != LIKE);
    let known: Vec<&str> = KEYS.names().chain(of_box()).collect();
    check_keys(&fields.section.fields, &known, KEYS.what, fields.faults);
    let (about, tell) = (words(fields, "about", false), words(fields, "tell", false));
    let brings = brings(fields);
    let own = |key: &Key| of_box().any(|known| known == key.text);
    let entries: Vec<(Key, Node)> =
        fields.section.fields.iter().filter(|(key, _)| own(key)).map(|(k, n)| ((*k).clone(), (*n).clone())).collect();
    let bytes: usize = entries.iter().map(|(_, n)| n).chain(brings.iter().map(|b| &b.table)).map(weight).sum();
    if bytes > MOST_BYTES {
        let fault = Fault::new(fields.at.clone(), format!("{} is {bytes} bytes long", fields.what))
            .label(format!("expected at most {MOST_BYTES}"))
            .help("write what differs from box to box into the sequencers' own tables");
        fields.tell(fault);
    }
    // What was wrong has been told.
    if fields.faults.count() > before {
        return Err(Told);
    }
    let keys = Table { entries, dotted: false };
    Ok(BoxKind { name: fields.section.name.clone(), about, tell, keys, brings })
}

/// What a value takes, about as it is written.
fn weight(node: &Node) -> usize {
    match &node.value {
        Value::Text(text) => text.len() + 2,
        Value::Number(number) => number.as_deref().map_or(1, str::len),
        Value::Bool(_) | Value::Date => 5,
        Value::List(list) => 2 + list.iter().map(weight).sum::<usize>(),
        Value::Table(table) => 2 + table.entries.iter().map(|(key, node)| key.text.len() + weight(node)).sum::<usize>(),
    }
}

fn brings(fields: &mut Fields<'_, '_>) -> Vec<Brought> {
    const HELP: &str =
        "write brings.\"stage.cable\" = { kind = \"midi-cable\" }: a quoted path of two parts and a whole table";
    let Some((_, node)) = fields.get("brings") else { return Vec::new() };
    let Value::Table(table) = &node.value else {
        fields.wrong_type("brings", node, "quoted paths", HELP);
        return Vec::new();
    };
    let mut all = Vec::new();
    for (key, node) in &table.entries {
        let found = key.text.split_once('.').and_then(|(kind, name)| {
            let kind = Kind::of_key(kind).filter(|kind| BRINGS.contains(kind))?;
            (!name.contains('.')).then(|| (kind, Key { text: name.to_owned(), at: key.at.clone() }))
        });
        let fault = match (found, &node.value) {
            (Some((kind, name)), Value::Table(inner)) if !inner.dotted => {
                all.push(Brought { kind, name, table: node.clone() });
                continue;
            }
            (Some(_), _) => {
                Fault::new(node.at.clone(), format!("`{}` is {}, not a whole table", shown(&key.text), node.kind()))
                    .label(format!("found {}, expected a table", node.kind()))
            }
            (None, _) => Fault::new(key.at.clone(), format!("a kind of box cannot bring `{}`", shown(&key.text)))
                .label("expected a quoted path: `clock` or `stage`, and a name"),
        };
        fields.tell(fault.help(HELP));
    }
    all
}
