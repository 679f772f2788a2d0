use super::Counting;
use crate::patch::Rig;
use crate::time::{Instant, Tempo};

/// An era of a rig: what it is from some moment on, where that is other than before.
#[derive(Clone, Debug)]
pub(super) struct Later {
    /// From this moment on, edges of the same instant included.
    pub(super) at: Instant,
    pub(super) rig: Rig,
    /// For each sequencer, which pulses are meant to come to it.
    pub(super) countings: Vec<Counting>,
}

impl Later {
    /// All that changes in boxes, stages and wires, in order of time.
    pub(super) fn of(rig: &Rig, tempo: Tempo) -> Vec<Self> {
        let clockwork = rig.clockwork(tempo);
        let later = |era: &crate::patch::Era| {
            let now = era.rig(rig);
            let countings = now.sequencers.iter().map(|s| Counting::of(&now, &s.clock)).collect();
            Self { at: clockwork.instant(era.from), rig: now, countings }
        };
        rig.course.eras.iter().filter(|era| era.from < rig.end).map(later).collect()
    }
}
