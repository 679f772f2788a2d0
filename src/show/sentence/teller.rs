//! Puts words and what stands between them together.

use super::editor::Editor;
use super::figure::{beats_time, plain, share_time};
use super::phrase;
use super::{Look, Word};
use crate::patch::{Absent, BoxKinds, Edit, Own, Part, Row, Rule, Sight, Slot, Stand, Takes, Worth, kit};
use crate::time::{Beat, Tempo};
use std::collections::HashSet;

/// A text, or a word by its number.
#[derive(Clone, Debug)]
pub(super) enum Bit {
    Text(String),
    Word(usize),
}

/// What is said of one table, before it is written out.
#[derive(Clone, Debug)]
pub(super) struct Draft {
    pub(super) table: usize,
    pub(super) id: String,
    pub(super) kind: &'static str,
    pub(super) name: String,
    /// Sentences, their clauses, and what each holds.
    pub(super) said: Vec<Vec<Vec<Bit>>>,
    /// Keys that have been said, or keep silent.
    pub(super) used: HashSet<String>,
    pub(super) brought: Option<Edit>,
}

impl Draft {
    /// A clause more; one that begins with a blank goes on without a comma.
    pub(super) fn clause(&mut self, bits: Vec<Bit>) {
        match self.said.last_mut() {
            Some(sentence) => sentence.push(bits),
            None => self.said.push(vec![bits]),
        }
    }

    /// A new sentence.
    pub(super) fn begin(&mut self, bits: Vec<Bit>) {
        self.said.push(vec![bits]);
    }
}

pub(super) fn text(text: impl Into<String>) -> Bit {
    Bit::Text(text.into())
}

/// A key of a table, or one within it.
#[derive(Clone, Copy, Debug)]
pub(super) struct Spot<'s> {
    pub(super) table: usize,
    pub(super) stand: &'s Stand,
    pub(super) slot: Slot,
    /// The key of the table in which it lies.
    pub(super) within: Option<&'static str>,
}

impl Spot<'_> {
    /// As it is told apart from others: `each.sd`.
    pub(super) fn path(&self) -> String {
        self.within.map_or(self.slot.key().to_owned(), |within| format!("{within}.{}", self.slot.key()))
    }

    pub(super) fn at(&self) -> Vec<Part> {
        let keys = self.within.into_iter().chain([self.slot.key()]).map(|key| Part::Key(key.to_owned()));
        self.stand.at.iter().cloned().chain(keys).collect()
    }

    /// What holds, and from where.
    pub(super) fn value(&self) -> Option<(&Worth, Own)> {
        let entry = self.stand.get(self.within.unwrap_or(self.slot.key()))?;
        let value = if self.within.is_some() { entry.value.get(self.slot.key())? } else { &entry.value };
        Some((value, entry.own))
    }

    pub(super) fn takes(&self) -> Option<Takes> {
        match self.slot {
            Slot::Row(row) => Some(row.takes),
            Slot::Param(_) => None,
        }
    }
}

/// Makes words.
pub(super) struct Teller<'a> {
    pub(super) sight: &'a Sight,
    pub(super) boxes: &'a BoxKinds,
    pub(super) tempo: Tempo,
    pub(super) fix: Option<&'a str>,
    pub(super) words: Vec<Word>,
    /// For each table what hangs on it.
    hang: Vec<Vec<String>>,
    steady: bool,
}

impl<'a> Teller<'a> {
    pub(super) fn new(sight: &'a Sight, look: &Look<'a>) -> Self {
        let id = |n: usize| sight.tables[n].id();
        let hang = (0..sight.tables.len()).map(|n| sight.hang_on(n).into_iter().map(id).collect()).collect();
        let steady = sight.of("tempo-map").next().is_none();
        Self { sight, boxes: look.boxes, tempo: look.tempo, fix: look.fix, words: Vec::new(), hang, steady }
    }

    /// All keys that may stand in a table; those of a table within it one by one.
    pub(super) fn spots(&self, table: usize) -> Vec<Spot<'a>> {
        let stand = &self.sight.tables[table];
        let mut all = Vec::new();
        for slot in stand.keys.iter().copied() {
            match slot {
                Slot::Row(Row { key, takes: Takes::Table(keys), .. }) => {
                    let inner = |row| Spot { table, stand, slot: Slot::Row(row), within: Some(key) };
                    all.extend(keys.rows.iter().map(inner));
                }
                _ => all.push(Spot { table, stand, slot, within: None }),
            }
        }
        all
    }

    pub(super) fn spot(&self, table: usize, path: &str) -> Option<Spot<'a>> {
        self.spots(table).into_iter().find(|spot| spot.path() == path)
    }

    /// Where a table stands in the list.
    pub(super) fn index(&self, kind: &str, name: &str) -> Option<usize> {
        self.sight.tables.iter().position(|table| table.kind == kind && table.name == name)
    }

    /// The word of a key, said in its own way or as usual.
    pub(super) fn word(&mut self, spot: Spot<'_>, says: Option<String>) -> Bit {
        let word = self.made(spot, says);
        self.words.push(word);
        Bit::Word(self.words.len() - 1)
    }

    fn made(&self, spot: Spot<'_>, says: Option<String>) -> Word {
        let (stand, slot) = (spot.stand, spot.slot);
        let held = spot.value();
        let without = match (held, slot) {
            (Some((_, Own::Kind)), _) => Some("as its kind says".to_owned()),
            (_, Slot::Row(Row { absent: Absent::Is(default), .. })) => {
                Some(phrase::value(slot.key(), &default_of(slot, default)))
            }
            // Of these one is written: without it no default holds.
            _ if one_of(spot) => None,
            (_, Slot::Row(Row { absent: Absent::Means(words), .. })) => Some(means(words)),
            (_, Slot::Param(_)) => Some("that of the kit".to_owned()),
            _ => None,
        };
        let usual = || match held {
            Some((value, _)) => phrase::value(slot.key(), value),
            None => without.clone().unwrap_or_else(|| "nothing yet".to_owned()),
        };
        let written = held.filter(|(_, own)| *own != Own::Kind).map(|(value, _)| value.clone());
        let needed = matches!(slot, Slot::Row(Row { absent: Absent::Needed(_), .. }));
        let also = held.and_then(|(value, _)| self.also(spot, value));
        let instead = others(slot);
        let holds = instead.is_empty() || instead.iter().any(|key| self.spot_of(spot, key));
        // What the kit does not know by its name has nothing else to be drawn or played from.
        let own = stand.kind == "voice" && ["model", "file"].contains(&slot.key());
        // A change that changes nothing is none.
        let only = stand.kind == "change" && stand.entries.iter().filter(|entry| entry.key != "after").count() == 1;
        let needed = needed || only || own && !kit().iter().any(|voice| voice.name == stand.name);
        Word {
            at: spot.at(),
            says: says.unwrap_or_else(usual),
            takes: self.with_period(self.editor(stand, slot), spot),
            about: slot.about().to_owned(),
            also,
            of: stand.id(),
            lights: self.lights(spot, held.map(|(value, _)| value)),
            fault: None,
            changed: held.is_some_and(|(_, own)| own == Own::Fix),
            // What a kind brings would be missing without it; another kind can be chosen.
            clears: written.is_some() && slot.key() != "like" && ((!needed && holds) || stand.get("like").is_some()),
            beside: if held.is_none() { self.beside(spot) } else { Vec::new() },
            apart: self.apart(spot),
            value: written,
            without,
        }
    }

    /// Whether a key beside it is there.
    fn spot_of(&self, spot: Spot<'_>, key: &str) -> bool {
        let beside = |other: &Spot<'_>| other.within == spot.within && other.slot.key() == key;
        self.spots(spot.table).iter().filter(|other| beside(other)).any(|other| other.value().is_some())
    }

    /// What a share is a share of.
    pub(super) fn with_period(&self, editor: Editor, spot: Spot<'_>) -> Editor {
        let period = spot.stand.period().filter(|_| ["phase", "swing", "width"].contains(&spot.slot.key()));
        match (editor, period) {
            (Editor::Dial { units, least, most, shares, or, limits, .. }, Some(period)) => {
                let of = format!("period of {}: {}", spot.stand.name, super::figure::time(self.tempo.exact(period)));
                Editor::Dial { units, least, most, shares, of: Some(of), or, limits }
            }
            (editor, _) => editor,
        }
    }

    /// What a share, a rate or a number of beats is at this tempo.
    pub(super) fn also(&self, spot: Spot<'_>, value: &Worth) -> Option<String> {
        let Worth::Text(text) = value else { return None };
        match (spot.takes()?, spot.stand.kind, spot.slot.key()) {
            (Takes::Quantity(_) | Takes::TimeOrShare(..), "clock", key) => {
                let period = spot.stand.period()?;
                let of = if key == "swing" { period * Beat::from_integer(2) } else { period };
                share_time(text, of, self.tempo).map(|time| format!("{time} here"))
            }
            (Takes::Rate, ..) => {
                let period = crate::patch::quantity::rate(text).ok()?;
                Some(format!("every {} here", super::figure::time(self.tempo.exact(period))))
            }
            (Takes::Beats(_), ..) if self.steady => beats_time(text, self.tempo).map(|time| format!("{time} here")),
            (Takes::TempoOrShare, ..) => {
                let share = crate::patch::quantity::share(text).ok()?;
                let micro = crate::time::Aim::Share(share).micro(self.tempo);
                (0..1_000_000_000_000)
                    .contains(&micro)
                    .then(|| format!("{} here", plain(&Worth::Number(micro as f64 / 1e6))))
            }
            _ => None,
        }
    }

    /// What a word names; of one that names nothing, what hangs on its table.
    fn lights(&self, spot: Spot<'_>, value: Option<&Worth>) -> Vec<String> {
        let names = |worth: &Worth| -> Vec<String> {
            match worth {
                Worth::Text(text) => vec![text.clone()],
                Worth::List(list) => list
                    .iter()
                    .filter_map(|w| if let Worth::Text(text) = w { Some(text.clone()) } else { None })
                    .collect(),
                _ => Vec::new(),
            }
        };
        let all = value.map(names).unwrap_or_default();
        let known = |kind: &str, name: &str| self.sight.table(kind, name).map(Stand::id);
        match spot.takes() {
            Some(Takes::Path) => {
                let source = all.first().and_then(|first| source_of(first)).and_then(|(kind, name)| known(kind, name));
                source.into_iter().chain(all.iter().skip(1).filter_map(|stage| known("stage", stage))).collect()
            }
            Some(Takes::Out) => all.iter().filter_map(|stage| known("stage", stage)).collect(),
            Some(Takes::Name(what)) => {
                let kind = match what {
                    "voice" => "voice",
                    "output" => "clock",
                    "kind of box" => "box",
                    _ => "stage",
                };
                all.iter().filter_map(|name| known(kind, name)).collect()
            }
            _ => self.hang[spot.table].clone(),
        }
    }

    /// What hangs on a table.
    pub(super) fn hanging(&self, table: usize) -> Vec<String> {
        self.hang[table].clone()
    }

    /// What must change with a key that is written for the first time.
    fn beside(&self, spot: Spot<'_>) -> Vec<Edit> {
        let (stand, key) = (spot.stand, spot.slot.key());
        let written = |key: &str| stand.get(key).is_some_and(|entry| entry.own != Own::Kind);
        let at = |key: &str| {
            let mut at = spot.at();
            at.pop();
            at.push(Part::Key(key.to_owned()));
            at
        };
        let mut all = Vec::new();
        let fix = self.fix.map(str::to_owned);
        let inner = spot.within.and_then(|within| stand.get(within)).map(|entry| &entry.value);
        let there = |key: &str| inner.map_or_else(|| written(key), |table| table.get(key).is_some());
        for rule in rules(spot) {
            match rule {
                Rule::OneOf(keys) if keys.contains(&key) => {
                    let others = keys.iter().filter(|other| **other != key && there(other));
                    all.extend(others.filter(|_| fix.is_none()).map(|other| Edit::Clear { at: at(other), fix: None }));
                }
                Rule::NotBoth(one, other) if *one == key || *other == key => {
                    let other = if *one == key { other } else { one };
                    if there(other) && fix.is_none() {
                        all.push(Edit::Clear { at: at(other), fix: None });
                    }
                }
                Rule::Needs(one, other) if *one == key && stand.get(other).is_none() => {
                    if let Some(slot) = stand.slot(other) {
                        let to = super::rig::example(self.sight, slot);
                        all.push(Edit::Set { at: at(other), to, fix: fix.clone() });
                    }
                }
                _ => {}
            }
        }
        all
    }

    /// What goes with a key that is taken out.
    fn apart(&self, spot: Spot<'_>) -> Vec<Edit> {
        let needs = |rule: &Rule| match rule {
            Rule::Needs(one, other) if *other == spot.slot.key() && spot.within.is_none() => {
                spot.stand.get(one).filter(|entry| entry.own == Own::Written).map(|_| *one)
            }
            _ => None,
        };
        let clear = |key: &str| Edit::Clear {
            at: spot.stand.at.iter().cloned().chain([Part::Key(key.to_owned())]).collect(),
            fix: self.fix.map(str::to_owned),
        };
        rules(spot).iter().filter_map(needs).map(clear).collect()
    }
}

fn rules(spot: Spot<'_>) -> &'static [Rule] {
    match (spot.within, spot.within.and_then(|within| spot.stand.slot(within))) {
        (Some(_), Some(Slot::Row(Row { takes: Takes::Table(keys), .. }))) => keys.rules,
        _ => spot.stand.rules,
    }
}

/// Whether a key is one of several of which one is written.
fn one_of(spot: Spot<'_>) -> bool {
    rules(spot).iter().any(|rule| matches!(rule, Rule::OneOf(keys) if keys.contains(&spot.slot.key())))
}

/// The keys that hold where a key is not written.
fn others(slot: Slot) -> Vec<&'static str> {
    match slot {
        Slot::Row(Row { absent: Absent::Means(words), .. }) => words.split('`').skip(1).step_by(2).collect(),
        _ => Vec::new(),
    }
}

/// What holds where nothing is written; other keys, where those do.
fn means(words: &str) -> String {
    let plain = words.replace('`', "");
    match words.split('`').count() {
        0 | 1 => plain,
        2 | 3 if words.starts_with('`') => format!("as {plain} says"),
        _ if words.starts_with('`') => format!("as {plain} say"),
        _ => plain,
    }
}

/// The output, wire or sequencer that a path begins with.
pub(super) fn source_of(text: &str) -> Option<(&'static str, &str)> {
    let mut parts = text.splitn(3, '.');
    match (parts.next(), parts.next()) {
        (Some(output), None) => Some(("clock", output)),
        (Some("wire"), Some(wire)) => Some(("wire", wire)),
        (Some("sequencer"), Some(sequencer)) => Some(("sequencer", sequencer)),
        _ => None,
    }
}

/// By which phrases a table is told: of a stage those of its kind.
pub(super) fn kind_of(stand: &Stand) -> &str {
    match stand.kind {
        "stage" | "component" => stand.text("kind").unwrap_or(stand.kind),
        kind => kind,
    }
}

/// A default as it would be written.
pub(super) fn default_of(slot: Slot, text: &str) -> Worth {
    match slot {
        Slot::Row(Row { takes: Takes::Whole(..), .. }) => text.parse().map_or(Worth::text(text), Worth::Whole),
        Slot::Row(Row { takes: Takes::YesNo | Takes::Yes, .. }) => Worth::Bool(text == "true"),
        _ => Worth::text(text),
    }
}
