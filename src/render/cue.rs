use crate::time::{Instant, PS_PER_SECOND, Span};

/// Which sound a hit has.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Source {
    /// A voice of the bank, by its number.
    Kept(u32),
    /// A sound of its own, by the number under which [`Takes`](super::Takes) makes it.
    Fresh(u32),
}

/// One hit of a render.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cue {
    /// When it sounds, from the clock's start.
    pub at: Instant,
    /// What sounds.
    pub source: Source,
    /// Factor on the left channel, pan, level and velocity included. A mono render has this one only.
    pub left: f32,
    /// Factor on the right channel.
    pub right: f32,
}

impl Cue {
    /// A hit from the centre, both channels at one factor.
    #[must_use]
    pub fn centred(at: Instant, source: Source, gain: f32) -> Self {
        Self { at, source, left: gain, right: gain }
    }
}

/// Where a hit falls among the samples, exactly: `frame + part / 10¹²`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Place {
    pub(super) frame: i64,
    pub(super) part: u64,
}

impl Place {
    /// What `part` counts: a time is whole picoseconds and a rate whole hertz, so this is always exact.
    pub(super) const PARTS: u64 = PS_PER_SECOND as u64;

    /// The place of a time from the file's first sample, at a rate in hertz.
    pub(super) fn new(at: Span, rate: u32) -> Self {
        // In two halves, so that 64 bits hold everything: a second of picoseconds times the rate stays below 4·10¹⁷.
        let (seconds, rest) = (at.0.div_euclid(PS_PER_SECOND), at.0.rem_euclid(PS_PER_SECOND));
        let parts = rest.unsigned_abs() * u64::from(rate);
        let frame = seconds * i64::from(rate) + (parts / Self::PARTS) as i64;
        Self { frame, part: parts % Self::PARTS }
    }

    /// The first frame that is not before this place.
    pub(super) fn next_frame(self) -> i64 {
        self.frame + i64::from(self.part > 0)
    }
}
