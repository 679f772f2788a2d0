//! The search by levels: all sets of one change, then of two, and so on.
//!
//! Where a set fails, whatever mends it must touch something that a failing verdict hangs on: its children are the changes in
//! that cone, and nothing else need be looked at (a hitting-set tree: Reiter, Artificial Intelligence 32:57, 1987). A level that
//! is done holds every set of that size that passes and holds no smaller one that does.

use super::bench::{Bench, Set};
use super::examine::Examined;
use super::fault::Fault;
use super::reach::{Reach, may_reach};
use rayon::prelude::*;
use std::collections::HashSet;
use std::sync::atomic::{AtomicBool, Ordering};

/// Who watches a search.
#[derive(Clone, Copy)]
pub struct Watch<'a> {
    /// Is told how a level goes on.
    pub progress: &'a (dyn Fn(Progress) + Sync),
    /// Is told every set that passes, as offers of the catalogue.
    pub found: &'a (dyn Fn(&[u16]) + Sync),
    /// Once it is set, the search ends with what it has.
    pub cancel: &'a AtomicBool,
}

/// How far a search is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Progress {
    /// How many changes the sets have that are looked at now.
    pub changes: usize,
    /// How many of them have been dealt with.
    pub done: u64,
    /// How many there are at the most.
    pub of: u64,
}

static NEVER: AtomicBool = AtomicBool::new(false);

impl Watch<'static> {
    /// A watch of nobody.
    #[must_use]
    pub fn nobody() -> Self {
        Self { progress: &|_| {}, found: &|_| {}, cancel: &NEVER }
    }
}

impl std::fmt::Debug for Watch<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Watch").finish_non_exhaustive()
    }
}

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
    pub(super) passing: Vec<(Set, Examined)>,
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
}

/// How far to search.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Extent {
    /// The most changes of a set.
    pub budget: usize,
    /// Whether sets with more changes than needed are listed, too, where no part of them does; else only those that cost less.
    pub beyond: bool,
}

/// The largest budget: a set of so many is kept in a word.
pub const MOST_CHANGES: usize = 4;
/// Sets that are kept in mind; some 200 MB.
const MOST_SETS: usize = 6_000_000;
/// Sets that are judged between two looks at who watches.
const AT_ONCE: usize = 4096;

/// A set that fails, and what may be added to it.
struct Open {
    set: Set,
    cost: u64,
    children: Vec<u16>,
}

fn packed(set: &[u16]) -> u64 {
    set.iter().fold(0, |word, n| word << 16 | (u64::from(*n) + 1))
}

struct Search<'b, 'a> {
    bench: &'b Bench<'a>,
    extent: Extent,
    passing: HashSet<u64>,
    cheapest: Option<u64>,
    cuts: Cuts,
}

impl Search<'_, '_> {
    /// What may be added to a set that fails, with so many changes left.
    fn children(&self, set: &[u16], faults: &[(Fault, super::cone::Cone)], left: usize) -> (Vec<u16>, Cuts) {
        let mut cuts = Cuts::default();
        if left == 0 {
            return (Vec::new(), cuts);
        }
        let offers = &self.bench.catalogue.offers;
        let reaches: Vec<Reach> = faults.iter().map(|(_, cone)| Reach::of(self.bench.map, offers, cone)).collect();
        if !may_reach(reaches.iter(), left) {
            cuts.too_many_faults += 1;
            return (Vec::new(), cuts);
        }
        let Some(narrowest) = reaches.iter().min_by_key(|reach| reach.count()) else { return (Vec::new(), cuts) };
        let taken: Vec<usize> = set.iter().map(|&n| offers[usize::from(n)].slot).collect();
        let free = |slot: usize| !taken.iter().any(|taken| self.bench.catalogue.clash(*taken, slot));
        let open = offers.iter().filter(|offer| free(offer.slot)).count();
        let mut children = Vec::new();
        let mut reached = 0;
        for n in narrowest.all().filter(|&n| free(offers[n].slot)) {
            reached += 1;
            if may_reach(reaches.iter().filter(|reach| !reach.holds(n)), left - 1) {
                children.extend(u16::try_from(n));
            } else {
                cuts.too_many_faults += 1;
            }
        }
        cuts.beside += (open - reached) as u64;
        (children, cuts)
    }

    /// The set with one more, unless that is known to be of no use.
    fn child(&mut self, open: &Open, more: u16) -> Option<(Set, u64)> {
        let cost = open.cost + self.bench.catalogue.offers[usize::from(more)].cost;
        if !self.extent.beyond && self.cheapest.is_some_and(|best| cost >= best) {
            self.cuts.dearer += 1;
            return None;
        }
        let mut set = open.set.clone();
        let place = set.partition_point(|n| *n < more);
        set.insert(place, more);
        // A part of it that passes needs no more.
        let parts = (1_u32..(1 << set.len()) - 1).any(|mask| {
            let part: Set =
                set.iter().enumerate().filter(|(n, _)| mask & (1 << n) != 0).map(|(_, change)| *change).collect();
            self.passing.contains(&packed(&part))
        });
        if parts {
            self.cuts.larger += 1;
            return None;
        }
        Some((set, cost))
    }
}

/// Searches all sets within an extent.
pub(super) fn search(bench: &Bench<'_>, extent: Extent, watch: &Watch<'_>) -> Searched {
    let budget = extent.budget.min(MOST_CHANGES);
    let root = bench.examine(&[]);
    let sizes = bench.catalogue.sets(budget);
    let mut search = Search { bench, extent, passing: HashSet::new(), cheapest: None, cuts: Cuts::default() };
    let mut levels: Vec<Level> = Vec::new();
    let mut passing: Vec<(Set, Examined)> = Vec::new();
    let mut nearest: Option<(Near, Set, Vec<Fault>)> = None;
    let mut stopped = None;
    let mut frontier = Vec::new();
    if !root.faults.is_empty() {
        let (children, cuts) = search.children(&[], &root.faults, budget);
        search.cuts = cuts;
        frontier.push(Open { set: Vec::new(), cost: 0, children });
    }
    for (changes, sets) in (1..=budget).zip(sizes) {
        if root.faults.is_empty() || search.cheapest == Some(0) && !extent.beyond {
            break;
        }
        let mut level = Level { changes, sets, ..Level::default() };
        let of: u64 = frontier.iter().map(|open| open.children.len() as u64).sum();
        let (mut done, mut seen, mut next) = (0_u64, HashSet::new(), Vec::new());
        let mut nodes = frontier.iter();
        let mut ahead: Vec<(Set, u64)> = Vec::new();
        let mut level_passing = Vec::new();
        loop {
            if watch.cancel.load(Ordering::Relaxed) {
                stopped = Some(Stopped::Cancelled);
                break;
            }
            if seen.len() > MOST_SETS || bench.is_full() {
                stopped = Some(Stopped::TooMany);
                break;
            }
            while ahead.len() < AT_ONCE
                && let Some(open) = nodes.next()
            {
                done += open.children.len() as u64;
                for &more in &open.children {
                    let Some((set, cost)) = search.child(open, more) else { continue };
                    if seen.insert(packed(&set)) {
                        ahead.push((set, cost));
                    }
                }
            }
            if ahead.is_empty() {
                level.complete = true;
                break;
            }
            // Once nobody wants to wait, those that are left of these are not begun.
            let judged: Vec<Option<(Examined, Vec<u16>, Cuts)>> = ahead
                .par_iter()
                .map(|(set, _)| {
                    if watch.cancel.load(Ordering::Relaxed) {
                        return None;
                    }
                    let examined = bench.examine(set);
                    let (children, cuts) = if examined.faults.is_empty() {
                        (Vec::new(), Cuts::default())
                    } else {
                        search.children(set, &examined.faults, budget - changes)
                    };
                    Some((examined, children, cuts))
                })
                .collect();
            for ((set, cost), judged) in ahead.drain(..).zip(judged) {
                let Some((examined, children, cuts)) = judged else { continue };
                level.judged += 1;
                search.cuts.beside += cuts.beside;
                search.cuts.too_many_faults += cuts.too_many_faults;
                if examined.faults.is_empty() {
                    (watch.found)(&set);
                    level.passing += 1;
                    level_passing.push((set, cost, examined));
                    continue;
                }
                let near = Near::of(&examined.faults, set.len(), cost);
                if nearest.as_ref().is_none_or(|(best, ..)| near < *best) {
                    let faults = examined.faults.into_iter().map(|(fault, _)| fault).collect();
                    nearest = Some((near, set.clone(), faults));
                }
                if !children.is_empty() {
                    next.push(Open { set, cost, children });
                }
            }
            (watch.progress)(Progress { changes, done, of });
        }
        for (set, cost, examined) in level_passing {
            search.passing.insert(packed(&set));
            search.cheapest = Some(search.cheapest.map_or(cost, |best| best.min(cost)));
            passing.push((set, examined));
        }
        levels.push(level);
        if stopped.is_some() {
            break;
        }
        frontier = next;
    }
    let nearest = nearest.filter(|_| passing.is_empty()).map(|(_, set, faults)| (set, faults));
    Searched { root, passing, nearest, levels, cuts: search.cuts, stopped }
}

/// How near a set comes to passing: fewer faults, then by less time, then fewer and cheaper changes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
struct Near(usize, i64, usize, u64);

impl Near {
    fn of(faults: &[(Fault, super::cone::Cone)], changes: usize, cost: u64) -> Self {
        let over = faults.iter().map(|(fault, _)| fault.over()).max().unwrap_or(0);
        Self(faults.len(), over, changes, cost)
    }
}
