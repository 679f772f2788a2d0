//! Kinds of stages: a file a kind, with its settings, its keys, and what it says of itself. How it behaves is in `rig::stage`.

mod air;
mod audio_buffer;
mod delay;
mod divide;
mod envelope;
mod jitter;
mod logic;
mod midi_cable;
mod multiply;
mod poll;
mod rc;
mod strike;

pub use air::*;
pub use audio_buffer::*;
pub use delay::*;
pub use divide::*;
pub use envelope::*;
pub use jitter::*;
pub use logic::*;
pub use midi_cable::*;
pub use multiply::*;
pub use poll::*;
pub use rc::*;
pub use strike::*;

use super::given::{Given, Got, Told, there};
use super::measures::DRIFT;
use super::{Corner, Keys, Limited, Path, Row, Takes, show_span};
use crate::time::Span;

/// What may pass through a kind of stage.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Carries {
    /// Pulses on their way to an input.
    Pulses,
    /// Hits on their way to the ear.
    Hits,
    /// Either: the kind may stand in a cable and before an ear.
    Both,
}

/// A kind of stage: what it is called, what may be set, and what is said of it.
#[derive(Debug)]
pub struct KindOfStage {
    /// As `kind` has it.
    pub word: &'static str,
    /// Its keys besides `kind`.
    pub keys: Keys,
    /// What may pass through it.
    pub carries: Carries,
    /// By which formula it works.
    pub formula: &'static str,
    /// Where that, or a usual value, comes from; may be empty.
    pub source: &'static str,
    /// Makes its settings of what its table gives.
    pub(in crate::patch) made: fn(&mut dyn Given) -> Result<StageKind, Told>,
}

/// What the settings of a stage say of themselves.
pub(crate) trait Facts {
    /// Goes through all values that have limits.
    fn limited(&mut self, _each: &mut dyn FnMut(Limited<'_>)) {}

    /// Whether it draws anything that is not a tolerance.
    fn is_chance(&self) -> bool {
        false
    }

    /// Whether nothing ever leaves it at the instant at which its cause came, whatever is drawn within its limits: what
    /// the stages of the simulation say of themselves, held a little stricter.
    fn is_late(&self) -> bool {
        false
    }

    /// The way to its second input, and the key under which that is written.
    fn second(&self) -> Option<(&'static str, &Path)> {
        None
    }
}

/// From one threshold to the other, in picoseconds, with room for rounding: what takes so long is late.
const APART_PS: f64 = 2.0;

/// Defines the kinds: for each a variant and the module with its settings and its keys.
macro_rules! kinds {
    ($($(#[$doc:meta])* $kind:ident: $module:ident,)+) => {
        /// What a stage does to what passes.
        #[derive(Clone, Debug, PartialEq)]
        pub enum StageKind {
            $($(#[$doc])* $kind($kind),)+
        }

        /// All kinds of stages, in the order in which they are listed.
        pub static KINDS: &[KindOfStage] = &[$($module::KIND,)+];

        impl StageKind {
            fn facts(&self) -> &dyn Facts {
                match self {
                    $(Self::$kind(settings) => settings,)+
                }
            }

            fn facts_mut(&mut self) -> &mut dyn Facts {
                match self {
                    $(Self::$kind(settings) => settings,)+
                }
            }
        }
    };
}

kinds! {
    /// A time added to rises and falls, perhaps with a pulse of its own width.
    Delay: delay,
    /// A resistor and a capacitor before a threshold.
    Rc: rc,
    /// An envelope before a threshold.
    Envelope: envelope,
    /// A gate with a second input.
    Logic: logic,
    /// One pulse out of several.
    Divide: divide,
    /// Several pulses out of one.
    Multiply: multiply,
    /// A loop that looks at its input now and then.
    Poll: poll,
    /// A serial line of 31,250 bits a second.
    MidiCable: midi_cable,
    /// Audio in blocks.
    AudioBuffer: audio_buffer,
    /// Sound on its way through air.
    Air: air,
    /// A solenoid or a motor that strikes.
    Strike: strike,
    /// Chance, an event at a time or slowly.
    Jitter: jitter,
}

impl StageKind {
    /// Whether it draws anything that is not a tolerance: scatter, or a loop of unknown phase or drift.
    #[must_use]
    pub fn is_chance(&self) -> bool {
        self.facts().is_chance()
    }

    /// Whether what it does differs from run to run: by a tolerance or by chance.
    #[must_use]
    pub fn is_drawn(&self) -> bool {
        let mut plain = true;
        self.clone().facts_mut().limited(&mut |value| plain &= value.is_plain());
        !plain || self.is_chance()
    }

    /// Whether nothing ever leaves it at the instant at which its cause came, whatever is drawn within its limits.
    #[must_use]
    pub fn is_late(&self) -> bool {
        self.facts().is_late()
    }

    /// The stage with all its values at one end of the data sheet, so that its delay is the least, the usual or the most.
    #[must_use]
    pub fn at_corner(&self, corner: Corner) -> Self {
        let mut kind = self.clone();
        kind.facts_mut().limited(&mut |value| value.take(corner));
        kind
    }

    /// The way to its second input, and the key under which that is written.
    #[must_use]
    pub fn second(&self) -> Option<(&'static str, &Path)> {
        self.facts().second()
    }
}

/// How far a clock may be off: that of a common quartz, unless it says so (common practice, no source).
const DRIFT_ROW: Row = Row::or(
    "drift",
    Takes::Quantity(&DRIFT),
    "30 ppm",
    "how far its own clock may be off, either way; drawn once a run",
);

/// Where in its period something begins: a time, or `None` for chance.
fn phase(given: &mut dyn Given, period: Option<Span>, of: &str) -> Got<Span> {
    let phase = there(given.time_or_word("phase"))?;
    match (phase, period) {
        (Some(phase), Some(period)) if !(Span::ZERO <= phase && phase < period) => {
            let written = given.written("phase");
            let expected = format!("a time from 0 s to less than {}, {of}, or \"random\"", show_span(period));
            Err(given.out_of_bounds("phase", &written, &expected))
        }
        _ => Ok(phase),
    }
}
