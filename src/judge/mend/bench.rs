//! Judging a set: each box by itself and each two together, every verdict kept for whatever else is changed besides.

use super::apply::apply;
use super::catalogue::Catalogue;
use super::change::Change;
use super::cone::{Cone, Map, Route};
use super::fault::BoxFault;
use super::nudge::{Bound, settle};
use crate::hits::taken;
use crate::judge::advise::{Aim, allowances, is_steady, looks_of};
use crate::judge::{Input, Meant, Sure, Target, pair_hits, sure};
use crate::patch::{Patch, ResetMode, Rig};
use crate::rig::{Performance, play};
use crate::time::{Beat, Instant, Span, Tempo};
use std::collections::HashMap;
use std::hash::{BuildHasher, Hash, RandomState};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, Mutex, OnceLock, PoisonError};

/// A set of changes: indices into the offers of the catalogue, in order.
pub(super) type Set = Vec<u16>;

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

/// A rig with keys set, and what follows from that alone.
pub(super) struct Base {
    pub(super) rig: Rig,
    rigs: Vec<Rig>,
    alone: Vec<OnceLock<Option<Rig>>>,
}

/// Verdicts that are known, in parts that do not wait for each other.
struct Kept<K, V> {
    parts: Vec<Mutex<HashMap<K, V>>>,
    hasher: RandomState,
}

const PARTS: usize = 16;
/// So many verdicts of a kind are kept at the most; beyond, they are worked out again. A verdict is some 200 bytes.
const MOST_KEPT: usize = 1 << 19;
/// So many hits of different shapes are kept; some 400 MB.
const MOST_HITS: usize = 8_000_000;

impl<K: Hash + Eq + Clone, V: Clone> Kept<K, V> {
    fn new() -> Self {
        Self { parts: (0..PARTS).map(|_| Mutex::new(HashMap::new())).collect(), hasher: RandomState::new() }
    }

    fn get(&self, key: &K, make: impl FnOnce() -> V) -> V {
        let part = &self.parts[(self.hasher.hash_one(key) as usize) % PARTS];
        if let Some(known) = part.lock().unwrap_or_else(PoisonError::into_inner).get(key) {
            return known.clone();
        }
        let made = make();
        let mut part = part.lock().unwrap_or_else(PoisonError::into_inner);
        if part.len() < MOST_KEPT / PARTS {
            part.insert(key.clone(), made.clone());
        }
        made
    }
}

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
    cones: Vec<Arc<Cone>>,
    pub(super) takes: Vec<Vec<Heard>>,
    bases: Kept<Set, Result<Arc<Base>, String>>,
    played: Kept<(usize, usize, Set), Played>,
    /// All boxes at once, where they have to be played together.
    together: Kept<(usize, Set), Arc<[Played]>>,
    safe: Kept<(usize, usize, Set), Safe>,
    allowed: Kept<([usize; 2], Set), Option<Span>>,
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
            cones: Vec::new(),
            takes: Vec::new(),
            bases: Kept::new(),
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
        bench.cones = boxes.map(|s| Arc::new(Cone::of_box(map, &bench.original.rigs, s, &|_| None))).collect();
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

    /// Those changes of a set that a cone holds; nudges move hits alone, and are left out.
    pub(super) fn within(&self, set: &[u16], cone: &Cone) -> Set {
        let counts = |n: &&u16| {
            let offer = &self.catalogue.offers[usize::from(**n)];
            !matches!(offer.change, Change::Nudge { .. }) && cone.meets(self.map, &offer.touches)
        };
        set.iter().filter(counts).copied().collect()
    }

    pub(super) fn base(&self, set: &[u16]) -> Result<Arc<Base>, String> {
        let keys: Set = set.iter().filter(|n| matches!(self.change(**n), Change::Set { .. })).copied().collect();
        if keys.is_empty() {
            return Ok(Arc::clone(&self.original));
        }
        self.bases.get(&keys, || {
            let lines: Vec<(String, String)> = keys
                .iter()
                .filter_map(|n| match self.change(*n) {
                    Change::Set { path, value } => Some((path.clone(), value.clone())),
                    _ => None,
                })
                .collect();
            let rig = self.patch.changed(&lines, self.rig().one).map_err(|faults| faults.to_string())?;
            Ok(Arc::new(Base::new(rig)))
        })
    }

    pub(super) fn cone(&self, base: &Base, set: &[u16], sequencer: usize) -> Arc<Cone> {
        let plain = |n: &u16| match self.change(*n) {
            Change::Route { .. } | Change::Set { .. } => false,
            Change::Put { part, .. } => self.catalogue.parts[*part].kind.second().is_none(),
            Change::Nudge { .. } | Change::Turn { .. } => true,
        };
        if set.iter().all(plain) {
            return Arc::clone(&self.cones[sequencer]);
        }
        let route = |target: Target| {
            set.iter().find_map(|&n| match self.change(n) {
                Change::Route { target: own, path } if *own == target => Some(path),
                _ => None,
            })
        };
        let mut cone = routed(self.map, base, sequencer, &route);
        for &n in set {
            let offer = &self.catalogue.offers[usize::from(n)];
            if let Change::Put { part, .. } = &offer.change
                && cone.meets(self.map, &offer.touches)
            {
                cone.add_part(self.map, &base.rig, &self.catalogue.parts[*part].kind);
            }
        }
        Arc::new(cone)
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
    pub(super) fn played(&self, base: &Base, sequencer: usize, tempo: usize, cone: &Cone, own: &Set) -> Played {
        let alone = (!cone.whole).then(|| base.alone(sequencer)).flatten();
        match alone {
            Some(alone) => self.played.get(&(sequencer, tempo, own.clone()), || {
                let rig = self.made(base, Some((alone, sequencer)), own);
                let performance = play(&rig, self.tempos[tempo]).map_err(|_| BoxFault::NeverPlays)?;
                self.sounds(&rig, 0, &performance)
            }),
            // What is said of one holds as far as the set has all that it hangs on.
            None => self.together.get(&(tempo, own.clone()), || {
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
    pub(super) fn is_safe(&self, base: &Base, sequencer: usize, tempo: usize, cone: &Cone, own: &Set) -> Safe {
        self.safe.get(&(sequencer, tempo, own.clone()), || {
            let alone = (!cone.whole).then(|| base.alone(sequencer)).flatten();
            let rig = self.made(base, alone.map(|alone| (alone, sequencer)), own);
            let index = if alone.is_some() { 0 } else { sequencer };
            let Ok(performance) = play(&rig, self.tempos[tempo]) else { return Err(None) };
            safe(&rig, index, (&performance, &sure(&rig, &performance, self.aim.skew)), &self.aim)
        })
    }

    /// The rig, or a box of it alone, with changes made.
    fn made(&self, base: &Base, alone: Option<(&Rig, usize)>, set: &[u16]) -> Rig {
        let mut rig = alone.map_or(&base.rig, |(rig, _)| rig).clone();
        let changes = set.iter().map(|&n| self.change(n));
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

    /// How far tolerances can move the gap of two players.
    pub(super) fn allowed(&self, base: &Base, between: [usize; 2], cone: &Cone, own: &Set) -> Option<Span> {
        self.allowed.get(&(between, own.clone()), || self.allowance(base, between, cone, own))
    }

    fn allowance(&self, base: &Base, between: [usize; 2], cone: &Cone, set: &[u16]) -> Option<Span> {
        let mut rig = base.rig.clone();
        apply(&mut rig, &base.rig, None, &self.catalogue.parts, set.iter().map(|&n| self.change(n)));
        let looks = |rigs: &[Rig], s: usize| looks_of(rigs, s).unwrap_or(Span::ZERO);
        if cone.whole {
            let rigs = rig.in_turn();
            let players = rig.players();
            let place = (0..between[0]).map(|n| players - 1 - n).sum::<usize>() + between[1] - between[0] - 1;
            return allowances(&rigs, |s| looks(&rigs, s)).get(place).copied().flatten();
        }
        // The two alone say the same in less time.
        let boxes = rig.sequencers.len();
        let keep = |player: usize| between.contains(&player);
        let two = |all: &mut Vec<crate::patch::Sequencer>| {
            let mut n = 0;
            all.retain(|_| {
                n += 1;
                keep(n - 1)
            });
        };
        two(&mut rig.sequencers);
        rig.course.eras.iter_mut().for_each(|era| two(&mut era.sequencers));
        let mut n = boxes;
        rig.takes.retain(|_| {
            n += 1;
            keep(n - 1)
        });
        let rigs = rig.in_turn();
        allowances(&rigs, |s| looks(&rigs, s)).first().copied().flatten()
    }
}

fn routed<'r>(map: Map, base: &'r Base, sequencer: usize, route: Route<'_, 'r>) -> Cone {
    Cone::of_box(map, &base.rigs, sequencer, route)
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

impl Base {
    fn new(rig: Rig) -> Self {
        let (rigs, boxes) = (rig.in_turn(), rig.sequencers.len());
        Self { rig, rigs, alone: (0..boxes).map(|_| OnceLock::new()).collect() }
    }

    fn alone(&self, sequencer: usize) -> Option<&Rig> {
        let make = || Target { sequencer, input: Input::Clock }.alone(&self.rig).map(|(_, rig)| rig);
        self.alone[sequencer].get_or_init(make).as_ref()
    }
}
