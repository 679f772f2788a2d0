use super::Aim;
use super::base::Base;
use super::target::{Target, pure, set};
use crate::gap::{Reason, Verdict, judge};
use crate::patch::{Rig, StageKind, differs};
use crate::rig::{Performance, Reach, Run, Track, play_run};
use crate::time::Span;
use std::hash::{DefaultHasher, Hash, Hasher};

/// A rig on the test stand: one stage at the end of the path, which is set to this and that; the simulator is the judge.
///
/// Where nobody hangs on the box, the simulator plays the box alone, and the others are as they were.
#[derive(Clone, Debug)]
pub(super) struct Stand<'a> {
    /// The whole rig, or the box alone.
    whole: (Rig, usize),
    alone: Option<(Rig, usize)>,
    base: &'a Base,
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

/// What cannot be played.
pub(super) const NOTHING: Outcome = Outcome { right: false, over: 0, surely_over: None, print: 0 };

impl<'a> Stand<'a> {
    pub(super) fn new(rig: &Rig, target: Target, base: &'a Base, aim: &'a Aim, allowances: &'a [Option<Span>]) -> Self {
        let alone = base.others.as_ref().and_then(|_| target.alone(rig));
        let alone = alone.map(|(target, rig)| target.with(&rig, pure(Span::ZERO)));
        Self { whole: target.with(rig, pure(Span::ZERO)), alone, base, aim, allowances }
    }

    /// With the stage set to a delay, in the typical run.
    pub(super) fn delayed(&mut self, delay: i64) -> Outcome {
        self.with(pure(Span(delay)), Run::Typical)
    }

    /// With any stage, in any run.
    pub(super) fn with(&mut self, kind: StageKind, run: Run) -> Outcome {
        if let (Some((alone, slot)), Some(others)) = (&mut self.alone, &self.base.others)
            && (run == Run::Typical || others.are_still())
        {
            set(alone, *slot, kind);
            let Ok(performance) = play_run(alone, self.base.tempo, run) else { return NOTHING };
            let Some(track) = performance.tracks.first() else { return NOTHING };
            return others.with(&self.whole.0, self.base, track, self.aim, self.allowances);
        }
        self.played(kind, run).map_or(NOTHING, |(outcome, _)| outcome)
    }

    /// Why a delay does not pass.
    pub(super) fn reasons(&mut self, delay: i64) -> Vec<Reason> {
        self.played(pure(Span(delay)), Run::Typical).map(|(_, reasons)| reasons).unwrap_or_default()
    }

    /// The whole rig; `None` if it cannot be played: a loop that keeps itself going.
    fn played(&mut self, kind: StageKind, run: Run) -> Option<(Outcome, Vec<Reason>)> {
        let (rig, slot) = &mut self.whole;
        set(rig, *slot, kind);
        let performance = play_run(rig, self.base.tempo, run).ok()?;
        judged(rig, &performance, self.aim, self.allowances)
    }
}

/// A performance of a whole rig, judged.
pub(super) fn judged(
    rig: &Rig,
    performance: &Performance,
    aim: &Aim,
    allowances: &[Option<Span>],
) -> Option<(Outcome, Vec<Reason>)> {
    let verdict = judge(rig, performance, aim.max_gap).ok()?;
    let outcome = Outcome {
        right: is_right(&verdict),
        over: over(&verdict, aim.max_gap, |_| Some(Span::ZERO)).unwrap_or(0),
        surely_over: over(&verdict, aim.max_gap, |pair| allowances.get(pair).copied().flatten()),
        print: print_of(&performance.tracks),
    };
    Some((outcome, verdict.reasons))
}

/// Equal for equal steps on equal pulses.
pub(super) fn print_of<'t>(tracks: impl IntoIterator<Item = &'t Track>) -> u64 {
    let mut print = DefaultHasher::new();
    for track in tracks {
        track.sounds.len().hash(&mut print);
        track.sounds.iter().for_each(|s| (s.pulse, s.step).hash(&mut print));
        track.settled.iter().for_each(|s| (s.one, s.pulses_late).hash(&mut print));
        track.moves.iter().for_each(|m| (m.pulse, m.pulses_late).hash(&mut print));
    }
    print.finish()
}

/// Whether all stand on the one and nothing but gaps keeps the rig from passing.
fn is_right(verdict: &Verdict) -> bool {
    verdict.standings.iter().all(|s| s.right) && verdict.reasons.iter().all(|r| matches!(r, Reason::GapTooLarge { .. }))
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

/// For each pair of players, in the order of [`Verdict::gaps`], how far tolerances can move its gap at the most in the course
/// of a piece, told by its rigs in turn. A take stands still. `looks` is what a loop that looks at the inputs of a box adds to
/// the hits of that box. `None` too where anything is drawn for a box that is set anew: what is moved across that moment is
/// another hit.
pub(super) fn allowances(rigs: &[Rig], looks: impl Fn(usize) -> Span) -> Vec<Option<Span>> {
    let (players, boxes) = (rigs[0].players(), rigs[0].sequencers.len());
    let every_two = (0..players).flat_map(|a| (a + 1..players).map(move |b| [a, b]));
    let unsure: Vec<bool> = (0..boxes).map(|s| is_set_anew(rigs, s) && !is_still(rigs, s)).collect();
    let of = |[a, b]: [usize; 2]| {
        let both = || [a, b].into_iter().filter(|&s| s < boxes);
        if both().any(|s| unsure[s]) {
            return None;
        }
        let reach = |rig: &Rig| match (a < boxes, b < boxes) {
            (true, true) => Reach::of_hits(rig, &[], a, Some(b)).0,
            (true, false) => Reach::of_hits(rig, &[], a, None).0,
            (false, true) => Reach::of_hits(rig, &[], b, None).0,
            (false, false) => Some(Span::ZERO),
        };
        let most = rigs.iter().map(reach).collect::<Option<Vec<Span>>>()?.into_iter().max()?;
        let looks: i64 = both().map(|s| looks(s).0).sum();
        // Two hits of two instants of the clock are off against each other by its own jitter too.
        Some(Span(most.0 + looks + Reach::swing(&rigs[0]).0))
    };
    every_two.map(of).collect()
}

/// Whether anything that a box's hits depend on is set anew in the course of a piece.
fn is_set_anew(rigs: &[Rig], s: usize) -> bool {
    let to_the_ear = |rig: &Rig| {
        let sequencer = &rig.sequencers[s];
        let out = sequencer.out.iter().map(|&stage| (stage, rig.stages[stage].kind.clone()));
        (sequencer.latency, sequencer.offset, out.collect::<Vec<_>>())
    };
    rigs.windows(2).any(|two| differs(&two[0], &two[1], s) || to_the_ear(&two[0]) != to_the_ear(&two[1]))
}

/// Whether a box's hits are the same in every run.
fn is_still(rigs: &[Rig], s: usize) -> bool {
    rigs.iter().all(|rig| rig.sequencers[s].poll.is_none() && Reach::of_hits(rig, &[], s, None).0 == Some(Span::ZERO))
}
