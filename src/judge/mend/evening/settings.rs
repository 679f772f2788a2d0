//! The settings of the dials with which a song does, the wiring being what it is.

use super::turns::Choice;
use crate::judge::mend::bench::Bench;
use crate::judge::mend::change::{Change, Dial};
use crate::judge::mend::examine::{Examined, Scope};
use crate::judge::mend::nudge::{Bound, solve};
use crate::judge::mend::set::{MOST_CHANGES, Set, packed};
use crate::patch::{Rig, Timing, Width};
use crate::time::{PS_PER_MS, Span};
use rayon::prelude::*;
use std::collections::{BTreeMap, BTreeSet, HashMap};

/// So many settings of one song are tried; where there are more, those of the fewest dials.
const MOST_TRIED: usize = 20_000;
/// Offsets go in steps of so much where one player is nudged, where two are, and where more are; in tenths of a millisecond.
const STEPS: [i64; 3] = [1, 2, 5];
/// From so many steps on a setting is as good as in the middle.
const ENOUGH: u32 = 20;

/// A setting that does for a song: the wiring and the dials, and the offsets of those that are nudged.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Setting {
    pub(super) set: Set,
    pub(super) nudges: Vec<(usize, Span)>,
    pub(super) choice: Choice,
}

/// Where dials stand, each place with a number, over all songs of an evening.
#[derive(Debug, Default)]
pub(super) struct Places(HashMap<(usize, String), u32>);

impl Places {
    fn of(&mut self, dial: usize, stands: String) -> (u32, u32) {
        let next = self.0.len() as u32;
        (dial as u32, *self.0.entry((dial, stands)).or_insert(next))
    }
}

/// The player whose nudge this is, or where a dial stands, as a text that is alike for what is alike.
fn stands(rig: &Rig, change: &Change) -> String {
    match change {
        Change::Nudge { player } => offset(rig, *player).0.to_string(),
        Change::Turn { output, to } => {
            let output = &rig.outputs[*output];
            match (to, &output.timing) {
                (Dial::Phase(_), Timing::Rate { phase, .. }) => phase.to_string(),
                (Dial::Phase(_), _) => String::new(),
                (Dial::Shift(_), _) => output.shift.to_string(),
                (Dial::Width(_), _) => match &output.width {
                    Width::Time(time) => time.to_string(),
                    other => format!("{other:?}"),
                },
            }
        }
        _ => String::new(),
    }
}

/// Where a dial stands once a change is made.
fn turned(change: &Change) -> String {
    match change {
        Change::Turn { to: Dial::Phase(share), .. } => share.to_string(),
        Change::Turn { to: Dial::Shift(span) | Dial::Width(span), .. } => span.0.to_string(),
        Change::Set { value, .. } => value.clone(),
        _ => String::new(),
    }
}

pub(super) fn offset(rig: &Rig, player: usize) -> Span {
    match player.checked_sub(rig.sequencers.len()) {
        None => rig.sequencers[player].offset,
        Some(take) => rig.takes[take].offset,
    }
}

/// Every set of dials that does for a song: those of which no part does, and those put together from them and from what any song
/// of the evening needs. With whether all were tried that do not pass the budget.
pub(super) fn settings(
    bench: &Bench<'_>,
    (wiring, scope): (&[u16], &Scope),
    (least, needed): (&[Set], &BTreeSet<u16>),
    budget: usize,
) -> (Vec<(Set, Examined)>, bool) {
    let budget = budget.min(MOST_CHANGES);
    let offers = &bench.catalogue.offers;
    let clash = |set: &Set, n: u16| {
        set.iter().any(|m| bench.catalogue.clash(offers[usize::from(*m)].slot, offers[usize::from(n)].slot))
    };
    let (mut all, mut newest): (BTreeSet<Set>, Vec<Set>) = (least.iter().cloned().collect(), least.to_vec());
    let mut is_whole = true;
    while !newest.is_empty() && is_whole {
        let mut next = BTreeSet::new();
        for set in newest.iter().filter(|set| set.len() < budget) {
            for &more in needed.iter().filter(|n| !clash(set, **n)) {
                let mut with = set.clone();
                with.insert(with.partition_point(|n| *n < more), more);
                if !all.contains(&with) {
                    next.insert(with);
                }
            }
        }
        is_whole = all.len() + next.len() <= MOST_TRIED;
        if is_whole {
            all.extend(next.iter().cloned());
        }
        newest = next.into_iter().collect();
    }
    debug_assert!(all.iter().all(|set| wiring.iter().all(|n| set.contains(n))));
    let all: Vec<Set> = all.into_iter().collect();
    let examined = all.into_par_iter().map(|set| {
        let examined = bench.examine(&set, scope);
        (set, examined)
    });
    (examined.filter(|(_, examined)| examined.faults.is_empty()).collect(), is_whole)
}

/// The choices that these sets are: where nudges are among them, one for every step of the offsets that does. `patch` is the rig
/// as it is without any fix, from which what is turned counts.
pub(super) fn choices(
    bench: &Bench<'_>,
    (patch, dials): (&Rig, &BTreeSet<u16>),
    (passing, needed): (&[(Set, Examined)], &Offsets),
    places: &mut Places,
) -> Vec<Setting> {
    let known: BTreeSet<u64> = passing.iter().map(|(set, _)| packed(set.iter().copied())).collect();
    let offers = &bench.catalogue.offers;
    let rig = bench.rig();
    // Each dial once, by some offer of it.
    let by_slot: HashMap<usize, u16> = dials.iter().map(|&n| (offers[usize::from(n)].slot, n)).collect();
    let mut slots: Vec<(usize, u16)> = by_slot.into_iter().collect();
    slots.sort_unstable();
    let mut all = Vec::new();
    for (set, examined) in passing {
        let cost = set.iter().map(|&n| offers[usize::from(n)].cost).sum();
        let middle = middle(bench, set, &known);
        for (nudges, spare) in nudgings(rig, examined, Some(needed)) {
            let mut stand = Vec::new();
            for &(slot, any) in &slots {
                let change = &offers[usize::from(any)].change;
                let own = set.iter().find(|n| offers[usize::from(**n)].slot == slot);
                let at = match (own.map(|n| &offers[usize::from(*n)].change), change) {
                    (Some(Change::Nudge { player }), _) => nudges
                        .iter()
                        .find(|(own, _)| own == player)
                        .map_or_else(String::new, |(_, by)| by.0.to_string()),
                    (Some(own), _) => turned(own),
                    (None, _) => stands(rig, change),
                };
                if at != stands(patch, change) {
                    stand.push(places.of(slot, at));
                }
            }
            let choice = Choice { dials: stand, cost, spare: middle.min(spare) };
            all.push(Setting { set: set.clone(), nudges, choice });
        }
    }
    all
}

/// Offsets that some song needs, by the player.
pub(super) type Offsets = BTreeMap<usize, BTreeSet<i64>>;

/// The offsets with which sets do, where there is anybody to be together with.
pub(super) fn offsets(bench: &Bench<'_>, passing: &[(Set, Examined)], all: &mut Offsets) {
    for (nudges, _) in passing.iter().flat_map(|(_, examined)| nudgings(bench.rig(), examined, None)) {
        nudges.iter().for_each(|(player, by)| {
            all.entry(*player).or_default().insert(by.0);
        });
    }
}

/// A value beyond this is bounded by nothing: nobody is heard beside whom it would matter.
const FAR: i64 = 1_000 * PS_PER_MS;

/// The offsets that do with a set, in steps, each with how many steps it is from one that does not. Of who is not heard any would do:
/// it stands as in some other song, or as it is.
fn nudgings(rig: &Rig, examined: &Examined, others: Option<&Offsets>) -> Vec<(Vec<(usize, Span)>, u32)> {
    let (nudged, bounds) = &examined.asked;
    if nudged.is_empty() {
        return vec![(Vec::new(), ENOUGH)];
    }
    let grain = STEPS[nudged.len().min(STEPS.len()) - 1] * PS_PER_MS / 10;
    let room = |at: &[i64]| bounds.iter().map(|b| b.most - (at[b.to] - at[b.from])).min().unwrap_or(i64::MAX);
    let mut open = vec![vec![0_i64]];
    let mut is_free = false;
    for player in 1..=nudged.len() {
        let own = offset(rig, nudged[player - 1]).0;
        let mut next = Vec::new();
        for at in open {
            // Those before stand fixed; how far may this one be?
            let fixed = at.iter().enumerate().flat_map(|(n, by)| {
                [Bound { from: 0, to: n, most: *by, pair: 0 }, Bound { from: n, to: 0, most: -by, pair: 0 }]
            });
            let fixed: Vec<Bound> = bounds.iter().copied().chain(fixed).collect();
            let Some([low, high]) = reach(nudged.len() + 1, player, &fixed) else { continue };
            let steps: Vec<i64> = if low < -FAR || high > FAR {
                is_free = true;
                let known = others.and_then(|others| others.get(&nudged[player - 1]));
                let all = std::iter::once(own).chain(known.into_iter().flatten().copied());
                all.map(|offset| offset - own).filter(|by| (low..=high).contains(by)).collect()
            } else {
                let first = (low + own).div_euclid(grain) + i64::from((low + own).rem_euclid(grain) > 0);
                (first..).map(|n| n * grain - own).take_while(|by| *by <= high).take(MOST_TRIED).collect()
            };
            next.extend(steps.into_iter().map(|by| [at.as_slice(), &[by]].concat()));
        }
        open = next;
    }
    // What songs need is told by those that need it.
    if is_free && others.is_none() {
        return Vec::new();
    }
    let of = |at: Vec<i64>| -> (Vec<(usize, Span)>, u32) {
        let steps = u32::try_from(room(&at) / grain).unwrap_or(ENOUGH).min(ENOUGH);
        let offsets = nudged.iter().zip(&at[1..]).map(|(&n, by)| (n, Span(offset(rig, n).0 + by)));
        (offsets.collect(), steps)
    };
    let mut all: Vec<(Vec<(usize, Span)>, u32)> = open.into_iter().map(of).collect();
    // Where no step does, what was worked out does.
    if all.is_empty() {
        all.push((examined.nudges.clone(), 0));
    }
    all
}

/// From where to where a value may be that keeps these bounds; `None` where none does.
fn reach(count: usize, value: usize, bounds: &[Bound]) -> Option<[i64; 2]> {
    solve(count, bounds).ok()?;
    // Shortest ways from the first to it, and back (Bellman 1958).
    let way = |from: usize, to: usize| {
        let mut at = vec![i64::MAX / 4; count];
        at[from] = 0;
        for _ in 0..count {
            for b in bounds {
                at[b.to] = at[b.to].min(at[b.from].saturating_add(b.most));
            }
        }
        at[to]
    };
    Some([-way(value, 0), way(0, value)])
}

/// How many steps of a dial lie between a set and the next that fails, whichever dial of it is turned and whichever way.
fn middle(bench: &Bench<'_>, set: &Set, known: &BTreeSet<u64>) -> u32 {
    let offers = &bench.catalogue.offers;
    let size = |change: &Change| match change {
        Change::Turn { to: Dial::Phase(share), .. } => Some(*share),
        Change::Turn { to: Dial::Shift(span) | Dial::Width(span), .. } => Some(i128::from(span.0).into()),
        _ => None,
    };
    let of = |&own: &u16| {
        let offer = &offers[usize::from(own)];
        size(&offer.change)?;
        let mut row: Vec<u16> =
            (0..offers.len()).filter(|n| offers[*n].slot == offer.slot).filter_map(|n| u16::try_from(n).ok()).collect();
        row.sort_by_key(|n| size(&offers[usize::from(*n)].change));
        let at = row.iter().position(|n| *n == own)?;
        let does = |n: &u16| {
            let mut other: Set = set.iter().map(|m| if *m == own { *n } else { *m }).collect();
            other.sort_unstable();
            known.contains(&packed(other))
        };
        let up = row[at + 1..].iter().take_while(|n| does(n)).count();
        let down = row[..at].iter().rev().take_while(|n| does(n)).count();
        u32::try_from(up.min(down)).ok()
    };
    set.iter().filter_map(of).min().unwrap_or(ENOUGH).min(ENOUGH)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: one player that has to be moved by at least 0.95 ms to the front and by at most 1.25 ms; by at least that and by at most
    /// 0.9 ms it cannot be.
    #[test]
    fn a_value_lies_between_its_bounds() {
        let us = 1_000_000;
        let bounds =
            [Bound { from: 0, to: 1, most: -950 * us, pair: 0 }, Bound { from: 1, to: 0, most: 1_250 * us, pair: 0 }];
        assert_eq!(reach(2, 1, &bounds), Some([-1_250 * us, -950 * us]));
        assert_eq!(reach(2, 1, &[bounds[0], Bound { most: 900 * us, ..bounds[1] }]), None);
    }
}
