//! The rig as sentences whose words are controls: what stands in a patch, said as to a colleague, with what each word may become.
//!
//! Nothing is worked out here but the time that a share is at a tempo: words come from the table of keys, so that a key more
//! is told by itself, and the usual ones have phrases of their own.

mod can;
mod editor;
mod faults;
mod figure;
mod joined;
mod phrase;
mod rig;
mod sequencer;
mod setting;
mod tables;
mod teller;
mod write;

pub use can::{Addition, Can, Offer, Part as PartOffer};
pub use editor::{Choice, Editor};
pub use faults::Told;

use crate::patch::{BoxKinds, Edit, Fault, Part, Sight, Worth};
use crate::time::Tempo;
use serde::Serialize;
use teller::Teller;

/// What is looked at.
#[derive(Clone, Copy, Debug)]
pub struct Look<'a> {
    /// The patch as it is written.
    pub text: &'a str,
    /// Kinds of boxes from files.
    pub boxes: &'a BoxKinds,
    /// At which a share becomes a time.
    pub tempo: Tempo,
    /// The fix that is made, if one is.
    pub fix: Option<&'a str>,
    /// What is wrong with the patch.
    pub faults: &'a [Fault],
}

/// The rig in sentences.
#[derive(Clone, Debug, Serialize)]
pub struct Desk {
    /// Each table's, in the order in which they are told.
    pub sentences: Vec<Sentence>,
    /// The words of all of them, by number; those of `more` stand in no sentence.
    pub words: Vec<Word>,
    /// What may be added.
    pub can: Can,
    /// What is wrong, in the order of the file.
    pub faults: Vec<Told>,
}

/// What is said of one table.
#[derive(Clone, Debug, Serialize)]
pub struct Sentence {
    /// `sequencer.wren`.
    pub id: String,
    /// `sequencer`.
    pub kind: &'static str,
    /// `wren`.
    pub name: String,
    /// As it stands on a page.
    pub markup: String,
    /// As it is read aloud.
    #[serde(skip)]
    pub plain: String,
    /// What is wrong with the table, beside what is wrong with a word of it.
    pub faults: Vec<String>,
    /// Who brings it, where the text has no such table.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub brought: Option<Edit>,
}

/// A word that is a control.
#[derive(Clone, Debug, Serialize)]
pub struct Word {
    /// The way to what it sets.
    pub at: Vec<Part>,
    /// What it says.
    pub says: String,
    /// What is written there; `None` where nothing is.
    pub value: Option<Worth>,
    /// What may stand there.
    pub takes: Editor,
    /// What it is, in a line: signs and names of keys stand between backticks.
    pub about: String,
    /// What a share or a number of beats is at this tempo.
    pub also: Option<String>,
    /// Whose word it is: a table, which need not be that of the sentence.
    pub of: String,
    /// What hangs on it.
    pub lights: Vec<String>,
    /// What is wrong with it.
    pub fault: Option<String>,
    /// Whether the fix that is looked at sets it.
    pub changed: bool,
    /// What holds where nothing is written, in words.
    pub without: Option<String>,
    /// Whether it may be taken out.
    pub clears: bool,
    /// What goes along when it is set for the first time.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub beside: Vec<Edit>,
    /// What goes along when it is taken out.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub apart: Vec<Edit>,
}

/// Says what stands in a text, whether it is a good patch or not.
#[must_use]
pub fn desk(look: &Look<'_>) -> Desk {
    let sight = Sight::new(look.text, look.boxes, look.fix);
    let mut teller = Teller::new(&sight, look);
    let drafts = (0..sight.tables.len()).map(|n| tables::told(&mut teller, n)).collect();
    let mut words = teller.words;
    let told = faults::told(look, &sight, &mut words);
    let sentences = write::sentences(drafts, &words, &told);
    // What is added is added to the patch without the fix.
    let without = look.fix.map(|_| Sight::new(look.text, look.boxes, None));
    Desk {
        sentences,
        words,
        can: can::can(without.as_ref().unwrap_or(&sight), look.boxes),
        faults: told.into_iter().map(|(told, _)| told).collect(),
    }
}
