//! Euclidean patterns against the published table.

use hitgap::patch::Step;
use hitgap::patch::pattern::{MOST_STEPS, PatternError, euclidean, steps};
use proptest::prelude::*;

/// Toussaint 2005, "The Euclidean Algorithm Generates Traditional Musical Rhythms" (BRIDGES, Banff, pp. 47–56), as two
/// independent public transcriptions have it: all 24 rows, as printed and with no rotation. One row, (5, 16), is printed
/// a step too long, with a fifth rest at its end; here it has its 16 steps.
const TOUSSAINT_2005: [(usize, usize, &str); 24] = [
    (2, 3, "x.x"),
    (2, 5, "x.x.."),
    (3, 4, "x.xx"),
    (3, 5, "x.x.x"),
    (3, 7, "x.x.x.."),
    (3, 8, "x..x..x."),
    (4, 7, "x.x.x.x"),
    (4, 9, "x.x.x.x.."),
    (4, 11, "x..x..x..x."),
    (4, 12, "x..x..x..x.."),
    (5, 6, "x.xxxx"),
    (5, 7, "x.xx.xx"),
    (5, 8, "x.xx.xx."),
    (5, 9, "x.x.x.x.x"),
    (5, 11, "x.x.x.x.x.."),
    (5, 12, "x..x.x..x.x."),
    (5, 13, "x..x.x..x.x.."),
    (5, 16, "x..x..x..x..x..."),
    (7, 8, "x.xxxxxx"),
    (7, 12, "x.xx.x.xx.x."),
    (7, 16, "x..x.x.x..x.x.x."),
    (9, 16, "x.xx.x.x.xx.x.x."),
    (11, 24, "x..x.x.x.x.x..x.x.x.x.x."),
    (13, 24, "x.xx.x.x.x.x.xx.x.x.x.x."),
];

fn drawn(hits: usize, steps: usize, rotate: i64) -> String {
    euclidean(hits, steps, rotate).into_iter().map(|hit| if hit { 'x' } else { '.' }).collect()
}

#[test]
fn every_printed_row_is_given_without_rotation() {
    for (hits, steps, row) in TOUSSAINT_2005 {
        assert_eq!(drawn(hits, steps, 0), row, "E({hits},{steps})");
    }
}

#[test]
fn the_ends_are_patterns_too() {
    assert_eq!(drawn(0, 4, 0), "....");
    assert_eq!(drawn(4, 4, 0), "xxxx");
    assert_eq!(drawn(1, 4, 0), "x...");
    assert_eq!(drawn(1, 4, 1), ".x..", "rotation makes every hit later");
    assert_eq!(drawn(1, 4, -1), "...x");
    assert_eq!(drawn(0, 0, 5), "");
}

#[test]
fn box_notation_is_read() {
    assert_eq!(steps("X. | x"), Ok(vec![Step::Accent, Step::Rest, Step::Hit]));
    assert_eq!(steps(" | "), Err(PatternError::Empty));
    assert_eq!(steps("x. o"), Err(PatternError::Unknown { found: 'o', index: 3 }));
    assert_eq!(steps(&"x".repeat(MOST_STEPS)).map(|s| s.len()), Ok(MOST_STEPS));
    assert_eq!(steps(&"x".repeat(MOST_STEPS + 1)), Err(PatternError::TooLong(MOST_STEPS + 1)));
}

proptest! {
    /// As even as whole steps allow: distances between hits are the two whole numbers next to `steps/hits`, and the same
    /// holds for the distance over any number of hits. (That is what "maximally even" means, Clough & Douthett 1991; from memory.)
    #[test]
    fn hits_are_spread_as_evenly_as_whole_steps_allow(steps in 1_usize..200, share in 0_usize..=100, rotate in -300_i64..300) {
        let hits = (steps * share / 100).max(1);
        let pattern = euclidean(hits, steps, 0);
        prop_assert_eq!(pattern.len(), steps);
        prop_assert!(pattern[0]);
        let onsets: Vec<usize> = (0..steps).filter(|n| pattern[*n]).collect();
        prop_assert_eq!(onsets.len(), hits);
        for over in 1..hits {
            let floor = over * steps / hits;
            for n in 0..hits {
                let to = onsets[(n + over) % hits] + if n + over >= hits { steps } else { 0 };
                let distance = to - onsets[n];
                prop_assert!(distance == floor || distance == (over * steps).div_ceil(hits));
            }
        }
        let turned = euclidean(hits, steps, rotate);
        let around = steps as i64;
        let by_hand: Vec<bool> = (0..around).map(|n| pattern[(n - rotate).rem_euclid(around) as usize]).collect();
        prop_assert_eq!(turned, by_hand);
    }
}
