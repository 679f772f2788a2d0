use super::*;
use crate::patch::Tolerance;
use crate::rig::stage::Tally;
use crate::rig::stage::trial::{check_books, pulses, rises, through, train};
use crate::time::Span;
use proptest::prelude::*;

const MS: i64 = 1_000_000_000;
pub(super) const SHAPES: [(Shape, AttackMeans); 3] = [
    (Shape::Linear, AttackMeans::ToPeak),
    (Shape::Exponential, AttackMeans::ToPeak),
    (Shape::Exponential, AttackMeans::TimeConstant),
];

/// 5 ms up to 8 V and 5 ms down, thresholds at 2 V.
pub(super) fn plain(
    (shape, attack_means): (Shape, AttackMeans),
    follows: Follows,
    retrigger: Retrigger,
) -> patch::Envelope {
    patch::Envelope {
        attack: Tolerance::plain(Span::from_ms(5)),
        decay: Tolerance::plain(Span::from_ms(5)),
        shape,
        attack_means,
        peak: 8.0,
        threshold_rise: 2.0,
        threshold_fall: 2.0,
        follows,
        retrigger,
    }
}

fn run(settings: &patch::Envelope, list: &[(i64, i64)]) -> (Vec<Edge>, Tally) {
    let came = pulses(list);
    let (left, tally) = through(&mut Envelope::new(settings, Chance::none()), &came);
    check_books(&came, &left, tally);
    (left, tally)
}

#[test]
fn the_delay_is_where_the_way_up_crosses_the_threshold() {
    // 5 ms at 2 of 8 V, closed forms: 5/4; 5/ln 3 · ln(12/10); 5·ln(8/6) ms.
    for (shape, ps) in SHAPES.into_iter().zip([1_250_000_000, 829_781_164, 1_438_410_362]) {
        for follows in [Follows::Trigger, Follows::Gate] {
            let (left, _) = run(&plain(shape, follows, Retrigger::FromHere), &[(0, 100 * MS)]);
            assert_eq!(left[0].at.0, ps, "{shape:?} {follows:?}");
        }
    }
}

#[test]
fn an_exponential_rise_to_the_peak_is_there_in_time() {
    let mut settings = plain(SHAPES[1], Follows::Gate, Retrigger::FromHere);
    settings.threshold_rise = 8.0;
    let (left, _) = run(&settings, &[(0, 100 * MS)]);
    // ln and its inverse round once each: a picosecond of 5·10⁹.
    assert!((left[0].at.0 - 5 * MS).abs() <= 1, "{left:?}");
}

#[test]
fn a_trigger_falls_from_its_peak_by_itself_and_a_gate_when_its_input_falls() {
    // Linear: 5 ms up, 3.75 down to 2 of 8 V. Exponential: 5 ms up, 5·ln 4 down.
    let (left, _) = run(&plain(SHAPES[0], Follows::Trigger, Retrigger::FromHere), &[(0, MS)]);
    assert_eq!(left[1].at.0, 8_750_000_000);
    let (left, _) = run(&plain(SHAPES[1], Follows::Trigger, Retrigger::FromHere), &[(0, MS)]);
    assert!((left[1].at.0 - 11_931_471_806).abs() <= 1, "{left:?}");
    let (left, _) = run(&plain(SHAPES[0], Follows::Gate, Retrigger::FromHere), &[(0, 40 * MS)]);
    assert_eq!(left[1].at.0, 43_750_000_000);
    // Five time constants up, and from 8·(1 − e⁻⁵) V down: 25 + 5·ln(4·(1 − e⁻⁵)) ms.
    let (left, _) = run(&plain(SHAPES[2], Follows::Trigger, Retrigger::FromHere), &[(0, MS)]);
    let want = 25.0 + 5.0 * (4.0 * (1.0 - (-5.0_f64).exp())).ln();
    assert!((left[1].at.0 as f64 / 1e9 - want).abs() < 1e-8, "{left:?}");
}

#[test]
fn a_rise_that_never_crosses_is_lost() {
    for shape in SHAPES {
        for follows in [Follows::Trigger, Follows::Gate] {
            let mut settings = plain(shape, follows, Retrigger::FromHere);
            settings.threshold_rise = 8.5;
            let (left, tally) = run(&settings, &[(0, 50 * MS), (100 * MS, 150 * MS)]);
            assert_eq!((left.len(), tally.lost), (0, 2), "{shape:?} {follows:?}");
        }
    }
    // A trigger by its time constant turns at 99.3 %; a gate goes on.
    for (follows, edges) in [(Follows::Trigger, 0), (Follows::Gate, 2)] {
        let mut settings = plain(SHAPES[2], follows, Retrigger::FromHere);
        settings.threshold_rise = 0.995 * 8.0;
        assert_eq!(run(&settings, &[(0, 50 * MS)]).0.len(), edges);
    }
    // A gate that closes before the threshold.
    let (left, tally) = run(&plain(SHAPES[0], Follows::Gate, Retrigger::FromHere), &[(0, MS)]);
    assert_eq!((left.len(), tally.lost), (0, 1));
}

#[test]
fn a_second_start_begins_where_it_is_told_to() {
    // Linear, a trigger at 0 and at 9 ms, when it has fallen to 1.6 V (and the output at 8.75 ms).
    let at = |retrigger| {
        let (left, tally) = run(&plain(SHAPES[0], Follows::Trigger, retrigger), &[(0, MS), (9 * MS, 9 * MS + MS)]);
        (rises(&left), tally.lost)
    };
    assert_eq!(at(Retrigger::FromHere), (vec![1_250_000_000, 9_250_000_000], 0));
    assert_eq!(at(Retrigger::FromZero), (vec![1_250_000_000, 10_250_000_000], 0));
    assert_eq!(at(Retrigger::Ignore), (vec![1_250_000_000], 1));
    // At 7 ms it still reads high: one pulse that lasts, two, or one that does not last.
    let at = |retrigger| {
        let (left, tally) = run(&plain(SHAPES[0], Follows::Trigger, retrigger), &[(0, MS), (7 * MS, 8 * MS)]);
        (left.iter().map(|e| e.at.0 / 1_000_000).collect::<Vec<_>>(), tally.merged, tally.lost)
    };
    assert_eq!(at(Retrigger::FromHere), (vec![1_250, 12_750], 1, 0));
    assert_eq!(at(Retrigger::FromZero), (vec![1_250, 7_000, 8_250, 15_750], 0, 0));
    assert_eq!(at(Retrigger::Ignore), (vec![1_250, 8_750], 0, 1));
}

#[test]
fn a_rise_that_takes_no_time_is_still_one_each() {
    for shape in SHAPES {
        let mut settings = plain(shape, Follows::Trigger, Retrigger::FromZero);
        settings.attack = Tolerance::plain(Span::ZERO);
        let (left, tally) = run(&settings, &[(0, MS), (2 * MS, 3 * MS)]);
        assert_eq!(rises(&left), [1, 2 * MS + 1], "{shape:?}");
        assert_eq!((left[1].at.0, tally), (2 * MS, Tally::default()));
    }
}

#[test]
fn a_gate_that_is_open_before_the_start_holds_its_peak() {
    for shape in SHAPES {
        let mut gate = Envelope::new(&plain(shape, Follows::Gate, Retrigger::FromHere), Chance::none());
        assert_eq!(gate.settled(&[true]), [true]);
        let mut trigger = Envelope::new(&plain(shape, Follows::Trigger, Retrigger::FromHere), Chance::none());
        assert_eq!(trigger.settled(&[true]), [false]);
    }
}

/// An envelope in small steps, straight within a step, with a comparator that looks at every one: `(at, rise)`.
///
/// `None` where a rise comes within two steps of the turn at the top: whether it is before or after decides much.
fn stepped(e: &patch::Envelope, came: &[(usize, Edge)], until: i64, step: i64) -> Option<Vec<(i64, bool)>> {
    let (attack, decay, h) = (e.attack.typ.0 as f64, e.decay.typ.0 as f64, step as f64);
    let trigger = e.follows == Follows::Trigger;
    let to_99 = trigger && e.attack_means == AttackMeans::TimeConstant;
    let top = if to_99 { 8.0 * (1.0 - (-5.0_f64).exp()) } else { 8.0 };
    let over = if e.shape == Shape::Linear { 0.0 } else { 8.0 * (-5.0_f64).exp() };
    let climb = |v: f64, h: f64| match (e.shape, e.attack_means) {
        (Shape::Linear, _) => v + 8.0 * h / attack,
        (Shape::Exponential, AttackMeans::ToPeak) => v + (12.0 - v) * (1.0 - 3.0_f64.powf(-h / attack)),
        (Shape::Exponential, AttackMeans::TimeConstant) => v + (8.0 - v) * (1.0 - (-h / attack).exp()),
    };
    let sink = |v: f64, h: f64| match e.shape {
        Shape::Linear => (v - 8.0 * h / decay).max(0.0),
        Shape::Exponential => v * (-h / decay).exp(),
    };
    let (mut v, mut up, mut taken, mut reads, mut crossings) = (0.0, false, true, false, Vec::new());
    let (mut turned, mut rose) = (i64::MIN, i64::MIN);
    let mut edges = came.iter().peekable();
    for at in (0..until).step_by(step as usize) {
        while let Some((_, edge)) = edges.next_if(|e| e.1.at.0 == at) {
            if edge.rise {
                rose = at;
                if turned > at - 3 * step {
                    return None;
                }
                taken = e.retrigger != Retrigger::Ignore || (!up && v <= over);
                if taken && e.retrigger == Retrigger::FromZero {
                    v = 0.0;
                }
                up |= taken;
            } else if !trigger && taken {
                up = false;
            }
        }
        if reads && v < e.threshold_fall {
            reads = false;
            crossings.push((at, false));
        }
        let mut next = if up { climb(v, h) } else { sink(v, h) };
        if up && next >= top {
            if trigger {
                let way = (top - v) / (next - v);
                (up, turned) = (false, at);
                next = sink(top, h * (1.0 - way));
                if rose > at - 3 * step {
                    return None;
                }
            } else {
                next = top;
            }
        }
        let level = if reads { e.threshold_fall } else { e.threshold_rise };
        if (next > level) != reads {
            reads = !reads;
            crossings.push((at + (h * (level - v) / (next - v)) as i64, reads));
        }
        v = next;
    }
    Some(crossings)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(96))]

    /// Every shape, follow and retrigger against small steps.
    #[test]
    fn the_closed_form_follows_small_steps(
        list in proptest::collection::vec((1_i64..300, 1_i64..300), 1..6),
        shape in 0_usize..3, gate in any::<bool>(), again in 0_usize..3,
        attack in 1_000_i64..8_000, decay in 1_000_i64..8_000,
    ) {
        let follows = if gate { Follows::Gate } else { Follows::Trigger };
        let retrigger = [Retrigger::FromHere, Retrigger::FromZero, Retrigger::Ignore][again];
        let mut settings = plain(SHAPES[shape], follows, retrigger);
        settings.attack = Tolerance::plain(Span(attack * 1_000_000 + 7));
        settings.decay = Tolerance::plain(Span(decay * 1_000_000 + 3));
        (settings.threshold_rise, settings.threshold_fall) = (3.1, 2.3);
        let list: Vec<_> = list.iter().map(|(gap, width)| (gap * 100_000_000, width * 100_000_000)).collect();
        let came = train(&list);
        let (left, tally) = through(&mut Envelope::new(&settings, Chance::none()), &came);
        check_books(&came, &left, tally);
        let until = came.last().expect("one at least").1.at.0 + 100 * MS;
        let other = stepped(&settings, &came, until, 1_000_000);
        prop_assume!(other.is_some());
        let other = other.unwrap_or_default();
        prop_assert_eq!(left.len(), other.len(), "{:?} {:?}", left, other);
        for (edge, (at, rise)) in left.iter().zip(other) {
            prop_assert_eq!(edge.rise, rise);
            // Straight within a step of 1 µs: wrong by h²/(8τ), 0.125 ns at most. A start just after the turn at the top
            // multiplies that by the slope down over the slope up there, at most e⁵·8/1 = 1,187.
            prop_assert!((edge.at.0 - at).abs() <= 200_000, "{:?} {}", edge, at);
        }
    }
}
