use super::super::Tally;
use super::super::trial::{check_books, pulses, rises, through, train};
use super::*;
use crate::rig::Run;
use proptest::prelude::*;

const US: i64 = 1_000_000;

fn every(period_us: i64, phase_us: i64, reads: Reads, samples: u32) -> patch::Poll {
    let (period, phase) = (Span(period_us * US), Some(Span(phase_us * US)));
    patch::Poll { period, phase, drift: 0.0, reads, samples }
}

fn run(settings: &patch::Poll, list_us: &[(i64, i64)]) -> (Vec<i64>, Tally) {
    let list: Vec<_> = list_us.iter().map(|(a, b)| (a * US, b * US)).collect();
    let came = pulses(&list);
    let (left, tally) = through(&mut Poll::new(settings, Chance::none()), &came);
    check_books(&came, &left, tally);
    (left.iter().map(|e| e.at.0).collect(), tally)
}

fn us(list: &[i64]) -> Vec<i64> {
    list.iter().map(|t| t * US).collect()
}

#[test]
fn edges_are_seen_by_the_next_look_and_short_pulses_by_none() {
    let poll = every(500, 200, Reads::Level, 1);
    // An edge at the instant of a look is seen by it; before the first look there is none.
    assert_eq!(run(&poll, &[(200, 5_200)]).0, us(&[200, 5_200]));
    assert_eq!(run(&poll, &[(0, 5_201)]).0, us(&[200, 5_700]));
    let (left, tally) = run(&poll, &[(201, 241), (650, 750)]);
    assert_eq!((left, tally.lost), (us(&[700, 1_200]), 1));
    // A gap that no look falls into.
    let (left, tally) = run(&poll, &[(300, 800), (1_100, 1_300)]);
    assert_eq!((left, tally.merged), (us(&[700, 1_700]), 1));
}

#[test]
fn a_flag_keeps_the_shortest_pulse() {
    let poll = every(500, 200, Reads::Latched, 1);
    let (left, tally) = run(&poll, &[(201, 241), (650, 690)]);
    assert_eq!((left, tally), (vec![700 * US, 1_200 * US - 1], Tally { merged: 1, ..Tally::default() }));
    // A pulse for every look, a fall and a rise between each two: all are passed on.
    let (left, tally) = run(&poll, &[(250, 720), (800, 1_210), (1_300, 1_750)]);
    let want = [700 * US, 1_200 * US - 1, 1_200 * US, 1_700 * US - 1, 1_700 * US, 2_200 * US - 1];
    assert_eq!((left, tally), (want.to_vec(), Tally::default()));
}

#[test]
fn a_debouncer_wants_to_see_a_level_several_times() {
    let poll = every(1_000, 0, Reads::Level, 3);
    // Contacts that bounce for 2.5 ms: rises at the third look that finds them closed.
    let (left, tally) = run(&poll, &[(500, 1_200), (1_900, 2_050), (2_400, 2_900), (3_100, 9_500)]);
    assert_eq!(left, us(&[6_000, 12_000]));
    // Looks at 1 and 2 saw it high, the one at 3 did not; the third pulse was never seen.
    assert_eq!((tally.lost, tally.merged), (2, 1));
}

#[test]
fn without_chance_an_unknown_phase_is_the_middle() {
    let mut poll = every(500, 0, Reads::Level, 1);
    (poll.phase, poll.drift) = (None, 30e-6);
    assert_eq!(Looks::new(&poll, Chance::none()).at_or_after(Instant(0)), Instant(250 * US));
    assert_eq!(Looks::new(&poll, Chance::none()).at_or_after(Instant(1_000_001 * US)), Instant(1_000_250 * US));
}

#[test]
fn frames_of_a_usb_bus_are_polls() {
    // Full speed 1 ms, high speed 125 µs (USB 2.0; Linux include/linux/usb.h: eight microframes a frame).
    for (period, seen) in [(1_000, 1_000), (125, 375)] {
        assert_eq!(run(&every(period, 0, Reads::Level, 1), &[(300, 5_000)]).0, us(&[seen, 5_000]));
    }
}

#[test]
fn drift_is_drawn_within_its_bounds_and_adds_up_over_time() {
    let mut poll = every(500, 0, Reads::Level, 1);
    poll.drift = 30e-6;
    let after_100_s = |number| {
        let looks = Looks::new(&poll, Run::Drawn { seed: 1, number }.chance("stage/p"));
        looks.grid.tick(200_000).0 - 100_000_000 * US
    };
    let all: Vec<_> = (1..100).map(after_100_s).collect();
    // 30 millionths of 100 s are 3 ms.
    assert!(all.iter().all(|d| d.abs() <= 3_000 * US));
    assert!(all.iter().any(|d| *d > 2_000 * US) && all.iter().any(|d| *d < -2_000 * US));
}

/// The looks of many runs at random phase.
fn drawn(runs: u64, purpose: &'static str) -> impl Iterator<Item = Looks> {
    let mut poll = every(1_000, 0, Reads::Level, 1);
    poll.phase = None;
    (1..=runs).map(move |number| Looks::new(&poll, Run::Drawn { seed: 1, number }.chance(purpose)))
}

#[test]
fn edges_d_apart_are_seen_apart_as_often_as_d_is_of_a_period() {
    // Closed form: P(different looks) = min(1, d/P); the gap is then a whole period (for d ≤ P); SD √(d(P − d)).
    let (runs, period) = (20_000_u64, 1_000 * US);
    for d in [20, 80, 250, 500, 999, 1_000] {
        let gaps: Vec<i64> = drawn(runs, "poll")
            .map(|l| l.at_or_after(Instant(123_456 * US + d * US)).0 - l.at_or_after(Instant(123_456 * US)).0)
            .collect();
        assert!(gaps.iter().all(|g| *g == 0 || *g == period));
        let p = d as f64 / 1_000.0;
        let apart = gaps.iter().filter(|g| **g > 0).count() as f64 / runs as f64;
        // Five standard errors of a share.
        assert!((apart - p).abs() <= 5.0 * (p * (1.0 - p) / runs as f64).sqrt(), "{d} {apart}");
        let mean = gaps.iter().sum::<i64>() as f64 / runs as f64;
        let sd = (gaps.iter().map(|g| (*g as f64 - mean).powi(2)).sum::<f64>() / runs as f64).sqrt();
        let want = ((d * (1_000 - d)) as f64).sqrt() * 1e6;
        // The SD of a share's SD is at most (1 − 2p)/(2√n) periods; five of it, and a little where p is ½.
        assert!((sd - want).abs() <= (5.0 * (1.0 - 2.0 * p).abs() / (2.0 * (runs as f64).sqrt()) + 1e-3) * 1e9);
    }
}

#[test]
fn two_free_loops_differ_by_a_triangle() {
    // Closed form: SD P/√6 = 0.408248 P, mean size P/3, beyond P/2 in a quarter of all.
    let runs = 20_000_u64;
    let at = Instant(55_555 * US);
    let gaps: Vec<f64> = drawn(runs, "one")
        .zip(drawn(runs, "two"))
        .map(|(a, b)| (a.at_or_after(at) - b.at_or_after(at)).0 as f64 / (1_000 * US) as f64)
        .collect();
    let mean = |f: &dyn Fn(f64) -> f64| gaps.iter().map(|g| f(*g)).sum::<f64>() / runs as f64;
    // Five standard errors: of the variance √(1/15 − 1/36)/√n (fourth moment of a triangle 1/15), of the mean size
    // √(1/18)/√n, of the share √(3/16)/√n.
    assert!((mean(&|g| g * g) - 1.0 / 6.0).abs() < 0.007);
    assert!((mean(&f64::abs) - 1.0 / 3.0).abs() < 0.0084);
    assert!((mean(&|g| f64::from(g.abs() > 0.5)) - 0.25).abs() < 0.0154);
}

#[test]
fn k_loops_spread_over_k_less_one_of_k_and_one() {
    // Closed form: the mean of most less least of k is (k − 1)/(k + 1)·P; SD √(2(k − 1)/((k + 1)²(k + 2))).
    let (runs, at) = (4_000_u64, Instant(55_555 * US));
    let boxes = ["a", "b", "c", "d", "e", "f", "g", "h"];
    let seen: Vec<Vec<i64>> = boxes.iter().map(|b| drawn(runs, b).map(|l| l.at_or_after(at).0).collect()).collect();
    for k in [2, 3, 4, 8] {
        let spread = |n: usize| {
            let of_run = || seen[..k].iter().map(|s| s[n]);
            of_run().max().unwrap_or(0) - of_run().min().unwrap_or(0)
        };
        let mean = (0..runs as usize).map(spread).sum::<i64>() as f64 / runs as f64 / 1e9;
        let kk = k as f64;
        let error = (2.0 * (kk - 1.0) / ((kk + 1.0).powi(2) * (kk + 2.0)) / runs as f64).sqrt();
        assert!((mean - (kk - 1.0) / (kk + 1.0)).abs() < 5.0 * error, "{k} {mean}");
    }
}

/// A loop that runs through all its looks, whether or not anything can have changed.
fn idle_loop(p: &patch::Poll, came: &[(usize, Edge)], until: i64) -> Vec<(i64, bool)> {
    let (mut level, mut reads, mut row, mut left) = (false, false, 0, Vec::new());
    let mut edges = came.iter().peekable();
    let first = p.phase.expect("given").0;
    for at in (first..until).step_by(p.period.0 as usize) {
        while let Some((_, edge)) = edges.next_if(|e| e.1.at.0 <= at) {
            level = edge.rise;
        }
        row = if level == reads { 0 } else { row + 1 };
        if row == p.samples {
            (reads, row) = (level, 0);
            left.push((at, level));
        }
    }
    left
}

proptest! {
    /// Sleeping through what cannot matter changes nothing.
    #[test]
    fn a_loop_that_sleeps_sees_what_an_idle_one_does(
        list in proptest::collection::vec((1_i64..40, 1_i64..40), 1..12),
        period in 1_i64..20, phase in 0_i64..20, samples in 1_u32..5,
    ) {
        let poll = every(period, phase, Reads::Level, samples);
        let came = train(&list.iter().map(|(a, b)| (a * US, b * US)).collect::<Vec<_>>());
        let (left, tally) = through(&mut Poll::new(&poll, Chance::none()), &came);
        check_books(&came, &left, tally);
        let other = idle_loop(&poll, &came, 2_000 * US);
        prop_assert_eq!(left.iter().map(|e| (e.at.0, e.rise)).collect::<Vec<_>>(), other);
    }

    /// A flag loses nothing, and rises come out at the looks after those that came.
    #[test]
    fn a_flag_passes_one_rise_for_every_look_after_a_rise(
        list in proptest::collection::vec((1_i64..40, 1_i64..40), 1..12), period in 2_i64..20, phase in 0_i64..20,
    ) {
        let poll = every(period, phase, Reads::Latched, 1);
        let came = train(&list.iter().map(|(a, b)| (a * US, b * US)).collect::<Vec<_>>());
        let (left, tally) = through(&mut Poll::new(&poll, Chance::none()), &came);
        check_books(&came, &left, tally);
        let looks = Looks::new(&poll, Chance::none());
        let mut want: Vec<i64> =
            came.iter().filter(|(_, e)| e.rise).map(|(_, e)| looks.at_or_after(e.at).0).collect();
        want.dedup();
        prop_assert_eq!(rises(&left), want);
        prop_assert_eq!(tally.lost, 0);
    }
}
