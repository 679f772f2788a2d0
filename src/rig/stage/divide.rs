//! One pulse out of several.
//!
//! Of every `by` pulses the first or the last passes, at once, with its own rise, fall and number; `power-up` of the
//! first group count as past when the power comes on. A reset rise begins the count anew, so that the next pulse is the
//! first of a group; it does not cut a pulse that is passing. A reset at the very instant of a pulse acts before it:
//! with a reset path a pulse is therefore looked at when all edges of its instant have come.
//!
//! Nothing is counted as lost: what a divider keeps back is its purpose.

use super::{Out, Stage};
use crate::patch::{self, FiresOn, StageKind};
use crate::rig::Edge;
use crate::time::Instant;

/// A divider at work. Port 0 is the path that lists it, port 1 the reset.
#[derive(Debug)]
pub struct Divide {
    by: u32,
    /// Which of a group passes, from 0.
    fires_on: u32,
    has_reset: bool,
    /// How many of the group are past.
    past: u32,
    /// A rise whose instant is not over yet.
    waiting: Option<Edge>,
    /// Whether the pulse that came last passes.
    passes: bool,
}

impl Divide {
    /// A divider with these settings; nothing about it is drawn.
    pub(crate) fn new(settings: &patch::Divide) -> Self {
        Self {
            by: settings.by,
            fires_on: match settings.fires_on {
                FiresOn::First => 0,
                FiresOn::Last => settings.by - 1,
            },
            has_reset: settings.reset.is_some(),
            past: settings.power_up % settings.by,
            waiting: None,
            passes: false,
        }
    }

    fn count(&mut self, rise: Edge, out: &mut Out) {
        self.passes = self.past == self.fires_on;
        self.past = (self.past + 1) % self.by;
        if self.passes {
            out.send(0, rise);
        }
    }
}

impl Stage for Divide {
    fn edge(&mut self, port: usize, edge: Edge, out: &mut Out) {
        match (port, edge.rise) {
            (0, true) if self.has_reset => {
                self.waiting = Some(edge);
                out.wake(edge.at);
            }
            (0, true) => self.count(edge, out),
            (0, false) => {
                if std::mem::take(&mut self.passes) {
                    out.send(0, edge);
                }
            }
            (_, true) => self.past = 0,
            (_, false) => {}
        }
    }

    fn wake(&mut self, _at: Instant, out: &mut Out) {
        if let Some(rise) = self.waiting.take() {
            self.count(rise, out);
        }
    }

    /// The count within a group goes on, taken round in the new one; a pulse that is passing passes.
    fn turn(&mut self, kind: &StageKind, _at: Instant, _out: &mut Out) {
        let StageKind::Divide(settings) = kind else { return };
        let fresh = Self::new(settings);
        let past = self.past % fresh.by;
        *self = Self { past, waiting: self.waiting, passes: self.passes, ..fresh };
    }

    fn settled(&mut self, _inputs: &[bool]) -> Vec<bool> {
        vec![false]
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::patch::{Path, Source};
    use crate::rig::stage::{Tally, out::alone};
    use proptest::prelude::*;

    fn divider(by: u32, fires_on: FiresOn, power_up: u32, reset: bool) -> Divide {
        let reset = reset.then(|| Path { source: Source::Output(0), stages: Vec::new() });
        Divide::new(&patch::Divide { by, fires_on, reset, power_up })
    }

    /// Pulses at `10k` to `10k + 4`, and resets of length 1.
    fn edges(pulses: i64, resets: &[i64]) -> Vec<(usize, Edge)> {
        let edge = |port, number, at, rise| (port, Edge { at: Instant(at), rise, number });
        let pulse = |k| [edge(0, k, 10 * k, true), edge(0, k, 10 * k + 4, false)];
        let reset = |&at: &i64| [edge(1, 0, at, true), edge(1, 0, at + 1, false)];
        let mut all: Vec<_> = (0..pulses).flat_map(pulse).chain(resets.iter().flat_map(reset)).collect();
        all.sort_by_key(|(port, e)| (e.at, *port));
        all
    }

    /// The numbers of the pulses that pass.
    fn run(mut divider: Divide, pulses: i64, resets: &[i64]) -> Vec<i64> {
        let (left, tally) = alone(&mut divider, 2, &edges(pulses, resets));
        assert_eq!(tally, Tally::default());
        let pairs = left[0].chunks_exact(2).map(|e| {
            assert_eq!((e[0].at.0, e[1].at.0), (10 * e[0].number, 10 * e[0].number + 4));
            assert!(e[0].rise && !e[1].rise && e[1].number == e[0].number);
            e[0].number
        });
        assert_eq!(left[0].len() % 2, 0);
        pairs.collect()
    }

    #[test]
    fn the_first_or_the_last_of_a_group_passes() {
        assert_eq!(run(divider(3, FiresOn::First, 0, false), 9, &[]), [0, 3, 6]);
        assert_eq!(run(divider(3, FiresOn::Last, 0, false), 9, &[]), [2, 5, 8]);
        assert_eq!(run(divider(3, FiresOn::First, 1, false), 9, &[]), [2, 5, 8]);
        assert_eq!(run(divider(1, FiresOn::Last, 0, false), 4, &[]), [0, 1, 2, 3]);
    }

    #[test]
    fn a_reset_begins_the_count_anew_and_cuts_nothing() {
        // Between pulses 3 and 4, and while pulse 4 is high.
        assert_eq!(run(divider(4, FiresOn::First, 0, true), 12, &[36, 42]), [0, 4, 5, 9]);
        assert_eq!(run(divider(4, FiresOn::Last, 0, true), 12, &[36]), [3, 7, 11]);
    }

    #[test]
    fn a_reset_at_the_very_instant_of_a_pulse_acts_before_it() {
        assert_eq!(run(divider(4, FiresOn::First, 0, true), 10, &[50]), [0, 4, 5, 9]);
        // Pulse 3 would have been the last of its group.
        assert_eq!(run(divider(4, FiresOn::Last, 0, true), 10, &[30]), [6]);
        assert_eq!(run(divider(4, FiresOn::First, 3, true), 10, &[0]), [0, 4, 8]);
    }

    proptest! {
        /// Against counting from the last reset at or before each pulse.
        #[test]
        fn a_pulse_passes_by_its_place_since_the_last_reset(
            by in 1_u32..9, last: bool, power_up in 0_u32..9, mut resets in prop::collection::vec(0_i64..60, 0..5),
        ) {
            // A place every 5: on a pulse or beside one.
            resets.sort_unstable();
            resets.dedup();
            let resets: Vec<i64> = resets.into_iter().map(|r| 5 * r).collect();
            let passing = (0..30).filter(|&k| {
                let since = resets.iter().rev().find(|&&r| r <= 10 * k);
                let place = since.map_or(k + i64::from(power_up), |r| k - (r + 9) / 10);
                place % i64::from(by) == if last { i64::from(by) - 1 } else { 0 }
            });
            let fires_on = if last { FiresOn::Last } else { FiresOn::First };
            prop_assert_eq!(run(divider(by, fires_on, power_up, true), 30, &resets), passing.collect::<Vec<_>>());
        }
    }
}
