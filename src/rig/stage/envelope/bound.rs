//! How far apart the tolerances of an envelope can place its edges.
//!
//! The voltage crosses a threshold on its way up after a time that grows with the attack and shrinks with the voltage from
//! which it starts, and on its way down after one that grows with the decay and with the voltage from which it falls. So
//! the corners bound all draws, as long as every pulse comes through in every draw: what is left over when the next pulse
//! comes is bounded by the slowest decay, and must be below both thresholds by then.
//!
//! Source: monotonicity of the closed forms above.

use super::{Course, Envelope, Follows, Retrigger, patch};
use crate::patch::Tolerance;
use crate::rig::Chance;
use crate::time::Span;

/// The shortest levels that come in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Shortest {
    /// From a rise to its fall.
    pub high: Span,
    /// From a fall to the next rise.
    pub low: Span,
    /// From a rise to the next.
    pub apart: Span,
}

/// Rounding, to a picosecond at either end and for what takes at least one.
const ROUNDED: f64 = 4.0;

/// The most that two draws of an envelope differ in when an edge leaves, behind pulses of which these are the shortest.
/// `None` where a pulse may be lost, ignored or merged in some draw.
#[must_use]
pub fn apart(settings: &patch::Envelope, shortest: Shortest) -> Option<Span> {
    let corner = |quick: bool| {
        let pick = |sheet: Tolerance<Span>| Tolerance::plain(if quick { sheet.min } else { sheet.max });
        let (attack, decay) = (pick(settings.attack), pick(settings.decay));
        Envelope::new(&patch::Envelope { attack, decay, ..settings.clone() }, Chance::none())
    };
    let (quick, slow) = (corner(true), corner(false));
    if quick.set.reads_high > quick.set.top {
        return None;
    }
    let down = |course: Course, from: f64, to: f64| course.time_to(from, to, false);
    let (high, low, next) = (shortest.high.0 as f64, shortest.low.0 as f64, shortest.apart.0 as f64);
    // The latest that the way up crosses and that it is at the top, from nothing.
    let crosses_last = slow.set.rise.time_to(0.0, slow.set.reads_high, true)?;
    // When it begins to fall, at the latest, from where, at the least, and how long there is until the next pulse.
    let (turns_last, least, rest) = match settings.follows {
        Follows::Gate => (0.0, slow.set.rise.after(0.0, high).min(slow.set.top), low),
        Follows::Trigger => {
            let top = slow.set.rise.time_to(0.0, slow.set.top, true)?;
            (top, slow.set.top, next - top)
        }
    };
    let in_time = match settings.follows {
        Follows::Gate => crosses_last + ROUNDED < high,
        Follows::Trigger => true,
    };
    // Low again before the next one, however slow.
    let falls_last = down(slow.set.fall, slow.set.top, slow.set.reads_low)?;
    if !in_time || rest <= falls_last + ROUNDED {
        return None;
    }
    let left = slow.set.fall.after(slow.set.top, rest).max(0.0);
    let start = match settings.retrigger {
        Retrigger::FromZero => 0.0,
        Retrigger::Ignore if left > slow.set.over => return None,
        Retrigger::FromHere | Retrigger::Ignore => left,
    };
    let crosses_first = quick.set.rise.time_to(start, quick.set.reads_high, true)?;
    let turns_first = match settings.follows {
        Follows::Gate => 0.0,
        Follows::Trigger => quick.set.rise.time_to(start, quick.set.top, true)?,
    };
    let falls_first = down(quick.set.fall, least, quick.set.reads_low)?;
    let rises = crosses_last - crosses_first;
    let falls = turns_last + falls_last - turns_first - falls_first;
    Some(Span((rises.max(falls).max(0.0) + ROUNDED).ceil() as i64))
}

#[cfg(test)]
mod tests {
    use super::super::tests::{SHAPES, plain};
    use super::*;
    use crate::rig::stage::trial::{through, train};
    use crate::rig::{Edge, Run};
    use proptest::prelude::*;

    const US: i64 = 1_000_000;

    #[test]
    fn a_straight_attack_is_bounded_by_its_share_of_the_tolerance() {
        // 5 ms ± 10 % at 2 of 8 V: 1.125 to 1.375 ms; the fall is that of 5 ms from 8 to 2 V after 4.5 to 5.5 ms.
        let mut settings = plain(SHAPES[0], Follows::Trigger, Retrigger::FromZero);
        settings.attack = Tolerance { min: Span(4_500 * US), typ: Span(5_000 * US), max: Span(5_500 * US) };
        let shortest = Shortest { high: Span(1_000 * US), low: Span(99_000 * US), apart: Span(100_000 * US) };
        assert_eq!(apart(&settings, shortest), Some(Span(1_000 * US + 4)));
        settings.follows = Follows::Gate;
        // Too short for the slowest.
        assert_eq!(apart(&settings, Shortest { high: Span(1_375 * US), ..shortest }), None);
        // Long enough for the quickest to be at the top, and for the slowest to be at 8·50/55 V.
        let bound = apart(&settings, Shortest { high: Span(5_000 * US), ..shortest }).expect("bounded").0;
        // From 8 V down to 2 in 3.75 ms; from 7.2727 V in 3.2955 ms (arithmetic).
        assert!((bound - 454_545_455).abs() <= 6, "{bound}");
        // Pulses that come before the slowest is low again.
        assert_eq!(apart(&settings, Shortest { high: Span(5_000 * US), low: Span(3_750 * US), ..shortest }), None);
    }

    proptest! {
        /// No draw is outside, the usual one included.
        #[test]
        fn no_draw_is_outside(
            list in prop::collection::vec((1_i64..400, 1_i64..400), 2..8), shape in 0_usize..3, gate: bool, again in 0_usize..3,
            attack in 100_i64..8_000, decay in 100_i64..8_000, tolerance in 1_i64..30, thresholds in (0.5_f64..7.0, 0.3_f64..1.0),
        ) {
            let follows = if gate { Follows::Gate } else { Follows::Trigger };
            let retrigger = [Retrigger::FromHere, Retrigger::FromZero, Retrigger::Ignore][again];
            let mut settings = plain(SHAPES[shape], follows, retrigger);
            let sheet = |us: i64| {
                let by = us * tolerance * 10_000;
                Tolerance { min: Span(us * US - by), typ: Span(us * US), max: Span(us * US + by) }
            };
            (settings.attack, settings.decay) = (sheet(attack), sheet(decay));
            (settings.threshold_rise, settings.threshold_fall) = (thresholds.0, thresholds.0 * thresholds.1);
            let list: Vec<_> = list.iter().map(|(gap, width)| (gap * 100 * US, width * 100 * US)).collect();
            let came = train(&list);
            let times: Vec<i64> = came.iter().map(|(_, e)| e.at.0).collect();
            let least = |from: usize, step: usize, by: usize| {
                (from..times.len() - by).step_by(step).map(|n| times[n + by] - times[n]).min()
            };
            let shortest = Shortest {
                high: Span(least(0, 2, 1).expect("two")),
                low: Span(least(1, 2, 1).expect("two")),
                apart: Span(least(0, 2, 2).expect("two")),
            };
            let bound = apart(&settings, shortest);
            prop_assume!(bound.is_some());
            let bound = bound.unwrap_or_default().0;
            let drawn = |run: Run| -> Vec<Edge> { through(&mut Envelope::new(&settings, run.chance("stage/e")), &came).0 };
            let typical = drawn(Run::Typical);
            prop_assert_eq!(typical.len(), came.len());
            for number in 1..40 {
                let other = drawn(Run::Drawn { seed: 1, number });
                prop_assert_eq!(other.len(), typical.len());
                for (a, b) in other.iter().zip(&typical) {
                    prop_assert_eq!(a.rise, b.rise);
                    prop_assert!((a.at.0 - b.at.0).abs() <= bound, "{:?} {:?} {}", a, b, bound);
                }
            }
        }
    }
}
