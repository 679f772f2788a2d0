//! A serial line of bytes: which goes next, and when. Used as a stage and after the fact, and tested there.

use crate::rig::Edge;
use crate::time::{Instant, Span};
use std::collections::VecDeque;

/// Ten bits at 31,250 a second (IEC 63035:2017 §4.1).
pub(super) const BYTE: Span = Span(320_000_000);

/// A serial line and the messages that wait for it.
#[derive(Debug)]
pub(super) struct SerialLine {
    running: bool,
    lead: Span,
    /// The last status byte that was sent, where the next note may do without it.
    status: Option<u8>,
    transport: VecDeque<Message>,
    clocks: VecDeque<Message>,
    notes: VecDeque<Message>,
    /// A message of several bytes, and how many of them are still to be sent.
    under_way: Option<(Message, u8)>,
    /// From when on the line is free.
    free: Instant,
    /// From when on clock bytes may go.
    held: Instant,
}

/// The kinds of message that a line carries.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum MessageKind {
    /// A start or a continue: the clock byte that belongs to it comes after a pause.
    Go,
    Stop,
    /// A song position: three bytes.
    Position,
    Clock,
    /// The beginning or the end of a note, with its status byte.
    Note(u8),
}

/// Something to send.
#[derive(Clone, Copy, Debug)]
pub(super) struct Message {
    pub(super) kind: MessageKind,
    /// Whose it is; means nothing to the line.
    pub(super) port: usize,
    /// Why it is sent.
    pub(super) cause: Edge,
    /// What is heard when its last byte has ended.
    pub(super) heard: Received,
}

/// What who listens makes of a message.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Received {
    Nothing,
    /// The edge that it was sent for.
    Edge,
    /// A pulse of its own, since no end will be told.
    Pulse,
}

/// A byte that has begun.
#[derive(Clone, Copy, Debug)]
pub(super) struct Sent {
    /// The message that it belongs to.
    pub(super) message: Message,
    /// When it ends; it is never broken off.
    pub(super) ends: Instant,
    /// Whether the message ends with it.
    pub(super) last: bool,
}

impl SerialLine {
    /// An idle line that has sent nothing yet.
    pub(super) fn new(running: bool, lead: Span) -> Self {
        Self {
            running,
            lead,
            status: None,
            transport: VecDeque::new(),
            clocks: VecDeque::new(),
            notes: VecDeque::new(),
            under_way: None,
            free: Instant(i64::MIN),
            held: Instant(i64::MIN),
        }
    }

    /// Sets whether notes share a status byte from now on, and by how much a start leads the clock.
    pub(super) fn set(&mut self, running: bool, lead: Span) {
        (self.running, self.lead) = (running, lead);
    }

    /// A message wants to go. All of one instant are brought before the line is asked what goes then.
    pub(super) fn bring(&mut self, at: Instant, message: Message) {
        self.free = self.free.max(at);
        match message.kind {
            MessageKind::Go | MessageKind::Stop | MessageKind::Position => &mut self.transport,
            MessageKind::Clock => &mut self.clocks,
            MessageKind::Note(_) => &mut self.notes,
        }
        .push_back(message);
    }

    /// The moment at which the next byte begins, as far as is known.
    pub(super) fn due(&self) -> Option<Instant> {
        if self.under_way.is_some() || !self.transport.is_empty() || !self.notes.is_empty() {
            Some(self.free)
        } else {
            self.clocks.front().map(|_| self.free.max(self.held))
        }
    }

    /// Begins the next byte, if the line is free and something may go.
    pub(super) fn attend(&mut self, at: Instant) -> Option<Sent> {
        if self.free > at {
            return None;
        }
        let ends = at + BYTE;
        let message = self.between(at);
        let sent = match message {
            Some(message) => Sent { message, ends, last: true },
            None => {
                let (message, left) = self.under_way.take().or_else(|| self.begin())?;
                self.under_way = (left > 1).then_some((message, left - 1));
                Sent { message, ends, last: left == 1 }
            }
        };
        self.free = ends;
        if sent.message.kind == MessageKind::Go {
            self.held = ends + self.lead;
        }
        Some(sent)
    }

    /// A message of one byte that may go now, between the bytes of another if need be.
    fn between(&mut self, at: Instant) -> Option<Message> {
        if self.under_way.is_some_and(|(message, _)| message.kind == MessageKind::Position) {
            return None;
        }
        match self.transport.front() {
            Some(message) if message.kind == MessageKind::Position => None,
            Some(_) => self.transport.pop_front(),
            None if self.held <= at => self.clocks.pop_front(),
            None => None,
        }
    }

    /// The next message of several bytes, and of how many.
    fn begin(&mut self) -> Option<(Message, u8)> {
        // What stands first here is a song position, or it would have gone between.
        if let Some(position) = self.transport.pop_front() {
            // A system common message ends the running status (MIDI 1.0 Detailed Specification 4.2, page A-2: the buffer is
            // "cleared when a System Exclusive or Common status message is received").
            self.status = None;
            return Some((position, 3));
        }
        let note = self.notes.pop_front()?;
        let MessageKind::Note(status) = note.kind else { return Some((note, 1)) };
        let known = self.running && self.status == Some(status);
        self.status = Some(status);
        Some((note, if known { 2 } else { 3 }))
    }
}
