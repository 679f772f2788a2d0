//! A time added to rises and to falls, perhaps behind a filter for short pulses, perhaps with a pulse of its own.
//!
//! Transport: a rise leaves `rise` later, a fall `fall` later (the propagation delays of a gate's data sheet). Where the
//! rise is the slower one, pulses shorter than the difference vanish; where the fall is, gaps do: the wire's own rules.
//!
//! Inertia: with `swallows` the input must keep a level for that long before it counts, so that shorter pulses and
//! shorter gaps, *as they come in*, vanish; one just as long passes. A whole burst of short pulses vanishes. The
//! delays are counted from the edge itself, which is why `swallows` is at most the shorter of the two.
//!
//! One-shot: what has passed the filter and the rise delay starts a pulse of the width of this run; falls do nothing. A
//! rise while that pulse is out is lost (`ignores`), or lengthens it (`restarts`). `passes` starts another pulse, which
//! on a wire is one with the first, so that the two differ for hits only: there `passes` lets every hit through, and
//! `restarts` none that comes sooner than the width after the one before, taken or not.
//!
//! Set anew in the middle of a piece: a pulse that is on its way in, or within, is completed as it began.
//!
//! Counted: a pulse swallowed, ignored or left without length is lost; a gap that vanishes, and a rise that only
//! lengthens, merges two pulses. Pulses in, less lost and merged, are pulses out.

use super::passing::{HitStage, Passing};
use super::{Out, Stage};
use crate::patch::{self, StageKind, WhileBusy};
use crate::rig::{Chance, Edge};
use crate::time::{Instant, Span};

/// A delay line: every edge leaves it the same time after it came, within its scatter.
#[derive(Debug)]
pub struct Delay {
    now: DelayTimes,
    /// With what the pulse under way came in, if that has been set anew since: it is completed so.
    under_way: Option<DelayTimes>,
    /// An edge that has not yet kept its level for as long as `swallows`, and the setting with which it came.
    waiting: Option<(Edge, DelayTimes)>,
    /// Where what is set anew draws from, and how this device stands among all: rise, fall, width.
    device: Chance,
    standing: [Option<f64>; 3],
    high: bool,
    /// When the pulse of a one-shot that was started last ends, the delay not counted.
    busy_until: Option<Instant>,
}

/// What this device is set to.
#[derive(Clone, Copy, Debug)]
struct DelayTimes {
    rise: Span,
    fall: Span,
    swallows: Span,
    one_shot: Option<(Span, WhileBusy)>,
}

impl DelayTimes {
    fn of(settings: &patch::Delay, device: &mut Chance, standing: &mut [Option<f64>; 3]) -> Self {
        let [of_rise, of_fall, of_width] = standing;
        let rise = device.standing_time(of_rise, settings.rise);
        let fall = if settings.fall == settings.rise { rise } else { device.standing_time(of_fall, settings.fall) };
        let mut width = |o: &patch::OneShot| device.standing_time(of_width, o.width);
        let one_shot = settings.one_shot.as_ref().map(|o| (width(o), o.while_busy));
        Self { rise, fall, swallows: settings.swallows, one_shot }
    }
}

impl Delay {
    /// Draws the delays of this run from `device`, rise and fall at one go if their sheets are equal, then the width. No
    /// edge has a chance of its own.
    pub(crate) fn new(settings: &patch::Delay, mut device: Chance) -> Self {
        let mut standing = [None; 3];
        let now = DelayTimes::of(settings, &mut device, &mut standing);
        Self { now, under_way: None, waiting: None, device, standing, high: false, busy_until: None }
    }

    fn set(&mut self, kind: &StageKind) {
        if let StageKind::Delay(settings) = kind {
            self.now = DelayTimes::of(settings, &mut self.device, &mut self.standing);
        }
    }

    /// An edge that is past the filter, and the setting with which it came.
    fn take(&mut self, (edge, set): (Edge, DelayTimes), out: &mut Out) {
        match set.one_shot {
            None => {
                let by = if edge.rise { set.rise } else { set.fall };
                out.send(0, Edge { at: edge.at + by, ..edge });
            }
            Some((width, while_busy)) if edge.rise => {
                if self.trigger(edge.at, width, while_busy) || while_busy != WhileBusy::Ignores {
                    let rise = Edge { at: edge.at + set.rise, ..edge };
                    // Over a pulse that is out, the wire makes one of the two.
                    out.send(0, rise);
                    out.send(0, Edge { at: rise.at + width, rise: false, ..rise });
                } else {
                    out.tally.lost += 1;
                }
            }
            Some(_) => {}
        }
    }

    /// Triggers the one-shot; whether it was free.
    fn trigger(&mut self, at: Instant, width: Span, while_busy: WhileBusy) -> bool {
        let free = self.busy_until.is_none_or(|until| at >= until);
        if free || while_busy != WhileBusy::Ignores {
            self.busy_until = Some(at + width);
        }
        free
    }
}

impl Stage for Delay {
    fn edge(&mut self, _port: usize, edge: Edge, out: &mut Out) {
        let set = if edge.rise { self.now } else { self.under_way.take().unwrap_or(self.now) };
        self.high = edge.rise;
        if set.swallows == Span::ZERO && self.waiting.is_none() {
            return self.take((edge, set), out);
        }
        match self.waiting.take() {
            Some((before, kept)) if edge.at - before.at < kept.swallows => {
                if before.rise {
                    out.tally.lost += 1;
                } else {
                    out.tally.merged += 1;
                }
            }
            before => {
                if let Some(before) = before {
                    self.take(before, out);
                }
                if set.swallows == Span::ZERO {
                    return self.take((edge, set), out);
                }
                self.waiting = Some((edge, set));
                out.wake(edge.at + set.swallows);
            }
        }
    }

    /// One that is just old enough passes, so that what comes at this instant cannot swallow it any more.
    fn ripe(&mut self, at: Instant, out: &mut Out) {
        // The edge that asked for this may have been swallowed since, and another be waiting.
        if let Some(edge) = self.waiting.take_if(|(e, set)| at - e.at >= set.swallows) {
            self.take(edge, out);
        }
    }

    fn turn(&mut self, kind: &StageKind, _at: Instant, _out: &mut Out) {
        if self.high {
            self.under_way.get_or_insert(self.now);
        }
        self.set(kind);
    }

    fn settled(&mut self, inputs: &[bool]) -> Vec<bool> {
        self.high = inputs[0];
        vec![inputs[0] && self.now.one_shot.is_none()]
    }

    fn is_late(&self) -> bool {
        self.now.rise > Span::ZERO && (self.now.fall > Span::ZERO || self.now.one_shot.is_some())
    }
}

impl HitStage for Delay {
    /// A hit is a trigger without length: it takes the delay of rises, and `swallows` has nothing to look at.
    fn pass(&mut self, hit: Passing) -> Option<Passing> {
        if let Some((width, while_busy)) = self.now.one_shot
            && !self.trigger(hit.at, width, while_busy)
            && while_busy != WhileBusy::Passes
        {
            return None;
        }
        Some(Passing { at: hit.at + self.now.rise, ..hit })
    }

    fn refit(&mut self, kind: &StageKind, _at: Instant) {
        self.set(kind);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::patch::{OneShot, Tolerance};
    use crate::rig::stage::out::alone;
    use crate::rig::stage::trial::any_pulses;
    use crate::rig::{Pulse, Run, Wire};
    use proptest::prelude::*;

    const NS: i64 = 1000;

    fn settings(rise: i64, fall: i64, swallows: i64) -> patch::Delay {
        let plain = |ps| Tolerance::plain(Span(ps));
        patch::Delay { rise: plain(rise), fall: plain(fall), swallows: Span(swallows), one_shot: None }
    }

    fn one_shot(rise: i64, width: i64, while_busy: WhileBusy) -> patch::Delay {
        let one_shot = Some(OneShot { width: Tolerance::plain(Span(width)), while_busy });
        patch::Delay { one_shot, ..settings(rise, rise, 0) }
    }

    /// Pulses `(rise, fall)`, numbered from 0, as edges on port 0.
    fn edges(pulses: &[(i64, i64)]) -> Vec<(usize, Edge)> {
        let numbered = (0..).zip(pulses);
        let edge = |number, at, rise| (0, Edge { at: Instant(at), rise, number });
        numbered.flat_map(|(n, &(rise, fall))| [edge(n, rise, true), edge(n, fall, false)]).collect()
    }

    /// `(rise, fall, number)` of each pulse.
    type Seen = Vec<(i64, i64, i64)>;

    /// What comes out, and how many were `(lost, merged)`.
    fn run(settings: &patch::Delay, pulses: &[(i64, i64)]) -> (Seen, (u64, u64)) {
        let (left, tally) = alone(&mut Delay::new(settings, Chance::none()), 1, &edges(pulses));
        let pairs = left[0].chunks_exact(2).map(|e| {
            assert!(e[0].rise && !e[1].rise);
            (e[0].at.0, e[1].at.0, e[0].number)
        });
        assert_eq!(tally.added, 0);
        (pairs.collect(), (tally.lost, tally.merged))
    }

    #[test]
    fn rises_and_falls_have_delays_of_their_own() {
        // 35 ns up and 60 ns down, as an unbuffered 4011 at 5 V has (HEF4011UB, tPLH and tPHL typical).
        let gate = settings(35 * NS, 60 * NS, 0);
        assert_eq!(run(&gate, &[(0, 1000 * NS)]), (vec![(35 * NS, 1060 * NS, 0)], (0, 0)));
        // A gap of up to 25 ns is closed by that, a pulse of up to 25 ns by the reverse.
        assert_eq!(run(&gate, &[(0, 10), (10 + 25 * NS, 99 * NS)]).1, (0, 1));
        assert_eq!(run(&gate, &[(0, 10), (11 + 25 * NS, 99 * NS)]).1, (0, 0));
        assert_eq!(run(&settings(60 * NS, 35 * NS, 0), &[(0, 25 * NS), (99 * NS, 125 * NS)]).1, (1, 0));
    }

    #[test]
    fn short_pulses_and_gaps_are_swallowed() {
        let inert = settings(10, 10, 5);
        // Just as long is long enough.
        assert_eq!(run(&inert, &[(0, 4), (20, 25)]), (vec![(30, 35, 1)], (1, 0)));
        assert_eq!(run(&inert, &[(0, 20), (24, 40)]), (vec![(10, 50, 0)], (0, 1)));
        // A burst of short pulses with short gaps, the last one long.
        assert_eq!(run(&inert, &[(0, 2), (4, 6), (8, 10), (12, 30)]), (vec![(22, 40, 3)], (3, 0)));
    }

    #[test]
    fn a_swallowed_pulse_gives_back_the_gap_that_it_closed() {
        // The slow fall of the first would have merged with the rise of the second, which then turns out to be too short.
        assert_eq!(run(&settings(5, 20, 5), &[(0, 30), (36, 40)]), (vec![(5, 50, 0)], (1, 0)));
    }

    #[test]
    fn a_300_ms_one_shot_on_pulses_125_ms_apart() {
        let ms = |ms: i64| Span::from_ms(ms).0;
        let pulses: Vec<_> = (0..8).map(|k| (ms(125 * k), ms(125 * k + 5))).collect();
        let (ignoring, counts) = run(&one_shot(0, ms(300), WhileBusy::Ignores), &pulses);
        assert_eq!(ignoring, [0, 3, 6].map(|k| (ms(125 * k), ms(125 * k + 300), k)));
        assert_eq!(counts, (5, 0));
        for merges in [WhileBusy::Restarts, WhileBusy::Passes] {
            let seen = run(&one_shot(0, ms(300), merges), &pulses);
            assert_eq!(seen, (vec![(0, ms(125 * 7 + 300), 0)], (0, 7)));
        }
    }

    #[test]
    fn a_one_shot_is_free_at_the_very_end_of_its_pulse() {
        // The two pulses touch, so that they are one on the wire.
        let seen = run(&one_shot(3, 10, WhileBusy::Ignores), &[(0, 1), (9, 10), (10, 11)]);
        assert_eq!(seen, (vec![(3, 23, 0)], (1, 1)));
    }

    #[test]
    fn hits_take_the_delay_and_a_busy_one_shot() {
        let heard = |settings: &patch::Delay| {
            let mut stage = Delay::new(settings, Chance::none());
            let hit = |at| Passing { at: Instant(at), velocity: 100, level_db: 0.0, index: 0 };
            [0, 125, 250, 375, 500].map(|at| stage.pass(hit(at)).map(|h| h.at.0))
        };
        assert_eq!(heard(&settings(7, 9, 5)), [7, 132, 257, 382, 507].map(Some));
        assert_eq!(heard(&one_shot(7, 300, WhileBusy::Ignores)), [Some(7), None, None, Some(382), None]);
        assert_eq!(heard(&one_shot(7, 300, WhileBusy::Restarts)), [Some(7), None, None, None, None]);
        assert_eq!(heard(&one_shot(7, 300, WhileBusy::Passes)), [7, 132, 257, 382, 507].map(Some));
    }

    #[test]
    fn tolerances_are_drawn_once_a_run() {
        // A 4000-series gate at 5 V: 120 ns typical, 250 ns most (buffered B series).
        let sheet = Tolerance { min: Span::ZERO, typ: Span(120 * NS), max: Span(250 * NS) };
        let gate = patch::Delay { rise: sheet, fall: sheet, ..settings(0, 0, 0) };
        let of = |run: Run| Delay::new(&gate, run.chance("stage/gate"));
        assert_eq!(of(Run::Typical).now.rise, Span(120 * NS));
        let drawn = of(Run::Drawn { seed: 1, number: 1 });
        assert_eq!(drawn.now.rise, drawn.now.fall);
        assert_ne!(drawn.now.rise, of(Run::Drawn { seed: 1, number: 2 }).now.rise);
        let apart = patch::Delay { fall: Tolerance { max: Span(251 * NS), ..sheet }, ..gate.clone() };
        let drawn = Delay::new(&apart, Run::Drawn { seed: 1, number: 1 }.chance("stage/gate"));
        assert_ne!(drawn.now.rise, drawn.now.fall);
    }

    #[test]
    fn what_is_settled_has_passed() {
        assert_eq!(Delay::new(&settings(3, 3, 0), Chance::none()).settled(&[true]), [true]);
        assert_eq!(Delay::new(&one_shot(3, 9, WhileBusy::Passes), Chance::none()).settled(&[true]), [false]);
    }

    proptest! {
        /// Against pulses instead of edges: each moved as a whole, then the wire's rule for lists of pulses.
        #[test]
        fn transport_is_the_union_of_moved_pulses(pulses in any_pulses(30, 40), rise in 0_i64..40, fall in 0_i64..40) {
            let moved = (0..).zip(&pulses).map(|(number, p)| Pulse { rise: Instant(p.0 + rise), fall: Instant(p.1 + fall), number });
            let union: Vec<_> = Wire::new(moved).map(|p| (p.rise.0, p.fall.0, p.number)).collect();
            let (seen, (lost, merged)) = run(&settings(rise, fall, 0), &pulses);
            prop_assert_eq!(seen.len() as u64, pulses.len() as u64 - lost - merged);
            prop_assert_eq!(seen, union);
        }

        /// Against the meaning: an edge counts if the input then keeps its level for long enough.
        #[test]
        fn inertia_keeps_the_edges_that_last(pulses in any_pulses(30, 40), swallows in 1_i64..20, rise in 0_i64..20, fall in 0_i64..20) {
            let all = edges(&pulses);
            let mut level = false;
            let mut kept = Vec::new();
            for (i, &(_, edge)) in all.iter().enumerate() {
                let lasts = all.get(i + 1).is_none_or(|next| next.1.at.0 - edge.at.0 >= swallows);
                if lasts && edge.rise != level {
                    level = edge.rise;
                    kept.push(edge);
                }
            }
            let kept: Vec<_> = kept.chunks_exact(2).map(|e| (e[0].at.0, e[1].at.0)).collect();
            let (rise, fall) = (swallows + rise, swallows + fall);
            let times = |seen: Seen| seen.into_iter().map(|p| (p.0, p.1)).collect::<Vec<_>>();
            let (seen, (lost, merged)) = run(&settings(rise, fall, swallows), &pulses);
            prop_assert_eq!(seen.len() as u64, pulses.len() as u64 - lost - merged);
            prop_assert_eq!(times(seen), times(run(&settings(rise, fall, 0), &kept).0));
        }

        #[test]
        fn a_one_shot_is_the_union_of_its_pulses(pulses in any_pulses(30, 40), rise in 0_i64..40, width in 1_i64..99, ignores: bool) {
            let mut free = 0;
            let taken = (0..).zip(&pulses).filter(|(_, p)| {
                let takes = !ignores || p.0 >= free;
                if takes {
                    free = p.0 + width;
                }
                takes
            });
            let started = taken.map(|(number, p)| {
                let rise = Instant(p.0 + rise);
                Pulse { rise, fall: rise + Span(width), number }
            });
            let union: Vec<_> = Wire::new(started).map(|p| (p.rise.0, p.fall.0, p.number)).collect();
            let while_busy = if ignores { WhileBusy::Ignores } else { WhileBusy::Restarts };
            let (seen, (lost, merged)) = run(&one_shot(rise, width, while_busy), &pulses);
            prop_assert_eq!(seen.len() as u64, pulses.len() as u64 - lost - merged);
            prop_assert_eq!(seen, union);
        }
    }
}
