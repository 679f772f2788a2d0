//! A serial line of bytes: who goes next, and when. Used as a stage and after the fact, and tested there.

use crate::time::{Instant, Span};
use std::collections::VecDeque;

/// Ten bits at 31,250 a second (IEC 63035:2017 §4.1).
pub(super) const BYTE: Span = Span(320_000_000);

/// A line and what waits for it.
#[derive(Debug)]
pub(super) struct Line {
    running: bool,
    /// The last status byte that was sent.
    status: Option<u8>,
    waiting: VecDeque<Message>,
    under_way: Option<UnderWay>,
    /// When the last real-time byte ends that has come so far.
    real_time_ends: Instant,
}

/// The beginning or the end of a note.
#[derive(Clone, Copy, Debug)]
pub(super) struct Message {
    /// Whose it is; means nothing to the line.
    pub(super) port: usize,
    /// Whether it begins.
    pub(super) rise: bool,
    /// Of the pulse that it stems from.
    pub(super) number: i64,
    /// Its status byte.
    pub(super) status: u8,
}

#[derive(Clone, Copy, Debug)]
struct UnderWay {
    message: Message,
    begins: Instant,
    ends: Instant,
}

impl Line {
    /// An idle line that has sent nothing yet.
    pub(super) fn new(running: bool) -> Self {
        let (waiting, real_time_ends) = (VecDeque::new(), Instant(i64::MIN));
        Self { running, status: None, waiting, under_way: None, real_time_ends }
    }

    /// A message wants to go.
    pub(super) fn queue(&mut self, at: Instant, message: Message) {
        self.waiting.push_back(message);
        self.begin(at);
    }

    /// Begins the next message, if the line is free.
    fn begin(&mut self, at: Instant) {
        if self.under_way.is_some() || self.real_time_ends > at {
            return;
        }
        let Some(message) = self.waiting.pop_front() else { return };
        let bytes = if self.running && self.status == Some(message.status) { 2 } else { 3 };
        self.status = Some(message.status);
        self.under_way = Some(UnderWay { message, begins: at, ends: at + Span(bytes * BYTE.0) });
    }

    /// Sends a real-time byte as soon as may be; says when it has ended.
    pub(super) fn real_time(&mut self, at: Instant) -> Instant {
        let mut begins = at.max(self.real_time_ends);
        if let Some(message) = &mut self.under_way {
            // The next boundary of bytes after the message's first: all that has been sent since lies on its grid.
            let past = (begins - message.begins).0;
            let bytes = (past + BYTE.0 - 1).div_euclid(BYTE.0).max(1);
            begins = message.begins + Span(bytes * BYTE.0);
            if begins < message.ends {
                message.ends = message.ends + BYTE;
            }
        }
        self.real_time_ends = begins + BYTE;
        self.real_time_ends
    }

    /// When something happens on the line by itself.
    pub(super) fn due(&self) -> Option<Instant> {
        match self.under_way {
            Some(message) => Some(message.ends),
            None if self.waiting.is_empty() => None,
            None => Some(self.real_time_ends),
        }
    }

    /// The message whose last byte ends now.
    pub(super) fn ends(&self, at: Instant) -> Option<Message> {
        self.under_way.filter(|message| message.ends == at).map(|message| message.message)
    }

    /// Ends the message whose last byte ends now, and begins the next.
    pub(super) fn attend(&mut self, at: Instant) -> Option<Message> {
        let done = self.ends(at);
        self.under_way.take_if(|message| message.ends == at);
        self.begin(at);
        done
    }
}
