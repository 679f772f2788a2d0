//! What is said of a box.

use super::phrase;
use super::tables::{late, late_word, name, named, names, only, path, stages};
use super::teller::{Bit, Draft, Teller, source_of, text};

pub(super) fn told(t: &mut Teller<'_>, draft: &mut Draft) {
    let n = draft.table;
    let stand = &t.sight.tables[n];
    let mut head = vec![name(t, n)];
    if stand.get("like").is_some() {
        let kind = named(t, draft, "like", None);
        head.extend([vec![text(", like ")], kind, vec![text(",")]].concat());
    }
    head.push(text(" plays "));
    if stand.get("euclidean").is_some() && stand.get("steps").is_none() {
        head.extend(euclidean(t, draft));
    } else {
        let none = stand.get("steps").is_none();
        head.extend(named(t, draft, "steps", none.then(|| "no pattern yet".to_owned())));
    }
    head.push(text(" on "));
    let clock = clock(t, draft, head);
    clock.into_iter().for_each(|clause| draft.clause(clause));
    reset(t, draft);
    sound(t, draft);
    others(t, draft);
}

/// `3 hits over 8 steps, turned by 1`.
fn euclidean(t: &mut Teller<'_>, draft: &mut Draft) -> Vec<Bit> {
    let mut bits = named(t, draft, "euclidean.hits", None);
    bits.push(text(" hits over "));
    bits.extend(named(t, draft, "euclidean.steps", None));
    bits.push(text(" steps"));
    if t.spot(draft.table, "euclidean.rotate").is_some_and(|spot| spot.value().is_some()) {
        bits.push(text(", turned by "));
        bits.extend(named(t, draft, "euclidean.rotate", None));
        bits.push(text(","));
    }
    bits
}

/// The clock, with what its output does beside it.
fn clock(t: &mut Teller<'_>, draft: &mut Draft, mut head: Vec<Bit>) -> Vec<Vec<Bit>> {
    let Some(spot) = t.spot(draft.table, "clock") else { return vec![head] };
    let names = names(spot);
    let output = names.first().and_then(|name| source_of(name)).filter(|(kind, _)| *kind == "clock");
    let output = output.and_then(|(kind, name)| t.index(kind, name));
    let begin = names.first().map_or("no clock yet".to_owned(), |name| phrase::begin(name));
    draft.used.insert("clock".to_owned());
    let word = t.word(spot, Some(begin));
    let source = names.first().and_then(|name| source_of(name)).map(|(kind, name)| format!("{kind}.{name}"));
    only(t, &word, source);
    head.push(word);
    let mut clauses = Vec::new();
    if let Some(output) = output {
        if let Some(rate) = t.spot(output, "rate").filter(|spot| spot.value().is_some()) {
            head.push(text(" "));
            head.push(t.word(rate, None));
        }
        clauses.push(head);
        for key in ["phase", "shift"] {
            clauses.extend(t.spot(output, key).and_then(|spot| late_word(t, spot, "")));
        }
    } else {
        clauses.push(head);
    }
    let stages = stages(t, spot, names.get(1..).unwrap_or_default());
    if !stages.is_empty() {
        clauses.push([vec![text("through ")], stages].concat());
    }
    clauses
}

fn reset(t: &mut Teller<'_>, draft: &mut Draft) {
    let stand = &t.sight.tables[draft.table];
    if stand.get("reset").is_none() {
        // A kind says what a reset would do: it is told when there is one.
        if stand.get("reset-mode").is_some_and(|entry| entry.own == crate::patch::Own::Kind) {
            draft.used.insert("reset-mode".to_owned());
        }
        return;
    }
    let way = path(t, draft, "reset");
    let none = stand.get("reset-mode").is_none();
    let mode = named(t, draft, "reset-mode", none.then(|| "does nobody knows what".to_owned()));
    draft.clause([vec![text("and on ")], way, vec![text(" it ")], mode].concat());
}

/// What it sounds as, and when after its pulse.
fn sound(t: &mut Teller<'_>, draft: &mut Draft) {
    let none = t.sight.tables[draft.table].get("voice").is_none();
    let voice = named(t, draft, "voice", none.then(|| "nothing yet".to_owned()));
    draft.begin([vec![text("It sounds as ")], voice].concat());
    if t.sight.tables[draft.table].get("latency").is_some() {
        let latency = named(t, draft, "latency", None);
        draft.clause([latency, vec![text(" after its pulse")]].concat());
    }
    late(t, draft, "offset");
    let Some(out) = t.spot(draft.table, "out").filter(|spot| spot.value().is_some()) else { return };
    draft.used.insert("out".to_owned());
    let on_its_way = names(out);
    if on_its_way.is_empty() {
        let word = t.word(out, Some("nothing".to_owned()));
        draft.clause(vec![text("through "), word]);
        return;
    }
    let stages = stages(t, out, &on_its_way);
    draft.clause([vec![text("through ")], stages].concat());
}

/// What else it does: a sentence of its own, which begins with the first of it.
fn others(t: &mut Teller<'_>, draft: &mut Draft) {
    let mut begun = false;
    for spot in t.spots(draft.table) {
        let path = spot.path();
        let Some((value, own)) = spot.value().filter(|_| !draft.used.contains(&path)) else { continue };
        // What a kind says of an input that has no wire has no effect.
        let idle = t.sight.tables[draft.table].get("reset").is_none() && own == crate::patch::Own::Kind;
        if idle
            && ["setup-time", "on-tie", "holdoff", "grace", "reset-edge", "sounds-on-reset"].contains(&path.as_str())
        {
            continue;
        }
        let alone = phrase::is_clause(spot.slot.key(), value);
        let word = named(t, draft, &path, None);
        let bits = if alone {
            word
        } else {
            let (before, after) = phrase::clause_of("sequencer", "sequencer", &path);
            [vec![text(before)], word, vec![text(after)]].concat()
        };
        if begun {
            draft.clause(bits);
        } else {
            draft.begin([vec![text("It ")], bits].concat());
        }
        begun = true;
    }
}
