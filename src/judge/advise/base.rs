use super::Aim;
use super::outcome::{Outcome, print_of};
use crate::hits::{Taken, taken};
use crate::judge::target::Target;
use crate::judge::{Brief, Meant, brief, pair, pair_hits, runs::left_to_chance};
use crate::patch::Rig;
use crate::rig::{Performance, Track, play};
use crate::time::{Beat, Instant, Span, Tempo};

/// What a rig does at one tempo, whatever is put into the path: where nobody hangs on the box, only its own track changes.
#[derive(Clone, Debug)]
pub(super) struct Base {
    pub(super) tempo: Tempo,
    /// What the rig plays with nothing put in.
    pub(super) performance: Performance,
    /// What takes play at this tempo.
    pub(super) takes: Vec<Taken>,
    pub(super) brief: Brief,
    pub(super) others: Option<Others>,
}

/// The others, who do not care.
#[derive(Clone, Debug)]
pub(super) struct Others {
    target: usize,
    /// Whether all of them stand on the one.
    right: bool,
    /// Whether every one of them has a hit.
    play: bool,
    /// For each player, whether it meets another one than this box.
    meet: Vec<bool>,
    /// How far their worst gap is over the max gap: in the typical run, and over all tolerances.
    over: (i64, Option<i64>),
    /// Whether they do the same in every run.
    still: bool,
}

impl Base {
    /// Plays the rig once. `free` says that nobody hangs on the box, and nothing queues behind it.
    ///
    /// # Errors
    /// If the rig cannot be played.
    pub(super) fn new(
        rig: &Rig,
        target: Target,
        tempo: Tempo,
        aim: &Aim,
        allowances: &[Option<Span>],
        free: bool,
    ) -> Result<Self, super::AdviseError> {
        let performance = play(rig, tempo)?;
        let takes = taken(rig, tempo);
        let brief = brief(rig, &performance, &takes);
        let others = free.then(|| Others::new(rig, target.sequencer, &brief, aim, allowances));
        Ok(Self { tempo, performance, takes, brief, others })
    }
}

impl Others {
    fn new(rig: &Rig, target: usize, brief: &Brief, aim: &Aim, allowances: &[Option<Span>]) -> Self {
        let apart = || brief.worst.iter().enumerate().filter(|(_, (between, _))| !between.contains(&target));
        let others = |all: &[bool]| all.iter().enumerate().all(|(n, yes)| n == target || *yes);
        let over = |allowance: &dyn Fn(usize) -> Option<Span>| {
            apart()
                .filter_map(|(n, (_, worst))| Some((n, (*worst)?)))
                .try_fold(-aim.max_gap.0, |over, (n, worst)| Some(over.max(worst.0 + allowance(n)?.0 - aim.max_gap.0)))
        };
        let meets = |player: usize| apart().any(|(_, (between, worst))| between.contains(&player) && worst.is_some());
        Self {
            target,
            right: others(&brief.right),
            play: others(&brief.plays),
            meet: (0..rig.players()).map(meets).collect(),
            over: (over(&|_| Some(Span::ZERO)).unwrap_or(0), over(&|n| allowances.get(n).copied().flatten())),
            still: left_to_chance(rig).is_empty(),
        }
    }

    /// Whether they do the same in every run.
    pub(super) const fn are_still(&self) -> bool {
        self.still
    }

    /// What becomes of the rig when the box plays this.
    pub(super) fn with(
        &self,
        rig: &Rig,
        base: &Base,
        track: &Track,
        aim: &Aim,
        allowances: &[Option<Span>],
    ) -> Outcome {
        let of = |s: usize| Meant {
            track: if s == self.target { track } else { &base.performance.tracks[s] },
            clock: &base.performance.timelines[rig.origin(&rig.sequencers[s].clock)],
            counting: &base.performance.countings[s],
        };
        let (players, boxes) = (rig.players(), rig.sequencers.len());
        let mut meet = self.meet.clone();
        let (mut over, mut surely_over) = self.over;
        // Pairs are numbered as a verdict lists them: all of the first, then all of the second.
        let place = |a: usize, b: usize| (0..a).map(|n| players - 1 - n).sum::<usize>() + b - a - 1;
        for other in (0..players).filter(|n| *n != self.target) {
            let (a, b) = (self.target.min(other), self.target.max(other));
            let gaps = if b < boxes {
                pair(of(a), of(b)).gaps
            } else {
                let hits: Vec<(Beat, Instant)> = base.takes[b - boxes].hits.iter().map(|h| (h.due, h.at)).collect();
                pair_hits(of(a).hits(), hits).gaps
            };
            let Some(worst) = gaps.worst() else { continue };
            (meet[a], meet[b]) = (true, true);
            over = over.max(worst.0 - aim.max_gap.0);
            let allowance = allowances.get(place(a, b)).copied().flatten();
            surely_over = surely_over.zip(allowance).map(|(o, allowance)| o.max(worst.0 + allowance.0 - aim.max_gap.0));
        }
        let settled = !track.settled.is_empty() && track.settled.iter().all(|s| s.pulses_late == 0);
        let all_play = self.play && !track.sounds.is_empty();
        let right = self.right && settled && all_play && (players == 1 || meet.iter().all(|m| *m));
        Outcome { right, over, surely_over, print: print_of([track]) }
    }
}
