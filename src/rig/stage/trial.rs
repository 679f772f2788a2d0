//! What the tests of several stages need.

use super::out::alone;
use super::{Stage, Tally};
use crate::rig::Edge;
use crate::time::Instant;
use proptest::prelude::*;

/// A rise.
pub(super) fn up(at: i64, number: i64) -> Edge {
    Edge { at: Instant(at), rise: true, number }
}

/// A fall.
pub(super) fn down(at: i64, number: i64) -> Edge {
    Edge { at: Instant(at), rise: false, number }
}

/// Pulses from rise to fall, numbered from 0, at port 0.
pub(super) fn pulses(list: &[(i64, i64)]) -> Vec<(usize, Edge)> {
    let pulse = |(n, &(rise, fall)): (usize, &(i64, i64))| [(0, up(rise, n as i64)), (0, down(fall, n as i64))];
    list.iter().enumerate().flat_map(pulse).collect()
}

/// Pulses from gaps and widths, the first gap first.
pub(super) fn train(gaps_and_widths: &[(i64, i64)]) -> Vec<(usize, Edge)> {
    let mut at = 0;
    let mut list = Vec::new();
    for (gap, width) in gaps_and_widths {
        list.push((at + gap, at + gap + width));
        at += gap + width;
    }
    pulses(&list)
}

/// What leaves the one output of a stage.
pub(super) fn through(stage: &mut dyn Stage, edges: &[(usize, Edge)]) -> (Vec<Edge>, Tally) {
    let (mut left, tally) = alone(stage, 1, edges);
    (left.swap_remove(0), tally)
}

/// The times of the rises, in picoseconds.
pub(super) fn rises(edges: &[Edge]) -> Vec<i64> {
    edges.iter().filter(|e| e.rise).map(|e| e.at.0).collect()
}

/// Holds what left to the laws of a wire, and every pulse that came in to an account: it left, was lost, or was merged.
pub(super) fn check_books(came: &[(usize, Edge)], left: &[Edge], tally: Tally) {
    for (n, edge) in left.iter().enumerate() {
        assert_eq!(edge.rise, n % 2 == 0, "levels alternate: {left:?}");
    }
    for pair in left.windows(2) {
        assert!(pair[0].at < pair[1].at, "time goes on: {left:?}");
    }
    for pulse in left.chunks_exact(2) {
        assert_eq!(pulse[0].number, pulse[1].number, "a fall belongs to its rise: {left:?}");
    }
    for edge in left {
        let cause = came.iter().find(|(_, e)| e.rise && e.number == edge.number).expect("a pulse that came");
        assert!(edge.at >= cause.1.at, "nothing before its cause: {edge:?}");
    }
    let came = came.iter().filter(|(_, e)| e.rise).count() as u64;
    let out = left.iter().filter(|e| e.rise).count() as u64;
    assert_eq!(came + tally.added, out + tally.lost + tally.merged, "every pulse is accounted for: {tally:?} {left:?}");
}

/// Up to `most` pulses with random gaps and lengths under `longest`, in order. Two short lists often meet at equal instants.
pub(super) fn any_pulses(longest: i64, most: usize) -> impl Strategy<Value = Vec<(i64, i64)>> {
    prop::collection::vec((1..longest, 1..longest), 0..most).prop_map(|lengths| {
        let mut at = 0;
        let pulse = |(gap, length)| {
            let rise = at + gap;
            at = rise + length;
            (rise, at)
        };
        lengths.into_iter().map(pulse).collect()
    })
}
