use super::bank::Bank;
use super::cue::{Cue, SamplePosition};
use super::cues::Cues;
use super::error::RenderError;
use super::notes::{self, Info, Mark};
use super::wav::{self, Spec};
use crate::time::{Instant, PS_PER_SECOND, Span};
use std::fmt;
use std::ops::{Range, RangeInclusive};
use std::sync::atomic::{AtomicBool, Ordering};

/// Silence before the clock's start, unless another is asked for.
pub const LEAD_IN: Span = Span::from_ms(100);

/// The caller's view of a running render: told after each block, asked before each.
#[derive(Clone, Copy)]
pub struct Watch<'a> {
    /// Called with the frames of each block that is done, from any thread: a watch may go with several pieces of work.
    pub progress: &'a (dyn Fn(u64) + Sync),
    /// Set by the caller to stop the render.
    pub cancel: &'a AtomicBool,
}

impl Watch<'static> {
    /// Nobody looks on.
    #[must_use]
    pub fn nobody() -> Self {
        static NEVER: AtomicBool = AtomicBool::new(false);
        Self { progress: &|_| {}, cancel: &NEVER }
    }
}

impl Watch<'_> {
    pub(super) fn go_on(&self) -> Result<(), RenderError> {
        if self.cancel.load(Ordering::Relaxed) { Err(RenderError::Cancelled) } else { Ok(()) }
    }

    pub(super) fn done(&self, frames: u64) {
        (self.progress)(frames);
    }
}

/// What is to be rendered: hits, where the file begins, and how long it is.
pub struct Program<'a> {
    pub(super) bank: &'a Bank,
    pub(super) cues: Box<dyn Cues + 'a>,
    pub(super) lead_in: Span,
    frames: u64,
    /// Output samples, counted from a hit, in which any voice sounds that the program uses.
    pub(super) reach: (i64, i64),
    /// No hit is panned, so that both channels are one.
    pub(super) centred: bool,
    pub(super) marks: Vec<Mark>,
}

impl fmt::Debug for Program<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Program").field("frames", &self.frames).finish_non_exhaustive()
    }
}

impl<'a> Program<'a> {
    /// A render of `cues` that begins `lead_in` before the clock's start and lasts until `end`, or until the last
    /// sound has died away if that is later.
    ///
    /// Hits are summed in order of time, those of one instant in the order given.
    ///
    /// # Errors
    /// If a hit lies before the file's first sample, names a voice that is not there or has a gain that is no number.
    pub fn new(bank: &'a Bank, mut cues: Vec<Cue>, lead_in: Span, end: Instant) -> Result<Self, RenderError> {
        if !cues.is_sorted_by_key(|cue| cue.at) {
            cues.sort_by_key(|cue| cue.at);
        }
        Self::of(bank, Box::new(cues), lead_in, end)
    }

    /// A program of cues that need not be kept: for pieces of hours.
    ///
    /// # Errors
    /// As [`Program::new`], and if a cue comes after a later one.
    pub fn of(bank: &'a Bank, cues: Box<dyn Cues + 'a>, lead_in: Span, end: Instant) -> Result<Self, RenderError> {
        let rate = bank.sample_rate();
        let mut reach = (0, 0);
        let mut last = SamplePosition::new(Span(lead_in.0 + end.0), rate).next_frame();
        let (mut centred, mut before) = (true, Instant(i64::MIN));
        for cue in cues.all() {
            if (lead_in.0 + cue.at.0) < 0 {
                return Err(RenderError::BeforeStart { at: cue.at, lead_in });
            }
            if !(cue.left.is_finite() && cue.right.is_finite()) {
                return Err(RenderError::Gain { at: cue.at });
            }
            if cue.at < before {
                return Err(RenderError::Order { at: cue.at });
            }
            let voice = bank.voices().get(cue.voice as usize);
            let own = voice.ok_or(RenderError::NoVoice { found: cue.voice, count: bank.voices().len() })?.reach;
            reach = (own.0.min(reach.0), own.1.max(reach.1));
            last = last.max(SamplePosition::new(Span(lead_in.0 + cue.at.0), rate).frame + own.1);
            centred &= cue.left.to_bits() == cue.right.to_bits();
            before = cue.at;
        }
        // Even, so that a WAV data chunk of 24-bit mono has no odd length.
        let frames = last.unsigned_abs().next_multiple_of(2);
        Ok(Self { bank, cues, lead_in, frames, reach, centred, marks: Vec::new() })
    }

    /// Makes the render last at least so many frames: for a stem, as long as its mix.
    #[must_use]
    pub fn lasting(mut self, frames: u64) -> Self {
        self.frames = self.frames.max(frames.next_multiple_of(2));
        self
    }

    /// The same render with these places marked in its file; those past its end are left out.
    #[must_use]
    pub fn marked(mut self, marks: Vec<Mark>) -> Self {
        self.marks = marks;
        self.marks.retain(|mark| mark.frame < self.frames);
        self
    }

    /// The size of its file in bytes, whatever is said of it.
    ///
    /// # Errors
    /// If that is more than a WAV file can hold, 4 GiB.
    pub fn size(&self, spec: &Spec) -> Result<u64, RenderError> {
        let marks = notes::chunks(&self.marks, &Info::default()).len() as u64;
        wav::size_with(self.frames, spec, marks + Info::MOST_BYTES)
    }

    /// The frame that is nearest to a time from the clock's start; of two the later.
    #[must_use]
    pub fn frame(&self, at: Instant) -> u64 {
        let place = SamplePosition::new(Span(self.lead_in.0 + at.0), self.sample_rate());
        (place.frame + i64::from(2 * place.part >= SamplePosition::PARTS)).max(0).unsigned_abs()
    }

    /// Length of the render in frames; always even.
    #[must_use]
    pub fn frames(&self) -> u64 {
        self.frames
    }

    /// Sample rate in hertz.
    #[must_use]
    pub fn sample_rate(&self) -> u32 {
        self.bank.sample_rate()
    }

    /// The times, from the clock's start, at which a cue can lie that sounds within `frames`.
    pub(super) fn times(&self, frames: &Range<i64>) -> RangeInclusive<i128> {
        let time = |frame: i64| {
            let ps = i128::from(frame) * i128::from(PS_PER_SECOND) / i128::from(self.sample_rate());
            ps - i128::from(self.lead_in.0)
        };
        // A sample more on either side pays for the rounding of times.
        time(frames.start - self.reach.1 - 1)..=time(frames.end - self.reach.0 + 1)
    }

    /// Those of `cues`, which are in order, that can sound within `frames`, and perhaps a few more.
    pub(super) fn near<'c>(&self, cues: &'c [Cue], frames: &Range<i64>) -> &'c [Cue] {
        let times = self.times(frames);
        let from = cues.partition_point(|cue| i128::from(cue.at.0) < *times.start());
        let to = cues.partition_point(|cue| i128::from(cue.at.0) <= *times.end());
        &cues[from..to.max(from)]
    }

    /// The place of a hit in the file.
    pub(super) fn place(&self, cue: &Cue) -> SamplePosition {
        SamplePosition::new(Span(self.lead_in.0 + cue.at.0), self.sample_rate())
    }
}
