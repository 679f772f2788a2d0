//! What is together is due together: flams as they are played, drums struck as one, and notes that are none of it.

use super::*;
use crate::patch::{Recording, TakeKind};
use crate::time::Tempo;
use proptest::prelude::*;

/// A take of hits at these times, in microseconds, and velocities.
fn take(grid: Beat, hits: &[(i64, u8)]) -> Take {
    let struck = |&(us, velocity): &(i64, u8)| {
        let when = When::Time(Instant(us * 1_000_000));
        Struck { when, beat: None, due: None, step: None, velocity, voice: 0 }
    };
    Take {
        name: "wren".to_owned(),
        file: "take.csv".to_owned(),
        kind: TakeKind::Csv,
        voice: Some(0),
        notes: Vec::new(),
        channel: None,
        only: None,
        velocities: 1..=127,
        grid: Some(grid),
        offset: Span::ZERO,
        follow_tempo: false,
        recording: Recording { hits: hits.iter().map(struck).collect(), midi: None },
    }
}

/// The due beats of takes, in points of their grid.
fn due(takes: &[Take], tempo: Tempo) -> Vec<Vec<i128>> {
    let lines = placed(takes, &Clockwork::even(tempo), Beat::from_integer(100_000));
    let points = |(line, take): (&Line<'_>, &Take)| {
        let point = |hit: &Placed<'_>| (hit.due / take.grid.expect("a grid")).to_integer();
        line.hits.iter().map(point).collect()
    };
    lines.iter().zip(takes).map(points).collect()
}

const SIXTEENTHS: Beat = Beat::new_raw(1, 4);

/// Numbers from 0 to 1 that are the same each time (SplitMix64).
fn chance(seed: u64) -> impl FnMut() -> f64 {
    let mut state = seed;
    move || {
        state = state.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = state;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
    }
}

/// How far a grace note is before its main note, in milliseconds, by its rank from 0 to 1: 5, 25, 50, 75 and 95 % of 555 played
/// flams (Groove MIDI data set, CC BY 4.0, measured), which were looked for up to 60 ms; even in between.
fn flam(rank: f64) -> f64 {
    const RANKS: [(f64, f64); 7] =
        [(0.0, 0.0), (0.05, 6.7), (0.25, 15.6), (0.5, 22.7), (0.75, 32.6), (0.95, 44.9), (1.0, 60.0)];
    let at = RANKS.iter().rposition(|(from, _)| *from <= rank).unwrap_or(0).min(RANKS.len() - 2);
    let [(from, low), (to, high)] = [RANKS[at], RANKS[at + 1]];
    low + (high - low) * (rank - from) / (to - from)
}

#[test]
fn two_flams_in_a_row_are_never_one() {
    assert_eq!(NEAR.0 * 2, FLAM.0);
}

/// Flams of a part that is split by velocity, 20,000 at each tempo, on a grid of sixteenths: how many are torn, by rounding each
/// hit alone (the closed form) and as it is done. Main notes lie anywhere, which is the worst, or about their point.
#[test]
fn played_flams_are_not_torn_by_a_grid() {
    for (bpm, anywhere) in [(90, true), (120, true), (138, true), (180, true), (120, false), (138, false)] {
        let tempo = Tempo::whole(bpm);
        let period = 15_000.0 / bpm as f64;
        let mut next = chance(bpm);
        let (mut main, mut grace, mut gaps) = (Vec::new(), Vec::new(), Vec::new());
        for n in 1..=20_000 {
            // The sum of twelve even draws is nearly normal: an SD of 25 ms.
            let off =
                if anywhere { (next() - 0.5) * period } else { 25.0 * ((0..12).map(|_| next()).sum::<f64>() - 6.0) };
            let (at, gap) = (f64::from(n) * 8.0 * period + off, flam(next()));
            main.push(((at * 1000.0) as i64, 100));
            grace.push((((at - gap) * 1000.0) as i64, 40));
            gaps.push(gap);
        }
        let point = |us: i64| (us as f64 / 1000.0 / period).round();
        let alone = main.iter().zip(&grace).filter(|(m, g)| point(m.0) != point(g.0)).count();
        let takes = [take(SIXTEENTHS, &grace), take(SIXTEENTHS, &main)];
        let found = due(&takes, tempo);
        // Main notes stay where they are.
        assert!(found[1].iter().zip(&main).all(|(due, main)| *due as f64 == point(main.0)));
        let torn: Vec<f64> =
            found[0].iter().zip(&found[1]).zip(&gaps).filter(|((g, m), _)| g != m).map(|(_, gap)| *gap).collect();
        let [before, after] = [alone, torn.len()].map(|count| count as f64 / 20_000.0);
        // One that is torn still is no flam by its length, or as long as half the way to the next point.
        let least = 50.0_f64.min(period / 2.0) - 0.002;
        assert!(torn.iter().all(|gap| *gap > least), "{bpm}: a flam of {:?} ms", torn.iter().copied().reduce(f64::min));
        let [was, is] = match (bpm, anywhere) {
            (90, true) => [0.14, 0.012],
            (120, true) => [0.18, 0.02],
            (138, true) => [0.21, 0.02],
            (180, true) => [0.27, 0.06],
            (120, _) => [0.07, 0.02],
            _ => [0.09, 0.02],
        };
        assert!(before > was && after < is, "{bpm}, anywhere {anywhere}: {before} torn before, {after} after");
        // The same within one take that is not split.
        let mut both: Vec<(i64, u8)> = grace.iter().chain(&main).copied().collect();
        both.sort_unstable();
        let whole = &due(&[take(SIXTEENTHS, &both)], tempo)[0];
        let still = whole.chunks(2).filter(|two| two[0] != two[1]).count();
        // Of one take a pair nearer than half a flam is together on a wide grid alone, which these are.
        assert_eq!(still, torn.len(), "{bpm}");
    }
}

/// At 120 points of the grid are 125 ms apart, and the middle between 0 and the next is at 62.5 ms.
#[test]
fn what_is_together_is_due_where_the_loudest_is() {
    let at = |takes: &[&[(i64, u8)]]| -> Vec<Vec<i128>> {
        due(&takes.iter().map(|hits| take(SIXTEENTHS, hits)).collect::<Vec<_>>(), Tempo::whole(120))
    };
    // A grace note before the middle, its main note behind it; the loud one first; equally loud ones: the last.
    assert_eq!(at(&[&[(50_000, 40)], &[(75_000, 100)]]), [[1], [1]]);
    assert_eq!(at(&[&[(50_000, 100)], &[(75_000, 40)]]), [[0], [0]]);
    assert_eq!(at(&[&[(50_000, 100)], &[(75_000, 100)]]), [[1], [1]]);
    // 50 ms are a flam, and a microsecond more is not.
    assert_eq!(at(&[&[(30_000, 40)], &[(80_000, 100)]]), [[1], [1]]);
    assert_eq!(at(&[&[(29_999, 40)], &[(80_000, 100)]]), [[0], [1]]);
    // Three drums as one; and a hit goes with the nearest, though another is near enough too.
    assert_eq!(at(&[&[(50_000, 90)], &[(60_000, 80)], &[(65_000, 127)]]), [[1], [1], [1]]);
    assert_eq!(at(&[&[(20_000, 100)], &[(58_000, 40)], &[(75_000, 100)]]), [[0], [1], [1]]);
    // A due beat that the file gives stays, and draws nobody to it.
    let mut given = take(SIXTEENTHS, &[(75_000, 127)]);
    let own = Struck { due: Some(Beat::from_integer(4)), ..given.recording.hits[0].clone() };
    given.recording.hits = [own].into();
    assert_eq!(due(&[given, take(SIXTEENTHS, &[(50_000, 40)])], Tempo::whole(120)), [[16], [0]]);
    // Takes of different grids are not put together: 60 ms are nearest to 0 in sixteenths, and to 62.5 in thirty-seconds.
    let fine = take(SIXTEENTHS / 2, &[(60_000, 100)]);
    assert_eq!(due(&[take(SIXTEENTHS, &[(55_000, 40)]), fine], Tempo::whole(120)), [[0], [1]]);
}

/// Where the grid is finer than flams are, notes of one take are its notes: 24 points a beat at 120 are 20.8 ms apart. Two
/// takes beside each other are paired hit by hit.
#[test]
fn notes_of_a_fine_grid_stay_apart() {
    let every =
        |late: i64| -> Vec<(i64, u8)> { (0..200).map(|n| (n * 62_500 / 3 + late, 1 + n as u8 % 120)).collect() };
    let grid = Beat::new(1, 24);
    let points: Vec<i128> = (0..200).collect();
    for late in [0, 3_000, -3_000, 8_000, 10_000] {
        let takes = [take(grid, &every(0)), take(grid, &every(late))];
        let tempo = Tempo::whole(120);
        assert_eq!(due(&takes, tempo), [points.clone(), points.clone()], "{late} us late");
    }
    // By a third of the period of sixteenths at 300, 50 ms, a flam is one; by half of it, these are notes.
    let two = |apart: i64| [(0, 100), (25_000 - apart / 2, 40), (25_000 + apart / 2, 100)];
    assert_eq!(due(&[take(SIXTEENTHS, &two(16_000))], Tempo::whole(300)), [[0, 1, 1]]);
}

/// The beats of a take that follows the tempo are put together by when they sound.
#[test]
fn a_take_that_follows_the_tempo_is_not_torn_either() {
    let mut take = take(SIXTEENTHS, &[(0, 40), (0, 100)]);
    let [grace, main] = [Beat::new(11, 100), Beat::new(14, 100)].map(When::Beat);
    let hits = take.recording.hits.iter().zip([grace, main]).map(|(hit, when)| Struck { when, ..hit.clone() });
    take.recording.hits = hits.collect();
    take.follow_tempo = true;
    // 0.03 of a beat are 15 ms at 120, 60 ms at 30.
    assert_eq!(due(std::slice::from_ref(&take), Tempo::whole(120)), [[1, 1]]);
    assert_eq!(due(&[take], Tempo::whole(30)), [[0, 1]]);
}

proptest! {
    /// Hits that are more than a flam apart, and those of grids of which nothing is near, are due on the nearest point.
    #[test]
    fn what_is_alone_is_due_on_its_nearest_point(
        steps in proptest::collection::vec((50_001_i64..400_000, 1_u8..=127), 1..60), bpm in 40_u64..300,
    ) {
        let mut at = 0;
        let hits: Vec<(i64, u8)> = steps.into_iter().map(|(step, velocity)| { at += step; (at, velocity) }).collect();
        let period = 15e6 / bpm as f64;
        let found = due(&[take(SIXTEENTHS, &hits)], Tempo::whole(bpm));
        for (due, (us, _)) in found[0].iter().zip(&hits) {
            prop_assert!((*us as f64 - *due as f64 * period).abs() <= period / 2.0 + 1e-3, "{us} is due on {due}");
        }
    }

    /// Whatever is played, a hit is due where some hit within a flam of it is nearest; and in any order of the takes alike.
    #[test]
    fn no_hit_is_led_further_than_a_flam(
        steps in proptest::collection::vec((0_i64..40_000, 1_u8..=127, 0_usize..3), 1..80), bpm in 40_u64..300,
    ) {
        let mut at = 0;
        let mut hits: [Vec<(i64, u8)>; 3] = Default::default();
        for (step, velocity, take) in steps {
            at += step;
            hits[take].push((at, velocity));
        }
        let takes: Vec<Take> = hits.iter().map(|hits| take(SIXTEENTHS, hits)).collect();
        let tempo = Tempo::whole(bpm);
        let found = due(&takes, tempo);
        let all: Vec<i64> = hits.iter().flatten().map(|hit| hit.0).collect();
        let nearest = |us: i64| (us as f64 * bpm as f64 / 15e6 + 0.5).floor() as i128;
        for (due, (us, _)) in found.iter().flatten().zip(hits.iter().flatten()) {
            // A half falls to either side in floating point.
            let led = all.iter().filter(|other| (*other - us).abs() <= 50_000).any(|other| {
                (nearest(other - 1)..=nearest(other + 1)).contains(due)
            });
            prop_assert!(led, "{us} is due on {due}");
        }
    }
}
