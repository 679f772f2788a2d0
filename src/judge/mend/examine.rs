//! Whether everybody is together with a set of changes, and if not, who stands in the way and what that hangs on.

use super::base::Base;
use super::bench::Bench;
use super::change::Change;
use super::cone::Cone;
use super::fault::{BoxFault, Fault};
use super::nudge::{Bound, solve};
use super::set::packed;
use super::trace::Trace;
use crate::time::Span;
use std::sync::Arc;

/// What was found of a set.
#[derive(Clone, Debug)]
pub(super) struct Examined {
    /// What stands in its way at the first tempo at which anything does, each with what it hangs on; empty if it passes.
    pub(super) faults: Vec<(Fault, Arc<Trace>)>,
    /// The offsets of the players that are nudged.
    pub(super) nudges: Vec<(usize, Span)>,
    /// Of a set that passes: the players that are nudged, and what must hold of what is added to their offsets, theirs being 1 and
    /// on, all others' 0.
    pub(super) asked: (Vec<usize>, Vec<Bound>),
}

/// Where and of whom something must hold.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Scope {
    /// Indices of the bench's tempos, in the order in which they are looked at.
    pub(super) tempos: Vec<usize>,
    /// Which players are to be heard; of the others nothing is asked.
    pub(super) plays: Vec<bool>,
}

impl Scope {
    /// Every tempo of a bench, and everybody.
    pub(super) fn whole(bench: &Bench<'_>) -> Self {
        Self { tempos: (0..bench.tempos.len()).collect(), plays: vec![true; bench.rig().players()] }
    }
}

/// A set while it is judged.
struct Sitting<'s, 'b, 'a> {
    bench: &'b Bench<'a>,
    set: &'s [u16],
    scope: &'s Scope,
    base: Arc<Base>,
    /// For each box what it hangs on, and those changes of the set that are among it, a bit each.
    boxes: Vec<(Arc<Trace>, u8)>,
    /// Whether all hang on what they hang on without the set.
    is_plain: bool,
    nudged: Vec<usize>,
    /// What two players of whom one is nudged ask of the nudges, and who they are.
    bounds: Vec<Bound>,
    pairs: Vec<(usize, [usize; 2])>,
}

impl Bench<'_> {
    /// Judges a set tempo by tempo: first as things usually go, each box and every two players; and last over all tolerances.
    /// Most that fail do so at once, and nothing more is played for them.
    pub(super) fn examine(&self, set: &[u16], scope: &Scope) -> Examined {
        let failed = |why: String| {
            let faults = vec![(Fault::Unplayable(why), Arc::clone(&self.everything))];
            Examined { faults, nudges: Vec::new(), asked: Default::default() }
        };
        let base = match self.base(set) {
            Ok(base) => base,
            Err(why) => return failed(why),
        };
        if base.rig.sequencers.len() != self.rig().sequencers.len() || base.rig.players() != self.rig().players() {
            return failed("a box would be gone".to_owned());
        }
        let (traces, is_plain) = self.traces(&base, set);
        let within = |trace: Arc<Trace>| {
            let own = self.within(set, &trace.cone);
            (trace, own)
        };
        let boxes = traces.into_iter().map(within).collect();
        let nudged = set.iter().filter_map(|&n| match self.change(n) {
            Change::Nudge { player } => Some(*player),
            _ => None,
        });
        let nudged = nudged.collect();
        let (bounds, pairs) = (Vec::new(), Vec::new());
        Sitting { bench: self, set, scope, base, boxes, is_plain, nudged, bounds, pairs }.held()
    }
}

impl Sitting<'_, '_, '_> {
    fn held(mut self) -> Examined {
        let failed = |faults| Examined { faults, nudges: Vec::new(), asked: Default::default() };
        for &tempo in &self.scope.tempos {
            let faults = self.usual(tempo);
            if !faults.is_empty() {
                return failed(faults);
            }
        }
        for &tempo in &self.scope.tempos {
            let faults = self.at_risk(tempo);
            if !faults.is_empty() {
                return failed(faults);
            }
        }
        let nudges = if self.nudged.is_empty() { Vec::new() } else { self.bench.nudges(&self.nudged, &self.bounds) };
        Examined { faults: Vec::new(), nudges, asked: (self.nudged, self.bounds) }
    }

    /// Those changes of the set whose bits are set, as a word.
    fn of(&self, own: u8) -> u64 {
        let is_own = |(n, change): (usize, &u16)| (own & (1 << n) != 0).then_some(*change);
        packed(self.set.iter().enumerate().filter_map(is_own))
    }

    fn plays(&self, player: usize) -> bool {
        self.scope.plays[player]
    }

    /// What is wrong at a tempo as things usually go, and what tolerances add to gaps.
    fn usual(&mut self, at: usize) -> Vec<(Fault, Arc<Trace>)> {
        let (bench, tempo) = (self.bench, self.bench.tempos[at]);
        let mut faults = Vec::new();
        let mut heard = Vec::new();
        for (sequencer, (trace, own)) in self.boxes.iter().enumerate() {
            if !self.plays(sequencer) {
                heard.push(None);
                continue;
            }
            let played = bench.played(&self.base, sequencer, at, &trace.cone, self.of(*own));
            heard.push(played.ok());
            if let Err(what) = played {
                faults.push((Fault::Box { sequencer, tempo, what }, Arc::clone(trace)));
            }
        }
        heard.extend(bench.takes.iter().map(|take| take.get(at).copied()));
        let playing = self.scope.plays.iter().filter(|plays| **plays).count();
        let mut meets: Vec<bool> = self.scope.plays.iter().map(|plays| playing < 2 || !plays).collect();
        for (n, [a, b]) in
            bench.every_two().enumerate().filter(|(_, [a, b])| self.scope.plays[*a] && self.scope.plays[*b])
        {
            let (Some(one), Some(other)) = (heard[a], heard[b]) else {
                // Of who does not play as meant, nothing is known.
                (meets[a], meets[b]) = (true, true);
                continue;
            };
            let Some([least, most]) = bench.gaps(one, other) else { continue };
            (meets[a], meets[b]) = (true, true);
            faults.extend(self.apart((n, [a, b]), at, [least, most]));
        }
        for (player, _) in meets.iter().enumerate().filter(|(_, meets)| !**meets) {
            faults.push((Fault::MeetsNobody { player, tempo }, Arc::clone(&bench.everything)));
        }
        if let Err(circle) = solve(self.nudged.len() + 1, &self.bounds) {
            let mut cone = Cone::of_takes(bench.map);
            circle.iter().for_each(|pair| cone.and(&self.pair(self.pairs[*pair]).cone));
            let mut pairs: Vec<[usize; 2]> = circle.iter().map(|pair| self.pairs[*pair].1).collect();
            pairs.sort_unstable();
            pairs.dedup();
            faults.push((Fault::Knot { pairs }, Arc::new(Trace::new(cone))));
        }
        faults
    }

    /// What the hits of two players hang on, the n-th of all pairs.
    fn pair(&self, pair: (usize, [usize; 2])) -> Arc<Trace> {
        let of = |player: usize| self.boxes.get(player).map(|(trace, _)| &**trace);
        self.bench.pair(pair, pair.1.map(of), self.is_plain)
    }

    /// Whether two players are too far apart, with what tolerances can add; where one is nudged, what that asks of the nudge.
    fn apart(&mut self, pair: (usize, [usize; 2]), at: usize, [least, most]: [i64; 2]) -> Option<(Fault, Arc<Trace>)> {
        let (bench, limit, between) = (self.bench, self.bench.aim.max_gap.0, pair.1);
        let [from, to] = between.map(|player| self.nudged.iter().position(|n| *n == player).map_or(0, |n| n + 1));
        let (late, early) = (most, -least);
        let fault = |trace: Arc<Trace>, allowed: Option<Span>| {
            let gap = Span(if late >= early { most } else { least });
            let over = allowed.map(|allowed| Span(gap.abs().0 + allowed.0 - limit));
            Some((Fault::Apart { between, tempo: bench.tempos[at], gap, over }, trace))
        };
        // Too wide without any tolerance: that is enough to know.
        if (from == to && late.max(early) > limit) || late.saturating_add(early) > 2 * limit {
            return fault(self.pair(pair), Some(Span::ZERO));
        }
        let own = between.iter().filter_map(|player| self.boxes.get(*player)).fold(0, |all, (_, own)| all | own);
        let allowed = bench.allowed(&self.base, pair, || self.pair(pair), self.of(own));
        let Some(allowance) = allowed else { return fault(self.pair(pair), None) };
        let room = |worst: i64| limit - allowance.0 - worst;
        if from != to {
            let (of, most) = (self.pairs.len(), [room(late), room(early)]);
            self.pairs.push(pair);
            self.bounds.push(Bound { from, to, most: most[0], pair: of });
            self.bounds.push(Bound { from: to, to: from, most: most[1], pair: of });
            return None;
        }
        if room(late).min(room(early)) < 0 { fault(self.pair(pair), allowed) } else { None }
    }

    /// The boxes whose resets hang on luck at a tempo.
    fn at_risk(&self, at: usize) -> Vec<(Fault, Arc<Trace>)> {
        let tempo = self.bench.tempos[at];
        let of = |(sequencer, (trace, own)): (usize, &(Arc<Trace>, u8))| {
            let margin = self.bench.is_safe(&self.base, sequencer, at, &trace.cone, self.of(*own)).err()?;
            Some((Fault::Box { sequencer, tempo, what: BoxFault::AtRisk { margin } }, Arc::clone(trace)))
        };
        self.boxes.iter().enumerate().filter(|(player, _)| self.plays(*player)).filter_map(of).collect()
    }
}
