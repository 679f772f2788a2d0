//! What stands where in the text of a patch, faulty or not: every table, what is written in it, what may be, and who names whom.

mod mended;

use crate::patch::check::fault::{Fault, Faults, Place};
use crate::patch::check::node::{self, Key, Node, Table, Value};
use crate::patch::check::view::{Kind, Section, View};
use crate::patch::edit::{Part, Reference, Worth, references, rows_of};
use crate::patch::fix::apply::apply;
use crate::patch::like::merged;
use crate::patch::model::{KINDS, Keys, Row, Rule, Takes};
use crate::patch::read::box_kind::{self, BoxKinds, LIKE};
use crate::patch::read::set::fixes;
use crate::patch::read::{change, component, output, quantity, sequencer, set, take, tempo_map, voice, wire};
use crate::patch::table;
use crate::time::Beat;
use crate::voice::{Model, Param};
use std::collections::HashMap;

/// A patch, table by table.
#[derive(Clone, Debug, Default)]
pub struct Sight {
    /// In the order in which they are told: the top, outputs, stages and so on, each kind in the order of the file.
    pub tables: Vec<Stand>,
    /// For each table, by its place in the list, those that name it.
    pub named_by: Vec<Vec<usize>>,
    /// A fault of syntax, where there is one: the line is left out of what stands here.
    pub broken: Vec<Fault>,
}

/// A table as it stands.
#[derive(Clone, Debug)]
pub struct Stand {
    /// `clock`, `stage` and so on; `top`, `jitter`, `tempo-map`, `change`.
    pub kind: &'static str,
    /// Its name; of an entry of a list its number, from 1.
    pub name: String,
    /// The way to it.
    pub at: Vec<Part>,
    /// Where its name stands.
    pub place: Place,
    /// All that may stand in it.
    pub keys: Vec<Slot>,
    /// What goes together in it.
    pub rules: &'static [Rule],
    /// What stands in it.
    pub entries: Vec<Entry>,
    /// Who has it from where.
    pub own: Own,
}

/// A key that may stand in a table.
#[derive(Clone, Copy, Debug)]
pub enum Slot {
    /// By the table of keys.
    Row(&'static Row),
    /// A setting of a model of voices.
    Param(&'static Param),
}

/// A key that stands in a table.
#[derive(Clone, Debug)]
pub struct Entry {
    /// How it is written.
    pub key: String,
    /// What stands under it.
    pub value: Worth,
    /// From the key to the end of the value.
    pub place: Place,
    /// Where from.
    pub own: Own,
}

/// Where something comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Own {
    /// It is written there.
    Written,
    /// The kind of box says it.
    Kind,
    /// The fix that is looked at sets it.
    Fix,
}

impl Slot {
    /// How it is written.
    #[must_use]
    pub const fn key(&self) -> &'static str {
        match self {
            Self::Row(row) => row.key,
            Self::Param(param) => param.key,
        }
    }

    /// What it does, in a line.
    #[must_use]
    pub const fn about(&self) -> &'static str {
        match self {
            Self::Row(row) => row.about,
            Self::Param(param) => param.about,
        }
    }
}

impl Stand {
    /// What stands under a key.
    #[must_use]
    pub fn get(&self, key: &str) -> Option<&Entry> {
        self.entries.iter().find(|entry| entry.key == key)
    }

    /// The text under a key.
    #[must_use]
    pub fn text(&self, key: &str) -> Option<&str> {
        match self.get(key).map(|entry| &entry.value) {
            Some(Worth::Text(text)) => Some(text),
            _ => None,
        }
    }

    /// A key that may stand in it.
    #[must_use]
    pub fn slot(&self, key: &str) -> Option<Slot> {
        self.keys.iter().copied().find(|slot| slot.key() == key)
    }

    /// What it is called beside all others.
    #[must_use]
    pub fn id(&self) -> String {
        match self.kind {
            "top" | "jitter" => self.kind.to_owned(),
            kind => format!("{kind}.{}", self.name),
        }
    }

    /// The period of an output in beats, where it says one.
    #[must_use]
    pub fn period(&self) -> Option<Beat> {
        quantity::rate(self.text("rate")?).ok()
    }
}

impl Sight {
    /// Looks at a text, with one fix made or none. `boxes` are kinds of boxes from files.
    #[must_use]
    pub fn new(text: &str, boxes: &BoxKinds, fix: Option<&str>) -> Self {
        let (document, broken) = mended::read(text);
        let mut ignored = (Faults::default(), Faults::warnings());
        let document = merged(text, document, boxes, &mut ignored.0);
        let all_fixes = fixes(text, &document, &mut ignored.0, &mut ignored.1);
        let mut view = View::new(&document, &mut ignored.0);
        let chosen = all_fixes.iter().find(|known| Some(known.name.as_str()) == fix);
        let changes: Vec<_> = chosen.iter().flat_map(|fix| &fix.changes).collect();
        apply(&mut view, &changes, &mut ignored.0);
        let set: Vec<Place> = changes.iter().map(|change| change.whole.clone()).collect();
        let likes: Vec<Place> = likes(&document);
        let own = |at: &Place| match () {
            () if set.iter().any(|whole| whole.start <= at.start && at.end <= whole.end) => Own::Fix,
            () if likes.contains(at) => Own::Kind,
            () => Own::Written,
        };
        let mut tables = vec![top(&document, &own)];
        tables.extend(single(&document, "jitter", &own));
        tables.extend(listed(&document, "tempo-map", &tempo_map::KEYS, &own));
        for kind in Kind::ALL {
            tables.extend(view.of(kind).iter().filter(|s| !s.broken).map(|section| stand(kind.key(), section, &own)));
            if kind == Kind::Wire {
                tables.extend(named(&document, "box", &own));
            }
        }
        tables.extend(named(&document, "fix", &own));
        tables.extend(listed(&document, "change", &change::KEYS, &own));
        tables.extend(named(&document, "component", &own));
        let named_by = links(&document, &tables);
        Self { tables, named_by, broken }
    }

    /// A table by its kind and name.
    #[must_use]
    pub fn table(&self, kind: &str, name: &str) -> Option<&Stand> {
        self.tables.iter().find(|table| table.kind == kind && table.name == name)
    }

    /// The names of a kind.
    pub fn of<'s>(&'s self, kind: &'s str) -> impl Iterator<Item = &'s Stand> {
        self.tables.iter().filter(move |table| table.kind == kind)
    }

    /// All tables that hang on one, near and far, by their places in the list.
    #[must_use]
    pub fn hang_on(&self, table: usize) -> Vec<usize> {
        let mut seen = vec![false; self.tables.len()];
        seen[table] = true;
        let mut found = vec![table];
        let mut next = 0;
        while let Some(&of) = found.get(next) {
            found.extend(self.named_by[of].iter().copied().filter(|&n| !std::mem::replace(&mut seen[n], true)));
            next += 1;
        }
        found.remove(0);
        found
    }
}

/// What a node is worth.
fn worth(node: &Node) -> Worth {
    match &node.value {
        Value::Text(text) => Worth::text(text),
        Value::Number(number) => {
            let text = number.as_deref().unwrap_or("0");
            let whole = text.parse().map(Worth::Whole).ok();
            whole.unwrap_or_else(|| Worth::Number(text.parse().ok().filter(|n: &f64| n.is_finite()).unwrap_or(0.0)))
        }
        Value::Bool(yes) => Worth::Bool(*yes),
        Value::Date => Worth::text("a date"),
        Value::List(list) => Worth::List(list.iter().map(worth).collect()),
        Value::Table(table) => {
            Worth::Table(table.entries.iter().map(|(key, node)| (key.text.clone(), worth(node))).collect())
        }
    }
}

fn entry((key, node): (&Key, &Node), own: &dyn Fn(&Place) -> Own) -> Entry {
    let from = own(&key.at);
    let place = if from == Own::Kind { key.at.clone() } else { key.at.start..last_byte(node).max(key.at.end) };
    Entry { key: key.text.clone(), value: worth(node), place, own: from }
}

/// The end of a value in the file; what a heading holds stands behind it.
fn last_byte(node: &Node) -> usize {
    match &node.value {
        Value::Table(table) => table.entries.iter().map(|(_, n)| last_byte(n)).max().unwrap_or(0).max(node.at.end),
        _ => node.at.end,
    }
}

fn rows(keys: &'static Keys) -> Vec<Slot> {
    keys.rows.iter().map(Slot::Row).collect()
}

/// What may stand in a table of a kind, and what goes together there.
fn keys_of(kind: &str, table: &Section<'_>) -> (Vec<Slot>, &'static [Rule]) {
    let stage = |more: &'static [Row]| {
        let word = table.get("kind").map(|(_, node)| &node.value);
        let known = KINDS.iter().find(|kind| matches!(word, Some(Value::Text(word)) if word == kind.word));
        let own = known.map_or(&[][..], |kind| kind.keys.rows);
        let all = std::iter::once(KIND_ROW).chain(own).chain(more).map(Slot::Row).collect();
        (all, known.map_or(&[][..], |kind| kind.keys.rules))
    };
    match kind {
        "clock" => (rows(&output::KEYS), output::KEYS.rules),
        "stage" => stage(&[]),
        "component" => stage(component::KEYS.rows),
        "wire" => (rows(&wire::KEYS), wire::KEYS.rules),
        "sequencer" => (rows(&sequencer::KEYS), sequencer::KEYS.rules),
        "hits" => (rows(&take::KEYS), take::KEYS.rules),
        "fix" => (rows(&set::KEYS), set::KEYS.rules),
        "box" => (rows_of("box", None).into_iter().map(Slot::Row).collect(), box_kind::KEYS.rules),
        "voice" => {
            let word = match table.get("model").map(|(_, node)| &node.value) {
                Some(Value::Text(word)) => word.as_str(),
                _ => &table.name.text,
            };
            let model = Model::ALL.into_iter().find(|model| model.name() == word);
            let params = model.map_or(&[][..], Model::params).iter().map(Slot::Param);
            let params = params.filter(|_| table.get("file").is_none());
            // What only a recording has may stand beside one.
            let may = |slot: &Slot| match table.get("file") {
                Some(_) => !["model", "noise"].contains(&slot.key()),
                None => !voice::OF_FILE[1..].contains(&slot.key()),
            };
            (rows(&voice::KEYS).into_iter().filter(may).chain(params).collect(), voice::KEYS.rules)
        }
        _ => (Vec::new(), &[]),
    }
}

/// What a stage is, which stands before its other keys.
static KIND_ROW: &Row =
    &Row::needed("kind", Takes::Words(&[]), "write kind = \"delay\"", "what it does to what passes");

fn stand(kind: &'static str, section: &Section<'_>, own: &dyn Fn(&Place) -> Own) -> Stand {
    let (keys, rules) = keys_of(kind, section);
    Stand {
        kind,
        name: section.name.text.clone(),
        at: vec![Part::Key(kind.to_owned()), Part::Key(section.name.text.clone())],
        place: section.name.at.clone(),
        keys,
        rules,
        entries: section.fields.iter().map(|(key, node)| entry((key, node), own)).collect(),
        own: own(&section.name.at),
    }
}

fn top(document: &Table, own: &dyn Fn(&Place) -> Own) -> Stand {
    let keys = table::keys();
    let plain = |row: &&'static Row| !is_table(row.takes);
    let known = |key: &str| keys.row(key).is_none_or(|row| !is_table(row.takes));
    Stand {
        kind: "top",
        name: String::new(),
        at: Vec::new(),
        place: 0..0,
        keys: keys.rows.iter().filter(plain).map(Slot::Row).collect(),
        rules: &[],
        entries: document.entries.iter().filter(|(key, _)| known(&key.text)).map(|(k, n)| entry((k, n), own)).collect(),
        own: Own::Written,
    }
}

/// Whether what stands under a key of the top has sentences of its own.
fn is_table(takes: Takes) -> bool {
    matches!(
        takes,
        Takes::Named(_) | Takes::Stages { .. } | Takes::Voices | Takes::Boxes | Takes::Tables(..) | Takes::Table(_)
    )
}

/// A table that stands alone under its key.
fn single(document: &Table, key: &'static str, own: &dyn Fn(&Place) -> Own) -> Option<Stand> {
    let (name, node) = document.entries.iter().find(|(known, _)| known.text == key)?;
    let (Value::Table(table), Takes::Table(keys)) = (&node.value, table::keys().row(key)?.takes) else { return None };
    Some(Stand {
        kind: key,
        name: String::new(),
        at: vec![Part::Key(key.to_owned())],
        place: name.at.clone(),
        keys: rows(keys),
        rules: keys.rules,
        entries: table.entries.iter().map(|(k, n)| entry((k, n), own)).collect(),
        own: Own::Written,
    })
}

fn listed(document: &Table, key: &'static str, keys: &'static Keys, own: &dyn Fn(&Place) -> Own) -> Vec<Stand> {
    let Some(Value::List(list)) = document.get(key).map(|node| &node.value) else { return Vec::new() };
    let stand = |(n, node): (usize, &Node)| match &node.value {
        Value::Table(table) => Some(Stand {
            kind: key,
            name: (n + 1).to_string(),
            at: vec![Part::Key(key.to_owned()), Part::Entry(n)],
            place: node.at.clone(),
            keys: rows(keys),
            rules: keys.rules,
            entries: table.entries.iter().map(|(k, n)| entry((k, n), own)).collect(),
            own: Own::Written,
        }),
        _ => None,
    };
    list.iter().enumerate().filter_map(stand).collect()
}

fn named(document: &Table, kind: &'static str, own: &dyn Fn(&Place) -> Own) -> Vec<Stand> {
    let Some(Value::Table(all)) = document.get(kind).map(|node| &node.value) else { return Vec::new() };
    let tables = all.entries.iter().filter_map(|(name, node)| match &node.value {
        Value::Table(table) => Some(stand(kind, &Section::new(name, table), own)),
        _ => None,
    });
    tables.collect()
}

/// Where sequencers say what they are like: what a kind fills in stands there too.
fn likes(document: &Table) -> Vec<Place> {
    let Some(Value::Table(all)) = document.get(Kind::Sequencer.key()).map(|node| &node.value) else {
        return Vec::new();
    };
    let like = |node: &Node| match &node.value {
        Value::Table(table) => table.get(LIKE).map(|node| node.at.clone()),
        _ => None,
    };
    all.entries.iter().filter_map(|(_, node)| like(node)).collect()
}

/// For each table those that name it; a fix and a change name what they set.
fn links(document: &Table, tables: &[Stand]) -> Vec<Vec<usize>> {
    let index: HashMap<(&str, &str), usize> =
        tables.iter().enumerate().map(|(n, table)| ((table.kind, table.name.as_str()), n)).collect();
    let mut links = vec![Vec::new(); tables.len()];
    for Reference { path, kind, name, .. } in references(document) {
        let number;
        let holder = match &path[..] {
            [Part::Key(kind), Part::Key(name), ..] => index.get(&(kind.as_str(), name.as_str())),
            [Part::Key(kind), Part::Entry(n), ..] => {
                number = (n + 1).to_string();
                index.get(&(kind.as_str(), number.as_str()))
            }
            _ => index.get(&("top", "")),
        };
        if let (Some(&holder), Some(&named)) = (holder, index.get(&(kind, name.as_str())))
            && holder != named
            && !links[named].contains(&holder)
        {
            links[named].push(holder);
        }
    }
    links
}
