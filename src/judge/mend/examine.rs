use super::bench::{Base, Bench, Set};
use super::change::Change;
use super::cone::{Cone, Entity};
use super::fault::{BoxFault, Fault};
use super::nudge::{Bound, solve};
use crate::time::Span;
use std::sync::Arc;

/// What was found of a set.
#[derive(Clone, Debug)]
pub(super) struct Examined {
    /// What stands in its way at the first tempo at which anything does, each with what it hangs on; empty if it passes.
    pub(super) faults: Vec<(Fault, Cone)>,
    /// The offsets of the players that are nudged.
    pub(super) nudges: Vec<(usize, Span)>,
}

/// A set while it is judged.
struct Sitting<'s, 'b, 'a> {
    bench: &'b Bench<'a>,
    set: &'s [u16],
    base: Arc<Base>,
    /// For each box what it hangs on, and those changes of the set that are among it.
    boxes: Vec<(Arc<Cone>, Set)>,
    nudged: Vec<usize>,
    /// What two players of whom one is nudged ask of the nudges, and who they are.
    bounds: Vec<Bound>,
    pairs: Vec<([usize; 2], Cone)>,
}

impl Bench<'_> {
    /// Judges a set tempo by tempo: first as things usually go, each box and every two players; and last over all tolerances.
    /// Most that fail do so at once, and nothing more is played for them.
    pub(super) fn examine(&self, set: &[u16]) -> Examined {
        let failed = |why: String| {
            let faults = vec![(Fault::Unplayable(why), Cone::everything(self.map))];
            Examined { faults, nudges: Vec::new() }
        };
        let base = match self.base(set) {
            Ok(base) => base,
            Err(why) => return failed(why),
        };
        if base.rig.sequencers.len() != self.rig().sequencers.len() || base.rig.players() != self.rig().players() {
            return failed("a box would be gone".to_owned());
        }
        let of = |s: usize| {
            let cone = self.cone(&base, set, s);
            let own = self.within(set, &cone);
            (cone, own)
        };
        let boxes = (0..base.rig.sequencers.len()).map(of).collect();
        let nudged = set.iter().filter_map(|&n| match self.change(n) {
            Change::Nudge { player } => Some(*player),
            _ => None,
        });
        let nudged = nudged.collect();
        Sitting { bench: self, set, base, boxes, nudged, bounds: Vec::new(), pairs: Vec::new() }.held()
    }
}

impl Sitting<'_, '_, '_> {
    fn held(&mut self) -> Examined {
        let failed = |faults| Examined { faults, nudges: Vec::new() };
        let tempos = 0..self.bench.tempos.len();
        for tempo in tempos.clone() {
            let faults = self.usual(tempo);
            if !faults.is_empty() {
                return failed(faults);
            }
        }
        for tempo in tempos {
            let faults = self.at_risk(tempo);
            if !faults.is_empty() {
                return failed(faults);
            }
        }
        let nudges = if self.nudged.is_empty() { Vec::new() } else { self.bench.nudges(&self.nudged, &self.bounds) };
        Examined { faults: Vec::new(), nudges }
    }

    /// What is wrong at a tempo as things usually go, and what tolerances add to gaps.
    fn usual(&mut self, at: usize) -> Vec<(Fault, Cone)> {
        let (bench, tempo) = (self.bench, self.bench.tempos[at]);
        let mut faults = Vec::new();
        let mut heard = Vec::new();
        for (sequencer, (cone, own)) in self.boxes.iter().enumerate() {
            let played = bench.played(&self.base, sequencer, at, cone, own);
            heard.push(played.ok());
            if let Err(what) = played {
                faults.push((Fault::Box { sequencer, tempo, what }, Cone::clone(cone)));
            }
        }
        heard.extend(bench.takes.iter().map(|take| take.get(at).copied()));
        let players = heard.len();
        let mut meets = vec![players < 2; players];
        for [a, b] in (0..players).flat_map(|a| (a + 1..players).map(move |b| [a, b])) {
            let (Some(one), Some(other)) = (heard[a], heard[b]) else {
                // Of who does not play as meant, nothing is known.
                (meets[a], meets[b]) = (true, true);
                continue;
            };
            let Some([least, most]) = bench.gaps(one, other) else { continue };
            (meets[a], meets[b]) = (true, true);
            faults.extend(self.apart([a, b], at, [least, most]));
        }
        for (player, _) in meets.iter().enumerate().filter(|(_, meets)| !**meets) {
            faults.push((Fault::MeetsNobody { player, tempo }, Cone::everything(bench.map)));
        }
        if let Err(circle) = solve(self.nudged.len() + 1, &self.bounds) {
            let mut cone = self.pairs[circle[0]].1.clone();
            circle.iter().for_each(|pair| cone.and(&self.pairs[*pair].1));
            let mut pairs: Vec<[usize; 2]> = circle.iter().map(|pair| self.pairs[*pair].0).collect();
            pairs.sort_unstable();
            pairs.dedup();
            faults.push((Fault::Knot { pairs }, cone));
        }
        faults
    }

    /// Whether two players are too far apart, with what tolerances can add; where one is nudged, what that asks of the nudge.
    fn apart(&mut self, between: [usize; 2], at: usize, [least, most]: [i64; 2]) -> Option<(Fault, Cone)> {
        let (bench, limit) = (self.bench, self.bench.aim.max_gap.0);
        let [from, to] = between.map(|player| self.nudged.iter().position(|n| *n == player).map_or(0, |n| n + 1));
        let (late, early) = (most, -least);
        let fault = |cone: Cone, allowed: Option<Span>| {
            let gap = Span(if late >= early { most } else { least });
            let over = allowed.map(|allowed| Span(gap.abs().0 + allowed.0 - limit));
            Some((Fault::Apart { between, tempo: bench.tempos[at], gap, over }, cone))
        };
        let mut both = self.of_player(between[0]);
        both.and(&self.of_player(between[1]));
        // Too wide without any tolerance: that is enough to know.
        if (from == to && late.max(early) > limit) || late.saturating_add(early) > 2 * limit {
            return fault(both, Some(Span::ZERO));
        }
        let own = bench.within(self.set, &both);
        let allowed = bench.allowed(&self.base, between, &both, &own);
        let Some(allowance) = allowed else { return fault(both, None) };
        let room = |worst: i64| limit - allowance.0 - worst;
        if from != to {
            let pair = self.pairs.len();
            self.pairs.push((between, both));
            self.bounds.push(Bound { from, to, most: room(late), pair });
            self.bounds.push(Bound { from: to, to: from, most: room(early), pair });
            return None;
        }
        if room(late).min(room(early)) < 0 { fault(both, allowed) } else { None }
    }

    /// What the hits of a player hang on.
    fn of_player(&self, player: usize) -> Cone {
        let map = self.bench.map;
        let mut cone = self.boxes.get(player).map_or_else(|| Cone::of_takes(map), |(cone, _)| Cone::clone(cone));
        cone.add(map, Entity::Player(player));
        cone
    }

    /// The boxes whose resets hang on luck at a tempo.
    fn at_risk(&self, at: usize) -> Vec<(Fault, Cone)> {
        let tempo = self.bench.tempos[at];
        let of = |(sequencer, (cone, own)): (usize, &(Arc<Cone>, Set))| {
            let margin = self.bench.is_safe(&self.base, sequencer, at, cone, own).err()?;
            Some((Fault::Box { sequencer, tempo, what: BoxFault::AtRisk { margin } }, Cone::clone(cone)))
        };
        self.boxes.iter().enumerate().filter_map(of).collect()
    }
}
