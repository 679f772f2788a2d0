//! Every key of every table can be reached by a word: of a sentence, or behind its `more`.

use super::{all, of};
use crate::schema::tables::places;
use hitgap::patch::{Edit, Part, Patch, Takes, Worth, edited};
use hitgap::show::sentence::{Desk, Editor};
use hitgap::voice::Model;
use std::collections::BTreeSet;

fn path(at: &[Part]) -> String {
    let part = |part: &Part| match part {
        Part::Key(key) => key.clone(),
        Part::Entry(n) => n.to_string(),
    };
    at.iter().map(part).collect::<Vec<_>>().join("/")
}

/// Where words lead, those of sentences and those behind a `more` that a sentence shows.
fn reached(desk: &Desk) -> BTreeSet<String> {
    let shown = |n: usize| desk.sentences.iter().any(|s| s.markup.contains(&format!("data-word=\"{n}\"")));
    let mut all = BTreeSet::new();
    for (n, word) in desk.words.iter().enumerate().filter(|(n, _)| shown(*n)) {
        let _ = n;
        all.insert(path(&word.at));
        if let Editor::More { words } = &word.takes {
            all.extend(words.iter().map(|n| path(&desk.words[*n].at)));
        }
    }
    all
}

#[test]
fn every_key_is_reached() {
    let mut tried = 0;
    for place in places() {
        let desk = of(&place.document(&[]), None);
        let reached = reached(&desk);
        let sentence = desk.sentences.iter().find(|s| match place.table() {
            "" => s.kind == "top",
            table => s.id == table,
        });
        let sentence = sentence.unwrap_or_else(|| panic!("{}: {:?}", place.table(), desk.sentences));
        let begin = match sentence.kind {
            "top" => String::new(),
            "jitter" => "jitter/".to_owned(),
            kind @ ("change" | "tempo-map") => format!("{kind}/0/"),
            kind => format!("{kind}/{}/", sentence.name),
        };
        for row in place.keys.rows {
            let keys: Vec<String> = match row.takes {
                Takes::Table(inner) if sentence.kind != "top" => {
                    inner.rows.iter().map(|within| format!("{begin}{}/{}", row.key, within.key)).collect()
                }
                Takes::Set => vec![format!("{begin}{}/", row.key)],
                Takes::Named(_)
                | Takes::Stages { .. }
                | Takes::Voices
                | Takes::Boxes
                | Takes::Tables(..)
                | Takes::Table(_) => {
                    // Tables of their own, which can be added.
                    let offered = desk.can.add.iter().any(|add| add.kind == row.key) || row.key == "jitter";
                    assert!(offered, "{}", row.key);
                    continue;
                }
                _ => vec![format!("{begin}{}", row.key)],
            };
            for key in keys {
                assert!(
                    reached.iter().any(|at| *at == key || (key.ends_with('/') && at.starts_with(&key))),
                    "{key}: {reached:?}"
                );
                tried += 1;
            }
        }
    }
    assert!(tried > 120, "{tried}");
}

/// What may be taken out leaves a patch: a key for which no default holds has no such button.
#[test]
fn what_may_be_taken_out_may() {
    let mut tried = 0;
    for (name, text) in all() {
        if Patch::parse(&text, &Default::default()).is_err() {
            continue;
        }
        for word in of(&text, None).words.iter().filter(|word| word.clears && word.value.is_some()) {
            if matches!(word.takes, Editor::Name | Editor::More { .. }) {
                continue;
            }
            let out = word.apart.iter().cloned().chain([Edit::Clear { at: word.at.clone(), fix: None }]);
            let done = out.fold(text.clone(), |text, edit| {
                edited(&text, &edit).unwrap_or_else(|e| panic!("{name}: {:?}: {e}", word.at))
            });
            if let Err(faults) = Patch::parse(&done, &Default::default()) {
                // A fix may go without what it stood on: then it is the fix that is told.
                assert!(faults.to_string().starts_with("in the fix"), "{name}: {}: {faults}", path(&word.at));
            }
            tried += 1;
        }
    }
    assert!(tried > 200, "{tried}");
}

/// Those of tables whose keys are put together of several: voices, components and kinds of boxes.
#[test]
fn keys_of_two_lists_are_reached() {
    let rig = "[voice.v]\nmodel = \"snare\"\n[component.c]\nkind = \"delay\"\ndelay = \"1 ms\"\n[box.b]\nreset-mode = \"immediate\"\n";
    let reached = reached(&of(rig, None));
    for key in Model::Snare.params().iter().map(|param| param.key).chain(["model", "level", "pan", "noise"]) {
        assert!(reached.contains(&format!("voice/v/{key}")), "{key}");
    }
    for key in ["kind", "delay", "rise", "width", "price", "note"] {
        assert!(reached.contains(&format!("component/c/{key}")), "{key}");
    }
    for key in ["about", "tell", "brings", "clock", "reset", "grace", "out", "voice"] {
        assert!(reached.contains(&format!("box/b/{key}")), "{key}");
    }
    assert!(!reached.contains("box/b/like"));
}

/// What is offered to be added makes a patch with what is there already.
#[test]
fn what_can_be_added_can_be_played() {
    for (name, text) in all() {
        for add in of(&text, None).can.add.into_iter().filter(|add| add.needs.is_none() && add.kind != "hits") {
            let at = [Some(add.kind.to_owned()), add.name.clone()].into_iter().flatten().map(Part::Key).collect();
            let done = edited(&text, &Edit::Add { at, to: add.to.clone() }).unwrap_or_else(|e| panic!("{name}: {e}"));
            if let Err(faults) = Patch::parse(&done, &Default::default()) {
                // A change past the end, or one of tempo within another, is for people to place; and who takes the only clock
                // there is must be told which where there are two.
                let placed = ["change", "tempo-map"].contains(&add.kind);
                let which =
                    add.kind == "clock" && faults.list().iter().all(|fault| fault.message.ends_with("has no `clock`"));
                assert!(placed || which, "{name}: {add:?}: {faults}");
            }
        }
        for part in of(&text, None).can.components {
            let at = ["stage", "brand-new"].map(|key| Part::Key(key.to_owned())).into();
            let done = edited(&text, &Edit::Add { at, to: part.to.clone() }).expect("an edit");
            let told = Patch::parse(&done, &Default::default());
            assert!(told.is_ok(), "{name}: {part:?}: {told:?}");
        }
    }
}

/// Another kind or model, chosen at its word, is a good stage or voice again.
#[test]
fn another_kind_brings_what_it_needs() {
    let text = &crate::edit::examples().iter().find(|(name, _)| name == "late-bell").expect("an example").1;
    let desk = of(text, None);
    let word = desk.words.iter().find(|word| path(&word.at) == "stage/or-gate/kind").expect("a word");
    let Editor::List { of: choices } = &word.takes else { panic!("{word:?}") };
    assert!(choices.len() > 8, "{choices:?}");
    for choice in choices.iter().filter(|choice| !choice.edits.is_empty()) {
        let done = choice.edits.iter().fold(text.clone(), |text, edit| edited(&text, edit).expect("an edit"));
        let told = Patch::parse(&done, &Default::default());
        // Through some kinds only hits go, and a fix puts the gate into a clock.
        let carried =
            told.as_ref().err().is_none_or(|faults| faults.to_string().contains("through which only hits go"));
        assert!(carried, "{choice:?}: {told:?}");
    }
}

/// What must change with a key that is written for the first time goes along with it.
#[test]
fn a_key_that_stands_behind_more_can_be_written() {
    let rig = "[clock.a]\nrate = \"4 per beat\"\n[sequencer.s]\nclock = \"a\"\nsteps = \"x...\"\nvoice = \"kick\"\n";
    let desk = of(rig, None);
    let write = |at: &str, to: Worth| {
        let word = desk.words.iter().find(|word| path(&word.at) == at).expect("a word");
        assert_eq!(word.value, None);
        let set = Edit::Set { at: word.at.clone(), to, fix: None };
        let done =
            word.beside.iter().chain([&set]).fold(rig.to_owned(), |text, edit| edited(&text, edit).expect("an edit"));
        let told = Patch::parse(&done, &Default::default());
        assert!(told.is_ok(), "{done}\n{told:?}");
        done
    };
    let done = write("sequencer/s/reset", Worth::text("a"));
    assert!(done.contains("reset-mode = \"this-clock\"\nreset = \"a\"\n"), "{done}");
    write("sequencer/s/offset", Worth::text("-2 ms"));
    // Taken out again, with what cannot stand alone.
    let desk = of(&done, None);
    let word = desk.words.iter().find(|word| path(&word.at) == "sequencer/s/reset").expect("a word");
    let clear = Edit::Clear { at: word.at.clone(), fix: None };
    let back = word.apart.iter().chain([&clear]).fold(done, |text, edit| edited(&text, edit).expect("an edit"));
    assert_eq!(back, rig);
    let at = desk.words.iter().find(|word| path(&word.at) == "clock/a/at").expect("a word");
    assert_eq!(serde_json::json!(at.beside), serde_json::json!([{"do": "clear", "at": ["clock", "a", "rate"]}]));
}

/// What a kind of box brings is written out before it is changed.
#[test]
fn what_is_brought_is_written_out_first() {
    let rig = "[sequencer.moth]\nlike = \"serial-24\"\nsteps = \"x...\"\nvoice = \"hat\"\n";
    let desk = of(rig, None);
    let word = desk.words.iter().find(|word| path(&word.at) == "clock/serial-24/rate").expect("a word");
    let set = Edit::Set { at: word.at.clone(), to: Worth::text("24 per beat"), fix: None };
    let done =
        word.beside.iter().chain([&set]).fold(rig.to_owned(), |text, edit| edited(&text, edit).expect("an edit"));
    let (before, after) = (Patch::parse(rig, &Default::default()), Patch::parse(&done, &Default::default()));
    assert_eq!(before.expect("a patch").original, after.expect("a patch").original);
    assert!(done.contains("[clock.serial-24]\nrate = \"24 per beat\"\n"), "{done}");
}
