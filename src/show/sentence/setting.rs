//! What fixes and changes set.

use super::Word;
use super::editor::Editor;
use super::figure::plain;
use super::phrase;
use super::tables::{name, named, with_also};
use super::teller::{Bit, Draft, Spot, Teller, text};
use crate::patch::{Part, Slot, Worth};

pub(super) fn change(t: &mut Teller<'_>, draft: &mut Draft) {
    let after = named(t, draft, "after", None);
    draft.begin([vec![text("After ")], after].concat());
    for key in ["stop", "start", "continue"] {
        if t.sight.tables[draft.table].get(key).is_some() {
            let word = named(t, draft, key, None);
            draft.clause([vec![text(" the clock ")], word].concat());
        }
    }
    for (n, (what, word)) in set(t, draft).into_iter().enumerate() {
        let lead = if n == 0 { " " } else { "" };
        draft.clause([vec![text(format!("{lead}{what} becomes "))], word].concat());
    }
}

pub(super) fn fix(t: &mut Teller<'_>, draft: &mut Draft) {
    let n = draft.table;
    let mut head = vec![name(t, n)];
    if t.sight.tables[n].get("about").is_some() {
        head.push(text(": "));
        head.extend(named(t, draft, "about", None));
    } else {
        head.push(text(" is a fix"));
    }
    draft.begin(head);
    let all = set(t, draft);
    let last = all.len();
    for (n, (what, word)) in all.into_iter().enumerate() {
        let lead = match n {
            0 => "It sets ",
            n if n + 1 == last => " and ",
            _ => "",
        };
        let bits = [vec![text(format!("{lead}{what} to "))], word].concat();
        if n == 0 { draft.begin(bits) } else { draft.clause(bits) }
    }
}

/// What a fix or a change sets: what it is called, and its word.
fn set(t: &mut Teller<'_>, draft: &mut Draft) -> Vec<(String, Vec<Bit>)> {
    let holder = &t.sight.tables[draft.table];
    let Some(entry) = holder.get("set") else { return Vec::new() };
    draft.used.insert("set".to_owned());
    let Worth::Table(all) = &entry.value else { return Vec::new() };
    let mut told = Vec::new();
    for (path, value) in all {
        let parts: Vec<&str> = path.splitn(3, '.').collect();
        let target = match parts[..] {
            [kind, name, ..] => t.index(kind, name),
            _ => None,
        };
        let slot = parts.get(2).and_then(|key| t.sight.tables[target?].slot(key));
        let of = |n: usize| [vec![t.sight.tables[n].id()], t.hanging(n)].concat();
        let mut lights = target.map(of).unwrap_or_default();
        lights.retain(|id| *id != draft.id);
        let what = match parts[..] {
            [_, name, key] => format!("the {} of {name}", phrase::key_noun(key)),
            [kind, name] => format!("the {} {name}", phrase::noun(kind)),
            _ => path.clone(),
        };
        let about = slot
            .map_or("a whole table: it holds instead of the patch's own".to_owned(), |slot| slot.about().to_owned());
        let (mut takes, also) = match (target, slot) {
            (Some(n), Some(slot)) => t.as_if(n, slot, value),
            _ => (Editor::Value, None),
        };
        // A fix may bring the stage that it leads through.
        if let Editor::Path { through, .. } = &mut takes {
            let brought =
                all.iter().filter_map(|(path, _)| path.strip_prefix("stage.")).filter(|name| !name.contains('.'));
            through.extend(brought.map(str::to_owned));
        }
        let (says, more) = match (slot, value) {
            (Some(slot), _) => phrase::set_value(slot.key(), value),
            (None, Worth::Table(_)) => (phrase::table(parts[0], value), None),
            (None, _) => (plain(value), None),
        };
        let keys = ["set", path].map(|key| Part::Key(key.to_owned()));
        let word = Word {
            at: holder.at.iter().cloned().chain(keys).collect(),
            says,
            value: Some(value.clone()),
            takes,
            about,
            also,
            of: draft.id.clone(),
            lights,
            fault: None,
            changed: false,
            without: None,
            clears: all.len() > 1,
            beside: Vec::new(),
            apart: Vec::new(),
        };
        t.words.push(word);
        let word = Bit::Word(t.words.len() - 1);
        told.push((what, [with_also(t, word), more.map(text).into_iter().collect()].concat()));
    }
    told
}

impl Teller<'_> {
    /// The editor and the time of a value that is set somewhere else than where it holds.
    fn as_if(&self, n: usize, slot: Slot, value: &Worth) -> (Editor, Option<String>) {
        let stand = &self.sight.tables[n];
        let spot = Spot { table: n, stand, slot, within: None };
        (self.with_period(self.editor(stand, slot), spot), self.also(spot, value))
    }
}
