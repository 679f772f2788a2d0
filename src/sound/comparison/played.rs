use crate::hits::{Hit, list};
use crate::patch::{Meter, Variant};
use crate::rig::{Performance, RigError, Run, play_run};
use crate::sound::score::{CueList, Ensemble, Passage, Signpost, Version};
use crate::time::{Beat, Instant, Tempo};

/// A variant as it was played at a tempo, and all of its hits.
#[derive(Clone, Debug)]
pub struct PlayedVariant<'a> {
    /// What was played.
    pub variant: &'a Variant,
    /// The number of its rig among those of the ensemble.
    pub of: usize,
    /// What the rig did.
    pub performance: Performance,
    /// Its hits, in order.
    pub hits: Vec<Hit>,
}

impl<'a> PlayedVariant<'a> {
    /// Plays a variant with the draws of a run.
    ///
    /// # Errors
    /// As [`play_run`].
    pub fn new(variant: &'a Variant, of: usize, tempo: Tempo, run: Run) -> Result<Self, RigError> {
        let performance = play_run(&variant.rig, tempo, run)?;
        let hits = list(&variant.rig, &performance);
        Ok(Self { variant, of, performance, hits })
    }

    /// Its rig, performance and hits, from which bars are told.
    #[must_use]
    pub fn version(&self) -> Version<'_> {
        Version { rig: &self.variant.rig, performance: &self.performance, hits: &self.hits }
    }

    /// All of its hits as an ensemble plays them, in a file that lasts until `end`, with its bars marked.
    pub(super) fn passage(&self, ensemble: &Ensemble, meter: Meter, end: Instant) -> Passage {
        let rig = &self.variant.rig;
        let clockwork = rig.clockwork(self.performance.tempo);
        let mut score = CueList::new(ensemble);
        self.hits.iter().for_each(|h| score.add(self.of, rig, h, h.at, 1.0));
        let signposts = Signpost::bars(meter, &clockwork, (Beat::default(), rig.end));
        Passage { cues: score.finish(), end, signposts }
    }
}
