//! Multipliers that are asked for too much.

use super::Ways;
use crate::patch::check::fault::{Fault, Faults};
use crate::patch::check::show::shown;
use crate::patch::model::{Source, StageKind, Tap, Timing, show_span};
use crate::patch::read::output::SHORTEST_PERIOD_PS;
use crate::time::{Span, Tempo};

impl Ways<'_> {
    /// Tells the multipliers whose pulses would come closer than those of any output may.
    pub(super) fn check_multipliers(&self, fastest: Tempo, faults: &mut Faults) {
        if !self.rig.stages.iter().any(|stage| matches!(stage.kind, StageKind::Multiply(_))) {
            return;
        }
        let mut periods = vec![None; self.lines.len()];
        for line in 0..self.lines.len() {
            self.period(line, fastest, &mut periods, faults);
        }
    }

    /// The time between pulses at the end of a line, in picoseconds; infinite where there is no telling.
    fn period(&self, line: usize, fastest: Tempo, known: &mut Vec<Option<f64>>, faults: &mut Faults) -> f64 {
        if let Some(period) = known[line] {
            return period;
        }
        // A line that leads back to itself has no period of its own.
        known[line] = Some(f64::INFINITY);
        let path = self.lines[line].path;
        let mut period = match path.source {
            Source::Output(output) => match &self.rig.outputs[output].timing {
                Timing::Rate { period, .. } => {
                    let exact = fastest.exact(*period);
                    *exact.numer() as f64 / *exact.denom() as f64
                }
                Timing::Start | Timing::Stop | Timing::Run => f64::INFINITY,
            },
            Source::Wire(wire) => self.period(self.wires[wire], fastest, known, faults),
            Source::Sequencer { index, tap } => {
                let sequencer = &self.rig.sequencers[index];
                let pulses = match tap {
                    Tap::Thru => 1.0,
                    Tap::Hits => f64::from(sequencer.pulses_per_step),
                    Tap::Step1 | Tap::End => f64::from(sequencer.pulses_per_step) * sequencer.steps.len() as f64,
                };
                self.period(self.inputs[index].0, fastest, known, faults) * pulses
            }
        };
        for (n, stage) in path.stages.iter().enumerate() {
            match &self.rig.stages[*stage].kind {
                StageKind::Divide(divide) => period *= f64::from(divide.by),
                StageKind::Multiply(multiply) => {
                    period /= f64::from(multiply.by);
                    if period < SHORTEST_PERIOD_PS as f64 {
                        let found = show_span(Span(period.round() as i64));
                        let name = shown(&self.rig.stages[*stage].name);
                        let fault = Fault::new(
                            self.place(self.lines[line].first + n + 1),
                            format!("the stage `{name}` would pulse every {found} at {fastest}"),
                        )
                        .label(format!("found a period of {found}, expected 10 us or more"))
                        .help(format!("write a smaller `by` in [stage.{name}], or begin at a slower output"));
                        faults.push(fault);
                        // Told once, and not again for every multiplier behind it.
                        period = SHORTEST_PERIOD_PS as f64 * 65_536.0;
                    }
                }
                _ => {}
            }
        }
        known[line] = Some(period);
        period
    }
}
