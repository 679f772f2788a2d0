//! An output in the course of a piece: under a tempo map, through turned knobs, stops and starts.
//!
//! Two things are kept apart. What is *meant* is a list of segments, within each of which pulses stand on one grid from
//! the clock's last start: they give pulses their numbers and beats. What is *sent* is another list: a knob that passes
//! other rates, or a count that begins anew, sends pulses that nobody meant. Such a pulse carries the number of the last
//! pulse that was meant by then, so that whoever counts it is one step early from there on.

use super::Pulse;
use super::cycle::Cycle;
use crate::patch::{Course, KnobTurn, Output, RateChange, Timing, Width};
use crate::time::{Beat, Clockwork, ExactPs, Instant, LineError, PS_PER_MS, Span, round_half_up};
use num_rational::Ratio;

#[derive(Clone, Debug)]
pub(super) struct Schedule {
    clockwork: Clockwork,
    segments: Vec<Segment>,
    sendings: Vec<Sending>,
    /// Where the clock is stopped and not started again.
    stopped: Option<Beat>,
    /// Behind each stretch in which the clock runs, from when to when it stands if it goes on from there.
    pauses: Vec<Option<(Beat, Beat)>>,
}

/// Pulses that are meant for one grid.
#[derive(Clone, Debug)]
struct Segment {
    /// Its pulses are meant for this beat or later, up to where the next segment begins or the clock stops.
    from: Beat,
    /// Beat of the start from which its pulses are counted.
    origin: Beat,
    /// `None` for an output that pulses once a start.
    cycle: Option<Cycle>,
    /// Which pulse of the grid is the first within the segment, and its number.
    first: i64,
    number: i64,
}

/// Pulses that are sent one after the other with one setting.
#[derive(Clone, Debug)]
struct Sending {
    /// In force from this beat up to, and not at, that one. A pulse is sent with what is in force when it rises: a phase or a
    /// shift that is turned back may skip a pulse, or send one twice.
    from: Beat,
    to: Option<Beat>,
    /// In which of the stretches in which the clock runs.
    run: usize,
    origin: Beat,
    /// Whether it is the first after a start of the clock.
    begins: bool,
    kind: Kind,
    shift: ExactPs,
    /// `from` and `to` as instants: no pulse rises before the one, nor from the other on.
    begun: Instant,
    ends: Option<Instant>,
}

#[derive(Clone, Debug)]
enum Kind {
    /// Again and again.
    Cycle { cycle: Cycle, phase: Beat, width: Width },
    /// One pulse, so long after the clock's start.
    Start(ExactPs),
    /// One pulse, so long after the clock's stop.
    Stop(ExactPs),
    /// High from start to stop.
    Run,
}

impl Schedule {
    /// An output of a rig in the course of a piece.
    ///
    /// # Errors
    /// If an instant does not fit.
    pub(super) fn new(
        index: usize,
        output: &Output,
        course: &Course,
        clockwork: &Clockwork,
    ) -> Result<Self, LineError> {
        let stopped = course.runs().last().and_then(|(_, stop)| stop);
        let runs: Vec<(Beat, Option<Beat>)> = course.runs().collect();
        let behind = |n: usize| {
            let (next, _) = runs.get(n + 1)?;
            runs[n].1.filter(|_| course.continues.contains(next)).map(|stop| (stop, *next))
        };
        let pauses = (0..runs.len()).map(behind).collect();
        let clock = clockwork.clone();
        let mut all = Self { clockwork: clock, segments: Vec::new(), sendings: Vec::new(), stopped, pauses };
        let mut turns = course.turns.iter().filter(|t| t.output == index).peekable();
        let mut now = output;
        // Where the count of what is meant and of what is sent began, the time for which the clock has stood since left out.
        let (mut home, mut origin) = (Beat::from_integer(0), Beat::from_integer(0));
        let mut began = home;
        for (run, &(start, stop)) in runs.iter().enumerate() {
            let since = run.checked_sub(1).and_then(|before| all.pauses[before]).map(|(since, _)| since);
            match since {
                // Only a start is one.
                Some(_) if output.timing == Timing::Start => continue,
                Some(since) => {
                    home += start - since;
                    origin += start - since;
                }
                None => (home, origin) = (start, start),
            }
            // What is turned while the clock stands is turned where its count stands.
            while let Some(turn) = turns.next_if(|t| t.after < start) {
                for position in positions(turn) {
                    origin = counted_from(turn, (now, position), (home, origin), start);
                    now = position;
                }
            }
            // What has no rate is meant for the beat of the start, whenever the clock goes on.
            if since.is_none() {
                began = start;
            }
            all.begin(now, if period(now).is_some() { home } else { began }, start);
            all.send(now, origin, start, (run, stop), since.is_none());
            while let Some(turn) = turns.next_if(|t| stop.is_none_or(|stop| t.after < stop)) {
                all.begin(&turn.to, home, turn.after);
                // The knob stays at each position for a time, and arrives.
                let turned = clockwork.instant(turn.after);
                let mut here = turn.after;
                for (n, position) in positions(turn).enumerate() {
                    origin = counted_from(turn, (now, position), (home, origin), here);
                    now = position;
                    all.cut(here);
                    all.send(now, origin, here, (run, stop), false);
                    here = clockwork.beat_at(turned + Span(turn.dwell.0 * (n as i64 + 1)));
                }
            }
        }
        Ok(all)
    }

    /// A segment of what is meant begins.
    fn begin(&mut self, output: &Output, origin: Beat, from: Beat) {
        let number = match self.segments.last() {
            None => 0,
            Some(last) => match &last.cycle {
                // Up to here, or to the stop before.
                Some(cycle) => {
                    let to = self.sendings.last().and_then(|s| s.to).map_or(from, |to| to.min(from));
                    let end = cycle.first_from(to - last.origin);
                    last.number + (end - last.first).max(0)
                }
                None => last.number + 1,
            },
        };
        let cycle = Cycle::of(output);
        let first = cycle.as_ref().map_or(0, |c| c.first_from(from - origin));
        self.segments.push(Segment { from, origin, cycle, first, number });
    }

    /// What is being sent ends here, if it has not ended before.
    fn cut(&mut self, here: Beat) {
        if let Some(last) = self.sendings.last_mut() {
            let to = last.to.map_or(here, |to| to.min(here));
            (last.to, last.ends) = (Some(to), Some(self.clockwork.instant(to)));
        }
    }

    /// `begins`: the count begins here, with a start of the clock.
    fn send(&mut self, output: &Output, origin: Beat, from: Beat, (run, stop): (usize, Option<Beat>), begins: bool) {
        let five = Ratio::from_integer(5 * i128::from(PS_PER_MS));
        let width = match &output.width {
            Width::Time(time) => *time,
            Width::Share(_) | Width::Default => five,
        };
        let kind = match &output.timing {
            Timing::Rate { period, phase, .. } => match Cycle::of(output) {
                Some(cycle) => Kind::Cycle { cycle, phase: *period * phase, width: output.width.clone() },
                None => return,
            },
            Timing::Start => Kind::Start(width),
            Timing::Stop => Kind::Stop(width),
            Timing::Run => Kind::Run,
        };
        let (begun, ends) = (self.clockwork.instant(from), stop.map(|stop| self.clockwork.instant(stop)));
        self.sendings.push(Sending { from, to: stop, run, origin, begins, kind, shift: output.shift, begun, ends });
    }

    /// The beat of the piece for which a pulse is meant that comes in a stretch. One that is meant for beyond the stop is meant
    /// for where the clock will have counted so far, and what a stop has cut off for where it had.
    fn in_piece(&self, counted: Beat, mut run: usize) -> Beat {
        let mut beat = counted;
        let before = |run: usize| self.pauses.get(run.checked_sub(1)?).copied().flatten();
        while let Some((stop, start)) = before(run).filter(|(_, start)| beat < *start) {
            beat -= start - stop;
            run -= 1;
        }
        while let Some((stop, start)) = self.pauses.get(run).copied().flatten().filter(|(stop, _)| beat >= *stop) {
            beat += start - stop;
            run += 1;
        }
        beat
    }

    /// The segment in force at a beat, and the number with which the next one begins.
    fn segment(&self, beat: Beat) -> (&Segment, Option<i64>) {
        let next = self.segments.partition_point(|s| s.from <= beat).max(1);
        (&self.segments[next - 1], self.segments.get(next).map(|s| s.number))
    }

    pub(super) fn instant(&self, beat: Beat) -> Instant {
        self.clockwork.instant(beat)
    }

    pub(super) fn meant(&self, k: i64) -> Beat {
        let segment = &self.segments[self.segments.partition_point(|s| s.number <= k).max(1) - 1];
        segment.cycle.as_ref().map_or(segment.origin, |c| segment.origin + c.meant(k - segment.number + segment.first))
    }

    pub(super) fn first_from(&self, beat: Beat) -> i64 {
        let (segment, next) = self.segment(beat);
        let Some(cycle) = &segment.cycle else { return segment.number };
        let number = segment.number + cycle.first_from(beat - segment.origin) - segment.first;
        next.map_or(number, |next| number.min(next))
    }

    pub(super) fn last_until(&self, beat: Beat) -> i64 {
        let (segment, next) = self.segment(beat);
        let Some(cycle) = &segment.cycle else {
            // Where the clock goes on, another pulse is meant for the beat of the same start.
            let behind = self.segments.partition_point(|s| s.origin <= beat).max(1);
            return self.segments[behind - 1].number;
        };
        let number = segment.number + cycle.last_until(beat - segment.origin) - segment.first;
        next.map_or(number, |next| number.min(next - 1))
    }

    /// Whether there is more than one grid.
    pub(super) fn is_turned(&self) -> bool {
        self.segments.len() > 1
    }

    /// The period in beats of what is meant at a beat.
    pub(super) fn period_at(&self, beat: Beat) -> Option<Beat> {
        self.segment(beat).0.cycle.as_ref().map(Cycle::period)
    }

    /// How many pulses are meant for beats before `end` and before the clock stops for good.
    pub(super) fn count(&self, end: Beat) -> i64 {
        let end = self.stopped.map_or(end, |stopped| stopped.min(end));
        let begun = self.segments.partition_point(|s| s.from < end);
        let Some(last) = self.segments.get(begun.saturating_sub(1)) else { return 0 };
        if last.cycle.is_some() { self.first_from(end) } else { last.number + 1 }
    }

    /// How many pulses are sent at most.
    pub(super) fn most(&self, end: Beat) -> i64 {
        let of = |s: &Sending| match &s.kind {
            Kind::Cycle { cycle, .. } => {
                let to = s.to.map_or(end, |to| to.min(end));
                // A phase or a shift moves one pulse in or out.
                (cycle.first_from(to - s.origin) - cycle.first_from(s.from - s.origin)).max(0).saturating_add(1)
            }
            _ => 1,
        };
        self.sendings.iter().map(of).fold(0, i64::saturating_add)
    }

    /// The first pulse of a sending that rises when it is in force or later, or one of the few before it.
    fn first_sent(&self, sending: &Sending, cycle: &Cycle, phase: Beat) -> i64 {
        let shift = i64::try_from(round_half_up(sending.shift)).unwrap_or(0);
        let unshifted = Instant(self.clockwork.instant(sending.from).0.saturating_sub(shift));
        // To the nearest of many parts of a beat: a pulse or two before it are looked at too.
        let beat = if shift == 0 { sending.from } else { self.clockwork.beat_at(unshifted) };
        (cycle.first_from(beat - sending.origin - phase) - 2).max(0)
    }

    pub(super) fn pulses(&self, end: Beat) -> Sent<'_> {
        let lane = |sending: &Sending| {
            let next = match &sending.kind {
                // From a start on, what comes too early is left out one by one.
                Kind::Cycle { cycle, phase, .. } if !sending.begins => self.first_sent(sending, cycle, *phase),
                _ => 0,
            };
            Lane { next, head: None }
        };
        let mut sent = Sent { schedule: self, end, lanes: self.sendings.iter().map(lane).collect() };
        for n in 0..sent.lanes.len() {
            sent.refill(n);
        }
        sent
    }
}

/// Where a knob stands one after the other: at the rates that it passes, then where it arrives.
fn positions(turn: &KnobTurn) -> impl Iterator<Item = &Output> {
    turn.passes.iter().chain([&turn.to])
}

/// From which beat pulses are counted when a knob is turned from one position to another: as before, where the rate is the
/// same.
fn counted_from(
    turn: &KnobTurn,
    (before, after): (&Output, &Output),
    (home, origin): (Beat, Beat),
    here: Beat,
) -> Beat {
    match turn.reading {
        _ if period(before) == period(after) => origin,
        RateChange::OnGrid => home,
        RateChange::FromChange => here,
    }
}

fn period(output: &Output) -> Option<Beat> {
    Cycle::of(output).map(|c| c.period())
}

/// The pulses of a schedule, in order of their rises.
#[derive(Clone, Debug)]
pub(super) struct Sent<'a> {
    schedule: &'a Schedule,
    end: Beat,
    /// One a sending: a phase that is turned back may let a later one begin first.
    lanes: Vec<Lane>,
}

#[derive(Clone, Debug)]
struct Lane {
    next: i64,
    head: Option<Pulse>,
}

impl Sent<'_> {
    fn refill(&mut self, n: usize) {
        let sending = &self.schedule.sendings[n];
        self.lanes[n].head = None;
        while let Some(pulse) = self.pulse(sending, self.lanes[n].next) {
            self.lanes[n].next += 1;
            // Once the clock stands, nothing rises but what says that it stands, or that it ran.
            let pulses = matches!(sending.kind, Kind::Cycle { .. } | Kind::Start(_));
            let stands = pulses && sending.ends.is_some_and(|ends| pulse.rise >= ends);
            if pulse.rise >= sending.begun && !stands {
                self.lanes[n].head = Some(pulse);
                return;
            }
        }
    }

    /// Pulse `k` of a sending, `None` past its end.
    fn pulse(&self, sending: &Sending, k: i64) -> Option<Pulse> {
        let clockwork = &self.schedule.clockwork;
        let place = |beat: Beat, after: ExactPs| clockwork.place(beat, sending.shift + after).ok();
        let none = Ratio::from_integer(0);
        let run = || self.schedule.segment(sending.from).0.number;
        let end = sending.to.map_or(self.end, |to| to.min(self.end));
        match &sending.kind {
            Kind::Cycle { cycle, phase, width } => {
                let counted = sending.origin + cycle.meant(k);
                let meant = self.schedule.in_piece(counted, sending.run);
                if meant >= self.end {
                    return None;
                }
                let beat = counted + phase;
                let rise = place(beat, none)?;
                if sending.ends.is_some_and(|ends| rise >= ends) {
                    return None;
                }
                let fall = match width {
                    Width::Time(time) => place(beat, *time)?,
                    Width::Share(share) => place(beat + cycle.period() * share, none)?,
                    Width::Default => place(beat, Ratio::from_integer(5 * i128::from(PS_PER_MS)))?
                        .min(place(beat + cycle.period() / 2, none)?),
                };
                Some(Pulse { rise, fall, number: self.schedule.last_until(meant) })
            }
            _ if k > 0 || sending.from >= self.end => None,
            Kind::Start(width) => {
                let from = sending.from;
                Some(Pulse { rise: place(from, none)?, fall: place(from, *width)?, number: run() })
            }
            Kind::Stop(width) => Some(Pulse { rise: place(end, none)?, fall: place(end, *width)?, number: run() }),
            Kind::Run => Some(Pulse { rise: place(sending.from, none)?, fall: place(end, none)?, number: run() }),
        }
    }
}

impl Iterator for Sent<'_> {
    type Item = Pulse;

    fn next(&mut self) -> Option<Pulse> {
        let heads = self.lanes.iter().enumerate().filter_map(|(n, lane)| Some((lane.head?, n)));
        let (pulse, n) = heads.min_by_key(|(pulse, n)| (pulse.rise, pulse.number, *n))?;
        self.refill(n);
        Some(pulse)
    }
}
