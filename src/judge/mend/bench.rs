//! Judging a set: each box by itself and each two together, every verdict kept for whatever else is changed besides.

use super::apply::apply;
use super::base::{Base, every_two};
use super::catalogue::Catalogue;
use super::change::Change;
use super::cone::{Cone, Entity, Map};
use super::fault::BoxFault;
use super::kept::Kept;
use super::nudge::{Bound, settle};
use super::set::{packed, unpacked};
use super::trace::Trace;
use crate::hits::taken;
use crate::judge::advise::{Aim, allowances, is_steady, looks_of};
use crate::judge::{Meant, Sure, Target, pair_hits, sure};
use crate::patch::{Patch, ResetMode, Rig};
use crate::rig::{Performance, play};
use crate::time::{Beat, Instant, Span, Tempo};
use std::collections::HashMap;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, Mutex, PoisonError};

/// So many hits of different shapes are kept; some 400 MB.
const MOST_HITS: usize = 8_000_000;

/// What one player sounds at one tempo: when its first hit comes, and which shape it has from there on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Heard {
    first: Instant,
    shape: usize,
}

/// What a box does at a tempo as things usually go, or what is wrong with it.
pub(super) type Played = Result<Heard, BoxFault>;
/// Whether tolerances leave it as it is: a verdict, with what is left.
pub(super) type Safe = Result<Option<Span>, Option<Span>>;

/// Due beats and times from the first hit on.
type Shape = Arc<Vec<(Beat, Instant)>>;

/// The gaps of two shapes whose first hits are together: the smallest and the largest; `None` where nothing pairs.
type Ends = Option<[i64; 2]>;

/// Where sets are judged.
pub(super) struct Bench<'a> {
    patch: &'a Patch,
    pub(super) catalogue: &'a Catalogue,
    pub(super) aim: Aim,
    pub(super) tempos: &'a [Tempo],
    pub(super) map: Map,
    original: Arc<Base>,
    /// What each box hangs on where no cable is moved and no key is set.
    traces: Vec<Arc<Trace>>,
    /// What the hits of every two players hang on there.
    pairs: Vec<Arc<Trace>>,
    pub(super) everything: Arc<Trace>,
    pub(super) takes: Vec<Vec<Heard>>,
    bases: Kept<u64, Result<Arc<Base>, String>>,
    routed: Kept<(usize, u64), Arc<Trace>>,
    played: Kept<(usize, usize, u64), Played>,
    /// All boxes at once, where they have to be played together.
    together: Kept<(usize, u64), Arc<[Played]>>,
    safe: Kept<(usize, usize, u64), Safe>,
    allowed: Kept<([usize; 2], u64), Option<Span>>,
    shapes: Mutex<(HashMap<Shape, usize>, Vec<Shape>)>,
    /// The hits of all of them.
    hits: AtomicUsize,
    ends: Kept<[usize; 2], Ends>,
}

impl<'a> Bench<'a> {
    pub(super) fn new(patch: &'a Patch, catalogue: &'a Catalogue, aim: Aim, tempos: &'a [Tempo]) -> Self {
        let rig = patch.original.rig.clone();
        let map = Map::of(&rig);
        let mut bench = Self {
            patch,
            catalogue,
            aim,
            tempos,
            map,
            original: Arc::new(Base::new(rig)),
            traces: Vec::new(),
            pairs: Vec::new(),
            everything: Arc::new(Trace::new(Cone::everything(map))),
            takes: Vec::new(),
            bases: Kept::new(),
            routed: Kept::new(),
            played: Kept::new(),
            together: Kept::new(),
            safe: Kept::new(),
            allowed: Kept::new(),
            shapes: Mutex::new((HashMap::new(), Vec::new())),
            hits: AtomicUsize::new(0),
            ends: Kept::new(),
        };
        let rig = &bench.original.rig;
        let mut takes = vec![Vec::new(); rig.takes.len()];
        for &tempo in tempos {
            for (take, played) in takes.iter_mut().zip(taken(rig, tempo)) {
                take.push(bench.heard(played.hits.iter().map(|hit| (hit.due, hit.at)).collect()));
            }
        }
        bench.takes = takes;
        let boxes = 0..bench.original.rig.sequencers.len();
        let cone = |s| Arc::new(Trace::new(Cone::of_box(map, &bench.original.rigs, s, &|_| None)));
        bench.traces = boxes.map(cone).collect();
        let traces: Vec<Option<&Trace>> = bench.traces.iter().map(|trace| Some(&**trace)).collect();
        let of = |player: usize| traces.get(player).copied().flatten();
        let pairs = bench.every_two().map(|between| Arc::new(bench.both(between, between.map(of)))).collect();
        bench.pairs = pairs;
        bench
    }

    /// Whether as much is kept in mind as may be.
    pub(super) fn is_full(&self) -> bool {
        self.hits.load(Ordering::Relaxed) > MOST_HITS
    }

    pub(super) fn change(&self, n: u16) -> &'a Change {
        &self.catalogue.offers[usize::from(n)].change
    }

    /// The rig as it is written.
    pub(super) fn rig(&self) -> &Rig {
        &self.original.rig
    }

    /// Those changes of a set that a cone holds, a bit each; nudges move hits alone, and are left out.
    pub(super) fn within(&self, set: &[u16], cone: &Cone) -> u8 {
        let counts = |n: u16| {
            let offer = &self.catalogue.offers[usize::from(n)];
            !matches!(offer.change, Change::Nudge { .. }) && cone.meets(self.map, &offer.touches)
        };
        set.iter().enumerate().fold(0, |own, (n, change)| own | u8::from(counts(*change)) << n)
    }

    pub(super) fn base(&self, set: &[u16]) -> Result<Arc<Base>, String> {
        let is_key = |n: &u16| matches!(self.change(*n), Change::Set { .. });
        if !set.iter().any(is_key) {
            return Ok(Arc::clone(&self.original));
        }
        self.bases.get(&packed(set.iter().copied().filter(is_key)), || {
            let line = |n: &u16| match self.change(*n) {
                Change::Set { path, value } => Some((path.clone(), value.clone())),
                _ => None,
            };
            let lines: Vec<(String, String)> = set.iter().filter_map(line).collect();
            let rig = self.patch.changed(&lines, self.rig().one).map_err(|faults| faults.to_string())?;
            Ok(Arc::new(Base::new(rig)))
        })
    }

    /// Whether a change leaves it as it is what anybody hangs on.
    fn is_plain(&self, n: u16) -> bool {
        match self.change(n) {
            Change::Route { .. } | Change::Set { .. } => false,
            Change::Put { part, .. } => self.catalogue.parts[*part].kind.second().is_none(),
            Change::Nudge { .. } | Change::Turn { .. } => true,
        }
    }

    /// What each box hangs on with a set made; and whether that is what it hangs on without.
    pub(super) fn traces(&self, base: &Base, set: &[u16]) -> (Vec<Arc<Trace>>, bool) {
        let others = packed(set.iter().copied().filter(|n| !self.is_plain(*n)));
        if others == 0 {
            return (self.traces.clone(), true);
        }
        let of = |sequencer| self.routed.get(&(sequencer, others), || self.trace(base, sequencer, others));
        ((0..base.rig.sequencers.len()).map(of).collect(), false)
    }

    fn trace(&self, base: &Base, sequencer: usize, others: u64) -> Arc<Trace> {
        let route = |target: Target| {
            unpacked(others).find_map(|n| match self.change(n) {
                Change::Route { target: own, path } if *own == target => Some(path),
                _ => None,
            })
        };
        let mut cone = Cone::of_box(self.map, &base.rigs, sequencer, &route);
        for n in unpacked(others) {
            let offer = &self.catalogue.offers[usize::from(n)];
            if let Change::Put { part, .. } = &offer.change
                && cone.meets(self.map, &offer.touches)
            {
                cone.add_part(self.map, &base.rig, &self.catalogue.parts[*part].kind);
            }
        }
        Arc::new(Trace::new(cone))
    }

    /// What the hits of two players hang on. `of` are those of the boxes; takes hang on nothing.
    fn both(&self, between: [usize; 2], of: [Option<&Trace>; 2]) -> Trace {
        let mut cone = Cone::of_takes(self.map);
        for (player, trace) in between.into_iter().zip(of) {
            trace.into_iter().for_each(|trace| cone.and(&trace.cone));
            cone.add(self.map, Entity::Player(player));
        }
        Trace::new(cone)
    }

    /// What the hits of two players hang on, the n-th of all pairs. `plain` are those of the boxes as without any change.
    pub(super) fn pair(
        &self,
        (n, between): (usize, [usize; 2]),
        of: [Option<&Trace>; 2],
        is_plain: bool,
    ) -> Arc<Trace> {
        if is_plain { Arc::clone(&self.pairs[n]) } else { Arc::new(self.both(between, of)) }
    }

    /// Every two players.
    pub(super) fn every_two(&self) -> impl Iterator<Item = [usize; 2]> + use<> {
        every_two(self.rig().players())
    }

    /// The offsets to be written: those of the patch with what is added.
    pub(super) fn nudges(&self, nudged: &[usize], bounds: &[Bound]) -> Vec<(usize, Span)> {
        let grains = [1_000_000_000, 100_000_000, 10_000_000, 1_000_000, 1_000, 1];
        let Some((at, _)) = settle(nudged.len() + 1, bounds, &grains) else { return Vec::new() };
        let rig = self.rig();
        let own = |player: usize| match player.checked_sub(rig.sequencers.len()) {
            None => rig.sequencers[player].offset,
            Some(take) => rig.takes[take].offset,
        };
        nudged.iter().zip(&at[1..]).map(|(&player, by)| (player, Span(own(player).0 + by))).collect()
    }

    /// The smallest and the largest gap of two players; `None` where nothing pairs.
    pub(super) fn gaps(&self, a: Heard, b: Heard) -> Ends {
        let ends = self.ends.get(&[a.shape, b.shape], || {
            let shapes = self.shapes.lock().unwrap_or_else(PoisonError::into_inner);
            let (x, y) = (Arc::clone(&shapes.1[a.shape]), Arc::clone(&shapes.1[b.shape]));
            drop(shapes);
            pair_hits(x.to_vec(), y.to_vec()).gaps.ends().map(|[least, most]| [least.0, most.0])
        });
        let apart = (b.first - a.first).0;
        ends.map(|[least, most]| [least + apart, most + apart])
    }

    fn heard(&self, mut hits: Vec<(Beat, Instant)>) -> Heard {
        let first = hits.first().map_or(Instant::START, |hit| hit.1);
        hits.iter_mut().for_each(|hit| hit.1 = Instant((hit.1 - first).0));
        let mut shapes = self.shapes.lock().unwrap_or_else(PoisonError::into_inner);
        let shape = match shapes.0.get(&hits) {
            Some(known) => *known,
            None => {
                self.hits.fetch_add(hits.len(), Ordering::Relaxed);
                let (shape, hits) = (shapes.1.len(), Arc::new(hits));
                shapes.0.insert(Arc::clone(&hits), shape);
                shapes.1.push(hits);
                shape
            }
        };
        Heard { first, shape }
    }

    /// What a box does at a tempo with those changes of a set that it hangs on.
    pub(super) fn played(&self, base: &Base, sequencer: usize, tempo: usize, cone: &Cone, own: u64) -> Played {
        let alone = (!cone.whole).then(|| base.alone(sequencer)).flatten();
        match alone {
            Some(alone) => self.played.get(&(sequencer, tempo, own), || {
                let rig = self.made(base, Some((alone, &[sequencer])), own);
                let performance = play(&rig, self.tempos[tempo]).map_err(|_| BoxFault::NeverPlays)?;
                self.sounds(&rig, 0, &performance)
            }),
            // What is said of one holds as far as the set has all that it hangs on.
            None => self.together.get(&(tempo, own), || {
                let rig = self.made(base, None, own);
                let performance = play(&rig, self.tempos[tempo]);
                let of = |index: usize| match &performance {
                    Ok(performance) => self.sounds(&rig, index, performance),
                    Err(_) => Err(BoxFault::NeverPlays),
                };
                (0..rig.sequencers.len()).map(of).collect()
            })[sequencer],
        }
    }

    /// Whether a box that is right stays so whatever tolerances do.
    pub(super) fn is_safe(&self, base: &Base, sequencer: usize, tempo: usize, cone: &Cone, own: u64) -> Safe {
        self.safe.get(&(sequencer, tempo, own), || {
            let alone = (!cone.whole).then(|| base.alone(sequencer)).flatten();
            let own_box = [sequencer];
            let rig = self.made(base, alone.map(|alone| (alone, own_box.as_slice())), own);
            let index = if alone.is_some() { 0 } else { sequencer };
            let Ok(performance) = play(&rig, self.tempos[tempo]) else { return Err(None) };
            safe(&rig, index, (&performance, &sure(&rig, &performance, self.aim.skew)), &self.aim)
        })
    }

    /// The rig, or some boxes of it alone, with changes made.
    fn made(&self, base: &Base, alone: Option<(&Rig, &[usize])>, set: u64) -> Rig {
        let mut rig = alone.map_or(&base.rig, |(rig, _)| rig).clone();
        let changes = unpacked(set).map(|n| self.change(n));
        apply(&mut rig, &base.rig, alone.map(|(_, own)| own), &self.catalogue.parts, changes);
        rig
    }

    fn sounds(&self, rig: &Rig, index: usize, performance: &Performance) -> Played {
        let track = &performance.tracks[index];
        if track.sounds.is_empty() {
            return Err(BoxFault::NeverPlays);
        }
        let worst = track.settled.iter().map(|s| s.pulses_late).reduce(|w, n| if n.abs() > w.abs() { n } else { w });
        match worst {
            Some(0) => {}
            Some(pulses_late) => return Err(BoxFault::MissesTheOne { pulses_late }),
            None => return Err(BoxFault::NeverPlays),
        }
        let clock = &performance.timelines[rig.origin(&rig.sequencers[index].clock)];
        Ok(self.heard(Meant { track, clock, counting: &performance.countings[index] }.hits()))
    }

    /// How far tolerances can move the gap of two players, the n-th of all pairs.
    pub(super) fn allowed(
        &self,
        base: &Base,
        pair: (usize, [usize; 2]),
        trace: impl FnOnce() -> Arc<Trace>,
        own: u64,
    ) -> Option<Span> {
        self.allowed.get(&(pair.1, own), || {
            let cone = &trace().cone;
            // The two alone say the same in less time.
            let two = (!cone.whole).then(|| base.two(pair));
            let rig = self.made(base, two.as_ref().map(|two| (*two, pair.1.as_slice())), own);
            let rigs = rig.in_turn();
            let looks = |s: usize| looks_of(&rigs, s).unwrap_or(Span::ZERO);
            let place = if two.is_some() { 0 } else { pair.0 };
            allowances(&rigs, looks).get(place).copied().flatten()
        })
    }
}

/// Whether the resets of a box act alike over all tolerances with the skew to spare: what is left, or `None` where nothing near
/// changes anything.
///
/// # Errors
/// Where they do not: what is left, or `None` if that is not known.
pub(super) fn safe(
    rig: &Rig,
    index: usize,
    (performance, sures): (&Performance, &[Option<Sure>]),
    aim: &Aim,
) -> Result<Option<Span>, Option<Span>> {
    let obeys = |s: &crate::patch::Sequencer| s.reset.as_ref().is_some_and(|r| r.mode != ResetMode::Ignored);
    if !rig.ever(index).any(obeys) {
        return Ok(None);
    }
    match sures.get(index).copied().flatten() {
        Some(sure) if sure.bounded && sure.at_risk == 0 => Ok(sure.margin),
        Some(sure) => Err(sure.margin.filter(|_| sure.bounded)),
        None => match is_steady(rig, index, aim, performance.tempo) {
            Ok(true) => Ok(None),
            _ => Err(None),
        },
    }
}
