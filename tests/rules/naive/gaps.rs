//! Gaps between hits that are due on the same beat, and what passes.

use super::Hit;
use super::one::Account;
use hitgap::patch::Rig;

/// The gaps between two sequencers.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Pair {
    /// Their indices, in the order of the file.
    pub(crate) between: [usize; 2],
    /// Every gap, second minus first, in picoseconds, sorted.
    pub(crate) gaps: Vec<i64>,
    /// Hits of each that have no partner.
    pub(crate) unpaired: [usize; 2],
    /// The size of the largest gap.
    pub(crate) worst: Option<i64>,
}

/// "pairs in the order of the file"
pub(crate) fn all_pairs(rig: &Rig, hits: &[Hit]) -> Vec<Pair> {
    let mut pairs = Vec::new();
    for first in 0..rig.sequencers.len() {
        for second in first + 1..rig.sequencers.len() {
            pairs.push(pair(first, second, hits));
        }
    }
    pairs
}

fn pair(first: usize, second: usize, hits: &[Hit]) -> Pair {
    let of = |sequencer: usize| hits.iter().filter(move |hit| hit.sequencer == sequencer);
    // "Gaps are taken between hits of different sequencers with the same due beat, never to the nearest hit in time."
    // "Where several hits of one sequencer have one due beat, each counts with each of the other." docs/rules.md adds:
    // where both have as many, the first counts with the first and so on.
    let mut gaps = Vec::new();
    for (i, a) in of(first).enumerate() {
        for (j, b) in of(second).enumerate() {
            let before = |one: usize, upto: usize| of(one).take(upto).filter(|hit| hit.due == a.due).count();
            let all = |one: usize| of(one).filter(|hit| hit.due == a.due).count();
            let as_many = all(first) == all(second);
            if a.due == b.due && (!as_many || before(first, i) == before(second, j)) {
                // "A gap is second minus first"
                gaps.push(b.at - a.at);
            }
        }
    }
    gaps.sort_unstable();
    // "`unpaired` counts each one's hits without a partner."
    let alone = |one: usize, other: usize| of(one).filter(|a| !of(other).any(|b| b.due == a.due)).count();
    Pair {
        between: [first, second],
        unpaired: [alone(first, second), alone(second, first)],
        // "`worst_ms` is the largest without sign"
        worst: gaps.iter().map(|gap| gap.abs()).max(),
        gaps,
    }
}

/// Whether the variant passes.
pub(crate) fn passes(accounts: &[Account], pairs: &[Pair], max_gap_ps: i64) -> bool {
    // "A patch passes when all agree and every gap is within the max gap"
    let all_agree = accounts.iter().all(|account| account.agrees);
    // "the largest acceptable gap, itself still acceptable"
    let close = pairs.iter().flat_map(|pair| &pair.gaps).all(|gap| gap.abs() <= max_gap_ps);
    // "What pairs with nothing, or never plays, does not pass."
    let all_play = accounts.iter().all(|account| account.hits > 0);
    let has_partner = |index: usize| pairs.iter().any(|pair| pair.between.contains(&index) && !pair.gaps.is_empty());
    let all_pair = accounts.len() < 2 || (0..accounts.len()).all(has_partner);
    all_agree && close && all_play && all_pair
}
