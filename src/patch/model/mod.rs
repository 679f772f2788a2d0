//! What a checked patch holds: plain data, every name resolved to an index, every quantity in its own unit.

use crate::time::{Beat, Clockwork, Span, Tempo};
use num_rational::Ratio;

mod course;
mod dimension;
pub(in crate::patch) mod given;
mod keys;
pub(in crate::patch) mod measures;
mod output;
mod path;
mod sequencer;
mod stage;
mod take;
mod tolerance;
mod voice;
mod written;

pub use course::*;
pub use dimension::*;
pub use keys::*;
pub use output::*;
pub use path::*;
pub use sequencer::*;
pub use stage::*;
pub use take::*;
pub use tolerance::*;
pub use voice::*;
pub use written::show_span_whole;
pub(in crate::patch) use written::*;

/// The max gap of a patch that gives none: the smallest published figure for telling two sounds from one (Watson, Semin Hear 25:219,
/// 2004: 2 to 3 ms).
pub const USUAL_MAX_GAP: Span = Span::from_ms(2);

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

    /// What a shared point hangs on, however many others lie between; a ring of points ends in one of them.
    #[must_use]
    pub fn beyond_wires(&self, mut source: Source) -> Source {
        for _ in &self.wires {
            let Source::Wire(wire) = source else { break };
            source = self.wires[wire].path.source;
        }
        source
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

/// A device between an output and an input.
#[derive(Clone, Debug, PartialEq)]
pub struct Stage {
    /// Its name in the patch.
    pub name: String,
    /// What it does.
    pub kind: StageKind,
}

impl Stage {
    /// The name of a stage that is put in to be tried. None of a patch can have it: names hold no blanks.
    pub const ADDED: &str = "the part";

    /// What a picture calls it: one that was put in to be tried is none of the patch's.
    #[must_use]
    pub fn label(&self) -> &str {
        if self.name == Self::ADDED { "added delay" } else { &self.name }
    }
}

/// A stage that somebody may put in, and what is said of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Component {
    /// As in its heading, `[component.NAME]`.
    pub name: String,
    /// What it does, as a data sheet says.
    pub kind: StageKind,
    /// What it costs, in the file's own words.
    pub price: Option<String>,
    /// Where its values come from, or whatever else people should know.
    pub note: Option<String>,
    /// The stage that it is, as a table in braces: what a fix sets that puts it in.
    pub written: String,
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
    /// That of a patch that says nothing else.
    pub const USUAL: Self = Self { count: 4, unit: 4 };
    /// The largest of either number.
    pub const LARGEST: u32 = 64;

    /// A meter within its bounds: 1 to 64 beats, and of note values the powers of two up to 64.
    #[must_use]
    pub fn new(count: u32, unit: u32) -> Option<Self> {
        let good = (1..=Self::LARGEST).contains(&count) && unit <= Self::LARGEST && unit.is_power_of_two();
        good.then_some(Self { count, unit })
    }

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
