//! What lies between an output and an input: a file a kind.

mod delay;

use super::Pulse;
use crate::patch::{Path, Rig, StageKind};

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
            StageKind::Delay { delay } => delay::pass(p, *delay),
        })
    }
}
