//! The plain paths: an output and delays.
use super::Pulse;
use crate::patch::{EdgeKind, Path, ResetMode, Rig, Sequencer, Source, StageKind, Timing};
use crate::time::Span;

/// The stages of one path at work on one stream of pulses.
#[derive(Clone, Debug)]
pub(super) struct Chain {
    stages: Vec<StageKind>,
}

impl Chain {
    /// The stages that a path names, in order.
    pub(super) fn new(rig: &Rig, path: &Path) -> Self {
        Self { stages: path.stages.iter().map(|&s| rig.stages[s].kind.clone()).collect() }
    }

    /// A pulse as it leaves the last stage.
    pub(super) fn pass(&self, pulse: Pulse) -> Pulse {
        self.stages.iter().fold(pulse, |p, stage| match stage {
            StageKind::Delay(d) => Pulse { rise: p.rise + d.rise.typ, fall: p.fall + d.fall.typ, number: p.number },
            _ => p,
        })
    }
}

/// Whether a sequencer hangs on the clock by plain delays alone and does nothing that looks at a level over time: then
/// two streams of pulses say all.
pub(super) fn is_plain(rig: &Rig, sequencer: &Sequencer) -> bool {
    let delay = |stage: &usize| match &rig.stages[*stage].kind {
        StageKind::Delay(d) => {
            d.rise.is_plain() && d.rise == d.fall && d.swallows == Span::ZERO && d.one_shot.is_none()
        }
        _ => false,
    };
    let path = |path: &Path| match path.source {
        Source::Output(output) => {
            matches!(rig.outputs[output].timing, Timing::Rate { .. } | Timing::Start) && path.stages.iter().all(delay)
        }
        _ => false,
    };
    let reset = sequencer
        .reset
        .as_ref()
        .is_none_or(|r| path(&r.path) && !matches!(r.mode, ResetMode::Held | ResetMode::Sampled { .. }));
    let inputs = sequencer.poll.is_none()
        && [sequencer.gathers, sequencer.min_high, sequencer.min_low] == [Span::ZERO; 3]
        && [sequencer.clock_edge, sequencer.reset_edge] == [EdgeKind::Rise; 2];
    path(&sequencer.clock) && reset && inputs
}
