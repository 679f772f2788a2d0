use super::{Carries, Facts, KindOfStage, StageKind};
use crate::patch::model::given::{Given, Told, there};
use crate::patch::model::measures::TIME;
use crate::patch::model::{Keys, Row, Takes};
use crate::time::Span;

/// See [`StageKind::MidiCable`].
#[derive(Clone, Debug, PartialEq)]
pub struct MidiCable {
    /// A note whose status byte equals the last one is sent without it.
    pub running_status: bool,
    /// Whether note-offs travel too, and how.
    pub note_offs: NoteOffs,
    /// From the end of a start or a continue to the first clock byte after it, at least.
    pub start_lead: Span,
    /// Whether a song position goes before a continue.
    pub song_position: bool,
    /// Names of outputs, sequencers or stages in the order in which messages of one instant are sent; those not named
    /// come after, in the order of the file.
    pub order: Vec<String>,
}

/// How notes end on a serial line.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NoteOffs {
    /// None are sent.
    None,
    /// As note-ons of velocity 0, under the same status.
    AsNoteOn,
    /// As note-offs, with a status of their own.
    Own,
}

pub(super) const KIND: KindOfStage = KindOfStage {
    word: "midi-cable",
    keys: Keys {
        what: "a midi-cable stage",
        about: "a serial line, one queue for all who name it, on paths or in `out`, not in both",
        rows: &[
            Row::or(
                "running-status",
                Takes::YesNo,
                "false",
                "whether a note whose status byte equals the last one is sent without it",
            ),
            // About what senders leave (midi.teragonaudio.com/tech/midispec/seq.htm, which explains MIDI 1.0; second-hand).
            Row::or(
                "start-lead",
                Takes::Quantity(&TIME),
                "1 ms",
                "from the end of a start or a continue to the first clock byte after it, at least",
            ),
            Row::or("song-position", Takes::YesNo, "false", "whether a song position goes before a continue"),
            Row::free(
                "order",
                Takes::Names("sequencer, output or stage"),
                "the order of the file",
                "who is sent first of one instant: names of sequencers, outputs or stages",
            ),
            Row::or(
                "note-offs",
                Takes::Words(&["none", "as-note-on", "own"]),
                "none",
                "whether note-offs travel too, as note-ons of velocity 0 or with a status of their own",
            ),
        ],
        rules: &[],
    },
    carries: Carries::Both,
    formula: "320 µs a byte, three bytes a note, two with running status; acts at the last byte's end",
    source: "IEC 63035:2017, 4.1; MIDI 1.0, real-time messages (second-hand)",
    made,
};

impl Facts for MidiCable {
    fn is_late(&self) -> bool {
        true
    }
}

fn made(given: &mut dyn Given) -> Result<StageKind, Told> {
    let running_status = there(given.yes_or_no("running-status"));
    let note_offs = there(given.word("note-offs"));
    let start_lead = there(given.time("start-lead"));
    let song_position = there(given.yes_or_no("song-position"));
    let order = given.names("order");
    Ok(StageKind::MidiCable(MidiCable {
        running_status: running_status?,
        note_offs: match note_offs? {
            "as-note-on" => NoteOffs::AsNoteOn,
            "own" => NoteOffs::Own,
            _ => NoteOffs::None,
        },
        start_lead: start_lead?,
        song_position: song_position?,
        order: order?.unwrap_or_default(),
    }))
}
