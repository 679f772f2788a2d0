//! An envelope before a threshold: what people use as a delay when they have nothing else.
//!
//! The voltage rises from 0 to a `peak`, holds it (if it follows a gate) and falls; the next input reads high from where
//! the voltage rises through `threshold-rise` to where it falls through `threshold-fall`. All in closed form:
//!
//! | shape | rise | fall |
//! |---|---|---|
//! | linear | `peak` in `attack` | `peak` in `decay` |
//! | exponential, to the peak | aims at 1.5 · `peak` with τ = `attack`/ln 3, so that it is at the peak after `attack` | towards 0 with τ = `decay` |
//! | exponential, time constant | aims at `peak` with τ = `attack` | the same |
//!
//! So an exponential rise to the peak covers the first two thirds of the way to its aim: that is how a timer works which
//! charges a capacitor and stops at two thirds of its supply (t = ln 3·RC). One that is told by its time constant never
//! reaches its peak; following a trigger it counts as there, and turns, after five time constants, at 99.3 % of it. An
//! exponential fall counts as over (for `retrigger = "ignore"`) at e⁻⁵ of the peak too. A new start from a voltage above
//! 0 goes on with the same slope or time constant, and so is there sooner.
//!
//! Sources: closed forms of the ramp and of the one-pole step response; the factor 1.5 is this program's choice.

use super::approach::{Approach, later};
use super::{Out, Stage};
use crate::patch::{self, AttackMeans, Follows, Retrigger, Shape};
use crate::rig::{Chance, Edge};
use crate::time::Instant;

/// ln 3: how many time constants it takes to two thirds.
const LN_3: f64 = 1.098_612_288_668_109_8;
/// e⁻⁵: what five time constants leave.
const E_MINUS_5: f64 = 0.006_737_946_999_085_467;

/// The stage at work.
#[derive(Debug)]
pub struct Envelope {
    rise: Course,
    fall: Course,
    /// Where a rise ends.
    top: f64,
    /// At and below this the envelope is over.
    over: f64,
    reads_high: f64,
    reads_low: f64,
    follows: Follows,
    retrigger: Retrigger,
    late: bool,
    phase: Phase,
    since: Instant,
    /// The voltage at `since`.
    from: f64,
    /// Of the pulse that is out, or on its way out.
    number: i64,
    /// Whether the gate that is open was not taken.
    ignoring: bool,
}

/// A way up or down.
#[derive(Clone, Copy, Debug)]
enum Course {
    Line {
        /// Volts, with their sign.
        volts: f64,
        /// In this many picoseconds.
        ps: f64,
    },
    Curve(Approach),
}

#[derive(Clone, Copy, Debug)]
enum Phase {
    /// Up, and at the top after so many picoseconds from `since`.
    Up(f64),
    /// Down from `since` on.
    Down,
}

impl Course {
    /// The voltage so much later, not stopping anywhere.
    fn after(self, from: f64, elapsed: f64) -> f64 {
        match self {
            _ if elapsed <= 0.0 => from,
            Self::Line { volts, ps } => from + volts * (elapsed / ps),
            Self::Curve(approach) => approach.after(from, elapsed),
        }
    }

    fn time_to(self, from: f64, level: f64, up: bool) -> Option<f64> {
        match self {
            Self::Line { volts, ps } => Some(((level - from) / volts * ps).max(0.0)),
            Self::Curve(approach) => approach.time_to(from, level, up),
        }
    }
}

impl Envelope {
    /// From its settings; the tolerances of its two times are drawn here, once a run.
    #[must_use]
    pub fn new(settings: &patch::Envelope, mut device: Chance) -> Self {
        let peak = settings.peak;
        let attack = device.sheet_time(settings.attack).0 as f64;
        let decay = device.sheet_time(settings.decay).0 as f64;
        let by_time_constant = settings.attack_means == AttackMeans::TimeConstant;
        let (rise, fall, top, over) = match settings.shape {
            Shape::Linear => {
                (Course::Line { volts: peak, ps: attack }, Course::Line { volts: -peak, ps: decay }, peak, 0.0)
            }
            Shape::Exponential => {
                let (aim, tau) = if by_time_constant { (peak, attack) } else { (1.5 * peak, attack / LN_3) };
                let turns_short = by_time_constant && settings.follows == Follows::Trigger;
                let top = if turns_short { peak * (1.0 - E_MINUS_5) } else { peak };
                let fall = Approach { aim: 0.0, tau: decay };
                (Course::Curve(Approach { aim, tau }), Course::Curve(fall), top, peak * E_MINUS_5)
            }
        };
        let (reads_high, reads_low) = (settings.threshold_rise, settings.threshold_fall.min(settings.threshold_rise));
        // At least a picosecond from one level to the other and back, and nothing that falls at once.
        let takes_time = |course: Course, from, to, up| course.time_to(from, to, up).is_none_or(|ps| ps >= 1.0);
        let late = settings.retrigger != Retrigger::FromZero
            && takes_time(rise, reads_low, reads_high, true)
            && takes_time(fall, reads_high, reads_low, false);
        Self {
            rise,
            fall,
            top,
            over,
            reads_high,
            reads_low,
            follows: settings.follows,
            retrigger: settings.retrigger,
            late,
            phase: Phase::Down,
            since: Instant::START,
            from: 0.0,
            number: 0,
            ignoring: false,
        }
    }

    /// The voltage at a moment, and whether it is on its way up.
    fn now(&self, at: Instant) -> (f64, bool) {
        let elapsed = (at - self.since).0 as f64;
        match self.phase {
            Phase::Up(at_top) if elapsed < at_top => (self.rise.after(self.from, elapsed).min(self.top), true),
            Phase::Up(at_top) => match self.follows {
                Follows::Gate => (self.top, false),
                Follows::Trigger => (self.fall.after(self.top, elapsed - at_top).max(0.0), false),
            },
            Phase::Down => (self.fall.after(self.from, elapsed).max(0.0), false),
        }
    }

    /// How long from `since` until the way up crosses the threshold.
    fn crosses(&self) -> Option<f64> {
        if self.reads_high > self.top { None } else { self.rise.time_to(self.from, self.reads_high, true) }
    }

    fn send(&self, ps: Option<f64>, rise: bool, out: &mut Out) {
        let ps = ps.map(|ps| if self.late { ps.max(1.0) } else { ps });
        if let Some(at) = ps.and_then(|ps| later(self.since, ps)) {
            out.send(0, Edge { at, rise, number: self.number });
        }
    }

    /// Takes back what was foretold and has not come about by now.
    fn forget(at: Instant, out: &mut Out) {
        while let Some(edge) = out.last(0).filter(|e| e.at > at) {
            out.take_back(0);
            out.tally.lost += u64::from(edge.rise);
        }
    }

    fn start(&mut self, edge: Edge, out: &mut Out) {
        let (volts, rising) = self.now(edge.at);
        let from = match self.retrigger {
            // On its way already: nothing changes.
            Retrigger::FromHere if rising => {
                if self.crosses().is_some() {
                    out.tally.merged += 1;
                } else {
                    out.tally.lost += 1;
                }
                return;
            }
            Retrigger::Ignore if rising || volts > self.over => {
                out.tally.lost += 1;
                self.ignoring = true;
                return;
            }
            Retrigger::FromZero => 0.0,
            Retrigger::FromHere | Retrigger::Ignore => volts,
        };
        Self::forget(edge.at, out);
        if self.retrigger == Retrigger::FromZero {
            out.send(0, Edge { at: edge.at, rise: false, number: self.number });
        }
        (self.since, self.from) = (edge.at, from);
        let at_top = self.rise.time_to(from, self.top, true).unwrap_or(f64::INFINITY);
        self.phase = Phase::Up(at_top);
        if out.level(0) {
            out.tally.merged += 1;
        } else {
            self.number = edge.number;
            let crosses = self.crosses();
            // A gate's pulse is given up for lost when the gate closes.
            out.tally.lost += u64::from(crosses.is_none() && self.follows == Follows::Trigger);
            self.send(crosses, true, out);
        }
        if self.follows == Follows::Trigger && out.level(0) {
            let falls = self.fall.time_to(self.top, self.reads_low, false);
            self.send(falls.map(|ps| at_top + ps), false, out);
        }
    }

    fn release(&mut self, at: Instant, out: &mut Out) {
        if std::mem::take(&mut self.ignoring) {
            return;
        }
        (self.from, _) = self.now(at);
        (self.since, self.phase) = (at, Phase::Down);
        let foretold = out.last(0).is_some_and(|e| e.at > at);
        Self::forget(at, out);
        if out.level(0) {
            self.send(self.fall.time_to(self.from, self.reads_low, false), false, out);
        } else if !foretold {
            out.tally.lost += 1;
        }
    }
}

impl Stage for Envelope {
    fn edge(&mut self, _port: usize, edge: Edge, out: &mut Out) {
        match (edge.rise, self.follows) {
            (true, _) => self.start(edge, out),
            (false, Follows::Gate) => self.release(edge.at, out),
            (false, Follows::Trigger) => {}
        }
    }

    fn settled(&mut self, inputs: &[bool]) -> Vec<bool> {
        // A gate that was open for ever holds its peak; a trigger is long over.
        let holds = inputs[0] && self.follows == Follows::Gate;
        if holds {
            (self.phase, self.from) = (Phase::Up(0.0), self.top);
        }
        vec![holds && self.crosses().is_some()]
    }

    fn is_late(&self) -> bool {
        self.late
    }
}

#[cfg(test)]
mod tests {
    use super::super::Tally;
    use super::super::trial::{check_books, pulses, rises, through, train};
    use super::*;
    use crate::patch::Sheet;
    use crate::time::Span;
    use proptest::prelude::*;

    const MS: i64 = 1_000_000_000;
    const SHAPES: [(Shape, AttackMeans); 3] = [
        (Shape::Linear, AttackMeans::ToPeak),
        (Shape::Exponential, AttackMeans::ToPeak),
        (Shape::Exponential, AttackMeans::TimeConstant),
    ];

    /// 5 ms up to 8 V and 5 ms down, thresholds at 2 V.
    fn plain((shape, attack_means): (Shape, AttackMeans), follows: Follows, retrigger: Retrigger) -> patch::Envelope {
        patch::Envelope {
            attack: Sheet::plain(Span::from_ms(5)),
            decay: Sheet::plain(Span::from_ms(5)),
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
    fn a_gate_that_is_open_before_the_start_holds_its_peak() {
        for shape in SHAPES {
            let mut gate = Envelope::new(&plain(shape, Follows::Gate, Retrigger::FromHere), Chance::none());
            assert_eq!(gate.settled(&[true]), [true]);
            let mut trigger = Envelope::new(&plain(shape, Follows::Trigger, Retrigger::FromHere), Chance::none());
            assert_eq!(trigger.settled(&[true]), [false]);
        }
    }

    /// The same in small steps, with a comparator that looks at every one: `(at, rise)` to within two steps.
    fn stepped(e: &patch::Envelope, came: &[(usize, Edge)], until: i64, step: i64) -> Vec<(i64, bool)> {
        let (attack, decay, h) = (e.attack.typ.0 as f64, e.decay.typ.0 as f64, step as f64);
        let trigger = e.follows == Follows::Trigger;
        let (mut v, mut up, mut taken, mut reads, mut crossings) = (0.0, false, true, false, Vec::new());
        let mut edges = came.iter().peekable();
        for at in (0..until).step_by(step as usize) {
            while let Some((_, edge)) = edges.next_if(|e| e.1.at.0 == at) {
                let over = if e.shape == Shape::Linear { 0.0 } else { 8.0 * (-5.0_f64).exp() };
                if edge.rise {
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
            let top = if trigger && e.attack_means == AttackMeans::TimeConstant { 8.0 * (1.0 - (-5.0_f64).exp()) } else { 8.0 };
            v = match (up, e.shape, e.attack_means) {
                (true, Shape::Linear, _) => v + 8.0 * h / attack,
                (true, Shape::Exponential, AttackMeans::ToPeak) => v + (12.0 - v) * (1.0 - 3.0_f64.powf(-h / attack)),
                (true, Shape::Exponential, AttackMeans::TimeConstant) => v + (8.0 - v) * (1.0 - (-h / attack).exp()),
                (false, Shape::Linear, _) => v - 8.0 * h / decay,
                (false, Shape::Exponential, _) => v * (-h / decay).exp(),
            };
            v = v.clamp(0.0, top);
            if trigger && v >= top {
                up = false;
            }
            let level = if reads { e.threshold_fall } else { e.threshold_rise };
            if (v > level) != reads {
                reads = !reads;
                crossings.push((at + step, reads));
            }
        }
        crossings
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(96))]

        /// Every shape, follow and retrigger against small steps.
        #[test]
        fn the_closed_form_follows_small_steps(
            list in proptest::collection::vec((1_i64..300, 1_i64..300), 1..6),
            shape in 0_usize..3, gate in any::<bool>(), again in 0_usize..3,
            attack in 200_i64..8_000, decay in 200_i64..8_000,
        ) {
            let follows = if gate { Follows::Gate } else { Follows::Trigger };
            let retrigger = [Retrigger::FromHere, Retrigger::FromZero, Retrigger::Ignore][again];
            let mut settings = plain(SHAPES[shape], follows, retrigger);
            settings.attack = Sheet::plain(Span(attack * 1_000_000 + 7));
            settings.decay = Sheet::plain(Span(decay * 1_000_000 + 3));
            (settings.threshold_rise, settings.threshold_fall) = (3.1, 2.3);
            let list: Vec<_> = list.iter().map(|(gap, width)| (gap * 100_000_000, width * 100_000_000)).collect();
            let came = train(&list);
            let (left, tally) = through(&mut Envelope::new(&settings, Chance::none()), &came);
            check_books(&came, &left, tally);
            let step = 1_000_000;
            let until = came.last().expect("one at least").1.at.0 + 100 * MS;
            let other = stepped(&settings, &came, until, step);
            prop_assert_eq!(left.len(), other.len(), "{:?} {:?}", left, other);
            for (edge, (at, rise)) in left.iter().zip(other) {
                prop_assert_eq!(edge.rise, rise);
                // The steps see the top, and then the threshold, up to one step late each.
                prop_assert!((edge.at.0 - at).abs() <= 2 * step, "{:?} {}", edge, at);
            }
        }
    }
}
