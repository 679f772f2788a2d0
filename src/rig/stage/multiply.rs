//! Several pulses out of one.
//!
//! A multiplier learns the time between rises from the last two, *P*, and puts `by` pulses at `i·P/by` after each rise,
//! *i* = 0 … `by` − 1, each instant rounded once. It is silent before its second pulse, and lags by a pulse when the
//! tempo changes: after a slowing down it leaves a hole, after a quickening the pulses that are still to come when the
//! next real one arrives are dropped. Pulses are as long as the last whole pulse that came in, at most half their
//! spacing. Pulse *i* behind number *n* has the number `n·by + i`: behind a multiplier numbers count in `by`ths of a
//! pulse. Where `by` is changed in the piece, they count in parts so small that each `by` is a number of them.
//!
//! Counted as lost: the first pulse, the pulses dropped, and those too short for a picosecond. A pulse that is still
//! high when the next real one arrives is one with it: merged. What is put between is the multiplier's purpose and is
//! not counted as added. So pulses in times `by`, less lost (the first `by` times) and merged, are pulses out.

use super::{Out, Stage};
use crate::patch::{self, StageKind};
use crate::rig::Edge;
use crate::time::{Instant, Span};

/// A multiplier at work.
#[derive(Debug)]
pub struct Multiply {
    by: i64,
    /// Into how many parts a pulse is taken apart for numbering: a multiple of all that `by` is in the piece.
    parts: i64,
    /// When its input last rose.
    rise: Option<Instant>,
    /// How long the last whole pulse was.
    width: Span,
    /// Rises and falls that were asked for and may still be to come.
    asked: Vec<(Instant, Edge)>,
}

impl Multiply {
    /// A multiplier with these settings; nothing about it is drawn.
    pub(crate) fn new(settings: &patch::Multiply, parts: u32) -> Self {
        Self { by: i64::from(settings.by), parts: i64::from(parts), rise: None, width: Span::ZERO, asked: Vec::new() }
    }

    /// `i·period/by`, rounded to the nearest picosecond, halves upwards.
    fn share(&self, i: i64, period: Span) -> Span {
        let (twice, by) = (2 * i128::from(i) * i128::from(period.0), i128::from(self.by));
        // At most the period, which fits.
        Span(((twice + by) / (2 * by)) as i64)
    }

    /// Takes back the pulses whose rise has not left, and says how the one that is under way ends: of pulses that were one
    /// with it only those count that have begun.
    fn drop_rest(&mut self, now: Instant, out: &mut Out) -> Option<Edge> {
        self.asked.retain(|(rise, end)| *rise < now && end.at >= now);
        while let Some(fall) = out.take_back(0) {
            if out.take_back(0).is_none() {
                // Of several falls of one instant the last asked for counts.
                let fall = self.asked.iter().map(|(_, end)| *end).max_by_key(|end| end.at).unwrap_or(fall);
                out.send(0, fall);
                return Some(fall);
            }
            out.tally.lost += 1;
        }
        None
    }
}

impl Stage for Multiply {
    fn edge(&mut self, _port: usize, edge: Edge, out: &mut Out) {
        if !edge.rise {
            if let Some(rise) = self.rise {
                self.width = edge.at - rise;
            }
            return;
        }
        let Some(before) = self.rise.replace(edge.at) else {
            out.tally.lost += 1;
            return;
        };
        let period = edge.at - before;
        let width = self.width.min(Span(period.0 / (2 * self.by)));
        let mut end = self.drop_rest(edge.at, out);
        for i in 0..self.by {
            let rise = Edge {
                at: edge.at + self.share(i, period),
                rise: true,
                number: edge.number * self.parts + i * self.parts / self.by,
            };
            // Where a long pulse is still under way the wire makes one of the two, up to the last fall.
            let own = Edge { at: rise.at + width, rise: false, ..rise };
            let fall = end.filter(|end| end.at > own.at).unwrap_or(own);
            self.asked.push((rise.at, own));
            out.send(0, rise);
            out.send(0, fall);
            end = Some(fall);
        }
    }

    /// What has been put between two pulses stays; the next pulse is taken apart anew.
    fn turn(&mut self, kind: &StageKind, _at: Instant, _out: &mut Out) {
        if let StageKind::Multiply(settings) = kind {
            self.by = i64::from(settings.by);
        }
    }

    fn settled(&mut self, _inputs: &[bool]) -> Vec<bool> {
        vec![false]
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rig::stage::{Tally, out::alone};
    use crate::rig::{Pulse, Wire};
    use proptest::prelude::*;

    /// Pulses `(rise, width)`, numbered from 0; what comes out as `(rise, fall, number)`.
    fn run(by: u32, pulses: &[(i64, i64)]) -> (Vec<(i64, i64, i64)>, Tally) {
        let edge = |number, at, rise| (0, Edge { at: Instant(at), rise, number });
        let edges: Vec<_> =
            (0..).zip(pulses).flat_map(|(n, &(at, width))| [edge(n, at, true), edge(n, at + width, false)]).collect();
        let (left, tally) = alone(&mut Multiply::new(&patch::Multiply { by }, by), 1, &edges);
        let pairs = left[0].chunks_exact(2).map(|e| {
            assert!(e[0].rise && !e[1].rise);
            (e[0].at.0, e[1].at.0, e[0].number)
        });
        (pairs.collect(), tally)
    }

    const LOST: fn(u64) -> Tally = |lost| Tally { lost, merged: 0, added: 0 };

    #[test]
    fn it_is_silent_before_its_second_pulse() {
        assert_eq!(run(3, &[(0, 5)]), (vec![], LOST(1)));
        let (seen, tally) = run(3, &[(0, 5), (100, 5)]);
        // 100/3 is 33.3, 200/3 is 66.7: each rounded once.
        assert_eq!(seen, [(100, 105, 3), (133, 138, 4), (167, 172, 5)]);
        assert_eq!(tally, LOST(1));
    }

    #[test]
    fn pulses_are_at_most_half_their_spacing() {
        let widths = |by, width| -> Vec<i64> {
            let (seen, _) = run(by, &[(0, width), (100, 1), (200, 1)]);
            seen[..by as usize].iter().map(|p| p.1 - p.0).collect()
        };
        assert_eq!(widths(4, 12), [12; 4]);
        assert_eq!(widths(4, 50), [12; 4]);
        assert_eq!(widths(2, 25), [25; 2]);
        assert_eq!(widths(1, 80), [50; 1]);
    }

    #[test]
    fn it_lags_when_the_tempo_changes() {
        // Slower from 200 on: the spacing of 50 is kept once more, which leaves a hole from 250 to 400.
        let rises = |pulses: &[i64]| -> (Vec<i64>, Tally) {
            let pulses: Vec<_> = pulses.iter().map(|&at| (at, 4)).collect();
            let (seen, tally) = run(2, &pulses);
            (seen.into_iter().map(|p| p.0).collect(), tally)
        };
        assert_eq!(rises(&[0, 100, 200, 400, 600]), (vec![100, 150, 200, 250, 400, 500, 600, 700], LOST(1)));
        // Quicker: the one that was to come at 250 is dropped for the real one at 240; then all is well.
        assert_eq!(rises(&[0, 100, 200, 240, 280]), (vec![100, 150, 200, 240, 260, 280, 300], LOST(2)));
        // One that was to come at the very instant of the real one is dropped too.
        assert_eq!(rises(&[0, 100, 150]), (vec![100, 150, 175], LOST(2)));
    }

    #[test]
    fn a_pulse_that_is_still_high_is_one_with_the_next_real_one() {
        // The second of the pair is high from 150 to 175 when the real one comes at 160, whose own would end at 170.
        let (seen, tally) = run(2, &[(0, 40), (100, 10), (160, 10)]);
        assert_eq!(seen, [(100, 125, 2), (150, 175, 3), (190, 200, 5)]);
        assert_eq!(tally, Tally { lost: 1, merged: 1, added: 0 });
    }

    #[test]
    fn the_fall_of_two_in_one_is_that_of_the_one_that_ends_last() {
        let edge = |number, at, rise| (0, Edge { at: Instant(at), rise, number });
        let times = [(0, 40), (100, 110), (160, 170)];
        let edges: Vec<_> =
            (0..).zip(times).flat_map(|(n, (up, down))| [edge(n, up, true), edge(n, down, false)]).collect();
        let (left, _) = alone(&mut Multiply::new(&patch::Multiply { by: 2 }, 2), 1, &edges);
        // From 150 to 175 the second behind pulse 1, in which the first behind pulse 2 (160 to 170) vanishes.
        let seen: Vec<_> = left[0].iter().map(|e| (e.at.0, e.rise, e.number)).collect();
        assert_eq!(seen[2..4], [(150, true, 3), (175, false, 3)]);
    }

    #[test]
    fn a_steady_clock_comes_out_steady() {
        // 24 a beat out of 1 a beat at 125: 20 ms apart exactly.
        let beat = Span::from_ms(480).0;
        let pulses: Vec<_> = (0..10).map(|k| (k * beat, Span::from_ms(5).0)).collect();
        let (seen, tally) = run(24, &pulses);
        let even: Vec<_> = (24..240).map(|n| (n * beat / 24, n * beat / 24 + Span::from_ms(5).0, n)).collect();
        assert_eq!((seen, tally), (even, LOST(1)));
    }

    proptest! {
        /// Against the list of what each pulse asks for, cut where the next one comes, and the wire's rule for lists.
        #[test]
        fn it_sends_what_each_pulse_asks_for(by in 1_u32..7, gaps in prop::collection::vec((1_i64..200, 1_i64..200), 1..20)) {
            let mut at = 0;
            let pulses: Vec<(i64, i64)> = gaps.iter().map(|&(gap, width)| {
                at += gap;
                let pulse = (at, width);
                at += width;
                pulse
            }).collect();
            let m = i64::from(by);
            let mut asked = Vec::new();
            for k in 1..pulses.len() {
                let (now, period) = (pulses[k].0, pulses[k].0 - pulses[k - 1].0);
                let width = pulses[k - 1].1.min(period / (2 * m));
                let next = pulses.get(k + 1).map_or(i64::MAX, |p| p.0);
                for i in 0..m {
                    let rise = now + (i as f64 * period as f64 / m as f64 + 0.5).floor() as i64;
                    if rise < next {
                        let number = k as i64 * m + i;
                        asked.push(Pulse { rise: Instant(rise), fall: Instant(rise + width), number });
                    }
                }
            }
            let union: Vec<_> = Wire::new(asked.into_iter()).map(|p| (p.rise.0, p.fall.0, p.number)).collect();
            let (seen, tally) = run(by, &pulses);
            let asked = u64::from(by) * (pulses.len() as u64 - 1);
            prop_assert_eq!(seen.len() as u64, asked + 1 - tally.lost - tally.merged);
            prop_assert_eq!(seen, union);
        }
    }
}
