//! A serial line of 31,250 bits a second that all who name it share.
//!
//! A byte is a start bit, eight bits and a stop bit: 320 µs exactly. A note is three bytes; with running status the first
//! of them is left out when it equals the last that was sent. What arrives acts when its last byte has ended. One byte is
//! on the line at a time, and none is broken off: what comes meanwhile waits. So hits that are one on paper are a run on
//! the line.
//!
//! Whenever the line is free, what goes next is decided from all that has come by then, that instant included. Transport
//! (start, stop, continue, song position) goes first, then a clock's pulses, between the bytes of a message if need be,
//! then the message under way, then the next note. A start is sent before the clock byte that it belongs to, and the first
//! clock after it is the one; so no clock byte goes until a pause has passed since the start. Of one kind what came first
//! goes first, of one instant what the cable's `order` names first, then in the order of the ports.
//!
//! Who listens at the far end knows what the bytes say and no more. A note that is ended by a note-off lasts until that
//! has come; where none are sent, and for pulses of a clock, the listener makes a pulse of its own, here of half a byte
//! (160 µs), which is over before another byte can have come.
//!
//! Sources: IEC 63035:2017 §4.1 (31.25 kBd, ten bits a byte). MIDI 1.0: a continue's sequence goes on "at the time of the
//! next clock" (table 5, note 5: hensing.home.xs4all.nl/midi_specs/tabel5.html, seen), and a start's begins with the first
//! clock after it, about 1 ms later (midi.teragonaudio.com/tech/midispec/seq.htm, second-hand). Real-time bytes may
//! come between any two bytes of another message (homerecording.com/bbs/threads/midi-event-and-message-database.167320) and
//! leave the running status alone, which a common message such as a song position ends (MIDI 1.0 Detailed Specification 4.2,
//! page A-2, as open parsers of MIDI quote it).

use super::serial_line::{BYTE, Message, MessageKind, Received, Sent, SerialLine};
use super::{Out, Stage};
use crate::patch::{self, NoteOffs, StageKind};
use crate::rig::Edge;
use crate::time::{Instant, Span};

/// How long the pulse of a listener is that is not told when it ends.
const PULSE: Span = Span(BYTE.0 / 2);

const NOTE_ON: u8 = 0x90;
const NOTE_OFF: u8 = 0x80;

/// What the edges at a port are on the line.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Carries {
    /// A rise is a note-on, a fall a note-off if any are sent.
    Notes,
    /// A rise is one clock byte, a fall nothing: a clock's pulses.
    Pulses,
    /// A rise is a start byte, a fall nothing.
    Starts,
    /// A rise is a stop byte, a fall nothing.
    Stops,
    /// A rise is a start byte (or a continue where the clock goes on from where it stood) and a fall a stop byte. Who
    /// listens takes a start for a rise; on a continue nobody goes back to the one.
    Level,
}

/// Where what comes to a port stems from: its name from each instant on, in order of time.
pub(in crate::rig) type Names = Vec<(Instant, String)>;

/// The stage at work.
#[derive(Debug)]
pub struct MidiCable {
    line: SerialLine,
    ports: Vec<Carries>,
    names: Vec<Names>,
    settings: patch::MidiCable,
    /// Which of the pulses of a level are continues.
    continues: Vec<i64>,
    /// For each port, how the note ends that began last.
    ends: Vec<NoteOffs>,
    /// What has come at this instant.
    fresh: Vec<Message>,
    /// When it has asked to be woken last.
    asked: Option<Instant>,
}

impl MidiCable {
    /// A cable with a port (and an output channel of the same number) for each who names it, in the order of the file.
    #[must_use]
    pub fn new(settings: &patch::MidiCable, ports: &[Carries]) -> Self {
        Self {
            continues: Vec::new(),
            line: SerialLine::new(settings.running_status, settings.start_lead),
            ports: ports.to_vec(),
            names: vec![Names::new(); ports.len()],
            settings: settings.clone(),
            ends: vec![settings.note_offs; ports.len()],
            fresh: Vec::new(),
            asked: None,
        }
    }

    /// A cable on which these pulses of a level say that the clock goes on.
    #[must_use]
    pub fn with_continues(self, numbers: Vec<i64>) -> Self {
        Self { continues: numbers, ..self }
    }

    /// A cable of which it is known who stands at each port, for the order of one instant.
    #[must_use]
    pub(in crate::rig) fn with_names(self, names: Vec<Names>) -> Self {
        Self { names, ..self }
    }

    /// What an edge at a port is on the line.
    fn messages(&mut self, port: usize, cause: Edge) -> [Option<Message>; 2] {
        let message = |kind, heard| Some(Message { kind, port, cause, heard });
        match (self.ports[port], cause.rise) {
            (Carries::Notes, rise) => {
                if rise {
                    self.ends[port] = self.settings.note_offs;
                }
                // A note ends as it was to end when it began.
                let ends = self.ends[port];
                let heard = if ends == NoteOffs::None { Received::Pulse } else { Received::Edge };
                [status_of(rise, ends).and_then(|status| message(MessageKind::Note(status), heard)), None]
            }
            (Carries::Pulses, true) => [message(MessageKind::Clock, Received::Pulse), None],
            (Carries::Starts, true) => [message(MessageKind::Go, Received::Pulse), None],
            (Carries::Stops, true) => [message(MessageKind::Stop, Received::Pulse), None],
            (Carries::Pulses | Carries::Starts | Carries::Stops, false) => [None, None],
            (Carries::Level, true) if self.continues.contains(&cause.number) => {
                let position =
                    message(MessageKind::Position, Received::Nothing).filter(|_| self.settings.song_position);
                [position, message(MessageKind::Go, Received::Nothing)]
            }
            (Carries::Level, true) => [message(MessageKind::Go, Received::Edge), None],
            (Carries::Level, false) => [message(MessageKind::Stop, Received::Edge), None],
        }
    }

    /// Brings to the line what has come at this instant, in its order.
    fn bring(&mut self, at: Instant) {
        let mut fresh = std::mem::take(&mut self.fresh);
        if fresh.len() > 1 && !self.settings.order.is_empty() {
            let place = |message: &Message| {
                let name = self.names[message.port].iter().rev().find(|(from, _)| *from <= at);
                let place = name.and_then(|(_, name)| self.settings.order.iter().position(|named| named == name));
                place.unwrap_or(usize::MAX)
            };
            fresh.sort_by_key(place);
        }
        fresh.drain(..).for_each(|message| self.line.bring(at, message));
        self.fresh = fresh;
    }
}

/// The status byte of a note's beginning or end; `None` if nothing is sent. All notes share one channel of the sixteen.
fn status_of(begins: bool, note_offs: NoteOffs) -> Option<u8> {
    match (begins, note_offs) {
        (true, _) | (false, NoteOffs::AsNoteOn) => Some(NOTE_ON),
        (false, NoteOffs::Own) => Some(NOTE_OFF),
        (false, NoteOffs::None) => None,
    }
}

impl Stage for MidiCable {
    fn edge(&mut self, port: usize, edge: Edge, out: &mut Out) {
        let messages = self.messages(port, edge);
        self.fresh.extend(messages.into_iter().flatten());
        // What goes is decided when all of this instant have come.
        out.wake(edge.at);
    }

    fn wake(&mut self, at: Instant, out: &mut Out) {
        self.bring(at);
        if let Some(Sent { message, ends, last: true }) = self.line.attend(at) {
            let heard = Edge { at: ends, ..message.cause };
            match message.heard {
                Received::Nothing => {}
                Received::Edge => out.send(message.port, heard),
                Received::Pulse => {
                    out.send(message.port, heard);
                    out.send(message.port, Edge { at: ends + PULSE, rise: false, number: heard.number });
                }
            }
        }
        // A wake that has been overtaken meanwhile finds nothing to do.
        let due = self.line.due();
        if let Some(due) = due.filter(|_| due != self.asked) {
            out.wake(due);
            self.asked = Some(due);
        }
    }

    /// What waits goes as it was meant.
    fn turn(&mut self, kind: &StageKind, _at: Instant, _out: &mut Out) {
        if let StageKind::MidiCable(settings) = kind {
            self.line.set(settings.running_status, settings.start_lead);
            self.settings = settings.clone();
        }
    }

    fn settled(&mut self, inputs: &[bool]) -> Vec<bool> {
        let told = |carries: &Carries| match carries {
            Carries::Notes => self.settings.note_offs != NoteOffs::None,
            Carries::Pulses | Carries::Starts | Carries::Stops => false,
            Carries::Level => true,
        };
        inputs.iter().zip(&self.ports).map(|(high, carries)| *high && told(carries)).collect()
    }

    fn is_late(&self) -> bool {
        true
    }
}

/// A note that goes down a cable after its sequencer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Note {
    /// When it is sent; then, when it acts.
    pub at: Instant,
    /// When it ends, if it is told; then, when that acts.
    pub ends: Option<Instant>,
    /// Who sends it: of one instant, lower ones go first.
    pub port: usize,
}

/// Sends all notes of all who name a cable down that cable: each is moved to the instant at which it acts.
///
/// They may come in any order. Of one instant they go by port, ends before beginnings, then as they are given. A cable
/// that also carries pulses to an input must be one [`MidiCable`] for both.
pub fn send_notes(settings: &patch::MidiCable, notes: &mut [Note]) {
    send_notes_through(|_| settings, notes);
}

/// Sends all notes down a cable that is set anew in the course of the piece: `settings` says what it is set to at a moment.
pub(in crate::rig) fn send_notes_through<'s>(settings: impl Fn(Instant) -> &'s patch::MidiCable, notes: &mut [Note]) {
    let mut sent: Vec<(Instant, usize, bool, usize, Option<u8>)> = Vec::with_capacity(2 * notes.len());
    for (n, note) in notes.iter().enumerate() {
        let offs = settings(note.at).note_offs;
        sent.push((note.at, note.port, true, n, status_of(true, offs)));
        sent.extend(note.ends.map(|ends| (ends, note.port, false, n, status_of(false, offs))));
    }
    sent.sort_unstable();
    let mut line = SerialLine::new(false, Span::ZERO);
    let mut attend = |line: &mut SerialLine, at: Instant| {
        line.set(settings(at).running_status, Span::ZERO);
        let Some(Sent { message, ends, last: true }) = line.attend(at) else { return };
        let note = &mut notes[message.port];
        if message.cause.rise {
            note.at = ends;
        } else {
            note.ends = Some(ends);
        }
    };
    for (at, _, rise, n, status) in sent {
        while let Some(due) = line.due().filter(|due| *due < at) {
            attend(&mut line, due);
        }
        if let Some(status) = status {
            let cause = Edge { at, rise, number: 0 };
            line.bring(at, Message { kind: MessageKind::Note(status), port: n, cause, heard: Received::Edge });
        }
    }
    while let Some(due) = line.due() {
        attend(&mut line, due);
    }
}

#[cfg(test)]
mod tests;
