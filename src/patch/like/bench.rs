//! Kinds held against the rules for sequencers, outputs and stages, each by itself, before any sequencer is like it.

use super::fill::{brought_name, entry, fill, text};
use crate::patch::check::fault::{Fault, Faults};
use crate::patch::check::node::{self, Key, Node, Table, Value};
use crate::patch::check::show::shown;
use crate::patch::check::view::{Kind, Section, View, check_keys, check_names};
use crate::patch::read::box_kind::{self, BoxKind, BoxKinds, box_kinds};
use crate::patch::read::fields::Fields;
use crate::patch::read::output::output;
use crate::patch::read::sequencer::sequencer;
use crate::patch::read::stage::stage;
use crate::time::Tempo;

/// Reads a file of kinds, which name nothing but what they bring.
///
/// # Errors
/// All its faults at once, in its order; a fault of syntax alone.
pub(in crate::patch) fn read(source: &str) -> Result<BoxKinds, Faults> {
    let table = node::read_file(source, "a list of kinds is written by hand: is this another kind of file?")?;
    let mut faults = Faults::default();
    let key = Key { text: String::new(), at: 0..0 };
    check_keys(&Section::new(&key, &table).fields, &box_kind::TOP, "a file of kinds", &mut faults);
    if !table.has(box_kind::KEY) && faults.is_empty() {
        let fault = Fault::new(0..0, "the file has no kind of box")
            .label("expected a [box.NAME] table in this file")
            .help(format!("write a heading [box.mine], or in one line box.mine = {}", box_kind::EXAMPLE));
        faults.push(fault);
    }
    let kinds = box_kinds(source, &table, &mut faults);
    for kind in &kinds {
        holds(kind, &Table::default(), source, &mut faults);
    }
    faults.sort();
    if faults.is_empty() { Ok(BoxKinds(kinds)) } else { Err(faults) }
}

/// Tells what is wrong with a kind in itself; `base` has what it may name. Whether nothing is.
pub(super) fn holds(kind: &BoxKind, base: &Table, source: &str, faults: &mut Faults) -> bool {
    /// An output of its own, which no patch can name.
    const CLOCK: &str = "*";
    let before = faults.count();
    let at = || kind.name.at.clone();
    let table = |key: &str, entries: Vec<(Key, Node)>| {
        let value = Value::Table(Table { entries, dotted: false });
        (Key { text: key.to_owned(), at: at() }, Node { at: at(), value })
    };
    // What a sequencer has that is like it, and the kind says nothing of.
    let mut own = Table::default();
    for (key, value) in [("clock", CLOCK), ("steps", "x"), ("voice", "kick")] {
        let written = kind.keys.has(key) || (key == "steps" && kind.keys.has("euclidean"));
        own.entries.extend((!written).then(|| text(key, value, &kind.name.at)));
    }
    let bare = kind.keys.has("reset-mode") && !kind.keys.has("reset");
    own.entries.extend(bare.then(|| text("reset", CLOCK, &kind.name.at)));
    fill(&mut own, kind, &kind.name.text, None);
    let mut document = Table::default();
    let outputs = vec![table(CLOCK, vec![text("rate", "4 per beat", &kind.name.at)])];
    document.entries.push(table(Kind::Output.key(), outputs));
    document.entries.push(table(Kind::Stage.key(), Vec::new()));
    for (key, node) in &base.entries {
        match (document.get_mut(&key.text).map(|known| &mut known.value), &node.value) {
            (Some(Value::Table(known)), Value::Table(more)) => known.entries.extend(more.entries.iter().cloned()),
            (None, Value::Table(_)) => document.entries.push((key.clone(), node.clone())),
            _ => {}
        }
    }
    for brought in &kind.brings {
        if let Some(Value::Table(known)) = document.get_mut(brought.kind.key()).map(|node| &mut node.value)
            && !known.has(&brought_name(brought, &kind.name.text))
        {
            known.entries.push(entry(brought, &kind.name.text, None));
        }
    }
    document
        .entries
        .push(table(Kind::Sequencer.key(), vec![(kind.name.clone(), Node { at: at(), value: Value::Table(own) })]));
    let view = View::new(&document, &mut Faults::default());
    let is_brought = |section: &&Section<'_>| kind.brings.iter().any(|b| b.name.at == section.name.at);
    let warnings = &mut Faults::warnings();
    for kind_of in [Kind::Output, Kind::Stage, Kind::Sequencer] {
        let mine = |section: &&Section<'_>| kind_of == Kind::Sequencer || is_brought(section);
        let sections: Vec<&Section<'_>> = view.of(kind_of).iter().filter(mine).collect();
        if kind_of != Kind::Sequencer {
            check_names(sections.iter().map(|s| s.name), kind_of.noun(), faults);
        }
        for section in sections {
            let what = match kind_of {
                Kind::Sequencer => format!("the kind `{}`", shown(&kind.name.text)),
                _ => format!("the {} `{}`", kind_of.noun(), shown(&section.name.text)),
            };
            let mut fields = Fields { source, what, at: section.name.at.clone(), section, faults, warnings };
            match kind_of {
                Kind::Output => drop(output(&mut fields, Tempo::whole(120))),
                Kind::Stage => drop(stage(&mut fields, &view)),
                _ => drop(sequencer(&mut fields, &view)),
            }
        }
    }
    faults.count() == before
}
