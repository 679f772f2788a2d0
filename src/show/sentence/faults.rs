//! What is wrong, at the word that it is wrong with.

use super::{Look, Word};
use crate::patch::{Fault, Own, Part, Sight};
use serde::Serialize;
use std::ops::Range;

/// So many are told.
const MOST: usize = 50;

/// A fault as it is told.
#[derive(Clone, Debug, Serialize)]
pub struct Told {
    /// The way to what it is about; `None` for one of the whole.
    pub at: Option<Vec<Part>>,
    /// The line in which it stands, from 1.
    pub line: Option<usize>,
    /// From which byte of the text to which.
    pub place: Option<(usize, usize)>,
    /// What was found, and what was expected.
    pub says: String,
    /// What to do.
    pub help: String,
}

/// Each fault, with the table that it belongs to where no word has it; words learn of theirs.
pub(super) fn told(look: &Look<'_>, sight: &Sight, words: &mut [Word]) -> Vec<(Told, Option<String>)> {
    let all = if look.faults.is_empty() { &sight.broken[..] } else { look.faults };
    all.iter().take(MOST).map(|fault| one(fault, look.text, sight, words)).collect()
}

fn one(fault: &Fault, text: &str, sight: &Sight, words: &mut [Word]) -> (Told, Option<String>) {
    let says = match fault.label.as_str() {
        "" => fault.message.clone(),
        label => format!("{}: {label}", fault.message),
    };
    // What points to the very beginning is about the whole.
    let spot = fault.at.as_ref().filter(|place| place.end > 0).and_then(|place| around(place, sight));
    let at = spot.as_ref().map(|(at, _)| at.clone());
    let mut own = false;
    for word in words.iter_mut().filter(|word| at.as_deref().is_some_and(|at| concerns(word, at))) {
        own = true;
        word.fault.get_or_insert_with(|| says.clone());
    }
    let before = |at: usize| text.as_bytes().iter().take(at).filter(|byte| **byte == b'\n').count() + 1;
    let told = Told {
        line: fault.at.as_ref().map(|place| before(place.start)),
        place: fault.at.as_ref().map(|place| (place.start, place.end)),
        at,
        says,
        help: fault.help.clone(),
    };
    (told, spot.map(|(_, id)| id).filter(|_| !own))
}

/// Whether a word sets what is wrong, or lies in it.
fn concerns(word: &Word, at: &[Part]) -> bool {
    at.len() > 1 && (word.at == at || (word.at.len() > at.len() && word.at.starts_with(at) && at.len() > 2))
        || (at.len() == 1 && word.at == at)
}

/// The narrowest of what stands around a place: the way to it, and its table.
fn around(place: &Range<usize>, sight: &Sight) -> Option<(Vec<Part>, String)> {
    let holds = |of: &Range<usize>| of.start <= place.start && place.end <= of.end.max(of.start + 1);
    let mut best: Option<(usize, Vec<Part>, String)> = None;
    for stand in &sight.tables {
        if stand.kind != "top" && stand.own != Own::Kind && holds(&stand.place) {
            keep(&mut best, stand.place.len(), stand.at.clone(), stand.id());
        }
        for entry in stand.entries.iter().filter(|entry| holds(&entry.place)) {
            // What a fix sets is the fix's own.
            let with = stand.at.iter().cloned().chain([Part::Key(entry.key.clone())]).collect();
            keep(&mut best, entry.place.len(), with, stand.id());
        }
    }
    best.map(|(_, at, id)| (at, id))
}

fn keep(best: &mut Option<(usize, Vec<Part>, String)>, length: usize, at: Vec<Part>, id: String) {
    if best.as_ref().is_none_or(|(known, ..)| length < *known) {
        *best = Some((length, at, id));
    }
}
