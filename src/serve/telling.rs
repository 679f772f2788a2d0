//! The words of a rig as pages are told them: all of them, or to a page that says what it has what is new alone.

use crate::show::sentence::{Can, Desk, Sentence, Told, Word};
use serde::{Serialize, Serializer};
use std::collections::{HashMap, VecDeque};
use std::hash::{BuildHasher, RandomState};
use std::sync::{Mutex, PoisonError};

/// So many are remembered: each page stands on one of its last few.
const MOST: usize = 32;

/// What has been told of late.
#[derive(Debug, Default)]
pub(super) struct Tellings {
    chance: RandomState,
    kept: Mutex<Kept>,
}

#[derive(Debug, Default)]
struct Kept {
    count: u64,
    told: VecDeque<(String, Marks)>,
}

/// What was told, each piece by a number that its likes alone have: 64 bits that nobody else can foresee.
#[derive(Clone, Debug, PartialEq, Eq)]
struct Marks {
    sentences: Vec<u64>,
    words: Vec<u64>,
    can: u64,
}

/// What a page is told.
#[derive(Debug, Serialize)]
pub(super) struct Telling<'w> {
    /// By which name a page says that it has it.
    told: String,
    /// On what it stands; `None` where it is whole.
    #[serde(skip_serializing_if = "Option::is_none")]
    since: Option<String>,
    sentences: Vec<Piece<'w, Sentence>>,
    words: Vec<Piece<'w, Word>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    can: Option<&'w Can>,
    faults: &'w [Told],
}

/// Something new, or so many in a row that the page has: from which place on, and how many.
#[derive(Debug, PartialEq, Eq)]
enum Piece<'w, T> {
    New(&'w T),
    Had(usize, usize),
}

impl<T: Serialize> Serialize for Piece<'_, T> {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        match self {
            Self::New(piece) => piece.serialize(to),
            Self::Had(from, count) => (from, count).serialize(to),
        }
    }
}

impl Tellings {
    /// What to tell of a desk to a page that has what is called `has`.
    pub(super) fn of<'w>(&self, desk: &'w Desk, has: Option<&str>) -> Telling<'w> {
        let mut written = Vec::new();
        let marks = Marks {
            sentences: desk.sentences.iter().map(|piece| self.mark(piece, &mut written)).collect(),
            words: desk.words.iter().map(|piece| self.mark(piece, &mut written)).collect(),
            can: self.mark(&desk.can, &mut written),
        };
        let mut kept = self.kept.lock().unwrap_or_else(PoisonError::into_inner);
        let base = has.and_then(|has| kept.told.iter().find(|(name, _)| name == has)).cloned();
        // What was told already keeps its name.
        let same = kept.told.iter().rev().find(|(_, own)| *own == marks).map(|(name, _)| name.clone());
        let told = same.unwrap_or_else(|| kept.note(self.chance.hash_one(()), marks.clone()));
        drop(kept);
        let before = base.as_ref().map(|(_, own)| own);
        Telling {
            sentences: pieces(&desk.sentences, &marks.sentences, before.map(|own| &own.sentences[..])),
            words: pieces(&desk.words, &marks.words, before.map(|own| &own.words[..])),
            can: before.is_none_or(|own| own.can != marks.can).then_some(&desk.can),
            faults: &desk.faults,
            since: base.map(|(name, _)| name),
            told,
        }
    }

    fn mark(&self, piece: &impl Serialize, written: &mut Vec<u8>) -> u64 {
        written.clear();
        serde_json::to_writer(&mut *written, piece).expect("texts and numbers");
        self.chance.hash_one(&written)
    }
}

impl Kept {
    /// Remembers what is told, by a name that no other run gives.
    fn note(&mut self, run: u64, marks: Marks) -> String {
        self.count += 1;
        let name = format!("{run:x}-{}", self.count);
        self.told.push_back((name.clone(), marks));
        if self.told.len() > MOST {
            self.told.pop_front();
        }
        name
    }
}

/// What is new of a list, and where else what is there stood before.
fn pieces<'w, T>(all: &'w [T], marks: &[u64], before: Option<&[u64]>) -> Vec<Piece<'w, T>> {
    let before = before.unwrap_or_default();
    let places: HashMap<u64, usize> = before.iter().enumerate().map(|(n, mark)| (*mark, n)).collect();
    let mut pieces: Vec<Piece<'w, T>> = Vec::new();
    for (piece, mark) in all.iter().zip(marks) {
        if let Some(Piece::Had(from, count)) = pieces.last_mut()
            && before.get(*from + *count) == Some(mark)
        {
            *count += 1;
            continue;
        }
        pieces.push(places.get(mark).map_or(Piece::New(piece), |at| Piece::Had(*at, 1)));
    }
    pieces
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::patch::BoxKinds;
    use crate::show::sentence::{Look, desk};
    use crate::time::Tempo;
    use serde_json::Value;

    /// What a page makes of what it is told, by what it had.
    fn whole(telling: &Value, had: Option<&Value>) -> Value {
        let mut whole = telling.clone();
        for list in ["sentences", "words"] {
            let pieces = telling[list].as_array().expect("a list").iter().flat_map(|piece| match piece.as_array() {
                None => vec![piece.clone()],
                Some(run) => {
                    let [from, count] = [0, 1].map(|n| run[n].as_u64().expect("a number") as usize);
                    had.expect("a page that had it")[list].as_array().expect("a list")[from..from + count].to_vec()
                }
            });
            whole[list] = pieces.collect();
        }
        if whole["can"].is_null() {
            whole["can"] = had.expect("a page that had it")["can"].clone();
        }
        whole
    }

    fn looked(text: &str) -> Desk {
        desk(&Look { text, boxes: &BoxKinds::default(), tempo: Tempo::USUAL, fix: None, faults: &[] })
    }

    /// Whatever the page had, it comes to what the whole would be; and of what is turned little is sent.
    #[test]
    fn a_page_comes_to_the_whole_from_whatever_it_had() {
        let text = include_str!("../../patches/late-bell.toml");
        let texts = [
            text.to_owned(),
            text.replace("1 %", "2 %"),
            format!("[sequencer.another]\nclock = \"slow\"\nsteps = \"x\"\n{text}"),
            String::new(),
        ];
        let desks = texts.each_ref().map(|text| looked(text));
        let tellings = Tellings::default();
        let value = |telling: &Telling<'_>| serde_json::to_value(telling).expect("JSON");
        for from in &desks {
            for to in &desks {
                let had = value(&tellings.of(from, None));
                let next = value(&tellings.of(to, had["told"].as_str()));
                assert_eq!(next["since"], had["told"]);
                let (own, all) = (whole(&next, Some(&had)), value(&tellings.of(to, None)));
                for part in ["sentences", "words", "can", "faults"] {
                    assert_eq!(own[part], all[part], "{part}");
                }
            }
        }
        let had = value(&tellings.of(&desks[0], None));
        let turned = tellings.of(&desks[1], had["told"].as_str());
        let new = turned.words.iter().filter(|piece| matches!(piece, Piece::New(_))).count();
        assert!((1..=3).contains(&new) && turned.can.is_none(), "{turned:?}");
        // Nothing new is no other telling; and what nobody remembers is told whole.
        assert_eq!(tellings.of(&desks[0], had["told"].as_str()).told, had["told"].as_str().expect("a name"));
        assert!(tellings.of(&desks[0], Some("long ago")).since.is_none());
    }

    #[test]
    fn only_the_last_are_remembered() {
        let tellings = Tellings::default();
        let desks: Vec<Desk> = (0..=MOST).map(|n| looked(&format!("title = \"{n}\"\n"))).collect();
        let told: Vec<String> = desks[..MOST].iter().map(|desk| tellings.of(desk, None).told).collect();
        // Told again, it is no other.
        assert_eq!(tellings.of(&desks[0], None).told, told[0]);
        assert!(tellings.of(&desks[0], Some(&told[0])).since.is_some());
        drop(tellings.of(&desks[MOST], None));
        assert!(tellings.of(&desks[0], Some(&told[0])).since.is_none());
    }
}
