//! What people write in a patch, and what it is here: the help of a fault is put into the words that can be pasted.
//!
//! Nothing is read from this: it looks at the faults that were told, at the keys of the table each stands in, and at what was written.

mod tables;
mod value;
mod words;

use crate::patch::check::fault::{Fault, Faults, Place};
use crate::patch::check::node::{Key, Node, Table, Value};
use crate::patch::check::show::shown;
use crate::patch::check::view::{Kind, Section, meant_key};
use crate::patch::model::{KINDS, Keys, Meter, Row, Takes};
use crate::patch::read::kinds::kind_of;
use crate::patch::read::top_keys::KEYS;

/// Says of each fault of a key or a value what to write instead, where that can be told.
pub(in crate::patch) fn explain(source: &str, table: &Table, meter: Meter, faults: &mut Faults) {
    if faults.is_empty() {
        return;
    }
    let place = |(n, fault): (usize, &Fault)| fault.at.as_ref().map(|at| (at.start, at.end, n));
    let mut places: Vec<_> = faults.list().iter().enumerate().filter_map(place).collect();
    places.sort_unstable();
    let mut helps = Helps { source, meter, faults, places, moot: Vec::new() };
    helps.table(table, &Rows(vec![&KEYS]), None);
    for kind in Kind::ALL {
        if let Some(node) = table.get(kind.key()) {
            helps.named(kind, node);
        }
    }
    if let Some(Node { value: Value::Table(all), .. }) = table.get("fix") {
        all.entries.iter().for_each(|(_, node)| helps.fix(node));
    }
    let moot = helps.moot;
    faults.retain(|fault| !moot.iter().any(|missing| missing.is_told_by(&fault.message)));
}

/// The keys that a table may have.
struct Rows(Vec<&'static Keys>);

impl Rows {
    /// Those of a named table.
    fn of(kind: Kind, section: &Section<'_>) -> Self {
        Self(match (kind, kind_of(section)) {
            (Kind::Stage, Some(kind)) => vec![&kind.keys],
            (Kind::Stage, None) => KINDS.iter().map(|kind| &kind.keys).collect(),
            _ => tables::keys(kind).into_iter().collect(),
        })
    }

    fn row(&self, key: &str) -> Option<&'static Row> {
        self.0.iter().find_map(|keys| keys.row(key))
    }
}

/// A key that is there under another word, so that nobody need be told that it is missing.
struct Missing {
    table: String,
    key: &'static str,
}

impl Missing {
    fn is_told_by(&self, message: &str) -> bool {
        let Some(rest) = message.strip_prefix(&self.table) else { return false };
        let key = self.key;
        rest.ends_with(&format!(" no `{key}`"))
            || rest.contains(&format!("neither `{key}`"))
            || rest.ends_with(&format!("nor `{key}`"))
            || rest.starts_with(&format!("has no {key}:"))
    }
}

/// What to write, and what was said before where that is more than an example.
fn also(written: &str, help: &str) -> String {
    match help.strip_prefix("write ") {
        Some(rest) if rest.starts_with("one of ") => format!("write {written}, or {rest}"),
        Some(_) => format!("write {written}"),
        None => format!("write {written}; {help}"),
    }
}

struct Helps<'s, 'f> {
    source: &'s str,
    meter: Meter,
    faults: &'f mut Faults,
    /// Where each fault stands, in order.
    places: Vec<(usize, usize, usize)>,
    moot: Vec<Missing>,
}

impl Helps<'_, '_> {
    /// The tables of one kind.
    fn named(&mut self, kind: Kind, node: &Node) {
        let Value::Table(all) = &node.value else {
            if let Some(fault) = self.fault(&node.at) {
                fault.help = tables::no_tables(kind, node);
            }
            return;
        };
        for (name, node) in &all.entries {
            if let Value::Table(table) = &node.value {
                let section = Section::new(name, table);
                self.table(table, &Rows::of(kind, &section), Some((kind, name)));
                continue;
            }
            let help = tables::unnamed(kind, name, node, self.source);
            if let (Some(fault), Some(help)) = (self.fault(&node.at), help) {
                fault.help = help;
            }
        }
    }

    /// All keys and values of one table.
    fn table(&mut self, table: &Table, rows: &Rows, of: Option<(Kind, &Key)>) {
        // What a kind of box brings stands where the kind is named, and nobody wrote it.
        let brought = table.get("like").map(|like| like.at.clone());
        for (key, node) in &table.entries {
            if key.text != "like" && brought.as_ref() == Some(&node.at) {
                continue;
            }
            match rows.row(&key.text) {
                Some(row) => self.value(key, node, row, rows, of.map(|(kind, _)| kind)),
                None if key.text == "kind" => {
                    if let (Some(written), Some(fault)) = (tables::stage_kind(node), self.fault(&node.at)) {
                        fault.help = also(&written, &fault.help);
                    }
                }
                None => self.unknown(key, node, rows, of),
            }
        }
    }

    /// A value that its key does not take.
    fn value(&mut self, key: &Key, node: &Node, row: &Row, rows: &Rows, kind: Option<Kind>) {
        if self.fault(&node.at).is_none() {
            return;
        }
        // The times and shares of an output are all of its pulses: one may stand for another.
        let another = || value::of_another(node, row, rows.0.iter().flat_map(|keys| keys.rows));
        let written = self.written(&key.text, row, node);
        let written = written.or_else(|| another().filter(|_| kind == Some(Kind::Output)));
        if let (Some(fault), Some(written)) = (self.fault(&node.at), written) {
            // What the reader of the value says is as good, or better; a list of what there is stays, but not beside a path.
            match row.takes {
                _ if fault.help.contains(&written) => {}
                Takes::Path => fault.help = format!("write {written}"),
                _ => fault.help = also(&written, &fault.help),
            }
        }
    }

    /// The changes of a fix: each is written with its path.
    fn fix(&mut self, node: &Node) {
        let Value::Table(table) = &node.value else { return };
        let Some(Node { value: Value::Table(changes), .. }) = table.get("set") else { return };
        for (path, node) in &changes.entries {
            let parts: Vec<&str> = path.text.split('.').collect();
            let [kind, _, key] = parts[..] else { continue };
            let Some(row) = Kind::of_key(kind).and_then(tables::keys).and_then(|keys| keys.row(key)) else { continue };
            if self.fault(&node.at).is_none() {
                continue;
            }
            let written = self.written(&format!("set.\"{}\"", shown(&path.text)), row, node);
            if let (Some(fault), Some(written)) = (self.fault(&node.at), written) {
                fault.help = also(&written, &fault.help);
            }
        }
    }

    /// A key that its table has not.
    fn unknown(&mut self, key: &Key, node: &Node, rows: &Rows, of: Option<(Kind, &Key)>) {
        let kind = of.map(|(kind, _)| kind);
        if self.fault(&key.at).is_none() || (kind == Some(Kind::Stage) && tables::is_of_stage(&key.text)) {
            return;
        }
        let mut names: Vec<&'static str> = rows.0.iter().flat_map(|keys| keys.names()).collect();
        names.extend((kind == Some(Kind::Stage)).then_some("kind"));
        let elsewhere = tables::elsewhere(&key.text, kind);
        // A word for a key of this table counts for more than the key of another, and that for more than a likeness.
        let close = meant_key(&key.text, &names).filter(|(_, is_word)| *is_word || elsewhere.is_none());
        let line = self.source.get(key.at.start..node.at.end).filter(|line| !line.contains('\n')).unwrap_or(&key.text);
        let (line, source) = (shown(line), self.source);
        if let Some((close, _)) = close {
            let table = of.map(|(kind, name)| format!("the {} `{}` ", kind.noun(), shown(&name.text)));
            self.moot.push(Missing { table: table.unwrap_or_else(|| "the patch ".to_owned()), key: close });
            let value = || source.get(node.at.clone()).filter(|text| !text.contains('\n') && text.len() < 100);
            let written = match rows.row(close) {
                Some(row) => self.written(row.key, row, node).or_else(|| tables::heading(row, node)),
                None => tables::stage_kind(node),
            };
            let written = written.or_else(|| Some(format!("{close} = {}", value()?)));
            if let (Some(fault), Some(written)) = (self.fault(&key.at), written) {
                fault.help = fault.help.replacen(&format!("write `{close}`"), &format!("write {written}"), 1);
            }
        } else if let (Some((label, help)), Some(fault)) = (tables::foreign(&key.text, kind), self.fault(&key.at)) {
            fault.label = label;
            fault.help = help;
        } else if let (Some((label, place)), Some(fault)) = (elsewhere, self.fault(&key.at)) {
            fault.label = label;
            fault.help = format!("write {line} {place}; {}", fault.help);
        }
    }

    /// A key with what was most likely meant by its value.
    fn written(&self, key: &str, row: &Row, node: &Node) -> Option<String> {
        let bar = self.meter.bar();
        let value = value::meant(&row.takes, node, self.source, bar)?;
        let told = match &row.takes {
            Takes::Rate if value::counts_bars(node) => {
                format!(": a bar of {}/{} lasts {}", self.meter.count, self.meter.unit, value::beats(bar))
            }
            _ => String::new(),
        };
        Some(format!("{key} = {value}{told}"))
    }

    /// The fault that points at a place or into it.
    fn fault(&mut self, at: &Place) -> Option<&mut Fault> {
        let first = self.places.partition_point(|(start, ..)| *start < at.start);
        let (_, end, n) = self.places.get(first)?;
        (*end <= at.end).then_some(())?;
        self.faults.list_mut().get_mut(*n)
    }
}
