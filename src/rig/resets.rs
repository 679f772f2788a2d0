//! Where the resets of a sequencer come from, and for which beat each is meant.

use super::{Counting, Later, Performance, Timeline};
use crate::patch::{Rig, Sequencer};
use crate::time::{Beat, Instant};

/// The outputs that a sequencer's resets stem from in the course of a piece, the last one first, each with how its pulses are
/// numbered at the input. More than one where the reset is plugged anew: edges of the one before may still be on their way.
#[derive(Clone, Debug, Default)]
pub struct Resets<'a>(Vec<(&'a Timeline, Counting)>);

impl<'a> Resets<'a> {
    /// The resets of a sequencer of a rig that has been played.
    #[must_use]
    pub fn of(rig: &Rig, index: usize, performance: &'a Performance) -> Self {
        let later = Later::of(rig, performance.tempo);
        let rigs: Vec<&Rig> = std::iter::once(rig).chain(later.iter().map(|l| &l.rig)).collect();
        Self::within(&rigs, index, &performance.timelines)
    }

    /// The resets of a sequencer over all that its rig is in turn.
    pub(super) fn within(rigs: &[&Rig], index: usize, timelines: &'a [Timeline]) -> Self {
        let mut all = Self::default();
        rigs.iter().for_each(|rig| all.plug(rig, &rig.sequencers[index], timelines));
        all
    }

    /// Adds where a sequencer's reset comes from, unless that is known.
    pub(super) fn plug(&mut self, rig: &Rig, sequencer: &Sequencer, timelines: &'a [Timeline]) {
        let Some(reset) = &sequencer.reset else { return };
        let from = (&timelines[rig.origin(&reset.path)], Counting::of(rig, &reset.path));
        if !self.0.iter().any(|(line, counting)| std::ptr::eq(*line, from.0) && *counting == from.1) {
            self.0.insert(0, from);
        }
    }

    /// The one output that all of them stem from; `None` if there are several, or no reset.
    pub(super) fn only(&self) -> Option<&(&'a Timeline, Counting)> {
        if let [only] = &self.0[..] { Some(only) } else { None }
    }

    /// The beat that a reset is meant for which comes to the input at a moment with this number; `None` without resets. Of
    /// several outputs that it may stem from it is that one whose pulse of this number is meant for a moment nearest to that.
    #[must_use]
    pub fn beat(&self, number: i64, at: Instant) -> Option<Beat> {
        let beats = self.0.iter().map(|(from, numbers)| (numbers.meant(from, number), from));
        if self.0.len() < 2 {
            return beats.map(|(beat, _)| beat).next();
        }
        beats.map(|(beat, from)| ((from.ideal_of(beat) - at).abs(), beat)).min_by_key(|(away, _)| *away).map(|(_, b)| b)
    }
}
