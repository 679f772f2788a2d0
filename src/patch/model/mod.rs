//! What a checked patch holds: plain data, every name resolved to an index, every quantity in its own unit.

use crate::time::{Beat, Clockwork, ExactPs, Span, Tempo};
use num_rational::Ratio;

mod course;
mod stage;
mod take;

pub use course::*;
pub use stage::*;
pub use take::*;

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
    /// The shared points, in the order of the file.
    pub wires: Vec<Wire>,
    /// The sequencers, in the order of the file.
    pub sequencers: Vec<Sequencer>,
    /// The takes from files, in the order of the file; they count on from the sequencers.
    pub takes: Vec<Take>,
    /// The voices that some sequencer or take plays: those of the file in its order, then those of the built-in kit.
    pub voices: Vec<Voice>,
    /// The output whose pulses are the ones; `None` where only the start is.
    pub one: Option<usize>,
    /// How the clock jitters and wanders by itself: whatever it sends at one instant is moved alike, to either side of the
    /// ideal time. `None` for a clock that is exact.
    pub jitter: Option<Jitter>,
    /// What changes while it plays.
    pub course: Course,
}

impl Rig {
    /// The time of every beat in a piece that begins at a tempo.
    #[must_use]
    pub fn clockwork(&self, tempo: Tempo) -> Clockwork {
        Clockwork::new(tempo, &self.course.tempo_map)
    }

    /// The clock output from which the pulses of a path stem in the end; the first output where a path only feeds itself.
    #[must_use]
    pub fn origin(&self, path: &Path) -> usize {
        let mut source = path.source;
        // A chain that is longer than there are links runs in a circle.
        for _ in 0..=self.sequencers.len() + self.wires.len() {
            match source {
                Source::Output(output) => return output,
                Source::Sequencer { index, .. } => source = self.sequencers[index].clock.source,
                Source::Wire(wire) => source = self.wires[wire].path.source,
            }
        }
        0
    }
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
    /// Once, when the clock stops: at the end of the patch, if nothing stops it before.
    Stop,
    /// No pulse but a level: high while the clock runs.
    Run,
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

/// A stage that somebody may put in, and what is said of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Component {
    /// Its name.
    pub name: String,
    /// What it does, as a data sheet says.
    pub kind: StageKind,
    /// What it costs, in the file's own words.
    pub price: Option<String>,
    /// Where its values come from, or whatever else people should know.
    pub note: Option<String>,
}

/// The way that pulses take to an input: where they begin, then stages in order.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct Path {
    /// Where the pulses come from.
    pub source: Source,
    /// Indices into [`Rig::stages`].
    pub stages: Vec<usize>,
}

/// Where a path begins.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Source {
    /// An output of the clock: an index into [`Rig::outputs`].
    Output(usize),
    /// Another sequencer.
    Sequencer {
        /// Index into [`Rig::sequencers`].
        index: usize,
        /// Which of its outputs.
        tap: Tap,
    },
    /// A physical point that several paths share: an index into [`Rig::wires`].
    Wire(usize),
}

/// An output of a sequencer.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Tap {
    /// A pulse whenever step 1 is played.
    Step1,
    /// A pulse whenever the last step is played.
    End,
    /// A pulse at every hit.
    Hits,
    /// What its clock input gets.
    Thru,
}

/// One physical point: all who begin there share every random draw on the way to it.
#[derive(Clone, Debug, PartialEq)]
pub struct Wire {
    /// Its name in the patch.
    pub name: String,
    /// The way to it.
    pub path: Path,
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
    /// The loop that looks at both its inputs: an index into [`Rig::stages`], of a [`StageKind::Poll`].
    pub poll: Option<usize>,
    /// What lies between it and the ear: indices into [`Rig::stages`], in order.
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
    /// What a rise does.
    pub mode: ResetMode,
}

/// What a sequencer does on a reset rise.
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
    /// Whether the patch or the command line says so; else it is the default.
    pub max_gap_given: bool,
    /// A margin under this is at risk even where nothing has a tolerance.
    pub skew: Span,
    /// The largest standard deviation of a pair's gap over many runs that is still acceptable; `None`: any.
    pub max_wobble: Option<Span>,
    /// The patch without any fix.
    pub original: Variant,
    /// Each fix alone, in the order of the file.
    pub fixes: Vec<Variant>,
    /// What somebody may put in, in the order of the file.
    pub components: Vec<Component>,
    /// What is right and has no effect; to be told, and nothing else.
    pub warnings: super::Faults,
    /// What was read, for joining fixes.
    pub(super) document: std::sync::Arc<super::parse::Document>,
}
