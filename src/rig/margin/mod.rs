//! How sure each reset is: how far the nearest edge is from changing the step that is played, over all tolerances.
//!
//! As in static timing analysis, nothing is drawn here. The typical run gives the edges at a sequencer's inputs; then one
//! reset is moved against its clock, to every place at which anything could change, and the rules themselves say whether
//! something does: no mode has a formula of its own. From that distance the furthest is taken off that tolerances can
//! move the two paths against each other, the part that they share left aside.

mod reach;

pub use reach::{Reach, latest_look};

use super::{Counting, Edge, Machine, Play, Pulse, Timeline};
use crate::patch::{ResetMode, Rig, Sequencer};
use crate::time::{Instant, Span};
use std::collections::VecDeque;

/// What comes to the two inputs of a sequencer.
#[derive(Clone, Debug, Default)]
pub struct Heard {
    /// Clock pulses.
    pub clock: Vec<Pulse>,
    /// Reset pulses.
    pub reset: Vec<Pulse>,
}

/// How sure one reset is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Margin {
    /// When it rises at the input.
    pub at: Instant,
    /// The number of the one at or before the beat that it is meant for.
    pub one: i64,
    /// How far it may be moved, either way, before another step is played, in the typical run; `None` if nothing near
    /// changes anything.
    pub distance: Option<Span>,
}

/// Clock pulses before and after a reset that are played through: a pulse further away cannot change sides.
const NEAR: usize = 3;
/// The most resets that are looked at one by one: beyond, they repeat.
const MOST: usize = 4096;

/// The margins of a sequencer's resets in the typical run, in order of time; the first 4096.
///
/// `None` for a sequencer without a reset that it obeys, and for one whose inputs are polled, gathered or filtered: what
/// its rules are handed is not what comes to it.
#[must_use]
pub fn margins(rig: &Rig, sequencer: &Sequencer, timelines: &[Timeline], heard: &Heard) -> Option<Vec<Margin>> {
    let reset = sequencer.reset.as_ref().filter(|r| r.mode != ResetMode::Ignored)?;
    let filtered = sequencer.poll.is_some()
        || [sequencer.gathers, sequencer.min_high, sequencer.min_low].iter().any(|t| *t != Span::ZERO);
    if filtered {
        return None;
    }
    let clock = &timelines[rig.origin(&sequencer.clock)];
    let from = &timelines[rig.origin(&reset.path)];
    let (counting, numbers) = (Counting::of(rig, &sequencer.clock), Counting::of(rig, &reset.path));
    let first_pulse = |number: i64| {
        let k = clock.first_from(numbers.meant(from, number)) * counting.scale();
        if counting.is_plain() { k } else { counting.place(counting.first_from(k)) }
    };
    let one = |number: i64| rig.one.map_or(0, |o| timelines[o].last_until(numbers.meant(from, number)).max(0));
    let replay = Replay { heard, first_pulse: &first_pulse, one: &one };
    let mut all = Vec::new();
    // The machine as it was before each of the last few clock pulses.
    let mut past: VecDeque<(usize, usize, Machine<'_>)> = VecDeque::new();
    let mut machine = Machine::new(sequencer);
    let (mut c, mut r) = (0, 0);
    past.push_back((0, 0, machine.clone()));
    while let Some(turn) = next(&machine, heard, c, r, None) {
        match turn {
            Turn::Clock => {
                past.push_back((c, r, machine.clone()));
                if past.len() > NEAR + 1 {
                    past.pop_front();
                }
                replay.step(&mut machine, Turn::Clock, c, r, heard.clock[c].rise);
                c += 1;
            }
            Turn::Reset => {
                if all.len() >= MOST {
                    break;
                }
                if let Some((c0, r0, before)) = past.front() {
                    // A window begins after the last reset where that is near: only this one is moved.
                    all.push(replay.margin((*c0, (*r0).min(r), before), c, r, sequencer));
                }
                replay.step(&mut machine, Turn::Reset, c, r, heard.reset[r].rise);
                r += 1;
            }
        }
    }
    Some(all)
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Turn {
    Clock,
    Reset,
}

/// Which of the two inputs rises next; `moved` is where one reset has been moved to.
fn next(machine: &Machine<'_>, heard: &Heard, c: usize, r: usize, moved: Option<(usize, Span)>) -> Option<Turn> {
    let shift = |n: usize| moved.filter(|m| m.0 == n).map_or(Span::ZERO, |m| m.1);
    match (heard.clock.get(c), heard.reset.get(r)) {
        (None, None) => None,
        (Some(_), None) => Some(Turn::Clock),
        (None, Some(_)) => Some(Turn::Reset),
        (Some(clock), Some(reset)) => match (reset.rise + shift(r)).cmp(&clock.rise) {
            std::cmp::Ordering::Less => Some(Turn::Reset),
            std::cmp::Ordering::Equal if machine.reset_first() => Some(Turn::Reset),
            _ => Some(Turn::Clock),
        },
    }
}

/// Plays stretches again.
struct Replay<'a> {
    heard: &'a Heard,
    first_pulse: &'a dyn Fn(i64) -> i64,
    one: &'a dyn Fn(i64) -> i64,
}

impl Replay<'_> {
    /// One rise, with the fall of the other input before it.
    fn step(&self, machine: &mut Machine<'_>, turn: Turn, c: usize, r: usize, at: Instant) -> Option<Play> {
        match turn {
            Turn::Clock => machine.clock(self.heard.clock[c]),
            Turn::Reset => machine.reset(at, || (self.first_pulse)(self.heard.reset[r].number)),
        }
    }

    /// What is played from a snapshot on until a few pulses after a reset, with that reset moved: the steps, by pulse.
    fn outcome(
        &self,
        (c0, r0, before): (usize, usize, &Machine<'_>),
        to: usize,
        n: usize,
        by: Span,
    ) -> Vec<(i64, usize)> {
        let mut machine = before.clone();
        let (mut c, mut r) = (c0, r0);
        let mut played = Vec::new();
        let moved = Some((n, by));
        let shift = |r: usize| if r == n { by } else { Span::ZERO };
        // Resets whose level is still to fall.
        let mut high: Option<Instant> = None;
        while let Some(turn) = next(&machine, self.heard, c, r, moved) {
            let at = match turn {
                Turn::Clock if c >= to => break,
                Turn::Clock => self.heard.clock[c].rise,
                // The next reset is another's matter.
                Turn::Reset if r > n => break,
                Turn::Reset => self.heard.reset[r].rise + shift(r),
            };
            if high.is_some_and(|fall| fall <= at) {
                machine.reset_falls();
                high = None;
            }
            let play = self.step(&mut machine, turn, c, r, at);
            played.extend(play.map(|p| (p.pulse, p.step)));
            match turn {
                Turn::Clock => c += 1,
                Turn::Reset => {
                    high = Some(self.heard.reset[r].fall + shift(r));
                    r += 1;
                }
            }
        }
        played.sort_unstable();
        played
    }

    fn margin(&self, from: (usize, usize, &Machine<'_>), c: usize, n: usize, sequencer: &Sequencer) -> Margin {
        let reset = self.heard.reset[n];
        let to = (c + NEAR).min(self.heard.clock.len());
        let waits = match sequencer.reset.as_ref().map(|r| &r.mode) {
            Some(ResetMode::NextClock { setup_time, .. } | ResetMode::Sampled { setup_time }) => *setup_time,
            Some(ResetMode::Immediate { holdoff }) => *holdoff,
            Some(ResetMode::ThisClock { grace: Some(grace) }) => *grace,
            _ => Span::ZERO,
        };
        // Wherever an edge of the clock stands beside an edge of the reset, or a waiting time away from it.
        let mut places: Vec<i64> = Vec::new();
        for pulse in &self.heard.clock[from.0..to] {
            for edge in [pulse.rise, pulse.fall] {
                for mine in [reset.rise, reset.fall] {
                    let by = (edge - mine).0;
                    places.extend([by, by - waits.0, by + waits.0]);
                }
            }
        }
        // Nor beyond its neighbours: then it would be another reset.
        let neighbours =
            [n.checked_sub(1).map(|p| self.heard.reset[p].fall), self.heard.reset.get(n + 1).map(|p| p.rise)];
        let low = neighbours[0].map_or(i64::MIN, |fall| (fall - reset.rise).0);
        let high = neighbours[1].map_or(i64::MAX, |rise| (rise - reset.fall).0);
        places.retain(|by| *by > low && *by < high);
        places.sort_unstable_by_key(|by| by.abs());
        places.dedup();
        let typical = self.outcome(from, to, n, Span::ZERO);
        let changes = |by: &i64| [-1, 0, 1].iter().any(|e| self.outcome(from, to, n, Span(by + e)) != typical);
        let distance = places.into_iter().find(changes).map(|by| Span(by.abs()));
        Margin { at: reset.rise, one: (self.one)(reset.number), distance }
    }
}

/// Keeps what comes to a sequencer's inputs.
#[derive(Debug, Default)]
pub(super) struct Ear {
    edges: [Vec<Edge>; 2],
}

impl Ear {
    pub(super) fn hear(&mut self, port: usize, edge: Edge) {
        self.edges[port].push(edge);
    }

    pub(super) fn close(self) -> Heard {
        let [clock, reset] = self.edges.map(|edges| pulses(&edges));
        Heard { clock, reset }
    }
}

/// Edges of one wire as pulses; one that never falls stays high.
fn pulses(edges: &[Edge]) -> Vec<Pulse> {
    let mut all: Vec<Pulse> = Vec::new();
    for edge in edges {
        if edge.rise {
            all.push(Pulse { rise: edge.at, fall: Instant(i64::MAX / 2), number: edge.number });
        } else if let Some(last) = all.last_mut() {
            last.fall = last.fall.min(edge.at);
        }
    }
    all
}
