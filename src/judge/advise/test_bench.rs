use super::Aim;
use super::base::Base;
pub(super) use super::outcome::Care;
use super::outcome::{NOTHING, Outcome, print_of};
use super::watch::Watch;
use crate::hits::Taken;
use crate::judge::target::{Target, pure};
use crate::judge::{Brief, Reason, brief, judge};
use crate::patch::{Rig, StageKind, differs};
use crate::rig::{Performance, Reach, Repeat, RigError, Run};
use crate::time::Span;

/// A rig on the test stand: one stage at the end of the path, which is set to this and that; the simulator is the judge.
///
/// Where nobody hangs on the box, the simulator plays the box alone, and the others are as they were.
#[derive(Clone, Debug)]
pub(super) struct TestBench<'a> {
    /// The whole rig, and the box alone.
    whole: Repeat,
    alone: Option<Repeat>,
    base: &'a Base,
    aim: &'a Aim,
    /// For each pair, how far tolerances can move its gap; `None` if nothing bounds that.
    allowances: &'a [Option<Span>],
    watch: &'a Watch<'a>,
}

impl<'a> TestBench<'a> {
    /// Puts the rig up, with the stage at the end of the path to a target.
    ///
    /// # Errors
    /// If it cannot be played at this tempo.
    pub(super) fn new(
        rig: &Rig,
        target: Target,
        base: &'a Base,
        (aim, allowances, watch): (&'a Aim, &'a [Option<Span>], &'a Watch<'a>),
    ) -> Result<Self, RigError> {
        let put = |target: Target, rig: &Rig| {
            let (rig, slot) = target.with(rig, &pure(Span::ZERO));
            Repeat::new(rig, slot, base.tempo)
        };
        let alone = base.others.as_ref().and_then(|_| target.alone(rig));
        let alone = alone.map(|(target, rig)| put(target, &rig)).transpose()?;
        Ok(Self { whole: put(target, rig)?, alone, base, aim, allowances, watch })
    }

    /// The number of pulses that are played for one delay.
    pub(super) fn pulses(&self) -> u128 {
        self.alone.as_ref().unwrap_or(&self.whole).pulses()
    }

    /// Plays the rig with the stage set to a delay, in the typical run.
    pub(super) fn delayed(&mut self, delay: i64) -> Outcome {
        self.with(pure(Span(delay)), Run::Typical)
    }

    /// Plays the rig with any stage, in any run. Nothing, once it is cancelled.
    pub(super) fn with(&mut self, kind: StageKind, run: Run) -> Outcome {
        if self.watch.is_cancelled() {
            return NOTHING;
        }
        self.watch.played(u64::try_from(self.pulses()).unwrap_or(u64::MAX));
        if let (Some(alone), Some(others)) = (&mut self.alone, &self.base.others)
            && (run == Run::Typical || others.are_still())
        {
            let Ok(performance) = alone.play(kind, run) else { return NOTHING };
            let Some(track) = performance.tracks.first() else { return NOTHING };
            return others.with(self.whole.rig(), self.base, track, self.aim, self.allowances);
        }
        // What cannot be played is a loop that keeps itself going.
        if self.whole.play(kind, run).is_err() {
            return NOTHING;
        }
        judged(self.whole.rig(), self.whole.played(), &self.base.takes, self.aim, self.allowances)
    }

    /// The reasons for which a delay does not pass.
    pub(super) fn reasons(&mut self, delay: i64) -> Vec<Reason> {
        if self.watch.is_cancelled() || self.whole.play(pure(Span(delay)), Run::Typical).is_err() {
            return Vec::new();
        }
        let verdict = judge(self.whole.rig(), self.whole.played(), self.aim.max_gap);
        verdict.map(|verdict| verdict.reasons).unwrap_or_default()
    }
}

/// A performance of a whole rig, judged.
pub(super) fn judged(
    rig: &Rig,
    performance: &Performance,
    takes: &[Taken],
    aim: &Aim,
    allowances: &[Option<Span>],
) -> Outcome {
    let brief = brief(rig, performance, takes);
    Outcome {
        right: brief.all_right(),
        over: over(&brief, aim.max_gap, |_| Some(Span::ZERO)).unwrap_or(0),
        surely_over: over(&brief, aim.max_gap, |pair| allowances.get(pair).copied().flatten()),
        print: print_of(&performance.tracks),
    }
}

fn over(brief: &Brief, max_gap: Span, allowance: impl Fn(usize) -> Option<Span>) -> Option<i64> {
    let mut most = -max_gap.0;
    for (pair, (_, worst)) in brief.worst.iter().enumerate() {
        if let Some(worst) = worst {
            most = most.max(worst.0 + allowance(pair)?.0 - max_gap.0);
        }
    }
    Some(most)
}

/// For each pair of players, in the order of [`Brief::worst`], how far tolerances can move its gap at the most in the course
/// of a piece, told by its rigs in turn. A take stands still. `looks` is what a loop that looks at the inputs of a box adds to
/// the hits of that box. `None` too where anything is drawn for a box that is set anew: what is moved across that moment is
/// another hit.
pub(in crate::judge) fn allowances(rigs: &[Rig], looks: impl Fn(usize) -> Span) -> Vec<Option<Span>> {
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
