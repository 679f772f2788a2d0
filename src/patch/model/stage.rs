//! What each kind of stage is set to. One struct a kind; how it behaves is in `rig::stage`.

use super::Path;
use crate::time::Span;

/// A value as a data sheet gives it: the least, the usual, the most. All three are equal for a plain value.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sheet<T> {
    /// The least. Where a sheet gives none it is 0.
    pub min: T,
    /// The usual one: what a run without chance takes.
    pub typ: T,
    /// The most.
    pub max: T,
}

impl<T: Copy + PartialEq> Sheet<T> {
    /// A value without any tolerance.
    #[must_use]
    pub const fn plain(value: T) -> Self {
        Self { min: value, typ: value, max: value }
    }

    /// Whether it is the same in every run.
    #[must_use]
    pub fn is_plain(&self) -> bool {
        self.min == self.typ && self.typ == self.max
    }
}

/// What a stage does to what passes.
#[derive(Clone, Debug, PartialEq)]
pub enum StageKind {
    /// A time added to rises and falls, perhaps with a pulse of its own width.
    Delay(Delay),
    /// A resistor and a capacitor before a threshold.
    Rc(Rc),
    /// An envelope before a threshold.
    Envelope(Envelope),
    /// A gate with a second input.
    Logic(Logic),
    /// One pulse out of several.
    Divide(Divide),
    /// Several pulses out of one.
    Multiply(Multiply),
    /// A loop that looks at its input now and then.
    Poll(Poll),
    /// A serial line of 31,250 bits a second.
    MidiCable(MidiCable),
    /// Audio in blocks.
    AudioBuffer(AudioBuffer),
    /// Sound on its way through air.
    Air(Air),
    /// A solenoid or a motor that strikes.
    Strike(Strike),
    /// Chance, an event at a time or slowly.
    Jitter(Jitter),
}

/// See [`StageKind::Delay`].
#[derive(Clone, Debug, PartialEq)]
pub struct Delay {
    /// Added to rises; not negative.
    pub rise: Sheet<Span>,
    /// Added to falls; not negative.
    pub fall: Sheet<Span>,
    /// Pulses (and gaps) shorter than this vanish; at most the shorter delay. 0 for none.
    pub swallows: Span,
    /// Makes it a one-shot: every rise that is taken starts a pulse of this width, and falls do nothing.
    pub one_shot: Option<OneShot>,
}

/// See [`Delay::one_shot`].
#[derive(Clone, Debug, PartialEq)]
pub struct OneShot {
    /// The width of what comes out.
    pub width: Sheet<Span>,
    /// What a rise does while the last pulse is still out.
    pub while_busy: WhileBusy,
}

/// What a one-shot does with a rise that comes while it is busy.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum WhileBusy {
    /// Starts another pulse; where the two overlap they are one on the wire.
    Passes,
    /// Nothing: the pulse under way ends in its own time.
    Ignores,
    /// Begins the width anew; the output stays high.
    Restarts,
}

/// See [`StageKind::Rc`]: v∞ = low + (high − low)·load/(r + source + load), τ = c·((r + source) ∥ load).
#[derive(Clone, Debug, PartialEq)]
pub struct Rc {
    /// Series resistance in ohms.
    pub r: Sheet<f64>,
    /// Capacitance in farads.
    pub c: Sheet<f64>,
    /// Voltage of a high input.
    pub high: f64,
    /// Voltage of a low input.
    pub low: f64,
    /// Output resistance of what drives it, in ohms.
    pub source: f64,
    /// Input resistance of what follows, in ohms; infinite for none.
    pub load: f64,
    /// Resistance of a discharge path that works while the input is low (in parallel), in ohms; infinite for none.
    pub discharge: f64,
    /// The next input reads high when the voltage rises through this.
    pub threshold_rise: Sheet<f64>,
    /// The next input reads low when the voltage falls through this.
    pub threshold_fall: Sheet<f64>,
}

/// See [`StageKind::Envelope`].
#[derive(Clone, Debug, PartialEq)]
pub struct Envelope {
    /// Time of the rise, as `attack_means` says, in picoseconds.
    pub attack: Sheet<Span>,
    /// Time of the fall: to nothing if linear, a time constant if exponential.
    pub decay: Sheet<Span>,
    /// The shape of both.
    pub shape: Shape,
    /// What the attack time measures. `TimeConstant` goes with an exponential rise.
    pub attack_means: AttackMeans,
    /// The voltage that the rise aims at.
    pub peak: f64,
    /// The next input reads high when the voltage rises through this.
    pub threshold_rise: f64,
    /// The next input reads low when the voltage falls through this.
    pub threshold_fall: f64,
    /// Whether it falls by itself at the peak, or when its input falls.
    pub follows: Follows,
    /// What a rise does before the last envelope is over.
    pub retrigger: Retrigger,
}

/// A straight line or a curve that slows down.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Shape {
    /// A straight line.
    Linear,
    /// An exponential approach.
    Exponential,
}

/// What an attack time measures.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum AttackMeans {
    /// The time from nothing to the peak. An exponential rise then aims so far above that it is there in time.
    ToPeak,
    /// The time constant of an exponential approach to the peak.
    TimeConstant,
}

/// What ends the rise of an envelope.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Follows {
    /// A rise starts it and it falls from its peak by itself.
    Trigger,
    /// It rises (and holds) while the input is high and falls when the input falls.
    Gate,
}

/// Where an envelope starts that is started again.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Retrigger {
    /// From the voltage it has.
    FromHere,
    /// From nothing.
    FromZero,
    /// Not before it has come back to nothing.
    Ignore,
}

/// See [`StageKind::Logic`].
#[derive(Clone, Debug, PartialEq)]
pub struct Logic {
    /// The function.
    pub does: Does,
    /// The way to the second input; `None` for `not`.
    pub with: Option<Path>,
    /// From a change at an input to the change at the output.
    pub delay: Sheet<Span>,
    /// Output pulses (and gaps) shorter than this vanish; at most the delay's least value.
    pub swallows: Span,
}

/// The functions of a gate.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Does {
    /// High if any input is.
    Or,
    /// High if both are.
    And,
    /// High if just one is.
    Xor,
    /// High if the input is not; starts high.
    Not,
}

/// See [`StageKind::Divide`].
#[derive(Clone, Debug, PartialEq)]
pub struct Divide {
    /// How many pulses make one.
    pub by: u32,
    /// Which of a group of pulses comes out.
    pub fires_on: FiresOn,
    /// A rise here begins the count anew.
    pub reset: Option<Path>,
    /// How many pulses of the first group count as past when the power comes on.
    pub power_up: u32,
}

/// Which of a group of pulses a divider passes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FiresOn {
    /// The first.
    First,
    /// The last.
    Last,
}

/// See [`StageKind::Multiply`].
#[derive(Clone, Debug, PartialEq)]
pub struct Multiply {
    /// How many pulses one makes.
    pub by: u32,
}

/// See [`StageKind::Poll`].
#[derive(Clone, Debug, PartialEq)]
pub struct Poll {
    /// From one look to the next; positive.
    pub period: Span,
    /// When the first look after the start comes; `None`: drawn once a run, evenly within a period.
    pub phase: Option<Span>,
    /// How far the loop's own clock may be off, either way, in parts of 1; drawn once a run.
    pub drift: f64,
    /// What a look sees.
    pub reads: Reads,
    /// How many looks in a row must see the same before it counts.
    pub samples: u32,
}

/// What a polling loop sees.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Reads {
    /// The level at that moment: shorter pulses can be missed.
    Level,
    /// That an edge has come since the last look.
    Latched,
}

/// See [`StageKind::MidiCable`].
#[derive(Clone, Debug, PartialEq)]
pub struct MidiCable {
    /// A note whose status byte equals the last one is sent without it.
    pub running_status: bool,
    /// Whether note-offs travel too, and how.
    pub note_offs: NoteOffs,
    /// From the end of a start or a continue to the first clock byte after it, at least.
    pub start_lead: Span,
    /// Whether a song position goes before a continue.
    pub song_position: bool,
    /// Names of outputs, sequencers or stages in the order in which messages of one instant are sent; those not named
    /// come after, in the order of the file.
    pub order: Vec<String>,
}

/// How notes end on a serial line.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NoteOffs {
    /// None are sent.
    None,
    /// As note-ons of velocity 0, under the same status.
    AsNoteOn,
    /// As note-offs, with a status of their own.
    Own,
}

/// See [`StageKind::AudioBuffer`].
#[derive(Clone, Debug, PartialEq)]
pub struct AudioBuffer {
    /// Frames a block.
    pub frames: u32,
    /// Blocks between input and output.
    pub blocks: u32,
    /// Frames a second.
    pub sample_rate: u32,
    /// How finely an event is placed.
    pub events: EventGrain,
    /// When the first block begins; `None`: drawn once a run.
    pub phase: Option<Span>,
    /// How far its clock may be off, either way, in parts of 1; drawn once a run.
    pub drift: f64,
}

/// How finely an event is placed within blocks of audio.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum EventGrain {
    /// At its own frame, a fixed time late.
    Sample,
    /// At the start of a block.
    Block,
}

/// See [`StageKind::Air`]: c = 343.2·√(T/293.15) m/s (ISO 9613-1).
#[derive(Clone, Debug, PartialEq)]
pub struct Air {
    /// In metres.
    pub distance: Sheet<f64>,
    /// In degrees Celsius.
    pub temperature: Sheet<f64>,
    /// Whether the level falls with the distance (6.02 dB a doubling, from 1 m on).
    pub level: bool,
}

/// See [`StageKind::Strike`]: t = rise + 2·stroke/v, with v = speed·velocity/127.
#[derive(Clone, Debug, PartialEq)]
pub struct Strike {
    /// In metres.
    pub stroke: Sheet<f64>,
    /// At velocity 127, in metres a second.
    pub speed: Sheet<f64>,
    /// From the trigger until it moves.
    pub rise: Sheet<Span>,
    /// Standard deviation of each strike's own scatter, cut at 4; 0 for none.
    pub spread: Span,
    /// A strike that is asked for before this is lost.
    pub recovery: Span,
}

/// See [`StageKind::Jitter`].
#[derive(Clone, Debug, PartialEq)]
pub struct Jitter {
    /// How each event is moved, never before its cause.
    pub each: Option<Scatter>,
    /// A slow wander.
    pub wander: Option<Wander>,
}

/// How something is scattered.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Scatter {
    /// Normally, with this standard deviation, cut at 4; the mean delay is 4 standard deviations, so that nothing comes
    /// before its cause.
    Gaussian(Span),
    /// Evenly, from nothing to this.
    Uniform(Span),
}

/// A wander: a sum of slow waves with drawn phases.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Wander {
    /// The furthest it goes, either way of its middle; the middle is this late, so that nothing comes before its cause.
    pub most: Span,
    /// About the time from one extreme to the next like it.
    pub period: Span,
}
