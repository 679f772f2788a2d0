//! At which delays edges meet: only there can anybody play something else.

use super::target::Input;
use crate::patch::{ResetMode, Rig, Sequencer};
use crate::rig::{Heard, Pulse};
use crate::time::{Instant, Span, Tempo};
use std::collections::BTreeMap;

/// Edges beyond this never come: what never falls.
const NEVER: i64 = i64::MAX / 4;

/// The times that a box waits, with both signs: an edge counts or does not by whether it comes that long before or after
/// another one.
pub(super) fn waits<'s>(ever: impl IntoIterator<Item = &'s Sequencer>) -> Vec<i64> {
    let mut all: Vec<i64> = ever.into_iter().flat_map(waits_of).collect();
    all.sort_unstable();
    all.dedup();
    all
}

fn waits_of(sequencer: &Sequencer) -> Vec<i64> {
    let of_mode = match sequencer.reset.as_ref().map(|r| &r.mode) {
        Some(ResetMode::NextClock { setup_time, .. } | ResetMode::Sampled { setup_time }) => *setup_time,
        Some(ResetMode::Immediate { holdoff }) => *holdoff,
        Some(ResetMode::ThisClock { grace: Some(grace) }) => *grace,
        _ => Span::ZERO,
    };
    // A rise is seen so late, and a fall so late: edges of two kinds are moved against each other.
    let (high, low) = (sequencer.min_high.0, sequencer.min_low.0);
    let mut all = Vec::new();
    for wait in [0, of_mode.0, -of_mode.0, sequencer.gathers.0, -sequencer.gathers.0] {
        for seen in [0, high, -high, low, -low, high - low, low - high] {
            all.push(wait + seen);
        }
    }
    all
}

/// What stands still in a piece whatever is delayed.
#[derive(Clone, Debug)]
pub(super) struct Moments {
    /// When boxes, stages or wires are set anew.
    pub(super) changes: Vec<Instant>,
    /// When the clock is stopped and started, and the end.
    pub(super) stops: Vec<Instant>,
}

impl Moments {
    pub(super) fn of(rig: &Rig, tempo: Tempo) -> Self {
        let clockwork = rig.clockwork(tempo);
        let (eras, switches) = (&rig.course.eras, &rig.course.switches);
        Self {
            changes: eras.iter().filter(|era| era.from < rig.end).map(|era| clockwork.instant(era.from)).collect(),
            stops: switches.iter().chain([&rig.end]).map(|beat| clockwork.instant(*beat)).collect(),
        }
    }
}

/// Pulses by their number; where a wire is plugged in anew a number may come again, and is told by how often it has come.
pub(super) fn numbered(pulses: &[Pulse]) -> BTreeMap<(i64, usize), &Pulse> {
    let mut all: BTreeMap<(i64, usize), &Pulse> = BTreeMap::new();
    for pulse in pulses {
        let again = all.range((pulse.number, 0)..=(pulse.number, usize::MAX)).count();
        all.insert((pulse.number, again), pulse);
    }
    all
}

fn edges(pulses: &[Pulse]) -> Vec<i64> {
    let mut all: Vec<i64> = pulses.iter().flat_map(|p| [p.rise.0, p.fall.0]).filter(|at| *at < NEVER).collect();
    all.sort_unstable();
    all
}

/// The delays from one to another at which an edge of a delayed input meets one of the other input of the same box, or comes
/// a waiting time from it; and what else stands still: when anything is set anew, and when the clock is stopped.
pub(super) struct Met {
    between: (i64, i64),
    all: Listed<i64>,
    /// How many there are, each as often as edges meet at it.
    pub(super) found: u128,
}

impl Met {
    pub(super) fn new(between: (i64, i64)) -> Self {
        Self { between, all: Listed::new(), found: 0 }
    }

    /// Adds those of a box. `ever` is what the box is in the course of the piece.
    pub(super) fn add(&mut self, ever: &[&Sequencer], heard: &Heard, input: Input, moments: &Moments) {
        let (least, most) = self.between;
        let (moved, mut still) = match input {
            Input::Clock => (edges(&heard.clock), edges(&heard.reset)),
            Input::Reset => (edges(&heard.reset), edges(&heard.clock)),
        };
        // Before and after a change an edge is read in two ways.
        still.extend(moments.changes.iter().map(|at| at.0));
        let waits = waits(ever.iter().copied());
        for edge in &still {
            for wait in &waits {
                // still + wait = moved + delay.
                let meets = edge + wait;
                let from = moved.partition_point(|m| *m < meets - most);
                let to = moved.partition_point(|m| *m <= meets - least);
                self.extend(moved.get(from..to).unwrap_or_default().iter().map(|m| meets - m));
            }
        }
        // A first rise that comes so late after the power came on plays step 1.
        if let (Input::Clock, Some(first)) = (input, heard.clock.first()) {
            self.extend(ever.iter().filter_map(|s| s.idle_reset).map(|idle| idle.0 - (first.rise - Instant::START).0));
        }
        // A reset of which nothing sounds while the clock stands.
        if input == Input::Reset && ever.iter().any(|s| !s.sounds_on_reset) {
            self.extend(heard.reset.iter().flat_map(|p| moments.stops.iter().map(|stop| (*stop - p.rise).0)));
        }
    }

    fn extend(&mut self, places: impl Iterator<Item = i64>) {
        let (least, most) = self.between;
        for place in places.filter(|d| (least..=most).contains(d)) {
            self.found += 1;
            self.all.add(place);
        }
    }

    /// All of them, in order; `None` if they are too many to be tried.
    pub(super) fn close(self) -> Option<Vec<i64>> {
        self.all.close()
    }
}

/// A list of what is to be tried, each once, up to so many.
#[derive(Debug)]
pub(super) struct Listed<T> {
    all: Vec<T>,
    too_many: bool,
}

/// The most that is listed to be tried; nobody waits for more.
const MOST_LISTED: usize = 1 << 20;

impl<T: Ord> Listed<T> {
    pub(super) fn new() -> Self {
        Self { all: Vec::new(), too_many: false }
    }

    pub(super) fn add(&mut self, one: T) {
        if self.too_many {
            return;
        }
        self.all.push(one);
        // Those that are alike are thrown together now and then.
        if self.all.len() >= 2 * MOST_LISTED {
            self.tidy();
            self.too_many = self.all.len() > MOST_LISTED;
        }
    }

    fn tidy(&mut self) {
        self.all.sort_unstable();
        self.all.dedup();
    }

    /// All of them, in order; `None` if they are too many.
    pub(super) fn close(mut self) -> Option<Vec<T>> {
        self.tidy();
        (self.all.len() <= MOST_LISTED).then_some(self.all)
    }
}
