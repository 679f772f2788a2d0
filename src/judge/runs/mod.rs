//! Chance: what many runs of a rig come to.
//!
//! Every run is played and judged by itself, on all cores; what is kept of it is whole numbers that add up the same in
//! any order, so that neither threads nor their number change a figure, and memory does not grow with the runs.

mod drawn;
mod dues;
mod histogram;
mod proportion;
mod times;

pub use drawn::left_to_chance;
pub use histogram::Histogram;
pub use proportion::Proportion;
pub use times::{Figures, PERCENTILES, Times};

use super::verdict::judge_pairs;
use super::{Gaps, Reason, Verdict};
use crate::hits::taken;
use crate::patch::Rig;
use crate::rig::{Performance, Rehearsal, RigError, Run};
use crate::time::{LineError, Span, Tempo};
use dues::{Dues, Extent};
use rayon::prelude::*;

/// The reasons for which runs could not be made.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
pub enum RunsError {
    /// The rig cannot be played at this tempo.
    #[error(transparent)]
    Rig(#[from] RigError),
    /// An ideal time does not fit; a checked patch never does that.
    #[error(transparent)]
    Time(#[from] LineError),
}

/// What was asked of runs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Trials {
    /// How many runs, numbered from 1.
    pub runs: u64,
    /// What all of them draw from.
    pub seed: u64,
    /// The largest gap that is still acceptable.
    pub max_gap: Span,
    /// The largest SD of a pair's gap that is still acceptable; `None`: any.
    pub max_wobble: Option<Span>,
}

/// What the runs of a rig at a tempo came to.
#[derive(Clone, Debug, PartialEq)]
pub struct Chances {
    /// What was asked.
    pub trials: Trials,
    /// Which stages of the rig are left to chance, by name; without any, all runs are alike.
    pub drawn: Vec<String>,
    /// The share of runs that fail.
    pub failing: Proportion,
    /// The number of the first run that fails, from 1.
    pub first_failing: Option<u64>,
    /// The worst run: first by how many sequencers never play or pair with nothing, then by the widest gap, then by how
    /// many resets went wrong; of runs alike the first.
    pub worst_run: u64,
    /// Each sequencer, in the rig's order.
    pub sequencers: Vec<Missing>,
    /// Each pair, in the order of [`Verdict::gaps`]: indices of the two, and the second's hits minus the first's; `None`
    /// where nothing ever pairs.
    pub gaps: Vec<([usize; 2], Option<Figures>)>,
    /// For each of those pairs, how often which gap came.
    pub histograms: Vec<Histogram>,
    /// With three sequencers or takes or more: how far apart the first and the last hit of a due beat are, over all due beats on
    /// which at least two of them sound.
    pub spread: Option<Figures>,
}

/// The shares of runs and resets in which a sequencer is off the one.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Missing {
    /// In how many runs it is not on the one throughout; a run in which it never plays is one of them.
    pub runs: Proportion,
    /// After how many ones its counting settles off it: every stretch between two ones counts once.
    pub resets: Proportion,
    /// The first run in which it is off.
    pub first: Option<u64>,
}

impl Missing {
    fn merge(self, other: Self) -> Self {
        let first = self.first.into_iter().chain(other.first).min();
        Self { runs: self.runs.merge(other.runs), resets: self.resets.merge(other.resets), first }
    }
}

impl Chances {
    /// Whether every run passes, and no gap wobbles more than is acceptable.
    #[must_use]
    pub fn passes(&self) -> bool {
        self.failing.seen() == 0 && self.wobbling().next().is_none()
    }

    /// The pairs whose gap has a larger SD than is acceptable, and that SD. Judged in whole picoseconds.
    pub fn wobbling(&self) -> impl Iterator<Item = ([usize; 2], Span)> {
        let over = |sd: &Span| self.trials.max_wobble.is_some_and(|most| *sd > most);
        self.gaps.iter().filter_map(move |(pair, f)| Some((*pair, f.map(|f| f.sd).filter(over)?)))
    }
}

/// How bad a run is; the larger the worse.
type Badness = (usize, Span, u64, std::cmp::Reverse<u64>);

/// What is kept of runs.
#[derive(Clone, Debug)]
struct Tally {
    failing: Proportion,
    first_failing: Option<u64>,
    worst: Option<Badness>,
    sequencers: Vec<Missing>,
    gaps: Vec<Times>,
    spread: Times,
}

impl Tally {
    fn new(rig: &Rig) -> Self {
        // Sequencers and takes: the gaps of all who play.
        let n = rig.players();
        Self {
            failing: Proportion::default(),
            first_failing: None,
            worst: None,
            sequencers: vec![Missing::default(); rig.sequencers.len()],
            gaps: vec![Times::default(); n * n.saturating_sub(1) / 2],
            spread: Times::default(),
        }
    }

    fn add(&mut self, run: u64, performance: &Performance, verdict: &Verdict) {
        let fails = !verdict.passes();
        self.failing.add(u64::from(fails), 1);
        if fails {
            self.first_failing = Some(self.first_failing.map_or(run, |first| first.min(run)));
        }
        let mut resets_off = 0;
        for (missing, (track, standing)) in
            self.sequencers.iter_mut().zip(performance.tracks.iter().zip(&verdict.standings))
        {
            let off = track.settled.iter().filter(|s| s.pulses_late != 0).count() as u64;
            missing.runs.add(u64::from(!standing.right), 1);
            missing.resets.add(off, track.settled.len() as u64);
            if !standing.right {
                missing.first = Some(missing.first.map_or(run, |first| first.min(run)));
            }
            resets_off += off;
        }
        let lost = |r: &&Reason| matches!(r, Reason::NeverPlays { .. } | Reason::PairsWithNothing { .. });
        let silent = verdict.reasons.iter().filter(lost).count();
        let widest = verdict.gaps.iter().filter_map(super::Gap::worst).max().unwrap_or(Span::ZERO);
        self.worst = self.worst.max(Some((silent, widest, resets_off, std::cmp::Reverse(run))));
    }

    fn merge(mut self, other: Self) -> Self {
        self.failing = self.failing.merge(other.failing);
        self.first_failing = self.first_failing.into_iter().chain(other.first_failing).min();
        self.worst = self.worst.max(other.worst);
        self.sequencers.iter_mut().zip(other.sequencers).for_each(|(a, b)| *a = a.merge(b));
        self.gaps.iter_mut().zip(&other.gaps).for_each(|(a, b)| a.merge(b));
        self.spread.merge(&other.spread);
        self
    }
}

/// A tally at work, with what it writes on again and again.
struct Desk {
    tally: Tally,
    performance: Option<Performance>,
    extents: Vec<Extent>,
}

/// Plays and judges runs 1 to `trials.runs` of a rig at a tempo. `each` is called after every run, from any thread.
///
/// # Errors
/// [`RunsError`]; a checked patch has none but [`RigError::TooMany`].
pub fn chances(rig: &Rig, tempo: Tempo, trials: Trials, each: &(dyn Fn() + Sync)) -> Result<Chances, RunsError> {
    let ready = Rehearsal::new(rig, tempo)?;
    let takes = taken(rig, tempo);
    let dues = (rig.players() > 2).then(|| Dues::new(&ready, &takes));
    let desk = || Desk { tally: Tally::new(rig), performance: None, extents: Vec::new() };
    let one = |mut desk: Desk, number: u64| -> Result<Desk, RunsError> {
        let run = Run::Drawn { seed: trials.seed, number };
        let performance = match &mut desk.performance {
            Some(performance) => {
                ready.again(run, performance);
                performance
            }
            none => none.insert(ready.run(run)),
        };
        let Tally { gaps, spread, .. } = &mut desk.tally;
        let keep = |pair: usize, all: &Gaps| all.iter().for_each(|gap| gaps[pair].add(number, gap));
        let verdict = judge_pairs(rig, performance, &takes, trials.max_gap, keep)?;
        if let Some(dues) = &dues {
            dues.spreads(number, performance, &mut desk.extents, spread);
        }
        desk.tally.add(number, performance, &verdict);
        each();
        Ok(desk)
    };
    let tally = (1..=trials.runs)
        .into_par_iter()
        .try_fold(desk, one)
        .map(|desk| desk.map(|d| d.tally))
        .try_reduce(|| Tally::new(rig), |a, b| Ok(a.merge(b)))?;
    let n = rig.players();
    let pairs = (0..n).flat_map(|a| (a + 1..n).map(move |b| [a, b]));
    Ok(Chances {
        trials,
        drawn: left_to_chance(rig),
        failing: tally.failing,
        first_failing: tally.first_failing,
        worst_run: tally.worst.map_or(1, |w| w.3.0),
        sequencers: tally.sequencers,
        gaps: pairs.zip(tally.gaps.iter().map(Times::figures)).collect(),
        histograms: tally.gaps.iter().map(|t| t.histogram().clone()).collect(),
        spread: tally.spread.figures(),
    })
}
