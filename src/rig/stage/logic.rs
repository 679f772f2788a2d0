//! A gate: `or`, `and`, `xor` of two inputs, `not` of one.
//!
//! The output has the value of the function at the inputs' levels, `delay` later (one propagation delay for both
//! directions; 4000 series and 74HC data sheets). Glitches come out as they are: two edges that should be one give a
//! pulse as long as they are apart, unless `swallows` (inertia: output pulses and gaps shorter than that vanish, one
//! just as long stays) takes it. Edges of one instant have no glitch between them.
//!
//! A pulse's number is that of the edge that made the output rise: behind a `not` the pulse that ended then. Where
//! both inputs have an edge at that instant it is the first path's.
//!
//! Counted: an output pulse swallowed is lost, an output gap swallowed merges two; and where two pulses of an `or`
//! overlap or touch, the second to rise is merged. What a gate lets through and what it holds back is its purpose, and is not
//! counted. So for an `or`, pulses in less lost and merged are pulses out.

use super::{Out, Stage};
use crate::patch::{self, Does, StageKind};
use crate::rig::{Chance, Edge};
use crate::time::{Instant, Span};

/// A gate at work. Port 0 is the path that lists it, port 1 the other input.
#[derive(Debug)]
pub struct Logic {
    does: Does,
    delay: Span,
    /// That with which the last edge was sent.
    sent: Span,
    swallows: Span,
    /// Where what is set anew draws from, and how this device stands among all.
    device: Chance,
    standing: Option<f64>,
    inputs: [bool; 2],
    /// The edge that counts as the last: when, on which port, and its number.
    cause: Option<(Instant, usize, i64)>,
}

impl Logic {
    /// Draws the delay of this run from `device`. No edge has a chance of its own.
    pub(crate) fn new(settings: &patch::Logic, mut device: Chance) -> Self {
        let mut standing = None;
        let delay = device.standing_time(&mut standing, settings.delay);
        Self {
            does: settings.does,
            delay,
            sent: delay,
            swallows: settings.swallows,
            device,
            standing,
            inputs: [false; 2],
            cause: None,
        }
    }

    fn value(&self) -> bool {
        let [a, b] = self.inputs;
        match self.does {
            Does::Or => a || b,
            Does::And => a && b,
            Does::Xor => a != b,
            Does::Not => !a,
        }
    }
}

impl Stage for Logic {
    fn edge(&mut self, port: usize, edge: Edge, out: &mut Out) {
        // The output's level is still that of before this instant.
        let joins = out.level(0) || self.inputs[1 - port];
        if self.does == Does::Or && edge.rise && joins && !self.inputs[port] {
            out.tally.merged += 1;
        }
        self.inputs[port] = edge.rise;
        if port == 0 || !self.cause.is_some_and(|c| c.0 == edge.at && c.1 == 0) {
            self.cause = Some((edge.at, port, edge.number));
        }
        // What counts are the levels at the end of the instant.
        if self.value() != out.level(0) {
            out.wake(edge.at);
        }
    }

    fn wake(&mut self, now: Instant, out: &mut Out) {
        let rise = self.value();
        let Some((_, _, number)) = self.cause.filter(|_| rise != out.level(0)) else { return };
        // A pulse that is still on its way out is completed as it began.
        let begun = !rise && out.last(0).is_some_and(|last| last.rise);
        self.sent = if begun { self.sent } else { self.delay };
        let at = now + self.sent;
        // One delay for both directions: what was sent last is the last change of the function, and cannot have left yet
        // if it is to be swallowed.
        if out.last(0).is_some_and(|last| at - last.at < self.swallows) {
            out.take_back(0);
            if rise {
                out.tally.merged += 1;
            } else {
                out.tally.lost += 1;
            }
        } else {
            out.send(0, Edge { at, rise, number });
        }
    }

    /// What is on its way out stays so; another function shows at once.
    fn turn(&mut self, kind: &StageKind, now: Instant, out: &mut Out) {
        let StageKind::Logic(settings) = kind else { return };
        self.delay = self.device.standing_time(&mut self.standing, settings.delay);
        (self.does, self.swallows) = (settings.does, settings.swallows);
        if self.value() != out.level(0) {
            self.cause.get_or_insert((now, 0, 0));
            out.wake(now);
        }
    }

    fn settled(&mut self, inputs: &[bool]) -> Vec<bool> {
        for (level, input) in self.inputs.iter_mut().zip(inputs) {
            *level = *input;
        }
        vec![self.value()]
    }

    fn is_late(&self) -> bool {
        self.delay > Span::ZERO
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::patch::Tolerance;
    use crate::rig::Run;
    use crate::rig::stage::trial::any_pulses;
    use crate::rig::stage::{Tally, out::alone};
    use proptest::prelude::*;

    fn gate(does: Does, delay: i64, swallows: i64) -> Logic {
        let delay = Tolerance::plain(Span(delay));
        Logic::new(&patch::Logic { does, with: None, delay, swallows: Span(swallows) }, Chance::none())
    }

    /// Pulses of both ports as edges in order; numbers count from 0 on port 0, from 100 on port 1.
    fn edges(first: &[(i64, i64)], second: &[(i64, i64)]) -> Vec<(usize, Edge)> {
        let edge = |port, number, at, rise| (port, Edge { at: Instant(at), rise, number });
        let of = |port, from: i64, pulses: &[(i64, i64)]| -> Vec<(usize, Edge)> {
            (from..).zip(pulses).flat_map(|(n, p)| [edge(port, n, p.0, true), edge(port, n, p.1, false)]).collect()
        };
        let mut all = of(0, 0, first);
        all.extend(of(1, 100, second));
        all.sort_by_key(|(port, e)| (e.at, *port));
        all
    }

    /// What comes out as `(at, rise, number)`.
    fn run(mut gate: Logic, first: &[(i64, i64)], second: &[(i64, i64)]) -> (Vec<(i64, bool, i64)>, Tally) {
        let ports = if gate.does == Does::Not { 1 } else { 2 };
        let (left, tally) = alone(&mut gate, ports, &edges(first, second));
        (left[0].iter().map(|e| (e.at.0, e.rise, e.number)).collect(), tally)
    }

    #[test]
    fn the_number_of_a_pulse_is_the_causing_edges() {
        let (first, second) = ([(0, 10), (50, 60)], [(5, 20), (50, 70)]);
        let (or, tally) = run(gate(Does::Or, 3, 0), &first, &second);
        assert_eq!(or, [(3, true, 0), (23, false, 100), (53, true, 1), (73, false, 101)]);
        assert_eq!(tally, Tally { merged: 2, ..Tally::default() });
        // On the tie at 50 the second path's edge is what lifts the output, but the first path's number counts.
        let (and, tally) = run(gate(Does::And, 0, 0), &first, &second);
        assert_eq!(and, [(5, true, 100), (10, false, 0), (50, true, 1), (60, false, 1)]);
        assert_eq!(tally, Tally::default());
        let (xor, tally) = run(gate(Does::Xor, 1, 0), &first, &second);
        assert_eq!(xor[..2], [(1, true, 0), (6, false, 100)]);
        assert_eq!(xor[2..], [(11, true, 0), (21, false, 100), (61, true, 1), (71, false, 101)]);
        assert_eq!(tally, Tally::default());
    }

    #[test]
    fn a_not_starts_high_and_pulses_between_pulses() {
        assert_eq!(gate(Does::Not, 7, 0).settled(&[false]), [true]);
        let (not, tally) = run(gate(Does::Not, 7, 0), &[(0, 10), (30, 35)], &[]);
        assert_eq!(not, [(7, false, 0), (17, true, 0), (37, false, 1), (42, true, 1)]);
        assert_eq!(tally, Tally::default());
    }

    #[test]
    fn a_glitch_comes_out_unless_it_is_swallowed() {
        // The inverted path is 5 late, so that clock and not-clock are high together for 5 after every rise.
        let (clock, late_not) = ([(0, 50), (100, 150)], [(-100, 5), (55, 105)]);
        let and = |swallows| run(gate(Does::And, 10, swallows), &clock, &late_not);
        let seen = [(10, true, 0), (15, false, 100), (110, true, 1), (115, false, 101)];
        assert_eq!(and(0).0, seen);
        assert_eq!(and(5).0, seen);
        assert_eq!(and(6), (vec![], Tally { lost: 2, ..Tally::default() }));
        // Two pulses with a gap of 4 between them.
        let or = |swallows| run(gate(Does::Or, 10, swallows), &[(0, 20)], &[(24, 40)]);
        assert_eq!(or(4).0.len(), 4);
        assert_eq!(or(5), (vec![(10, true, 0), (50, false, 100)], Tally { merged: 1, ..Tally::default() }));
    }

    #[test]
    fn edges_of_one_instant_have_no_glitch_between_them() {
        for delay in [0, 4] {
            // One hands over to the other at 10, in either order of the ports.
            let or = run(gate(Does::Or, delay, 0), &[(0, 10), (20, 30)], &[(10, 20)]);
            let seen = vec![(delay, true, 0), (30 + delay, false, 1)];
            assert_eq!(or, (seen, Tally { merged: 2, ..Tally::default() }));
            let and = run(gate(Does::And, delay, 0), &[(0, 10), (20, 30)], &[(10, 20)]);
            assert_eq!(and, (vec![], Tally::default()));
            let xor = run(gate(Does::Xor, delay, 0), &[(0, 10)], &[(0, 10)]);
            assert_eq!(xor, (vec![], Tally::default()));
        }
    }

    #[test]
    fn a_thousand_gates_are_no_flam() {
        // 120 ns typical and 250 ns at most (4000 series, buffered, 5 V); a thousand in a row make 0.12 ms (closed form).
        let sheet = Tolerance { min: Span::ZERO, typ: Span(120_000), max: Span(250_000) };
        let settings = patch::Logic { does: Does::Not, with: None, delay: sheet, swallows: Span::ZERO };
        let sum = |run: Run| -> i64 {
            (0..1000).map(|i| Logic::new(&settings, run.chance(&format!("stage/{i}"))).delay.0).sum()
        };
        assert_eq!(sum(Run::Typical), Span::from_ms(1).0 / 1000 * 120);
        // Half evenly in 0 to 120, half in 120 to 250: mean 122.5 ns, SD 72.2 ns, so 2.3 µs for the sum; five of it.
        let drawn = sum(Run::Drawn { seed: 1, number: 1 });
        assert!((drawn - 122_500_000).abs() < 11_500_000, "{drawn}");
    }

    proptest! {
        /// Against the levels themselves, looked at in every picosecond.
        #[test]
        fn the_output_is_the_function_of_the_levels(
            first in any_pulses(12, 30), second in any_pulses(12, 30), extra in 0_i64..9, swallows in 0_i64..9, which in 0_usize..4,
        ) {
            let does = [Does::Or, Does::And, Does::Xor, Does::Not][which];
            let second = if does == Does::Not { Vec::new() } else { second };
            let delay = swallows + extra;
            let high = |pulses: &[(i64, i64)], t: i64| pulses.iter().any(|p| p.0 <= t && t < p.1);
            let value = |t: i64| {
                let (a, b) = (high(&first, t), high(&second, t));
                [a | b, a & b, a ^ b, !a][which]
            };
            let changes: Vec<i64> = (0..800).filter(|&t| value(t) != value(t - 1)).collect();
            let mut level = does == Does::Not;
            let mut expected = Vec::new();
            for (i, &t) in changes.iter().enumerate() {
                let lasts = changes.get(i + 1).is_none_or(|next| next - t >= swallows);
                if lasts && value(t) != level {
                    level = value(t);
                    expected.push((t + delay, level));
                }
            }
            let (seen, tally) = run(gate(does, delay, swallows), &first, &second);
            let rises = seen.iter().filter(|e| e.1).count() as u64;
            let seen: Vec<_> = seen.into_iter().map(|e| (e.0, e.1)).collect();
            prop_assert_eq!(seen, expected);
            let could: u64 = match does {
                Does::Or => (first.len() + second.len()) as u64,
                _ => changes.iter().filter(|&&t| value(t)).count() as u64,
            };
            prop_assert_eq!(rises, could - tally.lost - tally.merged);
        }
    }
}
