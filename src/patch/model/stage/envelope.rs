use super::{Carries, Facts, KindOfStage, StageKind};
use crate::patch::model::given::{Conflict, Given, Told, there};
use crate::patch::model::measures::{CURVE, PEAK};
use crate::patch::model::{Keys, Limited, Row, Takes, Tolerance, show_voltage};
use crate::time::Span;

/// See [`StageKind::Envelope`].
#[derive(Clone, Debug, PartialEq)]
pub struct Envelope {
    /// Time of the rise, as `attack_means` says, in picoseconds.
    pub attack: Tolerance<Span>,
    /// Time of the fall: to nothing if linear, a time constant if exponential.
    pub decay: Tolerance<Span>,
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

pub(super) const KIND: KindOfStage = KindOfStage {
    word: "envelope",
    keys: Keys {
        what: "an envelope stage",
        about: "an envelope used as a delay",
        rows: &[
            Row::needed("attack", Takes::Limits(&CURVE), "write attack = \"5 ms\"", "how long it rises"),
            Row::needed("decay", Takes::Limits(&CURVE), "write decay = \"20 ms\"", "how long it falls"),
            Row::or("shape", Takes::Words(&["linear", "exponential"]), "linear", "the shape of the rise and the fall"),
            Row::or(
                "attack-means",
                Takes::Words(&["to-peak", "time-constant"]),
                "to-peak",
                "what the attack is the time of; a time constant goes with an exponential shape",
            ),
            Row::needed(
                "peak",
                Takes::Quantity(&PEAK),
                "write peak = \"8 V\", the voltage that the envelope rises to",
                "the voltage that it rises to",
            ),
            Row::needed(
                "threshold-rise",
                Takes::Quantity(&PEAK),
                "write threshold-rise = \"2 V\", at which the next input reads high",
                "the voltage at which the next input reads high",
            ),
            Row::free(
                "threshold-fall",
                Takes::Quantity(&PEAK),
                "`threshold-rise`",
                "the voltage at which the next input reads low again",
            ),
            Row::or(
                "follows",
                Takes::Words(&["trigger", "gate"]),
                "trigger",
                "whether it falls by itself at its peak, or holds while its input is high",
            ),
            Row::or(
                "retrigger",
                Takes::Words(&["from-here", "from-zero", "ignore"]),
                "from-here",
                "what a rise does before the last envelope is over",
            ),
        ],
        rules: &[],
    },
    carries: Carries::Pulses,
    formula: "linear: attack·threshold/peak; time constant: τ·ln(peak/(peak − threshold))",
    source: "closed form; half a millisecond to a millisecond for a fast one is common practice, no source",
    made,
};

impl Facts for Envelope {
    fn limited(&mut self, each: &mut dyn FnMut(Limited<'_>)) {
        each(Limited::Time(&mut self.attack));
        each(Limited::Time(&mut self.decay));
    }

    fn is_late(&self) -> bool {
        // A curve to its peak aims half as far again, with a time constant of its time by ln 3 = 1.0986.
        let steepest = (self.attack.min.0 as f64 / (1.5 * 1.0987)).min(self.decay.min.0 as f64);
        let gap = self.threshold_rise - self.threshold_fall;
        self.retrigger != Retrigger::FromZero && steepest * gap / self.peak >= super::APART_PS
    }
}

fn made(given: &mut dyn Given) -> Result<StageKind, Told> {
    let (attack, decay) = (given.times("attack"), given.times("decay"));
    let (shape, means) = (given.word("shape"), given.word("attack-means"));
    let (peak, rise, fall) = (given.number("peak"), given.number("threshold-rise"), given.number("threshold-fall"));
    let (follows, retrigger) = (given.word("follows"), given.word("retrigger"));
    let (attack, decay, peak, threshold_rise) = (there(attack)?, there(decay)?, there(peak)?, there(rise)?);
    let shape = if shape? == Some("exponential") { Shape::Exponential } else { Shape::Linear };
    let attack_means = if means? == Some("time-constant") { AttackMeans::TimeConstant } else { AttackMeans::ToPeak };
    let threshold_fall = fall?.unwrap_or(threshold_rise);
    let follows = if follows? == Some("gate") { Follows::Gate } else { Follows::Trigger };
    let retrigger = match retrigger? {
        Some("from-zero") => Retrigger::FromZero,
        Some("ignore") => Retrigger::Ignore,
        _ => Retrigger::FromHere,
    };
    let envelope =
        Envelope { attack, decay, shape, attack_means, peak, threshold_rise, threshold_fall, follows, retrigger };
    match impossible(&envelope) {
        Some(conflict) => Err(given.tell(conflict)),
        None => Ok(StageKind::Envelope(envelope)),
    }
}

/// What does not go together.
fn impossible(envelope: &Envelope) -> Option<Conflict> {
    let Envelope { peak, threshold_rise, threshold_fall, .. } = *envelope;
    if threshold_rise >= peak {
        let (found, most) = (show_voltage(threshold_rise), show_voltage(peak));
        let expected = format!("less than {most}, the highest voltage that it reaches");
        let help = "lower `threshold-rise` or raise `peak`";
        return Some(Conflict::together("threshold-rise", "never reads high", &found, &expected, help));
    }
    if threshold_fall > threshold_rise {
        let (found, most) = (show_voltage(threshold_fall), show_voltage(threshold_rise));
        let message = "has its `threshold-fall` above its `threshold-rise`";
        let help = "an input that reads high above one voltage reads low below the same or a lower one";
        let expected = format!("at most {most}, the `threshold-rise`");
        return Some(Conflict::together("threshold-fall", message, &found, &expected, help));
    }
    if (envelope.shape, envelope.attack_means) == (Shape::Linear, AttackMeans::TimeConstant) {
        let help = "write shape = \"exponential\", or attack-means = \"to-peak\"";
        let message = "rises in a straight line, which has no time constant";
        let (found, expected) = ("\"time-constant\" with a linear shape", "\"to-peak\" or an exponential shape");
        return Some(Conflict::together("attack-means", message, found, expected, help));
    }
    None
}
