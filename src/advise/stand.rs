use super::target::{Target, pure};
use super::Aim;
use crate::gap::{Reason, Verdict, judge};
use crate::patch::{Rig, StageKind};
use crate::rig::{Reach, Run, play_run};
use crate::time::{Span, Tempo};
use std::hash::{DefaultHasher, Hash, Hasher};

/// A rig on the test stand: one stage at the end of the path, which is set to this and that; the simulator is the judge.
#[derive(Clone, Debug)]
pub(super) struct Stand<'a> {
    rig: Rig,
    slot: usize,
    tempo: Tempo,
    aim: &'a Aim,
    /// For each pair, how far tolerances can move its gap; `None` if nothing bounds that.
    allowances: &'a [Option<Span>],
}

/// What a rig comes to.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Outcome {
    /// Whether every sequencer stands on the one, and all that play meet each other.
    pub(super) right: bool,
    /// How far the worst gap is over the max gap, over all pairs; negative is room.
    pub(super) over: i64,
    /// The same with what tolerances can add; `None` if nothing bounds that.
    pub(super) surely_over: Option<i64>,
    /// Equal prints: everybody plays the same steps on the same pulses.
    pub(super) print: u64,
    /// Why it does not pass.
    pub(super) reasons: Vec<Reason>,
}

/// With or without what tolerances can do.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Care {
    /// The typical run.
    Typical,
    /// Over all tolerances.
    Sure,
}

impl Outcome {
    pub(super) fn over(&self, care: Care) -> Option<i64> {
        match care {
            Care::Typical => Some(self.over),
            Care::Sure => self.surely_over,
        }
    }

    /// Right, and no gap over the max gap.
    pub(super) fn fits(&self, care: Care) -> bool {
        self.right && self.over(care).is_some_and(|over| over <= 0)
    }
}

impl<'a> Stand<'a> {
    pub(super) fn new(
        rig: &Rig,
        target: Target,
        tempo: Tempo,
        aim: &'a Aim,
        allowances: &'a [Option<Span>],
    ) -> Self {
        let (rig, slot) = target.with(rig, pure(Span::ZERO));
        Self { rig, slot, tempo, aim, allowances }
    }

    /// With the stage set to a delay, in the typical run.
    pub(super) fn delayed(&mut self, delay: i64) -> Outcome {
        self.with(pure(Span(delay)), Run::Typical)
    }

    /// With any stage, in any run.
    pub(super) fn with(&mut self, kind: StageKind, run: Run) -> Outcome {
        self.rig.stages[self.slot].kind = kind;
        self.outcome(run).unwrap_or(Outcome { right: false, over: 0, surely_over: None, print: 0, reasons: Vec::new() })
    }

    /// `None` if the rig cannot be played: a loop that keeps itself going.
    fn outcome(&self, run: Run) -> Option<Outcome> {
        let performance = play_run(&self.rig, self.tempo, run).ok()?;
        let verdict = judge(&self.rig, &performance, self.aim.max_gap).ok()?;
        let mut print = DefaultHasher::new();
        for track in &performance.tracks {
            track.sounds.len().hash(&mut print);
            track.sounds.iter().for_each(|s| (s.pulse, s.step).hash(&mut print));
            track.settled.iter().for_each(|s| (s.one, s.pulses_late).hash(&mut print));
            track.moves.iter().for_each(|m| (m.pulse, m.pulses_late).hash(&mut print));
        }
        Some(Outcome {
            right: is_right(&verdict),
            over: over(&verdict, self.aim.max_gap, |_| Some(Span::ZERO)).unwrap_or(0),
            surely_over: over(&verdict, self.aim.max_gap, |pair| self.allowances.get(pair).copied().flatten()),
            print: print.finish(),
            reasons: verdict.reasons,
        })
    }
}

/// Whether all stand on the one and nothing but gaps keeps the rig from passing.
fn is_right(verdict: &Verdict) -> bool {
    verdict.standings.iter().all(|s| s.right)
        && verdict.reasons.iter().all(|r| matches!(r, Reason::GapTooLarge { .. }))
}

fn over(verdict: &Verdict, max_gap: Span, allowance: impl Fn(usize) -> Option<Span>) -> Option<i64> {
    let mut worst = -max_gap.0;
    for (pair, gap) in verdict.gaps.iter().enumerate() {
        if let Some(gap) = gap.worst() {
            worst = worst.max(gap.0 + allowance(pair)?.0 - max_gap.0);
        }
    }
    Some(worst)
}

/// For each pair of players, in the order of [`Verdict::gaps`], how far tolerances can move its gap. A take stands still.
/// `looks` is what a loop that looks at the inputs of a box adds to the hits of that box.
pub(super) fn allowances(rig: &Rig, looks: impl Fn(usize) -> Span) -> Vec<Option<Span>> {
    let (players, boxes) = (rig.players(), rig.sequencers.len());
    let every_two = (0..players).flat_map(|a| (a + 1..players).map(move |b| [a, b]));
    let of = |[a, b]: [usize; 2]| {
        let reach = match (a < boxes, b < boxes) {
            (true, true) => Reach::of_hits(rig, a, Some(b)),
            (true, false) => Reach::of_hits(rig, a, None),
            (false, true) => Reach::of_hits(rig, b, None),
            (false, false) => Reach(Some(Span::ZERO)),
        };
        let looks: i64 = [a, b].iter().filter(|&&s| s < boxes).map(|&s| looks(s).0).sum();
        reach.0.map(|reach| Span(reach.0 + looks))
    };
    every_two.map(of).collect()
}
