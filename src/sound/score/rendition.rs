use super::Ensemble;
use crate::hits::{Hit, in_order, played_in_order};
use crate::patch::Rig;
use crate::rig::{Performance, Rehearsal, RigError, Run};
use crate::sound::render::{Cue, Cues};
use crate::time::{Instant, Tempo};

/// All that a rig plays at a tempo, as often as is asked: worked out anew each time where that is quick, kept where not.
#[derive(Debug)]
pub struct Rendition<'r> {
    rehearsal: Rehearsal<'r>,
    run: Run,
    /// Of a rig that has to be played as a whole.
    performance: Option<Performance>,
}

impl<'r> Rendition<'r> {
    /// Plays a rig at a tempo with the draws of a run.
    ///
    /// # Errors
    /// As [`play_run`](crate::rig::play_run).
    pub fn play(rig: &'r Rig, tempo: Tempo, run: Run) -> Result<Self, RigError> {
        let rehearsal = Rehearsal::new(rig, tempo)?;
        let performance = if rehearsal.sounds(run).is_some() { None } else { Some(rehearsal.run(run)) };
        if performance.as_ref().is_some_and(|p| !p.rests) {
            return Err(RigError::Restless { tempo });
        }
        Ok(Self { rehearsal, run, performance })
    }

    /// Its rig.
    #[must_use]
    pub fn rig(&self) -> &'r Rig {
        self.rehearsal.rig()
    }

    /// When it is over by the clock.
    #[must_use]
    pub fn end(&self) -> Instant {
        self.rig().clockwork(self.rehearsal.tempo()).instant(self.rig().end)
    }

    /// All hits in order, as [`in_order`] has them.
    pub fn hits(&self) -> impl Iterator<Item = Hit> {
        let kept = self.performance.as_ref().map(|performance| in_order(self.rig(), performance));
        let anew = if kept.is_some() { None } else { played_in_order(&self.rehearsal, self.run) };
        kept.into_iter().flatten().chain(anew.into_iter().flatten())
    }
}

/// What an ensemble plays of a rendition.
#[derive(Debug)]
pub struct Part<'a> {
    /// Who plays.
    pub ensemble: &'a Ensemble,
    /// The number of the rig among those of the ensemble.
    pub of: usize,
    /// What is played.
    pub rendition: &'a Rendition<'a>,
    /// The only player that is heard; `None` for all.
    pub only: Option<usize>,
}

/// The most cues that are kept as a list, 1.5 MiB of them, and the most pulses of a piece of which such a list is made: to go
/// through a list again costs nothing.
pub const MOST_KEPT: usize = 1 << 16;

impl<'a> Part<'a> {
    /// Its cues: a list of them if they are few.
    #[must_use]
    pub fn cues(self) -> Box<dyn Cues + 'a> {
        if self.rendition.rehearsal.pulses() > MOST_KEPT as u128 {
            return Box::new(self);
        }
        let few: Vec<Cue> = self.all().take(MOST_KEPT + 1).collect();
        if few.len() <= MOST_KEPT { Box::new(few) } else { Box::new(self) }
    }
}

impl Cues for Part<'_> {
    fn all(&self) -> Box<dyn Iterator<Item = Cue> + '_> {
        let rig = self.rendition.rig();
        let mine = |hit: &Hit| self.only.is_none_or(|player| hit.sequencer == player);
        let cues = move |hit: Hit| self.ensemble.cues(self.of, rig, &hit, hit.at, 1.0);
        Box::new(self.rendition.hits().filter(mine).flat_map(cues))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::hits::list;
    use crate::patch::{Asked, Patch};
    use crate::rig::play_run;
    use crate::sound::score::{CueList, Seating};

    /// Few and many, plain and behind a stage that draws, all and one alone: the cues of the list of all hits.
    #[test]
    fn its_cues_are_those_of_the_hits() {
        for (stage, bars) in
            [("", 4), ("", 4_200), ("[stage.loose]\nkind = \"jitter\"\neach = { sd = \"1 ms\" }\n", 4_200)]
        {
            let path = if stage.is_empty() { "\"steps\"" } else { "[\"steps\", \"loose\"]" };
            let text = format!(
                "tempos = [240]\nbars = {bars}\n[clock.steps]\nrate = \"4 per beat\"\n{stage}\
                 [sequencer.moth]\nclock = {path}\nsteps = \"X.x.\"\nvoice = \"kick\"\n\
                 [sequencer.fern]\nclock = \"steps\"\nsteps = \"x.X\"\nvoice = \"hat\"\n"
            );
            let patch =
                Patch::parse(&text, &Asked::default()).unwrap_or_else(|f| panic!("{}", f.render("", &text, false)));
            let (rig, run) = (&patch.original.rig, Run::Drawn { seed: 1, number: 3 });
            let ensemble = Ensemble::new(&[rig], Seating::Patch, 1).expect("voices");
            let rendition = Rendition::play(rig, patch.tempos[0], run).expect("in bounds");
            assert_eq!(rendition.performance.is_none(), stage.is_empty());
            let performance = play_run(rig, patch.tempos[0], run).expect("in bounds");
            for only in [None, Some(1)] {
                let mut sheet = CueList::new(&ensemble);
                let heard = list(rig, &performance).into_iter().filter(|h| only.is_none_or(|only| h.sequencer == only));
                heard.for_each(|h| sheet.add(0, rig, &h, h.at, 1.0));
                let cues = Part { ensemble: &ensemble, of: 0, rendition: &rendition, only }.cues();
                let found: Vec<Cue> = cues.all().collect();
                assert!(found == sheet.finish(), "{stage} {bars} {only:?}");
                assert_eq!(found.len() > MOST_KEPT, bars > 4 && only.is_none());
            }
        }
    }
}
