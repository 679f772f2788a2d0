use super::Path;
use crate::time::Span;

/// A box that steps through a pattern.
#[derive(Clone, Debug, PartialEq)]
pub struct Sequencer {
    /// Its name in the patch.
    pub name: String,
    /// The way to its clock input.
    pub clock: Path,
    /// The way to its reset input, and how it reads what comes.
    pub reset: Option<Reset>,
    /// What each step plays; never empty.
    pub steps: Vec<Step>,
    /// Index into [`Rig::voices`](super::Rig::voices).
    pub voice: usize,
    /// How many pulses of its clock make a step; at least 1.
    pub pulses_per_step: u32,
    /// Whether a reset also begins the count of pulses within the step anew.
    pub reset_clears_count: bool,
    /// Which edge of its clock it counts.
    pub clock_edge: EdgeKind,
    /// Which edge of its reset it obeys.
    pub reset_edge: EdgeKind,
    /// From the first edge it waits this long, then handles all edges that came, a reset first. 0 for at once.
    pub gathers: Span,
    /// Whether a step that a reset plays sounds while the clock is stopped.
    pub sounds_on_reset: bool,
    /// Shorter pulses are not seen by its inputs; 0 for none.
    pub min_high: Span,
    /// Shorter gaps between pulses are not seen by its inputs; 0 for none.
    pub min_low: Span,
    /// The loop that looks at both its inputs: an index into [`Rig::stages`](super::Rig::stages), of a [`StageKind::Poll`](super::StageKind::Poll).
    pub poll: Option<usize>,
    /// What lies between it and the ear: indices into [`Rig::stages`](super::Rig::stages), in order.
    pub out: Vec<usize>,
    /// A nudge of every hit; later is positive.
    pub offset: Span,
    /// From the event that causes a hit to the hit.
    pub latency: Span,
    /// The step, from 1, that the first pulse plays. 1 is the armed start.
    pub power_up_step: usize,
    /// A clock rise that comes this long or longer after the last one (or after power-up) plays step 1.
    pub idle_reset: Option<Span>,
    /// Polymetre declared: for this sequencer only the start counts as a one.
    pub own_one: bool,
}

impl Sequencer {
    /// A sequencer of which nothing is said but this: no reset, and everything else as it is by default.
    #[must_use]
    pub fn new(name: &str, clock: Path, steps: Vec<Step>, voice: usize) -> Self {
        Self {
            name: name.to_owned(),
            clock,
            reset: None,
            steps,
            voice,
            pulses_per_step: 1,
            reset_clears_count: true,
            clock_edge: EdgeKind::Rise,
            reset_edge: EdgeKind::Rise,
            gathers: Span::ZERO,
            sounds_on_reset: true,
            min_high: Span::ZERO,
            min_low: Span::ZERO,
            poll: None,
            out: Vec::new(),
            offset: Span::ZERO,
            latency: Span::ZERO,
            power_up_step: 1,
            idle_reset: None,
            own_one: false,
        }
    }
}

/// Which of the two changes of a level.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum EdgeKind {
    /// From low to high.
    Rise,
    /// From high to low.
    Fall,
}

/// A reset input and how it is read.
#[derive(Clone, Debug, PartialEq)]
pub struct Reset {
    /// The way to it.
    pub path: Path,
    /// What the edge that it obeys does.
    pub mode: ResetMode,
}

/// What a sequencer does on a rise of its reset, or on a fall if it obeys that edge.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum ResetMode {
    /// The clock pulse that is high is step 1; where none is, the next one is.
    ThisClock {
        /// The firmware does not look whether the clock is high: for this long after its rise a pulse counts as the one
        /// that the reset means.
        grace: Option<Span>,
    },
    /// The next clock rise that comes late enough after the reset plays step 1.
    NextClock {
        /// The least time from reset rise to clock rise.
        setup_time: Span,
        /// Which of the two is read first at one instant.
        on_tie: OnTie,
    },
    /// Step 1 plays at once.
    Immediate {
        /// For this long after a reset, clock rises are ignored.
        holdoff: Span,
    },
    /// Step 1 plays at once; clock rises while the reset is high are ignored, and the next plays step 2.
    Held,
    /// The reset is looked at whenever the clock rises: high, it plays step 1, again and again while it stays high. One
    /// that has ended before is lost.
    Sampled {
        /// The least time that it must have been high.
        setup_time: Span,
    },
    /// Nothing.
    Ignored,
}

/// Which of two edges at one instant is read first.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum OnTie {
    /// The clock: it plays an ordinary step, and the reset acts on the next.
    ClockFirst,
    /// The reset: the clock then plays step 1.
    ResetFirst,
}

/// What one step of a pattern plays.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Step {
    /// Nothing.
    Rest,
    /// `x`, velocity 100.
    Hit,
    /// `X`, velocity 127.
    Accent,
}

impl Step {
    /// The velocity of the hit, or `None` for a rest.
    #[must_use]
    pub const fn velocity(self) -> Option<u8> {
        match self {
            Self::Rest => None,
            Self::Hit => Some(100),
            Self::Accent => Some(127),
        }
    }
}
