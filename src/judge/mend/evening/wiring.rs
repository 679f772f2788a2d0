//! One wiring for all songs: the fewest parts and cables with which each song has some setting of its dials that does.
//!
//! Whatever wiring serves a song holds the parts and cables of some least set that does for it. So the wirings are a tree: where one
//! leaves a song unserved, its children are what the least sets that hold it have besides; or the song is left out. The wiring
//! that leaves out the fewest songs is looked for first, and of those the one with the fewest changes, then the cheapest.

use super::Kind;
use crate::judge::mend::bench::Bench;
use crate::judge::mend::change::Kind as ChangeKind;
use crate::judge::mend::examine::Examined;
use crate::judge::mend::search::{Extent, Searched, Stopped, search};
use crate::judge::mend::set::{Set, packed};
use crate::judge::mend::watch::Watch;
use std::cmp::Reverse;
use std::collections::{BinaryHeap, HashMap, HashSet};

/// So many wirings are tried.
const MOST_WIRINGS: usize = 2_000;

/// A wiring that serves all songs but those that are left out.
#[derive(Clone, Debug, Default)]
pub(super) struct Served {
    pub(super) wiring: Set,
    /// Kinds of songs that are left out.
    pub(super) left_out: Vec<usize>,
}

/// All wirings that leave out the fewest songs with the fewest changes and the least cost.
#[derive(Debug, Default)]
pub(super) struct Wirings {
    pub(super) best: Vec<Served>,
    pub(super) tried: usize,
    pub(super) stopped: Option<Stopped>,
}

/// What was searched already: of a kind of song, with a wiring, with dials alone or with everything.
pub(super) struct Searches<'s, 'a> {
    benches: &'s [Bench<'a>],
    kinds: &'s [Kind],
    budget: usize,
    watch: &'s Watch<'s>,
    known: HashMap<(usize, u64, bool), Searched>,
    pub(super) stopped: Option<Stopped>,
}

impl<'s, 'a> Searches<'s, 'a> {
    pub(super) fn new(benches: &'s [Bench<'a>], kinds: &'s [Kind], budget: usize, watch: &'s Watch<'s>) -> Self {
        Self { benches, kinds, budget, watch, known: HashMap::new(), stopped: None }
    }

    fn searched(&mut self, kind: usize, wiring: &Set, dials: bool) -> &Searched {
        let key = (kind, packed(wiring.iter().copied()), dials);
        let (benches, kinds, watch) = (self.benches, self.kinds, self.watch);
        let stopped = &mut self.stopped;
        self.known.entry(key).or_insert_with(|| {
            let own = &kinds[kind];
            let quiet = Watch { found: &|_| {}, known: &[], limit: None, ..*watch };
            let extent = Extent { budget: self.budget, beyond: true };
            let found = search(&benches[own.standing], (wiring, &own.scope), extent, dials, &quiet);
            *stopped = stopped.or(found.stopped);
            found
        })
    }

    /// The least sets of dials, each with the wiring, that do for a song; the wiring alone, if that does.
    pub(super) fn least(&mut self, kind: usize, wiring: &Set) -> Vec<Set> {
        let found = self.searched(kind, wiring, true);
        if found.root.faults.is_empty() {
            return vec![wiring.clone()];
        }
        found.passing.iter().map(|(set, _)| set.clone()).collect()
    }

    /// What stands in a song's way with a wiring, before any dial is turned.
    pub(super) fn root(&mut self, kind: usize, wiring: &Set) -> &Examined {
        &self.searched(kind, wiring, true).root
    }

    /// What comes nearest for a song with a wiring.
    pub(super) fn nearest(&mut self, kind: usize, wiring: &Set) -> Option<(Set, Vec<super::Fault>)> {
        self.searched(kind, wiring, true).nearest.clone()
    }

    /// Whether anything within the budget does for a song by itself.
    pub(super) fn can(&mut self, kind: usize) -> bool {
        !self.searched(kind, &Set::new(), false).passing.is_empty()
    }

    /// The wirings of the least sets that hold this wiring and do for a song.
    fn others(&mut self, kind: usize, wiring: &Set) -> Vec<Set> {
        let catalogue = self.benches[0].catalogue;
        let is_wired = |n: &u16| is_wiring(catalogue.offers[usize::from(*n)].change.kind());
        let mut all: Vec<Set> = Vec::new();
        for (set, _) in &self.searched(kind, wiring, false).passing {
            let wired: Set = set.iter().copied().filter(is_wired).collect();
            if !all.contains(&wired) {
                all.push(wired);
            }
        }
        all
    }
}

/// Whether a change stays for the whole evening.
pub(super) const fn is_wiring(kind: ChangeKind) -> bool {
    matches!(kind, ChangeKind::Cable | ChangeKind::Part)
}

/// A wiring and the songs that are left out, by what comes first.
type Node = Reverse<(usize, usize, u64, Set, Vec<usize>)>;

/// Finds the wirings.
pub(super) fn wirings(searches: &mut Searches<'_, '_>) -> Wirings {
    let catalogue = searches.benches[0].catalogue;
    let cost = |set: &Set| set.iter().map(|&n| catalogue.offers[usize::from(n)].cost).sum::<u64>();
    let songs: Vec<usize> = searches.kinds.iter().map(|kind| kind.songs.len()).collect();
    let count = |left_out: &[usize]| left_out.iter().map(|kind| songs[*kind]).sum::<usize>();
    let mut open: BinaryHeap<Node> = BinaryHeap::new();
    let mut seen: HashSet<(Set, Vec<usize>)> = HashSet::new();
    let mut all = Wirings::default();
    let mut best: Option<(usize, usize, u64)> = None;
    open.push(Reverse((0, 0, 0, Set::new(), Vec::new())));
    while let Some(Reverse((out, size, price, wiring, left_out))) = open.pop() {
        if best.is_some_and(|best| (out, size, price) > best) {
            break;
        }
        if searches.stopped.is_some() || all.tried >= MOST_WIRINGS {
            all.stopped = searches.stopped.or(Some(Stopped::TooMany));
            break;
        }
        all.tried += 1;
        let unserved = (0..songs.len())
            .filter(|kind| !left_out.contains(kind))
            .find(|&kind| searches.least(kind, &wiring).is_empty());
        let Some(unserved) = unserved else {
            best = Some((out, size, price));
            all.best.push(Served { wiring, left_out });
            continue;
        };
        for other in searches.others(unserved, &wiring) {
            if seen.insert((other.clone(), left_out.clone())) {
                open.push(Reverse((out, other.len(), cost(&other), other, left_out.clone())));
            }
        }
        let mut without = left_out;
        without.insert(without.partition_point(|kind| *kind < unserved), unserved);
        if seen.insert((wiring.clone(), without.clone())) {
            open.push(Reverse((count(&without), size, price, wiring, without)));
        }
    }
    all
}
