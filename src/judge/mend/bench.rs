//! Judging a set: each box by itself and each two together, every verdict kept for whatever else is changed besides.

use super::apply::apply;
use super::catalogue::Catalogue;
use super::change::Change;
use super::cone::{Cone, Map, Route};
use super::fault::{BoxFault, Fault};
use super::nudge::{Bound, settle, solve};
use crate::hits::taken;
use crate::judge::advise::{Aim, allowances, is_steady, looks_of};
use crate::judge::{Input, Meant, Sure, Target, pair_hits, sure};
use crate::patch::{Patch, ResetMode, Rig};
use crate::rig::{Performance, play};
use crate::time::{Beat, Instant, Span, Tempo};
use std::collections::HashMap;
use std::hash::{BuildHasher, Hash, RandomState};
use std::sync::{Arc, Mutex, OnceLock, PoisonError};

/// A set of changes: indices into the offers of the catalogue, in order.
pub(super) type Set = Vec<u16>;

/// What one player sounds at one tempo: when its first hit comes, and which shape it has from there on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Heard {
    first: Instant,
    shape: usize,
}

/// What a box does over all tempos, or what is wrong with it at the first at which anything is.
type Played = Result<Arc<[Heard]>, (Tempo, BoxFault)>;

/// Due beats and times from the first hit on.
type Shape = Arc<Vec<(Beat, Instant)>>;

/// A rig with keys set, and what follows from that alone.
struct Base {
    rig: Rig,
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
const MOST_KEPT: usize = 1 << 20;

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
    tempos: &'a [Tempo],
    pub(super) map: Map,
    original: Arc<Base>,
    /// What each box hangs on where no cable is moved and no key is set.
    cones: Vec<Arc<Cone>>,
    takes: Vec<Vec<Heard>>,
    bases: Kept<Set, Result<Arc<Base>, String>>,
    played: Kept<(usize, Set), Played>,
    /// All boxes at once, where they have to be played together.
    together: Kept<Set, Arc<[Played]>>,
    allowed: Kept<([usize; 2], Set), Option<Span>>,
    shapes: Mutex<(HashMap<Shape, usize>, Vec<Shape>)>,
    ends: Kept<[usize; 2], Ends>,
}

/// What was found of a set.
#[derive(Clone, Debug)]
pub(super) struct Examined {
    /// What stands in its way, each with what it hangs on; empty if it passes.
    pub(super) faults: Vec<(Fault, Cone)>,
    /// The offsets of the players that are nudged.
    pub(super) nudges: Vec<(usize, Span)>,
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
            allowed: Kept::new(),
            shapes: Mutex::new((HashMap::new(), Vec::new())),
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

    pub(super) fn change(&self, n: u16) -> &'a Change {
        &self.catalogue.offers[usize::from(n)].change
    }

    /// The rig as it is written.
    pub(super) fn rig(&self) -> &Rig {
        &self.original.rig
    }

    /// Those changes of a set that a cone holds; nudges move hits alone, and are left out.
    fn within(&self, set: &[u16], cone: &Cone) -> Set {
        let counts = |n: &&u16| {
            let offer = &self.catalogue.offers[usize::from(**n)];
            !matches!(offer.change, Change::Nudge { .. }) && cone.meets(self.map, &offer.touches)
        };
        set.iter().filter(counts).copied().collect()
    }

    fn base(&self, set: &[u16]) -> Result<Arc<Base>, String> {
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

    fn cone(&self, base: &Base, set: &[u16], sequencer: usize) -> Arc<Cone> {
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

    /// Judges a set: every box, and where all boxes are right every two players.
    pub(super) fn examine(&self, set: &[u16]) -> Examined {
        let all = || Cone::everything(self.map);
        let failed = |why: String| Examined { faults: vec![(Fault::Unplayable(why), all())], nudges: Vec::new() };
        let base = match self.base(set) {
            Ok(base) => base,
            Err(why) => return failed(why),
        };
        let (boxes, players) = (base.rig.sequencers.len(), base.rig.players());
        if boxes != self.rig().sequencers.len() || players != self.rig().players() {
            return failed("a box would be gone".to_owned());
        }
        let cones: Vec<Arc<Cone>> = (0..boxes).map(|s| self.cone(&base, set, s)).collect();
        let mut faults = Vec::new();
        let mut heard: Vec<Option<Arc<[Heard]>>> = Vec::with_capacity(players);
        for (sequencer, cone) in cones.iter().enumerate() {
            let own = self.within(set, cone);
            let alone = (!cone.whole).then(|| base.alone(sequencer)).flatten();
            let played = match alone {
                Some(alone) => {
                    self.played.get(&(sequencer, own.clone()), || self.play_box(&base, alone, sequencer, &own))
                }
                None => self.together.get(&own, || self.play_all(&base, &own))[sequencer].clone(),
            };
            heard.push(played.as_ref().ok().map(Arc::clone));
            if let Err((tempo, what)) = played {
                faults.push((Fault::Box { sequencer, tempo, what }, Cone::clone(cone)));
            }
        }
        heard.extend(self.takes.iter().map(|take| Some(Arc::from(take.as_slice()))));
        let nothing = Cone::everything(self.map);
        let of_player = |player: usize| {
            let mut cone = match cones.get(player) {
                Some(cone) => Cone::clone(cone),
                None => Cone::of_takes(self.map),
            };
            cone.add(self.map, super::cone::Entity::Player(player));
            cone
        };
        let mut meets = vec![players < 2; players];
        let nudged: Vec<usize> = set
            .iter()
            .filter_map(|&n| match self.change(n) {
                Change::Nudge { player } => Some(*player),
                _ => None,
            })
            .collect();
        let node = |player: usize| nudged.iter().position(|n| *n == player).map_or(0, |n| n + 1);
        let (mut bounds, mut pairs) = (Vec::new(), Vec::new());
        for [a, b] in (0..players).flat_map(|a| (a + 1..players).map(move |b| [a, b])) {
            let (Some(one), Some(other)) = (&heard[a], &heard[b]) else {
                // Of who does not play as meant, nothing is known.
                (meets[a], meets[b]) = (true, true);
                continue;
            };
            let ends = self.gaps(one, other);
            let mut met = ends.iter().map(Option::is_some);
            let all_meet = met.clone().all(|met| met);
            if met.any(|met| met) {
                meets[a] |= all_meet;
                meets[b] |= all_meet;
            }
            let widest = |of: fn(&[i64; 2]) -> i64| ends.iter().flatten().map(of).max();
            let (Some(late), Some(early)) = (widest(|e| e[1]), widest(|e| -e[0])) else { continue };
            let mut both = of_player(a);
            both.and(&of_player(b));
            let free = node(a) != node(b);
            let limit = self.aim.max_gap.0;
            let fault = |allowed: Option<Span>| {
                let at = self.tempos.iter().zip(&ends).find(|(_, ends)| {
                    let worst = ends.map_or(0, |e| e[1].max(-e[0]));
                    allowed.is_none_or(|allowed| worst + allowed.0 > limit)
                });
                let (tempo, ends) = at.unwrap_or((&self.tempos[0], &ends[0]));
                let [least, most] = ends.unwrap_or_default();
                let gap = if most >= -least { most } else { least };
                let over = allowed.map(|allowed| Span(gap.abs() + allowed.0 - limit));
                Fault::Apart { between: [a, b], tempo: *tempo, gap: Span(gap), over }
            };
            // Too wide without any tolerance: that is enough to know.
            if (!free && late.max(early) > limit) || late.saturating_add(early) > 2 * limit {
                faults.push((fault(Some(Span::ZERO)), both));
                continue;
            }
            let own = self.within(set, &both);
            let allowed = self.allowed.get(&([a, b], own.clone()), || self.allowance(&base, [a, b], &both, &own));
            let Some(allowance) = allowed else {
                faults.push((fault(None), both));
                continue;
            };
            let room = |worst: i64| limit - allowance.0 - worst;
            if free {
                let pair = pairs.len();
                pairs.push(([a, b], both));
                bounds.push(Bound { from: node(a), to: node(b), most: room(late), pair });
                bounds.push(Bound { from: node(b), to: node(a), most: room(early), pair });
            } else if room(late).min(room(early)) < 0 {
                faults.push((fault(allowed), both));
            }
        }
        for (player, _) in meets.iter().enumerate().filter(|(_, meets)| !**meets) {
            faults.push((Fault::MeetsNobody { player, tempo: self.tempos[0] }, nothing.clone()));
        }
        let mut nudges = Vec::new();
        if !nudged.is_empty() {
            match solve(nudged.len() + 1, &bounds) {
                Ok(_) if faults.is_empty() => nudges = self.nudges(&nudged, &bounds),
                Ok(_) => {}
                Err(circle) => {
                    let mut cone = pairs[circle[0]].1.clone();
                    circle.iter().for_each(|pair| cone.and(&pairs[*pair].1));
                    faults.push((Fault::Knot { pairs: circle.iter().map(|pair| pairs[*pair].0).collect() }, cone));
                }
            }
        }
        Examined { faults, nudges }
    }

    /// The offsets to be written: those of the patch with what is added.
    fn nudges(&self, nudged: &[usize], bounds: &[Bound]) -> Vec<(usize, Span)> {
        let grains = [1_000_000_000, 100_000_000, 10_000_000, 1_000_000, 1_000, 1];
        let Some((at, _)) = settle(nudged.len() + 1, bounds, &grains) else { return Vec::new() };
        let rig = self.rig();
        let own = |player: usize| match player.checked_sub(rig.sequencers.len()) {
            None => rig.sequencers[player].offset,
            Some(take) => rig.takes[take].offset,
        };
        nudged.iter().zip(&at[1..]).map(|(&player, by)| (player, Span(own(player).0 + by))).collect()
    }

    /// The gaps of two players at each tempo.
    fn gaps(&self, one: &[Heard], other: &[Heard]) -> Vec<Ends> {
        let of = |(a, b): (&Heard, &Heard)| {
            let ends = self.ends.get(&[a.shape, b.shape], || {
                let shapes = self.shapes.lock().unwrap_or_else(PoisonError::into_inner);
                let (x, y) = (Arc::clone(&shapes.1[a.shape]), Arc::clone(&shapes.1[b.shape]));
                drop(shapes);
                pair_hits(x.to_vec(), y.to_vec()).gaps.ends().map(|[least, most]| [least.0, most.0])
            });
            let apart = (b.first - a.first).0;
            ends.map(|[least, most]| [least + apart, most + apart])
        };
        one.iter().zip(other).map(of).collect()
    }

    fn heard(&self, mut hits: Vec<(Beat, Instant)>) -> Heard {
        let first = hits.first().map_or(Instant::START, |hit| hit.1);
        hits.iter_mut().for_each(|hit| hit.1 = Instant((hit.1 - first).0));
        let mut shapes = self.shapes.lock().unwrap_or_else(PoisonError::into_inner);
        let shape = match shapes.0.get(&hits) {
            Some(known) => *known,
            None => {
                let (shape, hits) = (shapes.1.len(), Arc::new(hits));
                shapes.0.insert(Arc::clone(&hits), shape);
                shapes.1.push(hits);
                shape
            }
        };
        Heard { first, shape }
    }

    /// A box by itself, on which nothing else has a say.
    fn play_box(&self, base: &Base, alone: &Rig, sequencer: usize, set: &[u16]) -> Played {
        let mut rig = alone.clone();
        let changes = set.iter().map(|&n| self.change(n));
        apply(&mut rig, &base.rig, Some(sequencer), &self.catalogue.parts, changes);
        let mut heard = Vec::with_capacity(self.tempos.len());
        for &tempo in self.tempos {
            let Ok(performance) = play(&rig, tempo) else { return Err((tempo, BoxFault::NeverPlays)) };
            match self.sounds(&rig, 0, &performance, &sure(&rig, &performance, self.aim.skew)) {
                Ok(hits) => heard.push(self.heard(hits)),
                Err(fault) => return Err((tempo, fault)),
            }
        }
        Ok(Arc::from(heard))
    }

    /// All boxes together. What is said of one holds as far as the set has all that it hangs on.
    fn play_all(&self, base: &Base, set: &[u16]) -> Arc<[Played]> {
        let mut rig = base.rig.clone();
        apply(&mut rig, &base.rig, None, &self.catalogue.parts, set.iter().map(|&n| self.change(n)));
        let mut all: Vec<Result<Vec<Heard>, (Tempo, BoxFault)>> = vec![Ok(Vec::new()); rig.sequencers.len()];
        for &tempo in self.tempos {
            if all.iter().all(Result::is_err) {
                break;
            }
            let performance = play(&rig, tempo).map(|played| (sure(&rig, &played, self.aim.skew), played));
            for (index, so_far) in all.iter_mut().enumerate() {
                let Ok(heard) = so_far else { continue };
                let sounds = match &performance {
                    Ok((sures, performance)) => self.sounds(&rig, index, performance, sures),
                    Err(_) => Err(BoxFault::NeverPlays),
                };
                match sounds {
                    Ok(hits) => heard.push(self.heard(hits)),
                    Err(fault) => *so_far = Err((tempo, fault)),
                }
            }
        }
        all.into_iter().map(|played| played.map(Arc::from)).collect()
    }

    fn sounds(
        &self,
        rig: &Rig,
        index: usize,
        performance: &Performance,
        sures: &[Option<Sure>],
    ) -> Result<Vec<(Beat, Instant)>, BoxFault> {
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
        if let Err(margin) = safe(rig, index, (performance, sures), &self.aim) {
            return Err(BoxFault::AtRisk { margin });
        }
        let clock = &performance.timelines[rig.origin(&rig.sequencers[index].clock)];
        Ok(Meant { track, clock, counting: &performance.countings[index] }.hits())
    }

    /// How far tolerances can move the gap of two players.
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
