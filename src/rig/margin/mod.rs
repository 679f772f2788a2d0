//! How sure each reset is: how far the nearest edge is from changing the step that is played, over all tolerances.
//!
//! As in static timing analysis, nothing is drawn here. The typical run gives the edges at a sequencer's inputs; then one
//! reset is moved against its clock, to every place at which anything could change, and the rules themselves say whether
//! something does: no mode has a formula of its own. From that distance the furthest is taken off that tolerances can
//! move the two paths against each other, the part that they share left aside.

mod reach;

pub use reach::{Reach, Sides, latest_look};

use super::{Counting, InputPulses, Later, Machine, Performance, Play, Resets, Timeline};
use crate::patch::{EdgeKind, ResetMode, Rig, Sequencer, Timing};
use crate::time::{Beat, Instant, Span};
use std::collections::{BTreeMap, VecDeque};

/// The margin of one reset: how far its edge is from changing the step that is played.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Margin {
    /// When it rises at the input.
    pub at: Instant,
    /// The number of the one at or before the beat that it is meant for.
    pub one: i64,
    /// How far it may be moved before another step is played, in the typical run, with what may move it that way taken off: the
    /// least of both ways. `None` if nothing near changes anything.
    pub distance: Option<Span>,
}

/// How far the edges of a reset may be moved against those of its clock.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Moved {
    /// Each way.
    pub sides: Sides,
    /// How much further where the clock sends the two at different instants: what is off by the clock itself is not off alike there.
    pub swing: Span,
}

impl Moved {
    fn by(&self, later: bool, together: bool) -> i64 {
        let side = if later { self.sides.late } else { self.sides.early };
        side.0 + if together { 0 } else { self.swing.0 }
    }
}

/// Clock pulses before and after a reset that are played through: a pulse further away cannot change sides.
const NEAR: usize = 3;
/// The most resets that are looked at one by one: beyond, they repeat.
const MOST: usize = 4096;

/// The margins of a sequencer's resets in the typical run, in order of time; the first 4096. `moved` is what is taken off: nothing of
/// a rig that does as is written.
///
/// `None` for a sequencer without a reset that it obeys, and for one whose inputs are polled, gathered or filtered: what
/// its rules are handed is not what comes to it.
#[must_use]
pub fn margins(
    rig: &Rig,
    index: usize,
    performance: &Performance,
    heard: &InputPulses,
    moved: Moved,
) -> Option<Vec<Margin>> {
    let timelines = &performance.timelines;
    let later = Later::of(rig, performance.tempo);
    let all: Vec<&Sequencer> =
        std::iter::once(&rig.sequencers[index]).chain(later.iter().map(|l| &l.rig.sequencers[index])).collect();
    let obeys = |s: &&Sequencer| s.reset.as_ref().is_some_and(|r| r.mode != ResetMode::Ignored);
    let filtered =
        |s: &&Sequencer| s.poll.is_some() || [s.gathers, s.min_high, s.min_low].iter().any(|t| *t != Span::ZERO);
    if !all.iter().any(&obeys) || all.iter().any(&filtered) {
        return None;
    }
    let sequencer = all[0];
    let clock = &timelines[rig.origin(&sequencer.clock)];
    let rigs: Vec<&Rig> = std::iter::once(rig).chain(later.iter().map(|l| &l.rig)).collect();
    let countings: Vec<Counting> = rigs.iter().map(|rig| Counting::of(rig, &rig.sequencers[index].clock)).collect();
    let resets = Resets::within(&rigs, index, timelines);
    let turns: Vec<(Instant, &Sequencer)> = later.iter().map(|l| (l.at, &l.rig.sequencers[index])).collect();
    let meant = |number: i64, at: Instant| resets.beat(number, at).unwrap_or(Beat::from_integer(0));
    let first_pulse = |number: i64, at: Instant| {
        let counting = &countings[turns.partition_point(|turn| turn.0 <= at)];
        let k = clock.first_from(meant(number, at)) * counting.scale();
        if counting.is_plain() { k } else { counting.place(counting.first_from(k)) }
    };
    let one = |number: i64, at: Instant| rig.one.map_or(0, |o| timelines[o].last_until(meant(number, at)).max(0));
    let sent = rig.jitter.as_ref().map(|_| {
        let clock = Sent::new(clock, rig.end, countings.iter().map(Counting::scale).max().unwrap_or(1));
        let reset = match resets.only() {
            // What the stop sends is sent at the end of the piece, whatever its number.
            Some(_) if rigs.iter().any(|rig| ends(rig, index)) => Sent::default(),
            Some((from, numbers)) => Sent::new(from, rig.end, numbers.scale()),
            None => Sent::default(),
        };
        [clock, reset]
    });
    let replay = Replay { sent: sent.as_ref(), moved, heard, first_pulse: &first_pulse, one: &one, turns: &turns };
    let mut all = Vec::new();
    // The machine as it was before each of the last few clock pulses.
    let mut past: VecDeque<(usize, usize, Worker<'_>)> = VecDeque::new();
    let mut machine = Worker { machine: Machine::new(sequencer), sequencer, past: 0 };
    let (mut c, mut r) = (0, 0);
    past.push_back((0, 0, machine.clone()));
    while let Some(turn) = replay.next(&mut machine, c, r, None) {
        match turn {
            Arrival::Clock => {
                past.push_back((c, r, machine.clone()));
                if past.len() > NEAR + 1 {
                    past.pop_front();
                }
                replay.step(&mut machine, Arrival::Clock, c, r, heard.clock[c].rise);
                c += 1;
            }
            Arrival::Reset => {
                if all.len() >= MOST {
                    break;
                }
                if let Some((c0, r0, before)) = past.front().filter(|_| obeys(&machine.sequencer)) {
                    // A window begins after the last reset where that is near: only this one is moved.
                    all.push(replay.margin((*c0, (*r0).min(r), before), c, r, machine.sequencer));
                }
                replay.step(&mut machine, Arrival::Reset, c, r, heard.reset[r].rise);
                r += 1;
            }
        }
    }
    Some(all)
}

/// Whether a sequencer's reset stems from the clock's stop.
fn ends(rig: &Rig, index: usize) -> bool {
    let reset = rig.sequencers[index].reset.as_ref();
    reset.is_some_and(|reset| rig.outputs[rig.origin(&reset.path)].timing == Timing::Stop)
}

/// When an output sends the pulses of each number, where that is one instant.
#[derive(Debug, Default)]
struct Sent {
    scale: i64,
    at: BTreeMap<i64, Option<Instant>>,
}

impl Sent {
    fn new(line: &Timeline, end: Beat, scale: i64) -> Self {
        let mut at: BTreeMap<i64, Option<Instant>> = BTreeMap::new();
        for pulse in line.pulses(end) {
            at.entry(pulse.number).and_modify(|at| *at = None).or_insert(Some(pulse.rise));
        }
        Self { scale, at }
    }

    fn at(&self, number: i64) -> Option<Instant> {
        let whole = self.scale > 0 && number % self.scale == 0;
        whole.then(|| self.at.get(&(number / self.scale)).copied().flatten()).flatten()
    }
}

/// A sequencer at work, and how often it has been set anew.
#[derive(Clone, Debug)]
struct Worker<'a> {
    machine: Machine<'a>,
    sequencer: &'a Sequencer,
    past: usize,
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Arrival {
    Clock,
    Reset,
}

/// Plays stretches again.
struct Replay<'a> {
    heard: &'a InputPulses,
    first_pulse: &'a dyn Fn(i64, Instant) -> i64,
    one: &'a dyn Fn(i64, Instant) -> i64,
    /// When the sequencer is set anew, and to what.
    turns: &'a [(Instant, &'a Sequencer)],
    /// When pulses of clock and reset are sent, where the clock has jitter of its own.
    sent: Option<&'a [Sent; 2]>,
    /// What is taken off each distance.
    moved: Moved,
}

impl<'a> Replay<'a> {
    /// Which of the two inputs rises next; `moved` is where one reset has been moved to. What is set anew by then is.
    fn next(&self, worker: &mut Worker<'a>, c: usize, r: usize, moved: Option<(usize, Span)>) -> Option<Arrival> {
        let shift = |n: usize| moved.filter(|m| m.0 == n).map_or(Span::ZERO, |m| m.1);
        let clock = self.heard.clock.get(c).map(|pulse| pulse.rise);
        let reset = self.heard.reset.get(r).map(|pulse| pulse.rise + shift(r));
        let now = clock.into_iter().chain(reset).min()?;
        while let Some(&(at, sequencer)) = self.turns.get(worker.past).filter(|turn| turn.0 <= now) {
            let kinds = |s: &Sequencer| [s.clock_edge, s.reset_edge];
            let [clock, reset] = kinds(worker.sequencer);
            let level = |port: usize, was: EdgeKind, is: EdgeKind| (was != is).then(|| !self.is_high(port, at));
            let levels = [level(0, clock, sequencer.clock_edge), level(1, reset, sequencer.reset_edge)];
            worker.machine.refit(sequencer, at, levels);
            (worker.sequencer, worker.past) = (sequencer, worker.past + 1);
        }
        match (clock, reset) {
            (None, None) => None,
            (Some(_), None) => Some(Arrival::Clock),
            (None, Some(_)) => Some(Arrival::Reset),
            (Some(clock), Some(reset)) => match reset.cmp(&clock) {
                std::cmp::Ordering::Less => Some(Arrival::Reset),
                std::cmp::Ordering::Equal if worker.machine.reset_first() => Some(Arrival::Reset),
                _ => Some(Arrival::Clock),
            },
        }
    }

    /// Whether an input read high just before a moment.
    fn is_high(&self, port: usize, at: Instant) -> bool {
        let pulses = if port == 0 { &self.heard.clock } else { &self.heard.reset };
        let past = pulses.partition_point(|pulse| pulse.rise < at);
        past.checked_sub(1).is_some_and(|last| pulses[last].fall >= at)
    }

    /// Hands the machine one rise, of either input, and says what it plays.
    fn step(&self, worker: &mut Worker<'_>, turn: Arrival, c: usize, r: usize, at: Instant) -> Option<Play> {
        let machine = &mut worker.machine;
        match turn {
            Arrival::Clock => machine.clock(self.heard.clock[c]),
            Arrival::Reset => machine.reset(at, || (self.first_pulse)(self.heard.reset[r].number, at)),
        }
    }

    /// What is played from a snapshot on until a few pulses after a reset, with that reset moved: the steps, by pulse.
    fn outcome(
        &self,
        (c0, r0, before): (usize, usize, &Worker<'a>),
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
        while let Some(turn) = self.next(&mut machine, c, r, moved) {
            let at = match turn {
                Arrival::Clock if c >= to => break,
                Arrival::Clock => self.heard.clock[c].rise,
                // The next reset is another's matter.
                Arrival::Reset if r > n => break,
                Arrival::Reset => self.heard.reset[r].rise + shift(r),
            };
            if high.is_some_and(|fall| fall <= at) {
                machine.machine.reset_falls();
                high = None;
            }
            let play = self.step(&mut machine, turn, c, r, at);
            played.extend(play.map(|p| (p.pulse, p.step)));
            match turn {
                Arrival::Clock => c += 1,
                Arrival::Reset => {
                    high = Some(self.heard.reset[r].fall + shift(r));
                    r += 1;
                }
            }
        }
        played.sort_unstable();
        played
    }

    fn margin(&self, from: (usize, usize, &Worker<'a>), c: usize, n: usize, sequencer: &Sequencer) -> Margin {
        let reset = self.heard.reset[n];
        let to = (c + NEAR).min(self.heard.clock.len());
        let waits = match sequencer.reset.as_ref().map(|r| &r.mode) {
            Some(ResetMode::NextClock { setup_time, .. } | ResetMode::Sampled { setup_time }) => *setup_time,
            Some(ResetMode::Immediate { holdoff }) => *holdoff,
            Some(ResetMode::ThisClock { grace: Some(grace) }) => *grace,
            _ => Span::ZERO,
        };
        // Wherever an edge of the clock stands beside an edge of the reset, or a waiting time away from it.
        let mut places: Vec<(i64, bool)> = Vec::new();
        let reset_sent = self.sent.and_then(|[_, of_reset]| of_reset.at(reset.number));
        for pulse in &self.heard.clock[from.0..to] {
            // Whether the clock sends the two together; what its own jitter does then, it does to both.
            let together =
                self.sent.is_none_or(|[of_clock, _]| reset_sent.is_some() && of_clock.at(pulse.number) == reset_sent);
            for edge in [pulse.rise, pulse.fall] {
                for mine in [reset.rise, reset.fall] {
                    let by = (edge - mine).0;
                    places.extend([by, by - waits.0, by + waits.0].map(|by| (by, together)));
                }
            }
        }
        // Nor beyond its neighbours: then it would be another reset.
        let neighbours =
            [n.checked_sub(1).map(|p| self.heard.reset[p].fall), self.heard.reset.get(n + 1).map(|p| p.rise)];
        let low = neighbours[0].map_or(i64::MIN, |fall| (fall - reset.rise).0);
        let high = neighbours[1].map_or(i64::MAX, |rise| (rise - reset.fall).0);
        places.retain(|(by, _)| *by > low && *by < high);
        // Edges that meet change sides either way.
        let either = |(by, together): (i64, bool)| {
            let ways = [by <= 0, by >= 0].into_iter().zip([false, true]).filter(|(may, _)| *may);
            ways.map(move |(_, later)| (by.abs() - self.moved.by(later, together), by.abs(), later))
        };
        let mut places: Vec<(i64, i64, bool)> = places.into_iter().flat_map(either).collect();
        places.sort_unstable();
        places.dedup();
        let typical = self.outcome(from, to, n, Span::ZERO);
        let changes = |by: i64, later: bool| {
            let beside = if by == 0 { 0..=1 } else { -1..=1 };
            let way = if later { 1 } else { -1 };
            beside.into_iter().any(|e| self.outcome(from, to, n, Span(way * (by + e))) != typical)
        };
        let nearest = places.into_iter().find(|&(_, by, later)| changes(by, later));
        let distance = nearest.map(|(left, ..)| Span(left));
        Margin { at: reset.rise, one: (self.one)(reset.number, reset.rise), distance }
    }
}
