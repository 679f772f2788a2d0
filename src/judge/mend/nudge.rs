//! Nudges of any size: between meetings of edges the gaps of two boxes are differences of their nudges, so that what must hold
//! is a system of differences in whole picoseconds. It is solved, or a circle of boxes is found that cannot all be served
//! (Bellman 1958, Ford 1956: shortest paths; a negative circle is the proof).

/// `x[to] − x[from] ≤ most`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Bound {
    pub(super) from: usize,
    pub(super) to: usize,
    pub(super) most: i64,
    /// Whose bound it is.
    pub(super) pair: usize,
}

/// Values that keep all bounds, the first being 0; or the pairs of a circle that no values keep.
pub(super) fn solve(count: usize, bounds: &[Bound]) -> Result<Vec<i64>, Vec<usize>> {
    let mut at = vec![0_i64; count];
    let mut by: Vec<Option<usize>> = vec![None; count];
    let mut moved = None;
    for _ in 0..count {
        moved = None;
        for (n, bound) in bounds.iter().enumerate() {
            let reached = at[bound.from].saturating_add(bound.most);
            if reached < at[bound.to] {
                at[bound.to] = reached;
                by[bound.to] = Some(n);
                moved = Some(bound.to);
            }
        }
        if moved.is_none() {
            break;
        }
    }
    let Some(mut node) = moved else {
        let zero = at.first().copied().unwrap_or_default();
        return Ok(at.into_iter().map(|x| x - zero).collect());
    };
    // Far enough back it stands in the circle.
    for _ in 0..count {
        node = by[node].map_or(node, |n| bounds[n].from);
    }
    let (start, mut pairs) = (node, Vec::new());
    while let Some(n) = by[node] {
        pairs.push(bounds[n].pair);
        node = bounds[n].from;
        if node == start {
            break;
        }
    }
    pairs.sort_unstable();
    pairs.dedup();
    Err(pairs)
}

/// Values with as much room to every bound as there is, up to half of it given away for round figures; with the room that is left.
pub(super) fn settle(count: usize, bounds: &[Bound], grains: &[i64]) -> Option<(Vec<i64>, i64)> {
    let tightened = |by: i64| -> Vec<Bound> {
        bounds.iter().map(|bound| Bound { most: bound.most.saturating_sub(by), ..*bound }).collect()
    };
    let mut best = solve(count, bounds).ok()?;
    let (mut low, mut high) = (0_i64, bounds.iter().map(|b| b.most.saturating_abs()).max().unwrap_or(0).max(1));
    while low < high {
        let middle = low + (high - low + 1) / 2;
        match solve(count, &tightened(middle)) {
            Ok(found) => (best, low) = (found, middle),
            Err(_) => high = middle - 1,
        }
    }
    let room = |at: &[i64]| bounds.iter().map(|b| b.most - (at[b.to] - at[b.from])).min().unwrap_or(0);
    for grain in grains {
        let mut fixed = tightened(low / 2);
        let mut rounded = best.clone();
        let all = (1..count).all(|n| {
            let value = (rounded[n] + grain.div_euclid(2)).div_euclid(*grain) * grain;
            fixed.push(Bound { from: 0, to: n, most: value, pair: 0 });
            fixed.push(Bound { from: n, to: 0, most: -value, pair: 0 });
            solve(count, &fixed).is_ok_and(|next| {
                rounded = next;
                true
            })
        });
        if all {
            let room = room(&rounded);
            return Some((rounded, room));
        }
    }
    let room = room(&best);
    Some((best, room))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const fn bound(from: usize, to: usize, most: i64, pair: usize) -> Bound {
        Bound { from, to, most, pair }
    }

    /// By hand: a box 12.2 ms late may be nudged to within 2 ms, so by −14.2 to −10.2; in the middle, rounded, −12.
    #[test]
    fn one_box_is_nudged_into_the_middle_by_a_round_figure() {
        let bounds = [bound(0, 1, -10_200, 0), bound(1, 0, 14_200, 0)];
        let (at, room) = settle(2, &bounds, &[1_000, 100, 10, 1]).expect("it can");
        assert_eq!((at, room), (vec![0, -12_000], 1_800));
    }

    /// Two that are to be 3 before each other: the circle names both pairs and no third.
    #[test]
    fn a_circle_names_who_cannot_be_served() {
        let bounds = [bound(0, 1, 5, 7), bound(1, 2, -3, 8), bound(2, 1, -3, 9)];
        assert_eq!(solve(3, &bounds), Err(vec![8, 9]));
    }

    proptest! {
        /// Against all shortest ways at once (Floyd 1962, Warshall 1962): a system can be met if no node has a way to itself below 0.
        #[test]
        fn it_is_solved_where_another_way_of_reckoning_says_so(
            raw in prop::collection::vec((0_usize..5, 0_usize..5, -20_i64..40), 1..14)
        ) {
            let bounds: Vec<Bound> = raw.iter().enumerate().map(|(n, &(a, b, most))| bound(a, b, most, n)).collect();
            let mut way = [[i64::from(i32::MAX); 5]; 5];
            (0..5).for_each(|n| way[n][n] = 0);
            bounds.iter().for_each(|b| way[b.from][b.to] = way[b.from][b.to].min(b.most));
            for via in 0..5 {
                for a in 0..5 {
                    for b in 0..5 {
                        way[a][b] = way[a][b].min(way[a][via] + way[via][b]);
                    }
                }
            }
            let can = (0..5).all(|n| way[n][n] >= 0);
            match solve(5, &bounds) {
                Ok(at) => {
                    prop_assert!(can);
                    prop_assert!(bounds.iter().all(|b| at[b.to] - at[b.from] <= b.most));
                    let (settled, room) = settle(5, &bounds, &[10, 1]).expect("it can");
                    prop_assert!(room >= 0 && bounds.iter().all(|b| settled[b.to] - settled[b.from] + room <= b.most));
                }
                Err(pairs) => {
                    prop_assert!(!can);
                    let circle: Vec<Bound> = bounds.iter().filter(|b| pairs.contains(&b.pair)).copied().collect();
                    prop_assert!(solve(5, &circle).is_err());
                }
            }
        }
    }
}
