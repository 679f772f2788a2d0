//! The least that has to be done so that everybody is together at every tempo.
//!
//! A catalogue holds what could be done; sets of changes are searched, the fewest first, and the simulator judges each: exactly,
//! over all tolerances and with the skew kept. A verdict on a box or on two is kept for all sets that do not touch what it hangs on.

mod apply;
mod base;
mod bench;
mod catalogue;
mod change;
mod cone;
mod evening;
mod examine;
mod fault;
mod frontier;
mod group;
mod kept;
mod nudge;
mod parts;
mod proposal;
mod reach;
mod search;
mod set;
mod trace;
mod verdict;
mod watch;
mod wishes;

pub use apply::share_text;
pub use catalogue::{Catalogue, MOST_OFFERS, Offer};
pub use change::{Change, Dial, Kind, Place, names};
pub use evening::{
    Evening, EveningMended, ForSong, ListedSong, SongAsked, SongMended, Turned, listed_songs, mend_evening,
};
pub use fault::{BoxFault, Fault};
pub use group::{Group, MOST_GROUPS, USUAL_GROUPS};
pub use parts::Part;
pub use proposal::{AtTempo, Proposal};
pub use search::{Cuts, Extent, Level, Stopped};
pub use set::MOST_CHANGES;
pub use watch::{Progress, Watch};
pub use wishes::{WishError, Wishes};

use crate::judge::advise::Aim;
use crate::patch::Patch;
use crate::time::{Span, Tempo};
use bench::Bench;
use examine::Scope;
use proposal::{Asked, propose};
use rayon::prelude::*;
use std::cmp::Reverse;

/// What is asked.
#[derive(Clone, Copy, Debug)]
pub struct Question<'a> {
    /// The patch, whose original is to be mended.
    pub patch: &'a Patch,
    /// What could be done to it.
    pub catalogue: &'a Catalogue,
    /// What is good enough.
    pub aim: Aim,
    /// The tempos at which it must do.
    pub tempos: &'a [Tempo],
    /// How far to search.
    pub extent: Extent,
}

impl Question<'_> {
    /// All that the answer hangs on, as a text: alike for what is alike. `source` is the text of the patch.
    #[must_use]
    pub fn print(&self, source: &str) -> String {
        let Self { patch, catalogue, aim, tempos, extent } = self;
        let version = env!("CARGO_PKG_VERSION");
        let Catalogue { parts, offers, .. } = catalogue;
        format!("{version} {source} {:?} {parts:?} {offers:?} {aim:?} {tempos:?} {extent:?}", patch.original.rig)
    }
}

/// What was found.
#[derive(Clone, Debug)]
pub struct Mended {
    /// What stands in the way of the patch as it is; empty where nothing need be done.
    pub now: Vec<Fault>,
    /// The sets that pass and hold no smaller one that does: the fewest changes first, then the cheapest, then those with the
    /// most room.
    pub proposals: Vec<Proposal>,
    /// Sets that pass here and of which no patch can be written, each with why.
    pub unwritten: Vec<(Vec<usize>, String)>,
    /// Where nothing passes, the set that comes nearest, and what still stands in its way.
    pub nearest: Option<(Vec<usize>, Vec<Fault>)>,
    /// The sets by their size.
    pub levels: Vec<Level>,
    /// What cut branches off.
    pub cuts: Cuts,
    /// Why it ended early, if it did.
    pub stopped: Option<Stopped>,
}

impl Mended {
    /// Before anything is known.
    #[must_use]
    pub fn nothing() -> Self {
        Self {
            now: Vec::new(),
            proposals: Vec::new(),
            unwritten: Vec::new(),
            nearest: None,
            levels: Vec::new(),
            cuts: Cuts::default(),
            stopped: None,
        }
    }

    /// How many sets were judged.
    #[must_use]
    pub fn judged(&self) -> u64 {
        self.levels.iter().map(|level| level.judged).sum()
    }

    /// How many sets there are, of the sizes that were looked at.
    #[must_use]
    pub fn sets(&self) -> u128 {
        self.levels.iter().map(|level| level.sets).sum()
    }

    /// Whether every set of the sizes that were looked at is accounted for.
    #[must_use]
    pub fn is_complete(&self) -> bool {
        self.stopped.is_none() && self.levels.iter().all(|level| level.complete)
    }
}

/// Finds the sets of changes with which everybody is together.
#[must_use]
pub fn mend(question: &Question<'_>, watch: &Watch<'_>) -> Mended {
    let bench = Bench::new(question.patch, question.catalogue, question.aim, question.tempos);
    let found = search::search(&bench, (&[], &Scope::whole(&bench)), question.extent, false, watch);
    let everybody = vec![true; question.patch.original.rig.players()];
    let asked = Asked::of(question, &everybody);
    let whole = |set: &[u16]| set.iter().map(|n| usize::from(*n)).collect::<Vec<_>>();
    let (mut proposals, mut unwritten) = (Vec::new(), Vec::new());
    let judged: Vec<_> = found.passing.par_iter().map(|(set, nudges)| propose(&asked, set, nudges)).collect();
    for ((set, _), judged) in found.passing.iter().zip(judged) {
        match judged {
            Ok(proposal) => proposals.push(proposal),
            Err(why) => unwritten.push((whole(set), why)),
        }
    }
    let room = |p: &Proposal| p.slack.unwrap_or(Span(i64::MAX));
    proposals.sort_by_key(|p| (p.changes.len(), p.cost, Reverse(room(p))));
    Mended {
        now: found.root.faults.into_iter().map(|(fault, _)| fault).collect(),
        proposals,
        unwritten,
        nearest: found.nearest.map(|(set, faults)| (whole(&set), faults)),
        levels: found.levels,
        cuts: found.cuts,
        stopped: found.stopped,
    }
}
