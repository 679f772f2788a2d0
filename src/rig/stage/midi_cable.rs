//! A serial line of 31,250 bits a second that all who name it share.
//!
//! A byte is a start bit, eight bits and a stop bit: 320 µs exactly. A note is three bytes; with running status the first
//! of them is left out when it equals the last that was sent. What arrives acts when its last byte has ended. One byte is
//! on the line at a time: what comes meanwhile waits in the order in which it came, messages of one instant in the order
//! of the ports. So hits that are one on paper are a run on the line.
//!
//! Real-time bytes (a clock's pulse, start, stop) go before all that waits, between the bytes of a message if need be,
//! and make that message 320 µs later; a byte that is under way is never broken off, and they leave the running status
//! as it is.
//!
//! Who listens at the far end knows what the bytes say and no more. A note that is ended by a note-off lasts until that
//! has come; where none are sent, and for pulses of a clock, the listener makes a pulse of its own, here of half a byte
//! (160 µs), which is over before another byte can have come.
//!
//! Source: IEC 63035:2017 §4.1 (31.25 kBd, ten bits a byte). Priority of real-time bytes and running status: MIDI 1.0,
//! from memory.

use super::serial_line::{BYTE, Line, Message};
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
    /// A rise is one real-time byte, a fall nothing: a clock's pulses.
    Pulses,
    /// A rise is one real-time byte (start, or continue where the clock goes on from where it stood) and a fall another
    /// (stop). Who listens takes a start for a rise; on a continue nobody goes back to the one.
    Level,
}

/// The stage at work.
#[derive(Debug)]
pub struct MidiCable {
    line: Line,
    ports: Vec<Carries>,
    note_offs: NoteOffs,
    /// Which of the pulses of a level are continues.
    continues: Vec<i64>,
    /// For each port, how the note ends that began last.
    ends: Vec<NoteOffs>,
}

impl MidiCable {
    /// A cable with a port (and an output channel of the same number) for each who names it, in the order in which
    /// messages of one instant are sent.
    #[must_use]
    pub fn new(settings: &patch::MidiCable, ports: &[Carries]) -> Self {
        Self {
            continues: Vec::new(),
            line: Line::new(settings.running_status),
            ports: ports.to_vec(),
            note_offs: settings.note_offs,
            ends: vec![settings.note_offs; ports.len()],
        }
    }

    /// The same cable where these pulses of a level say that the clock goes on.
    #[must_use]
    pub fn with_continues(self, numbers: Vec<i64>) -> Self {
        Self { continues: numbers, ..self }
    }

    fn queue(&mut self, port: usize, edge: Edge) {
        if edge.rise {
            self.ends[port] = self.note_offs;
        }
        // A note ends as it was to end when it began.
        let ends = self.ends[port];
        let Some(status) = status_of(edge.rise, ends) else { return };
        let told = ends != NoteOffs::None;
        self.line.queue(edge.at, Message { port, rise: edge.rise, number: edge.number, status, told });
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

/// A pulse of which only the rise has come.
fn send_pulse(port: usize, rise: Edge, out: &mut Out) {
    out.send(port, rise);
    out.send(port, Edge { at: rise.at + PULSE, rise: false, number: rise.number });
}

impl Stage for MidiCable {
    fn edge(&mut self, port: usize, edge: Edge, out: &mut Out) {
        let asked = self.line.due();
        match (self.ports[port], edge.rise) {
            (Carries::Notes, _) => self.queue(port, edge),
            (Carries::Pulses, true) => send_pulse(port, Edge { at: self.line.real_time(edge.at), ..edge }, out),
            (Carries::Pulses, false) => {}
            (Carries::Level, rise) if rise && self.continues.contains(&edge.number) => {
                self.line.real_time(edge.at);
            }
            (Carries::Level, _) => out.send(port, Edge { at: self.line.real_time(edge.at), ..edge }),
        }
        if let Some(at) = self.line.due().filter(|_| self.line.due() != asked) {
            out.wake(at);
        }
    }

    /// Nothing that comes while the last byte ends puts it off.
    fn ripe(&mut self, at: Instant, out: &mut Out) {
        // A wake for an end that has been put off meanwhile finds nothing to do.
        if let Some(done) = self.line.ends(at) {
            let edge = Edge { at, rise: done.rise, number: done.number };
            if done.told {
                out.send(done.port, edge);
            } else {
                send_pulse(done.port, edge, out);
            }
        }
    }

    fn wake(&mut self, at: Instant, out: &mut Out) {
        let asked = self.line.due();
        self.line.attend(at);
        if let Some(at) = self.line.due().filter(|_| self.line.due() != asked) {
            out.wake(at);
        }
    }

    /// What waits goes as it was meant; `order` matters only to hits.
    fn turn(&mut self, kind: &StageKind, _at: Instant, _out: &mut Out) {
        if let StageKind::MidiCable(settings) = kind {
            self.line.run(settings.running_status);
            self.note_offs = settings.note_offs;
        }
    }

    fn settled(&mut self, inputs: &[bool]) -> Vec<bool> {
        let told = |carries: &Carries| match carries {
            Carries::Notes => self.note_offs != NoteOffs::None,
            Carries::Pulses => false,
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

/// The same down a cable that is set anew in the course of the piece: what it is set to at a moment.
pub(in crate::rig) fn send_notes_through<'s>(settings: impl Fn(Instant) -> &'s patch::MidiCable, notes: &mut [Note]) {
    let mut sent: Vec<(Instant, usize, bool, usize, Option<u8>)> = Vec::with_capacity(2 * notes.len());
    for (n, note) in notes.iter().enumerate() {
        let offs = settings(note.at).note_offs;
        sent.push((note.at, note.port, true, n, status_of(true, offs)));
        sent.extend(note.ends.map(|ends| (ends, note.port, false, n, status_of(false, offs))));
    }
    sent.sort_unstable();
    let mut line = Line::new(settings(Instant(i64::MIN)).running_status);
    let mut act = |message: Message, at| {
        let note = &mut notes[message.port];
        if message.rise {
            note.at = at;
        } else {
            note.ends = Some(at);
        }
    };
    for (at, _, rise, n, status) in sent {
        while let Some(due) = line.due().filter(|due| *due <= at) {
            if let Some(done) = line.attend(due) {
                act(done, due);
            }
        }
        line.run(settings(at).running_status);
        if let Some(status) = status {
            line.queue(at, Message { port: n, rise, number: 0, status, told: true });
        }
    }
    while let Some(due) = line.due() {
        if let Some(done) = line.attend(due) {
            act(done, due);
        }
    }
}

#[cfg(test)]
mod tests;
