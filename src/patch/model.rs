//! What a checked patch holds: plain data, every name resolved to an index, every quantity in its own unit.

use crate::time::{Beat, ExactPs, Span, Tempo};
use num_rational::Ratio;

/// A part of a whole (of a period, mostly), exact: 1/100 is 1 %.
pub type Share = Ratio<i128>;

/// One variant of a patch, checked: all that the simulation and the renderer need to know.
#[derive(Clone, Debug, PartialEq)]
pub struct Rig {
    /// Where the patch ends, in beats. Pulses meant for this beat or later are not sent.
    pub end: Beat,
    /// The clock's outputs, in the order of the file.
    pub outputs: Vec<Output>,
    /// The stages, in the order of the file.
    pub stages: Vec<Stage>,
    /// The sequencers, in the order of the file.
    pub sequencers: Vec<Sequencer>,
    /// The voices that some sequencer plays: those of the file in its order, then those of the built-in kit.
    pub voices: Vec<Voice>,
    /// The output whose pulses are the ones; `None` where only the start is.
    pub one: Option<usize>,
}

/// A named output of the clock.
#[derive(Clone, Debug, PartialEq)]
pub struct Output {
    /// Its name in the patch.
    pub name: String,
    /// When it pulses.
    pub timing: Timing,
    /// How long each pulse stays high.
    pub width: Width,
    /// A time added to every rise; later is positive.
    pub shift: ExactPs,
}

/// When an output pulses.
#[derive(Clone, Debug, PartialEq)]
pub enum Timing {
    /// Again and again.
    Rate {
        /// The period in beats: `M/N` for `N per M beats`.
        period: Beat,
        /// Share of the period added to every rise, taken round into −1/2 (not included) to 1/2.
        phase: Share,
        /// Where in a pair of periods the odd pulse is meant to be: 1/2 is straight.
        swing: Share,
    },
    /// Once, when the clock starts.
    Start,
}

/// How long a pulse stays high.
#[derive(Clone, Debug, PartialEq)]
pub enum Width {
    /// A time, positive.
    Time(ExactPs),
    /// A share of the period, above 0 and below 1.
    Share(Share),
    /// The shorter of 5 ms and half the period; 5 ms for a start output.
    Default,
}

/// A device between an output and an input.
#[derive(Clone, Debug, PartialEq)]
pub struct Stage {
    /// Its name in the patch.
    pub name: String,
    /// What it does.
    pub kind: StageKind,
}

/// What a stage does to the pulses that pass.
#[derive(Clone, Debug, PartialEq)]
pub enum StageKind {
    /// Adds one time to rises and falls.
    Delay {
        /// Never negative.
        delay: Span,
    },
}

/// The way that pulses take to an input: an output, then stages in order.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct Path {
    /// Index into [`Rig::outputs`].
    pub output: usize,
    /// Indices into [`Rig::stages`].
    pub stages: Vec<usize>,
}

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
    /// Index into [`Rig::voices`].
    pub voice: usize,
    /// From the event that causes a hit to the hit.
    pub latency: Span,
    /// The step, from 1, that the first pulse plays. 1 is the armed start.
    pub power_up_step: usize,
    /// A clock rise that comes this long or longer after the last one (or after power-up) plays step 1.
    pub idle_reset: Option<Span>,
    /// Polymetre declared: for this sequencer only the start counts as a one.
    pub own_one: bool,
}

/// A reset input and how it is read.
#[derive(Clone, Debug, PartialEq)]
pub struct Reset {
    /// The way to it.
    pub path: Path,
    /// What a rise does.
    pub mode: ResetMode,
}

/// What a sequencer does on a reset rise.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum ResetMode {
    /// The clock pulse that is high is step 1; where none is, the next one is.
    ThisClock,
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
    /// Nothing.
    Ignored,
}

/// Which of two edges at one instant is read first.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum OnTie {
    /// The clock: it plays an ordinary step, and the reset acts on the next.
    ClockFirst,
    /// The reset.
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

/// A voice as the patch has it: a model and the values of its parameters.
#[derive(Clone, Debug, PartialEq)]
pub struct Voice {
    /// Its name in the patch or in the built-in kit.
    pub name: String,
    /// How it sounds.
    pub settings: crate::voice::Settings,
    /// Its level in the mix, in decibels on top of the model's own.
    pub level_db: f64,
    /// From −1 (left) to 1 (right).
    pub pan: f64,
    /// Whether every hit has the same noise or each its own.
    pub noise: Noise,
}

/// Where the noise of a hit comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Noise {
    /// Every hit of a voice has the same noise, drawn by seed and voice name.
    Same,
    /// Each hit has its own, drawn by seed, sequencer and due beat.
    Fresh,
}

/// Beats and their unit in a bar.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Meter {
    /// The upper number.
    pub count: u32,
    /// The lower number, a power of two.
    pub unit: u32,
}

impl Meter {
    /// The length of a bar in quarter notes.
    #[must_use]
    pub fn bar(self) -> Beat {
        Beat::new(i128::from(self.count) * 4, i128::from(self.unit))
    }
}

/// A named variant, ready to be simulated.
#[derive(Clone, Debug, PartialEq)]
pub struct Variant {
    /// `original`, a fix, or several joined by `+`.
    pub name: String,
    /// What the fix says of itself.
    pub about: Option<String>,
    /// The patch with the changes made.
    pub rig: Rig,
}

/// A checked patch file.
#[derive(Clone, Debug)]
pub struct Patch {
    /// One line for people.
    pub title: Option<String>,
    /// A few lines for people.
    pub note: Option<String>,
    /// The tempos to look at: those asked for, or those of the file. No two are equal; the order is kept.
    pub tempos: Vec<Tempo>,
    /// Bars and beats.
    pub meter: Meter,
    /// The largest gap that is still acceptable.
    pub max_gap: Span,
    /// The patch without any fix.
    pub original: Variant,
    /// Each fix alone, in the order of the file.
    pub fixes: Vec<Variant>,
    /// What is right and has no effect; to be told, and nothing else.
    pub warnings: super::Faults,
    /// What was read, for joining fixes.
    pub(super) document: std::sync::Arc<super::parse::Document>,
}
