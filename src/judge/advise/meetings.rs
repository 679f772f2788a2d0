//! At which delays edges meet: only there can anybody play something else.

use crate::judge::target::Input;
use crate::patch::{EdgeKind, ResetMode, Rig, Sequencer};
use crate::rig::{InputPulses, Pulse};
use crate::time::{Instant, Span, Tempo};
use std::collections::BTreeMap;

/// Edges beyond this never come: what never falls.
const NEVER: i64 = i64::MAX / 4;

/// What a box makes of the edges that come to its inputs, in all that it is in the course of a piece. A new mode says here for how
/// long it waits, and whether it heeds falls.
pub(super) struct Heeds {
    /// An edge of the delayed input counts or does not by whether it comes so long after one of the other input; negative is
    /// before.
    clock_after_reset: Vec<i64>,
    /// How late it sees rises and falls of its clock, and of its reset; falls only where it heeds them.
    seen: [(Vec<i64>, Vec<i64>); 2],
    /// How late it sees any edge: for when it is set anew.
    ages: Vec<i64>,
}

impl Heeds {
    pub(super) fn of<'s>(ever: impl IntoIterator<Item = &'s Sequencer>) -> Self {
        let (mut waits, mut ages) = (vec![0], vec![0]);
        let mut seen = [(Vec::new(), Vec::new()), (Vec::new(), Vec::new())];
        let ever: Vec<&Sequencer> = ever.into_iter().collect();
        for sequencer in &ever {
            let gathers = sequencer.gathers.0;
            waits.extend([gathers, -gathers]);
            match sequencer.reset.as_ref().map(|r| &r.mode) {
                Some(ResetMode::NextClock { setup_time, .. } | ResetMode::Sampled { setup_time }) => {
                    waits.push(setup_time.0);
                }
                Some(ResetMode::Immediate { holdoff }) => waits.extend([holdoff.0, -holdoff.0]),
                Some(ResetMode::ThisClock { grace: Some(grace) }) => waits.push(-grace.0),
                _ => {}
            }
            let (high, low) = (sequencer.min_high.0, sequencer.min_low.0);
            ages.extend([high, low, high + gathers, low + gathers, gathers]);
            for (edge, seen) in [sequencer.clock_edge, sequencer.reset_edge].into_iter().zip(&mut seen) {
                let (rise, fall) = if edge == EdgeKind::Rise { (high, low) } else { (low, high) };
                seen.0.push(rise);
                seen.1.push(fall);
            }
        }
        let mode = |heeds: fn(&ResetMode) -> bool| {
            let of = |s: &&Sequencer| s.gathers > Span::ZERO || s.reset.as_ref().is_some_and(|r| heeds(&r.mode));
            ever.iter().any(of)
        };
        // Who gathers begins to with a fall, too.
        if !mode(|mode| matches!(mode, ResetMode::ThisClock { grace: None })) {
            seen[0].1.clear();
        }
        if !mode(|mode| matches!(mode, ResetMode::Held | ResetMode::Sampled { .. })) {
            seen[1].1.clear();
        }
        let tidy = |all: &mut Vec<i64>| {
            all.sort_unstable();
            all.dedup();
        };
        tidy(&mut waits);
        tidy(&mut ages);
        seen.iter_mut().for_each(|(rises, falls)| [rises, falls].into_iter().for_each(tidy));
        Self { clock_after_reset: waits, seen, ages }
    }

    /// How long an edge of the delayed input comes after one of the other where either counts or does not.
    pub(super) fn waits(&self, delayed: Input) -> Vec<i64> {
        let sign = if delayed == Input::Clock { 1 } else { -1 };
        self.clock_after_reset.iter().map(|wait| sign * wait).collect()
    }

    /// How late rises and falls of an input are seen.
    pub(super) fn seen(&self, input: Input) -> &(Vec<i64>, Vec<i64>) {
        &self.seen[usize::from(input == Input::Reset)]
    }

    /// How late any edge may be seen, or handled, where that is held against when the box is set anew.
    pub(super) fn ages(&self) -> &[i64] {
        &self.ages
    }

    /// When edges of an input are seen, in order.
    fn edges(&self, pulses: &[Pulse], input: Input) -> Vec<i64> {
        let (rises, falls) = self.seen(input);
        let of = |p: &Pulse| {
            let rises = rises.iter().map(|age| p.rise.0 + age).collect::<Vec<_>>();
            let falls = falls.iter().filter(|_| p.fall.0 < NEVER).map(|age| p.fall.0 + age).collect::<Vec<_>>();
            [rises, falls].concat()
        };
        let mut all: Vec<i64> = pulses.iter().flat_map(of).collect();
        all.sort_unstable();
        all
    }
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
    pub(super) fn add(&mut self, ever: &[&Sequencer], heard: &InputPulses, input: Input, moments: &Moments) {
        let heeds = Heeds::of(ever.iter().copied());
        let (mine, other) = match input {
            Input::Clock => (&heard.clock, heeds.edges(&heard.reset, Input::Reset)),
            Input::Reset => (&heard.reset, heeds.edges(&heard.clock, Input::Clock)),
        };
        self.meet(&heeds.edges(mine, input), &other, &heeds.waits(input));
        if !moments.changes.is_empty() {
            // Before and after a change an edge is read in two ways, whichever it is.
            let mut all: Vec<i64> = mine.iter().flat_map(|p| [p.rise.0, p.fall.0]).filter(|at| *at < NEVER).collect();
            all.sort_unstable();
            let changes: Vec<i64> = moments.changes.iter().map(|at| at.0).collect();
            self.meet(&all, &changes, &heeds.ages().iter().map(|age| -age).collect::<Vec<_>>());
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

    /// Where what moves comes a waiting time after what stands still. Both stand in order.
    fn meet(&mut self, moved: &[i64], still: &[i64], waits: &[i64]) {
        let (least, most) = self.between;
        for edge in still {
            for wait in waits {
                // still + wait = moved + delay.
                let meets = edge + wait;
                let from = moved.partition_point(|m| *m < meets - most);
                let to = moved.partition_point(|m| *m <= meets - least);
                self.extend(moved.get(from..to).unwrap_or_default().iter().map(|m| meets - m));
            }
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
