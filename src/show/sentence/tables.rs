//! What is said of each kind of table.

use super::Word;
use super::editor::Editor;
use super::figure::sign;
use super::phrase;
use super::sequencer;
use super::setting;
use super::teller::{Bit, Draft, Spot, Teller, kind_of, source_of, text};
use crate::patch::{Edit, Own, Part, Stand, Worth};
use crate::time::{ExactPs, PS_PER_MS};
use std::collections::HashSet;

/// Keys of which the top says how it is even where they are not written.
const OF_TOP: [&str; 4] = ["tempos", "bars", "meter", "max-gap"];

pub(super) fn told(t: &mut Teller<'_>, n: usize) -> Draft {
    let stand = &t.sight.tables[n];
    let mut draft = Draft {
        table: n,
        id: stand.id(),
        kind: stand.kind,
        name: stand.name.clone(),
        said: Vec::new(),
        used: HashSet::new(),
        brought: (stand.own == Own::Kind).then(|| written_out(stand)),
    };
    let first = t.words.len();
    match stand.kind {
        "top" => top(t, &mut draft),
        "jitter" => draft.begin(vec![text("The clock trembles")]),
        "tempo-map" => {
            let at = named(t, &mut draft, "at", None);
            draft.begin([vec![text("From ")], at, vec![text(" on")]].concat());
        }
        "change" => setting::change(t, &mut draft),
        "clock" => output(t, &mut draft),
        "sequencer" => sequencer::told(t, &mut draft),
        "wire" => {
            let mut head = vec![name(t, n), text(" is a point that paths share: it hangs on ")];
            head.extend(path(t, &mut draft, "path"));
            draft.begin(head);
        }
        "hits" => {
            let mut head = vec![name(t, n), text(" plays the hits of ")];
            head.extend(named(t, &mut draft, "file", None));
            draft.begin(head);
            late(t, &mut draft, "offset");
        }
        "voice" => {
            let recorded = stand.get("file").is_some();
            let mut head = vec![name(t, n), text(if recorded { " is played from " } else { " is " })];
            let kit = t.spot(n, "model").filter(|spot| spot.value().is_none()).map(|_| stand.name.clone());
            let key = if recorded { "file" } else { "model" };
            head.extend(named(t, &mut draft, key, kit.map(|name| format!("the kit's {name}"))));
            draft.begin(head);
        }
        "box" => draft.begin(vec![name(t, n), text(" is a kind of box")]),
        "fix" => setting::fix(t, &mut draft),
        _ => {
            let mut head = vec![name(t, n), text(" is ")];
            head.extend(named(t, &mut draft, "kind", None));
            draft.begin(head);
        }
    }
    rest(t, &mut draft);
    if let Some(add) = draft.brought.clone() {
        draft.begin(vec![text("A kind of box brings it")]);
        // The text has no such table yet.
        t.words[first..]
            .iter_mut()
            .filter(|word| word.of == draft.id)
            .for_each(|word| word.beside.insert(0, add.clone()));
    }
    draft
}

/// The edit that writes out what a kind of box brings.
fn written_out(stand: &Stand) -> Edit {
    let entries = stand.entries.iter().map(|entry| (entry.key.clone(), entry.value.clone())).collect();
    Edit::Add { at: stand.at.clone(), to: Worth::Table(entries) }
}

/// The name of a table, which can be changed, copied and taken out.
pub(super) fn name(t: &mut Teller<'_>, n: usize) -> Bit {
    let stand = &t.sight.tables[n];
    let what = match stand.kind {
        "clock" => "an output of the clock",
        "stage" => "what delays or alters pulses or hits",
        "wire" => "a point that several paths share",
        "sequencer" => "a box that steps through a pattern",
        "hits" => "hits from a file",
        "voice" => "a drum",
        "fix" => "a set of changes, held against the patch without it",
        "box" => "a kind of box",
        _ => "what somebody could put in",
    };
    let word = Word {
        at: stand.at.clone(),
        says: stand.name.clone(),
        value: (stand.own == Own::Written).then(|| Worth::text(&stand.name)),
        takes: Editor::Name,
        about: what.to_owned(),
        also: None,
        of: stand.id(),
        lights: t.hanging(n),
        fault: None,
        changed: stand.own == Own::Fix,
        without: None,
        clears: true,
        beside: Vec::new(),
        apart: Vec::new(),
    };
    t.words.push(word);
    Bit::Word(t.words.len() - 1)
}

/// The word of a key with what it is at this tempo behind it.
pub(super) fn named(t: &mut Teller<'_>, draft: &mut Draft, path: &str, says: Option<String>) -> Vec<Bit> {
    let Some(spot) = t.spot(draft.table, path) else { return vec![text("nothing yet")] };
    draft.used.insert(path.to_owned());
    let word = t.word(spot, says);
    with_also(t, word)
}

pub(super) fn with_also(t: &Teller<'_>, word: Bit) -> Vec<Bit> {
    let also = match &word {
        Bit::Word(n) => t.words[*n].also.clone(),
        Bit::Text(_) => None,
    };
    [vec![word], also.map(|also| text(format!(" ({also})"))).into_iter().collect()].concat()
}

/// A time with its sign as `late` or `early`, where it is written.
pub(super) fn late(t: &mut Teller<'_>, draft: &mut Draft, key: &str) {
    let Some(spot) = t.spot(draft.table, key) else { return };
    if let Some(bits) = late_word(t, spot, "") {
        draft.used.insert(key.to_owned());
        draft.clause(bits);
    }
}

/// `1 % late (10 ms here)`, with what it is a share of.
pub(super) fn late_word(t: &mut Teller<'_>, spot: Spot<'_>, of: &str) -> Option<Vec<Bit>> {
    let Some((Worth::Text(written), _)) = spot.value() else { return None };
    let (early, size) = sign(written);
    let size = super::figure::quantity_text(size);
    let word = t.word(spot, Some(size));
    let mut bits = with_also(t, word);
    bits.insert(1, text(format!("{of} {}", if early { "early" } else { "late" })));
    Some(bits)
}

fn top(t: &mut Teller<'_>, draft: &mut Draft) {
    let untitled = t.sight.tables[draft.table].get("title").is_none();
    let mut head = named(t, draft, "title", untitled.then(|| "This patch".to_owned()));
    head.push(text(" is played"));
    draft.begin(head);
    for key in OF_TOP {
        let there = t.sight.tables[draft.table].get(key).is_some();
        let (before, after) = phrase::clause("top", key);
        let says = match key {
            _ if there => None,
            "tempos" => Some("120".to_owned()),
            "bars" => Some("as many".to_owned()),
            "meter" => Some("4/4".to_owned()),
            _ => None,
        };
        let after = if key == "bars" && !there { " bars as it needs" } else { after };
        let word = named(t, draft, key, says);
        let before = if key == "max-gap" { "Gaps up to ".to_owned() } else { before };
        let bits = [vec![text(before)], word, vec![text(after)]].concat();
        if key == "max-gap" { draft.begin(bits) } else { draft.clause(bits) }
    }
    for key in ["skew", "max-wobble", "one", "noise"] {
        if t.sight.tables[draft.table].get(key).is_some() {
            let alone = key == "noise";
            let word = named(t, draft, key, None);
            let (before, after) = if alone { (String::new(), "") } else { phrase::clause("top", key) };
            draft.clause([vec![text(before)], word, vec![text(after)]].concat());
        }
    }
    if t.sight.tables[draft.table].get("note").is_some() {
        let note = named(t, draft, "note", None);
        draft.begin([vec![text("It comes with ")], note].concat());
    }
}

fn output(t: &mut Teller<'_>, draft: &mut Draft) {
    let n = draft.table;
    let mut head = vec![name(t, n)];
    if t.sight.tables[n].get("at").is_some() && t.sight.tables[n].get("rate").is_none() {
        head.push(text(" "));
        head.extend(named(t, draft, "at", None));
    } else {
        let none = t.sight.tables[n].get("rate").is_none();
        head.push(text(" pulses "));
        head.extend(named(t, draft, "rate", none.then(|| "at no rate yet".to_owned())));
    }
    draft.begin(head);
    if let Some(bits) = t.spot(n, "phase").and_then(|spot| late_word(t, spot, " of its period")) {
        draft.used.insert("phase".to_owned());
        draft.clause(bits);
    }
    late(t, draft, "shift");
    usual_width(t, draft);
}

/// How long a pulse is where nothing says so: the shorter of 5 ms and half the period, and 5 ms of a pulse that comes once.
fn usual_width(t: &mut Teller<'_>, draft: &mut Draft) {
    let stand = &t.sight.tables[draft.table];
    let usual = ExactPs::from_integer(5 * i128::from(PS_PER_MS));
    let Some(spot) = t.spot(draft.table, "width").filter(|spot| spot.value().is_none()) else { return };
    let (before, length, after) = match (stand.period(), stand.text("at")) {
        (Some(period), _) => ("each pulse ", usual.min(t.tempo.exact(period) / 2), " long by default"),
        (None, Some("start" | "stop")) => ("for ", usual, " by default"),
        _ => return,
    };
    draft.used.insert("width".to_owned());
    let word = t.word(spot, Some(super::figure::time(length)));
    draft.clause(vec![text(before), word, text(after)]);
}

/// A path: where it begins, and the stages that it leads through, each with its delay.
pub(super) fn path(t: &mut Teller<'_>, draft: &mut Draft, key: &str) -> Vec<Bit> {
    let Some(spot) = t.spot(draft.table, key) else { return Vec::new() };
    draft.used.insert(key.to_owned());
    let names = names(spot);
    let begin = names.first().map(|name| phrase::begin(name));
    let word = t.word(spot, begin);
    // What the word at hand names is lit up, not all of the path.
    let source = names.first().and_then(|name| source_of(name)).map(|(kind, name)| format!("{kind}.{name}"));
    only(t, &word, source);
    let stages = stages(t, spot, names.get(1..).unwrap_or_default());
    if stages.is_empty() { vec![word] } else { [vec![word, text(" through ")], stages].concat() }
}

pub(super) fn only(t: &mut Teller<'_>, word: &Bit, id: Option<String>) {
    if let (Bit::Word(n), Some(id)) = (word, id) {
        t.words[*n].lights.retain(|lit| *lit == id);
    }
}

pub(super) fn names(spot: Spot<'_>) -> Vec<String> {
    match spot.value() {
        Some((Worth::Text(text), _)) => vec![text.clone()],
        Some((Worth::List(list), _)) => {
            list.iter().filter_map(|w| if let Worth::Text(text) = w { Some(text.clone()) } else { None }).collect()
        }
        _ => Vec::new(),
    }
}

/// `or-gate (40 µs) and cable`.
pub(super) fn stages(t: &mut Teller<'_>, spot: Spot<'_>, names: &[String]) -> Vec<Bit> {
    let mut bits = Vec::new();
    for (n, name) in names.iter().enumerate() {
        if n > 0 {
            bits.push(text(if n + 1 == names.len() { " and " } else { ", " }));
        }
        let word = t.word(spot, Some(name.clone()));
        only(t, &word, Some(format!("stage.{name}")));
        bits.push(word);
        let delay = t.index("stage", name).and_then(|stage| t.spot(stage, "delay"));
        if let Some(delay) = delay.filter(|spot| spot.value().is_some()) {
            let word = t.word(delay, None);
            bits.extend([text(" ("), word, text(")")]);
        }
    }
    bits
}

/// Whatever has not been said, then what is not written, behind a last word.
fn rest(t: &mut Teller<'_>, draft: &mut Draft) {
    let stand = &t.sight.tables[draft.table];
    let kind = kind_of(stand).to_owned();
    let mut silent = Vec::new();
    let mut usual = false;
    for spot in t.spots(draft.table) {
        let path = spot.path();
        if draft.used.contains(&path) {
            continue;
        }
        let Some((value, _)) = spot.value() else {
            silent.push(spot);
            continue;
        };
        draft.used.insert(path.clone());
        let alone = phrase::is_clause(spot.slot.key(), value);
        let word = t.word(spot, None);
        let word = with_also(t, word);
        if alone {
            draft.clause(word);
            usual = false;
            continue;
        }
        let (before, after) = phrase::clause_of(&kind, stand.kind, &path);
        // `with A 1, B 2`: one `with` is enough.
        let again = before == format!("with {} ", path.replace(['-', '.'], " "));
        let before = if again && usual { before.replacen("with ", "", 1) } else { before };
        usual = again;
        draft.clause([vec![text(before)], word, vec![text(after)]].concat());
    }
    let known = |key: &str| stand.slot(key).is_some();
    for entry in stand.entries.iter().filter(|entry| !known(&entry.key)) {
        let word = stray(stand, &entry.key, &entry.value);
        t.words.push(word);
        let word = Bit::Word(t.words.len() - 1);
        draft.clause(vec![text(format!("with {} ", entry.key)), word]);
    }
    // A table that is written and is none, or of which a part is not known, is reached whole.
    for entry in &stand.entries {
        let whole = t.spots(draft.table).iter().any(|spot| spot.within == Some(&entry.key));
        if whole && !matches!(entry.value, Worth::Table(_)) {
            t.words.push(stray(stand, &entry.key, &entry.value));
            let word = Bit::Word(t.words.len() - 1);
            draft.clause(vec![text(format!("with {} ", entry.key)), word]);
        }
    }
    if silent.is_empty() {
        return;
    }
    let mut words = Vec::new();
    for spot in silent {
        let says = spot.path().replace(['-', '.'], " ");
        t.word(spot, Some(says));
        words.push(t.words.len() - 1);
    }
    let more = Word {
        says: "more".to_owned(),
        takes: Editor::More { words },
        about: "what else can be said of it".to_owned(),
        value: None,
        clears: false,
        ..stray(stand, "", &Worth::Bool(true))
    };
    t.words.push(Word { at: stand.at.clone(), ..more });
}

/// A word for what no key is known for.
fn stray(stand: &Stand, key: &str, value: &Worth) -> Word {
    Word {
        at: stand.at.iter().cloned().chain([Part::Key(key.to_owned())]).collect(),
        says: super::figure::plain(value),
        value: Some(value.clone()),
        takes: Editor::Value,
        about: "no key that is known here".to_owned(),
        also: None,
        of: stand.id(),
        lights: Vec::new(),
        fault: None,
        changed: false,
        without: None,
        clears: true,
        beside: Vec::new(),
        apart: Vec::new(),
    }
}
