//! The pass over a patch's tables in which kinds of boxes are filled in.

use super::bench::holds;
use super::fill::{brought_name, entry, fill, pretend, text};
use super::known::{Known, no_kind};
use super::set::refuse_sets;
use crate::patch::check::fault::{Fault, Faults, Place};
use crate::patch::check::node::{Key, Node, Table, Value};
use crate::patch::check::view::{Kind, MOST_OF_A_KIND};
use crate::patch::read::box_kind::{self, BoxKind, BoxKinds, LIKE};
use crate::patch::read::kit::kit as voices;
use std::collections::HashSet;

/// What is like something.
struct Likeness<'k> {
    /// Its place among the sequencers.
    index: usize,
    name: String,
    at: Place,
    /// `None` where that is faulty or no kind at all, which has been told.
    kind: Option<&'k BoxKind>,
}

/// The tables of a patch with every kind filled in that a sequencer is like.
pub(in crate::patch) fn merged(source: &str, mut table: Table, given: &BoxKinds, faults: &mut Faults) -> Table {
    let own = box_kind::box_kinds(source, &table, faults);
    let mut known = Known { own: &own, given: &given.0, broken: HashSet::new(), output: any_output(&table) };
    if let Some(Value::Table(written)) = table.get(box_kind::KEY).map(|node| &node.value) {
        let named =
            |key: &Key| [Kind::Output, Kind::Stage, Kind::Wire, Kind::Voice].iter().any(|k| k.key() == key.text);
        let entries = table.entries.iter().filter(|(key, _)| named(key)).cloned().collect();
        let base = Table { entries, dotted: false };
        let good: HashSet<&str> = own.iter().filter(|k| holds(k, &base, source, faults)).map(BoxKind::name).collect();
        let names = written.entries.iter().map(|(key, _)| key.text.as_str());
        known.broken = names.filter(|name| !good.contains(name)).map(str::to_owned).collect();
    }
    refuse_sets(&mut table, &known, faults);
    let likenesses = likenesses(&table, &known, faults);
    if likenesses.is_empty() {
        return table;
    }
    let clock = only_clock(&table, &likenesses);
    if let Some(Value::Table(sequencers)) = table.get_mut(Kind::Sequencer.key()).map(|node| &mut node.value) {
        for likeness in &likenesses {
            let Value::Table(own) = &mut sequencers.entries[likeness.index].1.value else { continue };
            complete(own, likeness, clock.as_deref().or(known.output.as_deref().filter(|_| likeness.kind.is_none())));
        }
        give_voices(sequencers, &likenesses);
    }
    for likeness in &likenesses {
        for brought in likeness.kind.into_iter().flat_map(|kind| &kind.brings) {
            add(&mut table, brought.kind, entry(brought, &likeness.name, Some(&likeness.at)));
        }
    }
    table
}

/// Which sequencers are like what. Tells what is no kind.
fn likenesses<'k>(table: &Table, known: &Known<'k>, faults: &mut Faults) -> Vec<Likeness<'k>> {
    let Some(Value::Table(sequencers)) = table.get(Kind::Sequencer.key()).map(|node| &node.value) else {
        return Vec::new();
    };
    let mut all = Vec::new();
    for (index, (key, node)) in sequencers.entries.iter().enumerate().take(MOST_OF_A_KIND) {
        let Value::Table(own) = &node.value else { continue };
        let Some(like) = own.get(LIKE) else { continue };
        let kind = match &like.value {
            Value::Text(name) if known.broken.contains(name) => None,
            Value::Text(name) => known.get(name).or_else(|| {
                faults.push(no_kind(like.at.clone(), name, known));
                None
            }),
            _ => {
                let fault = Fault::new(like.at.clone(), format!("`{LIKE}` is {}", like.kind()))
                    .label(format!("found {}, expected the name of a kind in quotes", like.kind()))
                    .help("write like = \"serial-24\"; `hitgap boxes` lists the kinds");
                faults.push(fault);
                None
            }
        };
        all.push(Likeness { index, name: key.text.clone(), at: like.at.clone(), kind });
    }
    all
}

/// The output on which a box steps that says none: the only one of the patch with a rate that is nobody's reset, those that a
/// kind would bring left aside.
fn only_clock(table: &Table, likenesses: &[Likeness<'_>]) -> Option<String> {
    let named = |key: Kind| match table.get(key.key()).map(|node| &node.value) {
        Some(Value::Table(table)) => table.entries.as_slice(),
        _ => &[],
    };
    let begin = |node: &Node| match &node.value {
        Value::Text(name) => Some(name.clone()),
        Value::List(list) => list.first().and_then(|node| match &node.value {
            Value::Text(name) => Some(name.clone()),
            _ => None,
        }),
        _ => None,
    };
    let reset = |node: &Node| match &node.value {
        Value::Table(table) => table.get("reset").and_then(begin),
        _ => None,
    };
    let resets: HashSet<String> = named(Kind::Sequencer).iter().filter_map(|(_, node)| reset(node)).collect();
    let brought: HashSet<String> = likenesses
        .iter()
        .flat_map(|l| l.kind.into_iter().flat_map(|kind| kind.brings.iter().map(|b| brought_name(b, &l.name))))
        .collect();
    let mut clocks = named(Kind::Output).iter().filter(|(key, node)| {
        let has_rate = matches!(&node.value, Value::Table(table) if table.has("rate"));
        has_rate && !resets.contains(&key.text) && !brought.contains(&key.text)
    });
    match (clocks.next(), clocks.next()) {
        (Some((key, _)), None) => Some(key.text.clone()),
        _ => None,
    }
}

/// An output of the patch, whichever comes first.
fn any_output(table: &Table) -> Option<String> {
    match table.get(Kind::Output.key()).map(|node| &node.value) {
        Some(Value::Table(outputs)) => outputs.entries.first().map(|(key, _)| key.text.clone()),
        _ => None,
    }
}

/// Fills in what a sequencer does not say itself.
fn complete(own: &mut Table, likeness: &Likeness<'_>, clock: Option<&str>) {
    match likeness.kind {
        Some(kind) => fill(own, kind, &likeness.name, Some(&likeness.at)),
        None => pretend(own, &likeness.at),
    }
    if let (false, Some(clock)) = (own.has("clock"), clock) {
        own.entries.push(text("clock", clock, &likeness.at));
    }
}

/// Gives a voice to each that is like something and has none: the first of the kit that no other sequencer plays, and when all
/// are played, the kit's from the front.
fn give_voices(sequencers: &mut Table, likenesses: &[Likeness<'_>]) {
    let voice = |node: &Node| match &node.value {
        Value::Table(table) => table.get("voice").and_then(|node| match &node.value {
            Value::Text(name) => Some(name.clone()),
            _ => None,
        }),
        _ => None,
    };
    let mut played: HashSet<String> = sequencers.entries.iter().filter_map(|(_, node)| voice(node)).collect();
    let names: Vec<&str> = voices().iter().map(|voice| voice.name.as_str()).collect();
    let mut round = names.iter().cycle();
    for likeness in likenesses {
        let Value::Table(own) = &mut sequencers.entries[likeness.index].1.value else { continue };
        if own.has("voice") {
            continue;
        }
        let free = names.iter().find(|name| !played.contains(**name));
        let Some(name) = free.or_else(|| round.next()) else { return };
        played.insert((*name).to_owned());
        own.entries.push(text("voice", name, &likeness.at));
    }
}

/// Adds a named table where none has its name; past the most of a kind there may be, one more is enough to tell it.
fn add(table: &mut Table, kind: Kind, (key, node): (Key, Node)) {
    if !table.has(kind.key()) {
        let empty = Node { at: key.at.clone(), value: Value::Table(Table::default()) };
        table.entries.push((Key { text: kind.key().to_owned(), at: key.at.clone() }, empty));
    }
    if let Some(Value::Table(all)) = table.get_mut(kind.key()).map(|node| &mut node.value)
        && all.entries.len() <= MOST_OF_A_KIND
        && !all.has(&key.text)
    {
        all.entries.push((key, node));
    }
}
