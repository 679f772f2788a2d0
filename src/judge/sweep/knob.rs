use super::Value;
use crate::judge::{Target, TargetError};
use crate::patch::{Output, Rig, Timing, quantity, shown};
use crate::time::{Span, Tempo, round_half_up};

/// What is turned from cell to cell.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Knob {
    /// A delay at the end of the way to an input.
    Input(Target),
    /// An output of the clock: its phase, or its shift.
    Output(usize),
}

/// Why a text names nothing that could be turned.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum KnobError {
    /// No path to an input, and no output.
    #[error("`{}` is nothing that can be turned", shown(.text))]
    Unknown {
        /// What was asked for.
        text: String,
        /// What could be.
        known: Vec<String>,
    },
    /// An output that pulses once has no period.
    #[error("the output `{0}` has no rate, and so no phase")]
    NoRate(String),
    /// Nothing comes before it is sent.
    #[error("the way to an input cannot be made shorter: {} is below nothing", .0.words())]
    Negative(Value),
    /// The path to an input is none.
    #[error("{0}")]
    Target(#[from] TargetError),
}

impl KnobError {
    /// What to do, for after `help: `.
    #[must_use]
    pub fn help(&self) -> String {
        match self {
            Self::Unknown { known, .. } => format!("write one of {}", known.join(", ")),
            Self::Negative(_) => "turn the phase of the output itself: --on clock.NAME".to_owned(),
            Self::NoRate(_) => "delay it by a time: --delay".to_owned(),
            Self::Target(error) => error.help(),
        }
    }
}

impl Knob {
    /// Reads `sequencer.NAME.clock`, `sequencer.NAME.reset` or `clock.NAME`.
    ///
    /// # Errors
    /// See [`KnobError`].
    pub fn parse(rig: &Rig, text: &str) -> Result<Self, KnobError> {
        let text = text.trim();
        if text.starts_with("sequencer.") {
            return Ok(Self::Input(Target::parse(rig, text)?));
        }
        let named = text.strip_prefix("clock.").map(|name| name.split_once('.').map_or(name, |(name, _)| name));
        let output = named.and_then(|name| rig.outputs.iter().position(|o| o.name == name));
        output.map(Self::Output).ok_or_else(|| KnobError::Unknown { text: text.to_owned(), known: Self::names(rig) })
    }

    /// Everything of a rig that can be turned, by its full name: outputs, then inputs.
    #[must_use]
    pub fn names(rig: &Rig) -> Vec<String> {
        let outputs = rig.outputs.iter().map(|o| format!("clock.{}", o.name));
        outputs.chain(Target::all(rig).into_iter().map(|target| target.name(rig))).collect()
    }

    /// The full name: `sequencer.wren.clock`, `clock.slow`.
    #[must_use]
    pub fn path(self, rig: &Rig) -> String {
        match self {
            Self::Input(target) => target.name(rig),
            Self::Output(output) => format!("clock.{}", rig.outputs[output].name),
        }
    }

    /// The name as it stands in that of a file: `wren-clock`, `slow`.
    #[must_use]
    pub fn name(self, rig: &Rig) -> String {
        match self {
            Self::Input(target) => target.name(rig).replacen("sequencer.", "", 1).replace('.', "-"),
            Self::Output(output) => rig.outputs[output].name.clone(),
        }
    }

    /// The rig with the knob at a setting. A share is one of the output's own period: on an output it is its phase, taken
    /// round the period as always; on the way to an input a delay of that share of the period of the path's output.
    ///
    /// # Errors
    /// [`KnobError::NoRate`] for a share of no period.
    pub fn at(self, rig: &Rig, value: Value, tempo: Tempo) -> Result<Rig, KnobError> {
        match (self, value) {
            (Self::Input(_), Value::Phase(share)) if share < num_rational::Ratio::from_integer(0) => {
                Err(KnobError::Negative(value))
            }
            (Self::Input(target), Value::Delay(delay)) => Ok(target.delayed(rig, delay)),
            (Self::Input(target), Value::Phase(share)) => {
                let output = target.path(rig).map_or(0, |path| rig.origin(path));
                let Timing::Rate { period, .. } = &rig.outputs[output].timing else {
                    return Err(KnobError::NoRate(rig.outputs[output].name.clone()));
                };
                let delay = round_half_up(tempo.exact(*period * share));
                Ok(target.delayed(rig, Span(i64::try_from(delay).unwrap_or(i64::MAX))))
            }
            (Self::Output(output), Value::Delay(delay)) => {
                let mut rig = rig.clone();
                let later = num_rational::Ratio::from_integer(i128::from(delay.0));
                ever(&mut rig, output).for_each(|o| o.shift += later);
                Ok(rig)
            }
            (Self::Output(output), Value::Phase(share)) => {
                let mut rig = rig.clone();
                let Timing::Rate { phase: before, .. } = rig.outputs[output].timing else {
                    return Err(KnobError::NoRate(rig.outputs[output].name.clone()));
                };
                let turned = quantity::phase(share);
                // Until somebody turns this knob itself in the course of the piece.
                for output in ever(&mut rig, output) {
                    match &mut output.timing {
                        Timing::Rate { phase, .. } if *phase == before => *phase = turned,
                        _ => break,
                    }
                }
                Ok(rig)
            }
        }
    }
}

/// An output as it is at the start, and then as it is turned in the course of the piece, in order of time.
fn ever(rig: &mut Rig, output: usize) -> impl Iterator<Item = &mut Output> {
    let turns = rig.course.turns.iter_mut().filter(move |turn| turn.output == output);
    let turned = turns.flat_map(|turn| turn.passes.iter_mut().chain([&mut turn.to]));
    std::iter::once(&mut rig.outputs[output]).chain(turned)
}
