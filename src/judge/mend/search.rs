//! The search by levels: all sets of one change, then of two, and so on.
//!
//! Where a set fails, whatever mends it must touch something that a failing verdict hangs on: its children are the changes in
//! that cone, and nothing else need be looked at (a hitting-set tree: Reiter, Artificial Intelligence 32:57, 1987). A level that
//! is done holds every set of that size that passes and holds no smaller one that does.

use super::bench::Bench;
use super::change::Kind;
use super::cost::Cost;
use super::examine::{Examined, Scope};
use super::fault::{Fault, weight};
use super::frontier::Frontier;
use super::reach::{Reach, may_reach};
use super::set::{MOST_CHANGES, Set, packed};
use super::verdict::Verdict;
use super::watch::{Progress, Watch};
use crate::time::Span;
use rayon::prelude::*;
use std::collections::HashSet;
use std::sync::atomic::Ordering;

/// What is known of the sets of one size.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Level {
    /// How many changes they have.
    pub changes: usize,
    /// How many there are: no two changes of slots that clash.
    pub sets: u128,
    /// How many were judged.
    pub judged: u64,
    /// How many of those pass.
    pub passing: u64,
    /// Whether every one of them is accounted for.
    pub complete: bool,
}

/// How often each bound cut a branch off, with everything behind it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Cuts {
    /// A change that leaves alone what fails.
    pub beside: u64,
    /// More goes wrong in separate places than the changes that are left can reach.
    pub too_many_faults: u64,
    /// A smaller set passes already.
    pub larger: u64,
    /// A set of the fewest changes costs no more.
    pub dearer: u64,
}

/// What a search came to.
#[derive(Clone, Debug)]
pub(super) struct Searched {
    pub(super) root: Examined,
    /// Each with the offsets of those that are nudged.
    pub(super) passing: Vec<(Set, Vec<(usize, Span)>)>,
    pub(super) nearest: Option<(Set, Vec<Fault>)>,
    pub(super) levels: Vec<Level>,
    pub(super) cuts: Cuts,
    pub(super) stopped: Option<Stopped>,
}

/// Why a search ended before it was done.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Stopped {
    /// Somebody wanted it.
    Cancelled,
    /// There were more sets than are kept in mind.
    TooMany,
    /// As many were judged as should be.
    Limit,
}

/// How far to search.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Extent {
    /// The most changes of a set.
    pub budget: usize,
    /// Whether sets with more changes than needed are listed, too, where no part of them does; else only those that cost less.
    pub beyond: bool,
}

/// Sets of one size that are kept in mind; with what they are told apart by, some 100 MB.
const MOST_SETS: usize = 6_000_000;
/// Sets that are judged between two looks at who watches.
const AT_ONCE: usize = 4096;

struct Search<'b, 'a> {
    bench: &'b Bench<'a>,
    extent: Extent,
    /// What is wrong with what all sets hold, and how much.
    root: Examined,
    root_weight: u64,
    /// Whether nothing is put in or plugged.
    dials: bool,
    passing: HashSet<u64>,
    cheapest: Option<Cost>,
    cuts: Cuts,
}

impl Search<'_, '_> {
    /// What may be added to a set that fails, with so many changes left; and how often a change was left out since it leaves alone
    /// what fails, and since more fails than what is left can reach.
    fn children(&self, set: &[u16], examined: &Examined, left: usize) -> (Vec<u16>, [u64; 2]) {
        if left == 0 {
            return (Vec::new(), [0, 0]);
        }
        let (map, catalogue) = (self.bench.map, self.bench.catalogue);
        let offers = &catalogue.offers;
        let reaches: Vec<&Reach> = examined.faults.iter().map(|(_, trace)| trace.reach(map, offers)).collect();
        if !may_reach(reaches.iter().copied(), left) {
            return (Vec::new(), [0, 1]);
        }
        let Some(narrowest) = reaches.iter().min_by_key(|reach| reach.count()) else { return (Vec::new(), [0, 0]) };
        let taken: Vec<usize> = set.iter().map(|&n| offers[usize::from(n)].slot).collect();
        let free = |slot: usize| !taken.iter().any(|taken| catalogue.clash(*taken, slot));
        let open = offers.iter().filter(|offer| free(offer.slot)).count();
        let (mut children, mut reached, mut too_many) = (Vec::new(), 0, 0);
        let may = |n: usize| !self.dials || !matches!(offers[n].change.kind(), Kind::Cable | Kind::Part);
        for n in narrowest.all().filter(|&n| free(offers[n].slot) && may(n)) {
            reached += 1;
            if may_reach(reaches.iter().copied().filter(|reach| !reach.holds(n)), left - 1) {
                children.extend(u16::try_from(n));
            } else {
                too_many += 1;
            }
        }
        (children, [(open - reached) as u64, too_many])
    }

    /// The set with one more, unless that is known to be of no use.
    fn child(&mut self, set: &[u16], cost: Cost, more: u16) -> Option<(Set, Cost)> {
        let cost = Cost(cost.0 + self.bench.catalogue.offers[usize::from(more)].cost.0);
        if !self.extent.beyond && self.cheapest.is_some_and(|best| cost >= best) {
            self.cuts.dearer += 1;
            return None;
        }
        let place = set.partition_point(|n| *n < more);
        let set = [&set[..place], &[more], &set[place..]].concat();
        // A part of it that passes needs no more.
        let parts = (1_u32..(1 << set.len()) - 1).any(|mask| {
            let part = set.iter().enumerate().filter(|(n, _)| mask & (1 << n) != 0).map(|(_, change)| *change);
            self.passing.contains(&packed(part))
        });
        if parts {
            self.cuts.larger += 1;
            return None;
        }
        Some((set, cost))
    }

    /// How much is wrong with a set; nothing where no fault of the root is taken away: it is no less, and no later.
    fn weight(&self, examined: &Examined, scope: &Scope) -> u64 {
        let own = weight(examined.faults.iter().map(|(fault, _)| fault));
        let first = |examined: &Examined| {
            let tempo = examined.faults.iter().find_map(|(fault, _)| fault.tempo())?;
            let place = scope.tempos.iter().position(|n| self.bench.tempos[*n] == tempo)?;
            Some((examined.faults.iter().all(|(fault, _)| fault.is_risk()), place))
        };
        let later = first(examined).zip(first(&self.root)).is_some_and(|(own, root)| own > root);
        if own < self.root_weight || later { own } else { 0 }
    }

    /// What comes nearest where no set that was judged does, since what is wrong cannot all be mended: change by change, each time the
    /// one with which the least is wrong. Of a large catalogue nobody waits for that.
    fn step_by_step(&self, root: &[u16], scope: &Scope, budget: usize) -> Option<(Near, Set)> {
        const MOST: usize = 500;
        let (catalogue, offers) = (self.bench.catalogue, &self.bench.catalogue.offers);
        if offers.len() > MOST {
            return None;
        }
        let mut best: Option<(Near, Set)> = None;
        for _ in root.len()..budget {
            let set: &[u16] = best.as_ref().map_or(root, |(_, set)| set);
            let taken: Vec<usize> = set.iter().map(|&n| offers[usize::from(n)].slot).collect();
            let fits = |n: &u16| {
                let offer = &offers[usize::from(*n)];
                let free = !taken.iter().any(|taken| catalogue.clash(*taken, offer.slot));
                free && (!self.dials || !matches!(offer.change.kind(), Kind::Cable | Kind::Part))
            };
            let more: Vec<u16> = (0..offers.len()).filter_map(|n| u16::try_from(n).ok()).filter(fits).collect();
            let near = |more: u16| {
                let place = set.partition_point(|n| *n < more);
                let set = [&set[..place], &[more], &set[place..]].concat();
                let examined = self.bench.examine(&set, scope);
                let over = examined.faults.iter().map(|(fault, _)| fault.over()).max().unwrap_or(0);
                let cost = set.iter().map(|&n| offers[usize::from(n)].cost).sum();
                let weight = self.weight(&examined, scope);
                (weight > 0).then_some((Near(weight, set.len(), over, cost), set))
            };
            let next = more.into_par_iter().filter_map(near).min();
            match next {
                Some(next) if best.as_ref().is_none_or(|(near, _)| next.0.0 < near.0) => best = Some(next),
                _ => break,
            }
        }
        best
    }

    /// Judges sets, as far as nobody wants to end it: the first so many of them.
    fn judged(&self, sets: &[(Set, Cost)], scope: &Scope, left: usize, watch: &Watch<'_>) -> Vec<Verdict> {
        let of = |(set, _): &(Set, Cost)| {
            if watch.cancel.load(Ordering::Relaxed) {
                return None;
            }
            let examined = self.bench.examine(set, scope);
            let weight = |examined: &Examined| self.weight(examined, scope);
            Some(Verdict::of(examined, weight, |examined| self.children(set, examined, left)))
        };
        let judged: Vec<Option<Verdict>> = sets.par_iter().map(of).collect();
        judged.into_iter().map_while(|verdict| verdict).collect()
    }
}

/// A set that passes, what it costs, and how its nudges are set.
type Passing = (Set, Cost, Vec<(usize, Span)>);

/// Searches all sets within an extent that hold `root`; with `dials`, only those that put in and plug nothing besides.
pub(super) fn search(
    bench: &Bench<'_>,
    (root, scope): (&[u16], &Scope),
    extent: Extent,
    dials: bool,
    watch: &Watch<'_>,
) -> Searched {
    let budget = extent.budget.min(MOST_CHANGES);
    let examined = bench.examine(root, scope);
    let sizes = bench.catalogue.sets(budget);
    let root_weight = weight(examined.faults.iter().map(|(fault, _)| fault));
    let (known_passing, cuts) = (HashSet::new(), Cuts::default());
    let mut search = Search {
        bench,
        extent,
        root: examined.clone(),
        root_weight,
        dials,
        passing: known_passing,
        cheapest: None,
        cuts,
    };
    let mut levels: Vec<Level> = Vec::new();
    let mut passing: Vec<(Set, Vec<(usize, Span)>)> = Vec::new();
    let mut nearest: Option<(Near, Set)> = None;
    let mut stopped = None;
    let mut frontier = Frontier::default();
    let (mut known, mut anew) = (watch.known, 0_u64);
    let cost_of = |set: &[u16]| set.iter().map(|&n| bench.catalogue.offers[usize::from(n)].cost).sum::<Cost>();
    if !examined.faults.is_empty() {
        let (children, [beside, too_many_faults]) = search.children(root, &examined, budget.saturating_sub(root.len()));
        search.cuts = Cuts { beside, too_many_faults, ..Cuts::default() };
        frontier.add(root, cost_of(root), &children);
    }
    for (changes, sets) in (1..=budget).zip(sizes).skip(root.len()) {
        if examined.faults.is_empty() || search.cheapest == Some(Cost::NOTHING) && !extent.beyond {
            break;
        }
        let mut level = Level { changes, sets, ..Level::default() };
        let (mut done, mut seen, mut next) = (0_u64, HashSet::new(), Frontier::default());
        let level_before = std::mem::take(&mut frontier);
        let mut nodes = level_before.iter();
        let mut ahead: Vec<(Set, Cost)> = Vec::new();
        let mut level_passing: Vec<Passing> = Vec::new();
        loop {
            stopped = match () {
                () if watch.cancel.load(Ordering::Relaxed) => Some(Stopped::Cancelled),
                () if watch.limit.is_some_and(|limit| anew >= limit) => Some(Stopped::Limit),
                () if seen.len() > MOST_SETS || bench.is_full() || next.is_full() => Some(Stopped::TooMany),
                () => None,
            };
            if stopped.is_some() {
                break;
            }
            while ahead.len() < AT_ONCE
                && let Some((set, cost, children)) = nodes.next()
            {
                done += children.len() as u64;
                for &more in children {
                    let Some((set, cost)) = search.child(&set, cost, more) else { continue };
                    if seen.insert(packed(set.iter().copied())) {
                        ahead.push((set, cost));
                    }
                }
            }
            if ahead.is_empty() {
                level.complete = true;
                break;
            }
            // What was judged before comes first, in the order in which it is asked for.
            let mut verdicts: Vec<Verdict> =
                std::iter::from_fn(|| Verdict::read(&mut known)).take(ahead.len()).collect();
            let left = watch.limit.map_or(usize::MAX, |limit| usize::try_from(limit - anew).unwrap_or(usize::MAX));
            let open = &ahead[verdicts.len()..];
            let judged = search.judged(&open[..open.len().min(left)], scope, budget - changes, watch);
            if !judged.is_empty() {
                anew += judged.len() as u64;
                let mut bytes = Vec::new();
                judged.iter().for_each(|verdict| verdict.write(&mut bytes));
                (watch.judged)(judged.len(), &bytes);
            }
            verdicts.extend(judged);
            for ((set, cost), verdict) in ahead.drain(..).zip(verdicts) {
                level.judged += 1;
                match verdict {
                    Verdict::Passes(nudges) => {
                        (watch.found)(&set);
                        level.passing += 1;
                        level_passing.push((set, cost, nudges));
                    }
                    Verdict::Fails { near, children, cuts } => {
                        search.cuts.beside += cuts[0];
                        search.cuts.too_many_faults += cuts[1];
                        let near = Near(near.0, set.len(), near.1, cost);
                        if near.0 > 0 && nearest.as_ref().is_none_or(|(best, _)| near < *best) {
                            nearest = Some((near, set.clone()));
                        }
                        if !children.is_empty() {
                            next.add(&set, cost, &children);
                        }
                    }
                }
            }
            let found = passing.len() + level_passing.len();
            (watch.progress)(Progress { changes, done, of: level_before.children(), found });
        }
        for (set, cost, nudges) in level_passing {
            search.passing.insert(packed(set.iter().copied()));
            search.cheapest = Some(search.cheapest.map_or(cost, |best| best.min(cost)));
            passing.push((set, nudges));
        }
        levels.push(level);
        if stopped.is_some() {
            break;
        }
        frontier = next;
    }
    let lost = passing.is_empty() && nearest.is_none() && stopped.is_none() && !examined.faults.is_empty();
    let nearest = if lost { search.step_by_step(root, scope, budget) } else { nearest };
    let nearest = nearest.filter(|_| passing.is_empty()).map(|(_, set)| {
        let faults = bench.examine(&set, scope).faults;
        (set, faults.into_iter().map(|(fault, _)| fault).collect())
    });
    Searched { root: examined, passing, nearest, levels, cuts: search.cuts, stopped }
}

/// How near a set comes to passing: less is wrong, then with fewer changes, then by less time, then cheaper.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
struct Near(u64, usize, i64, Cost);
