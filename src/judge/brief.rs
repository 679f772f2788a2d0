use super::verdict::all_pairs;
use crate::hits::Taken;
use crate::patch::Rig;
use crate::rig::Performance;
use crate::time::Span;

/// A short verdict, as much as says whether a performance will do: what is asked of thousands of settings one after the other.
/// [`judge`](super::judge) says why, too, and takes ten times as long where the tempo changes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Brief {
    /// For each sequencer and then each take, whether its step 1 stands on the one throughout.
    pub right: Vec<bool>,
    /// For each of these, whether it has a hit.
    pub plays: Vec<bool>,
    /// For each pair, in the order of [`Verdict::gaps`](super::Verdict::gaps), the two and their largest gap without its sign;
    /// `None` where nothing pairs.
    pub worst: Vec<([usize; 2], Option<Span>)>,
}

impl Brief {
    /// Whether all play, meet another one and stand on the one: then nothing but a gap can speak against the performance.
    #[must_use]
    pub fn all_right(&self) -> bool {
        self.are_right(&vec![true; self.right.len()])
    }

    /// The same of those alone who are to be heard.
    #[must_use]
    pub fn are_right(&self, heard: &[bool]) -> bool {
        let both = |between: &[usize; 2]| between.iter().all(|n| heard[*n]);
        let meets = |n: usize| self.worst.iter().any(|(two, worst)| two.contains(&n) && both(two) && worst.is_some());
        let count = heard.iter().filter(|heard| **heard).count();
        let of = |n: usize| self.right[n] && self.plays[n] && (count < 2 || meets(n));
        (0..heard.len()).filter(|n| heard[*n]).all(of)
    }
}

/// Judges a performance in brief. `takes` are those of the rig at its tempo, which are the same whatever is set.
#[must_use]
pub fn brief(rig: &Rig, performance: &Performance, takes: &[Taken]) -> Brief {
    let tracks = performance.tracks.iter();
    let right =
        |track: &crate::rig::Track| !track.settled.is_empty() && track.settled.iter().all(|s| s.pulses_late == 0);
    let mut worst = Vec::new();
    all_pairs(rig, performance, takes, |between, pair| {
        worst.push((between, pair.gaps.worst()));
    });
    Brief {
        right: tracks.clone().map(right).chain(takes.iter().map(|_| true)).collect(),
        plays: tracks.map(|t| !t.sounds.is_empty()).chain(takes.iter().map(|t| !t.hits.is_empty())).collect(),
        worst,
    }
}
