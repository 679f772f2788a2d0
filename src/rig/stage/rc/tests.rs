use super::super::trial::{check_books, pulses, rises, through, train};
use super::*;
use crate::patch::Tolerance;
use crate::rig::Run;
use proptest::prelude::*;

/// 5 V through `r` and `c`, nothing else in the way.
fn plain(r: f64, c: f64, rise: f64, fall: f64) -> patch::Rc {
    patch::Rc {
        r: Tolerance::plain(r),
        c: Tolerance::plain(c),
        high: 5.0,
        low: 0.0,
        source: 0.0,
        load: f64::INFINITY,
        discharge: f64::INFINITY,
        threshold_rise: Tolerance::plain(rise),
        threshold_fall: Tolerance::plain(fall),
    }
}

fn run(settings: &patch::Rc, list: &[(i64, i64)]) -> (Vec<Edge>, super::super::Tally) {
    let came = pulses(list);
    let (left, tally) = through(&mut Rc::new(settings, Chance::none()), &came);
    check_books(&came, &left, tally);
    (left, tally)
}

const MS: i64 = 1_000_000_000;

#[test]
fn rises_and_falls_take_the_logarithms_of_the_text_books() {
    // RC step response, closed form: 10 kΩ and 100 nF, τ = 1 ms. The times are rounded to a picosecond.
    let delays = |rise: f64, fall: f64| {
        let (left, _) = run(&plain(10e3, 100e-9, rise, fall), &[(0, 100 * MS)]);
        (left[0].at.0, left[1].at.0 - 100 * MS)
    };
    // ln 2 up to one half, and down to it.
    assert_eq!(delays(2.5, 2.5), (693_147_181, 693_147_181));
    // ln 3 up to two thirds, down to one third.
    assert_eq!(delays(10.0 / 3.0, 5.0 / 3.0), (1_098_612_289, 1_098_612_289));
    // 10 to 90 %: 2.197225 RC.
    assert_eq!(delays(4.5, 4.5).0 - delays(0.5, 0.5).0, 2_197_224_577);
    // Inputs at 1.5 and 3.5 V on one slow edge of 5 V: 0.847298 RC apart.
    assert_eq!(delays(3.5, 1.5).0 - delays(1.5, 1.5).0, 847_297_860);
    // Down from 5 to 1.5 V: 1.203973 RC.
    assert_eq!(delays(3.5, 1.5).1, 1_203_972_804);
}

#[test]
fn charge_left_over_makes_the_next_pulse_sooner() {
    // τ 10 ms, 24 a beat at 120, half wide, threshold at one half: the delays that the design gives (6.93, 4.34,
    // 3.96 … 3.91 ms), and the fixed point in closed form.
    let settings = plain(100e3, 100e-9, 2.5, 2.5);
    let period = 20_833_333_333;
    let list: Vec<_> = (0..24).map(|k| (k * period, k * period + period / 2)).collect();
    let (left, tally) = run(&settings, &list);
    let delays: Vec<i64> = rises(&left).iter().zip(&list).map(|(out, came)| out - came.0).collect();
    let shown: Vec<String> = delays.iter().map(|d| format!("{:.2}", Span(*d).ms())).collect();
    assert_eq!(shown[..3], ["6.93", "4.34", "3.96"]);
    assert_eq!(shown[23], "3.91");
    assert_eq!((tally.lost, tally.merged), (0, 0));
    let mut stage = Rc::new(&settings, Chance::none());
    through(&mut stage, &pulses(&list));
    assert_eq!(stage.held_up(), Some(HeldUp { first: Span(delays[0]), last: Span(delays[23]) }));
    let told = first_and_settled_delay(&settings, Span(period), Span(period / 2));
    assert_eq!(told.first, Passage::After(Span(delays[0])));
    let Passage::After(settled) = told.settled else { panic!("{told:?}") };
    // e^(−20.8·23/10) of the first surplus is still there: nothing; the two ways of rounding differ by 1 ps at most.
    assert!((settled.0 - delays[23]).abs() <= 1, "{settled:?} {delays:?}");
}

#[test]
fn a_pulse_too_short_is_lost_until_the_charge_adds_up() {
    let settings = plain(10e3, 100e-9, 2.5, 2.5);
    let (left, tally) = run(&settings, &[(0, MS / 2)]);
    assert_eq!((left.len(), tally.lost), (0, 1));
    // 0.5 ms of every 0.6: the first is lost, the second starts from 39.3 % less what 0.1 ms takes.
    let (left, tally) = run(&settings, &[(0, MS / 2), (MS * 6 / 10, MS * 11 / 10)]);
    assert_eq!((left[0].number, left.len(), tally.lost), (1, 2, 1));
    let told = first_and_settled_delay(&settings, Span(MS * 6 / 10), Span(MS / 2));
    assert_eq!(told, Delays { first: Passage::Lost, settled: Passage::Merged });
}

#[test]
fn a_threshold_above_all_that_is_reached_loses_every_pulse() {
    let mut settings = plain(10e3, 100e-9, 2.5, 2.5);
    settings.load = 10e3;
    let (left, tally) = run(&settings, &[(0, MS * 50), (MS * 100, MS * 150)]);
    assert_eq!((left.len(), tally.lost), (0, 2));
    let told = first_and_settled_delay(&settings, Span(MS * 100), Span(MS * 50));
    assert_eq!(told, Delays { first: Passage::Lost, settled: Passage::Lost });
}

#[test]
fn pulses_that_come_before_it_reads_low_are_one() {
    let (left, tally) = run(&plain(10e3, 100e-9, 2.5, 1.0), &[(0, 5 * MS), (5 * MS + MS / 2, 9 * MS)]);
    assert_eq!((left.len(), tally.merged, left[1].number), (2, 1, 0));
}

#[test]
fn inputs_that_are_high_before_the_start_are_settled() {
    let mut rc = Rc::new(&plain(10e3, 100e-9, 2.5, 2.5), Chance::none());
    assert_eq!((rc.settled(&[true]), rc.settled(&[false])), (vec![true], vec![false]));
    let mut rc = Rc::new(&plain(10e3, 100e-9, 5.0, 2.5), Chance::none());
    assert_eq!(rc.settled(&[true]), [false]);
}

#[test]
fn a_loop_may_be_closed_only_over_some_hysteresis() {
    assert!(!Rc::new(&plain(10e3, 100e-9, 2.5, 2.5), Chance::none()).is_late());
    assert!(Rc::new(&plain(10e3, 100e-9, 2.5, 2.0), Chance::none()).is_late());
    assert!(!Rc::new(&plain(0.0, 100e-9, 2.5, 2.0), Chance::none()).is_late());
}

#[test]
fn tolerances_are_drawn_once_a_run_and_keep_their_bounds() {
    let mut settings = plain(10e3, 100e-9, 2.5, 2.5);
    settings.r = Tolerance { min: 9e3, typ: 10e3, max: 11e3 };
    settings.threshold_rise = Tolerance { min: 2.0, typ: 2.5, max: 3.0 };
    settings.threshold_fall = settings.threshold_rise;
    let delays = |number| {
        let device = Run::Drawn { seed: 1, number }.chance("stage/slow");
        let came = pulses(&[(0, 30 * MS), (100 * MS, 130 * MS)]);
        let (left, _) = through(&mut Rc::new(&settings, device), &came);
        (left[0].at.0, left[2].at.0 - 100 * MS)
    };
    // RC·ln(1/(1 − k)) at either end: 0.9·ln(5/3) and 1.1·ln(5/2) ms.
    let (least, most) = (459_743_061, 1_007_919_805);
    let all: Vec<_> = (1..200).map(delays).collect();
    // What 60 time constants and more leave of the first pulse is far less than a picosecond.
    assert!(all.iter().all(|(a, b)| a == b && (least..=most).contains(a)));
    assert!(all.iter().any(|(a, _)| *a < 600_000_000) && all.iter().any(|(a, _)| *a > 800_000_000));
}

/// Kirchhoff's currents at the capacitor, followed step by step (Runge and Kutta's fourth order): knows nothing of
/// logarithms or of equivalent sources.
fn followed(rc: &patch::Rc, came: &[(usize, Edge)], until: i64, step: i64) -> Vec<(i64, bool)> {
    let (r, c) = (rc.r.typ + rc.source, rc.c.typ);
    let slope = |v: f64, high: bool| {
        let driver = if high { rc.high } else { rc.low };
        let lost = if high { 0.0 } else { (v - rc.low) / rc.discharge };
        ((driver - v) / r - (v - rc.low) / rc.load - lost) / c * 1e-12
    };
    let (mut v, mut high, mut reads, mut crossings) = (rc.low, false, false, Vec::new());
    let mut edges = came.iter().peekable();
    let mut at = 0;
    while at < until {
        while let Some((_, edge)) = edges.next_if(|e| e.1.at.0 == at) {
            high = edge.rise;
        }
        let h = step as f64;
        let k1 = slope(v, high);
        let k2 = slope(v + h / 2.0 * k1, high);
        let k3 = slope(v + h / 2.0 * k2, high);
        let k4 = slope(v + h * k3, high);
        let next = v + h / 6.0 * (k1 + 2.0 * k2 + 2.0 * k3 + k4);
        let level = if reads { rc.threshold_fall.typ } else { rc.threshold_rise.typ };
        if (next > level) != reads {
            crossings.push((at + (h * (level - v) / (next - v)) as i64, !reads));
            reads = !reads;
        }
        v = next;
        at += step;
    }
    crossings
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    /// Loads, discharge paths and odd voltages against the currents, step by step.
    #[test]
    fn the_closed_form_follows_kirchhoffs_currents(
        list in proptest::collection::vec((1_i64..400, 1_i64..400), 1..6),
        load in 20e3_f64..200e3, discharge in 1e3_f64..50e3, source in 0.0_f64..5e3, low in -1.0_f64..0.5,
    ) {
        let mut settings = plain(10e3, 100e-9, 2.2, 1.7);
        (settings.load, settings.discharge, settings.source, settings.low) = (load, discharge, source, low);
        // Edges on multiples of 10 µs, so that steps of 1 µs (a hundredth of the shortest τ) meet them.
        let list: Vec<_> = list.iter().map(|(gap, width)| (gap * 10_000_000, width * 10_000_000)).collect();
        let came = train(&list);
        let (left, tally) = through(&mut Rc::new(&settings, Chance::none()), &came);
        check_books(&came, &left, tally);
        let until = came.last().expect("one at least").1.at.0 + 20 * MS;
        let other = followed(&settings, &came, until, 1_000_000);
        prop_assert_eq!(left.len(), other.len());
        for (edge, (at, rise)) in left.iter().zip(other) {
            prop_assert_eq!(edge.rise, rise);
            // Within a step the course is taken as straight: h²/8 of v″/v′, at most h²/(8τ) = 1.3 ns, and rounding.
            prop_assert!((edge.at.0 - at).abs() < 5_000, "{:?} {}", edge, at);
        }
    }

    /// What `check` prints of an even train is what the stage does in the end.
    #[test]
    fn the_settled_delay_is_where_a_train_ends(
        period in 200_000_000_i64..5_000_000_000, share in 0.05_f64..0.95, rise in 0.5_f64..4.5, hysteresis in 0.0_f64..0.4,
    ) {
        let settings = plain(10e3, 100e-9, rise, rise - hysteresis);
        let width = (period as f64 * share) as i64;
        let list: Vec<_> = (0..400).map(|k| (k * period, k * period + width)).collect();
        let (left, tally) = run(&settings, &list);
        let told = first_and_settled_delay(&settings, Span(period), Span(width));
        match told.settled {
            Passage::After(span) => {
                let last = left.iter().rfind(|e| e.rise).expect("some left");
                prop_assert_eq!(last.number, 399);
                prop_assert!((last.at.0 - 399 * period - span.0).abs() <= 1);
            }
            Passage::Lost => prop_assert!(tally.lost > 300),
            Passage::Merged => prop_assert!(tally.merged > 300),
        }
        if let Passage::After(span) = told.first {
            prop_assert_eq!(left[0].at.0, span.0);
        }
    }
}
