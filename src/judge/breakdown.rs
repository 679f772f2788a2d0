//! Where the time goes: every contribution between the ideal time of a beat and the sound of a hit.
//!
//! Each point on the way of a pulse has a deviation: when the pulse leaves it, less the ideal time of the beat for which
//! that pulse is meant there. What a point adds is its deviation less that of the point before. So the contributions of a
//! hit add up to its lateness to the picosecond, whatever lies on the way.

use crate::patch::{EdgeKind, Path, Rig, Source, StageKind, Tap, Timing};
use crate::rig::{Counting, Performance, Point, Probed, RigError, Run, Sound, play_run, trace};
use crate::time::{ExactPs, Instant, Span, Tempo, round_half_up};
use num_rational::Ratio;
use std::collections::BTreeMap;

/// One thing that adds to a hit's lateness.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Cause {
    /// The sequencer counts late or early against the one.
    Counting,
    /// The share of a period by which its output is set late or early.
    Phase,
    /// The time by which its output is set late or early.
    Shift,
    /// Phase, shift and what has been turned on its output meanwhile, together.
    Output,
    /// The jitter of the clock itself.
    Clock,
    /// A point on the way to its clock input, by its place.
    Way(usize, PathPoint),
    /// All the way, where pulses cannot be told apart on it.
    WholeWay,
    /// What it does with its inputs: a loop, a window, a filter, an edge that falls.
    Inputs,
    /// A reset that plays a step out of turn.
    Reset,
    /// From the event to the hit.
    Latency,
    /// The sequencer's own `offset`: a nudge of all its hits.
    Offset,
    /// A stage between it and the ear: its place in the list, and the stage.
    Out(usize, usize),
}

/// A point on the way to an input.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum PathPoint {
    /// A stage: an index into [`Rig::stages`].
    Stage(usize),
    /// A box that hands pulses on: an index into [`Rig::sequencers`].
    Sequencer(usize),
}

/// The least, the usual and the most of something.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Reached {
    /// The least, over all hits of all runs.
    pub least: Span,
    /// The median over the hits of the typical run; the later of two in the middle.
    pub typical: Span,
    /// The most, over all hits of all runs.
    pub most: Span,
}

/// A breakdown of one sequencer's lateness at one tempo: where the time goes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Breakdown {
    /// What adds something in some hit, in the order of the way.
    pub parts: Vec<(Cause, Reached)>,
    /// The lateness: of each hit the sum of its parts.
    pub total: Reached,
    /// The period of its clock's output, where it has one.
    pub period: Option<Span>,
    /// How many hits there are in the typical run.
    pub hits: usize,
}

/// One hit's contributions; they add up to its lateness.
pub type Contributions = Vec<(Cause, Span)>;

/// Takes the lateness of every sequencer apart: in the typical run and, where something is drawn, in `runs` drawn ones.
/// `None` for a sequencer that never plays, or whose way does not have the same points throughout the piece.
///
/// # Errors
/// As [`play_run`].
pub fn breakdown(rig: &Rig, tempo: Tempo, seed: u64, runs: u64) -> Result<Vec<Option<Breakdown>>, RigError> {
    let mut all: Vec<Spread> = vec![Spread::default(); rig.sequencers.len()];
    let periods = {
        let performance = play_run(rig, tempo, Run::Typical)?;
        let period = |s: usize| performance.timelines[rig.origin(&rig.sequencers[s].clock)].period();
        let span = |exact| i64::try_from(round_half_up(exact)).ok().map(Span);
        (0..rig.sequencers.len()).map(|s| period(s).and_then(span)).collect::<Vec<_>>()
    };
    let drawn = (1..=runs).map(|number| Run::Drawn { seed, number });
    for (n, run) in std::iter::once(Run::Typical).chain(drawn).enumerate() {
        for (spread, hits) in all.iter_mut().zip(contributions(rig, tempo, run)?) {
            spread.add(hits, n == 0);
        }
    }
    Ok(all.into_iter().zip(periods).map(|(spread, period)| spread.close(period)).collect())
}

/// Every hit of every sequencer in one run, taken apart. Empty for a sequencer whose way does not have the same points from
/// the start of the piece to its end.
///
/// # Errors
/// As [`play_run`].
pub fn contributions(rig: &Rig, tempo: Tempo, run: Run) -> Result<Vec<Vec<Contributions>>, RigError> {
    let performance = play_run(rig, tempo, run)?;
    let eras: Vec<Rig> = rig.course.eras.iter().map(|era| era.rig(rig)).collect();
    let traced = trace(rig, &performance, run);
    let mut all = Vec::new();
    for (s, way) in traced.iter().enumerate() {
        if !eras.iter().all(|era| goes_one_way(rig, era, s)) {
            all.push(Vec::new());
            continue;
        }
        let outs = prefixes(rig, tempo, run, s, &performance)?;
        let taker = Taker::new(rig, &performance, s, way);
        all.push(taker.hits(&outs));
    }
    Ok(all)
}

/// Whether a sequencer's pulses and hits pass the same points in a later rig, numbered alike, and wait as long in the box
/// itself. What a stage on the way is set to may differ: what it adds is seen from what leaves it.
fn goes_one_way(rig: &Rig, later: &Rig, s: usize) -> bool {
    let own = |rig: &Rig| {
        let s = &rig.sequencers[s];
        let waits = (s.latency, s.offset, s.gathers, s.min_high, s.clock_edge, s.poll);
        (waits, s.out.clone())
    };
    if own(rig) != own(later) {
        return false;
    }
    let (mut here, mut there) = (&rig.sequencers[s].clock, &later.sequencers[s].clock);
    // A chain that is longer than there are links runs in a circle.
    for _ in 0..=rig.sequencers.len() + rig.wires.len() {
        if here != there || Counting::of(rig, here) != Counting::of(later, there) {
            return false;
        }
        (here, there) = match here.source {
            Source::Output(_) => return true,
            Source::Wire(wire) => (&rig.wires[wire].path, &later.wires[wire].path),
            Source::Sequencer { index, .. } => (&rig.sequencers[index].clock, &later.sequencers[index].clock),
        };
    }
    true
}

/// A sequencer's hits after none, one, two … of the stages between it and the ear.
fn prefixes(rig: &Rig, tempo: Tempo, run: Run, s: usize, full: &Performance) -> Result<Vec<Vec<Sound>>, RigError> {
    let mut all = Vec::new();
    for length in 0..rig.sequencers[s].out.len() {
        let mut cut = rig.clone();
        cut.sequencers[s].out.truncate(length);
        cut.course.eras.iter_mut().for_each(|era| era.sequencers[s].out.truncate(length));
        all.push(play_run(&cut, tempo, run)?.tracks.swap_remove(s).sounds);
    }
    all.push(full.tracks[s].sounds.clone());
    Ok(all)
}

/// What is known of one sequencer's clock.
struct Taker<'a> {
    rig: &'a Rig,
    performance: &'a Performance,
    index: usize,
    /// Each point of the way with its rises by number, and how its pulses are numbered.
    points: Vec<(Point, BTreeMap<i64, Vec<Instant>>, Counting)>,
}

impl<'a> Taker<'a> {
    fn new(rig: &'a Rig, performance: &'a Performance, index: usize, way: &[Probed]) -> Self {
        let mut path = Path { source: Source::Output(0), stages: Vec::new() };
        let mut points = Vec::new();
        for probed in way {
            match probed.point {
                Point::Output(output) => path = Path { source: Source::Output(output), stages: Vec::new() },
                Point::Stage(stage) => path.stages.push(stage),
                Point::Wire(wire) => path = Path { source: Source::Wire(wire), stages: Vec::new() },
                Point::Sequencer(index) => {
                    let tap = [Tap::Step1, Tap::End, Tap::Hits, Tap::Thru][probed.channel.min(3)];
                    path = Path { source: Source::Sequencer { index, tap }, stages: Vec::new() };
                }
            }
            let mut rises: BTreeMap<i64, Vec<Instant>> = BTreeMap::new();
            for edge in probed.edges.iter().filter(|e| e.rise) {
                rises.entry(edge.number).or_default().push(edge.at);
            }
            points.push((probed.point, rises, Counting::of(rig, &path)));
        }
        Self { rig, performance, index, points }
    }

    /// The last rise of a pulse at a point that is not after an instant.
    fn rise(&self, point: usize, number: i64, until: Instant) -> Option<Instant> {
        self.points[point].1.get(&number)?.iter().rev().copied().find(|at| *at <= until)
    }

    /// How much later than it is meant to a pulse leaves a point.
    fn off(&self, point: usize, number: i64, at: Instant) -> Option<Span> {
        let clock = &self.performance.timelines[self.rig.origin(&self.rig.sequencers[self.index].clock)];
        Some(at - self.points[point].2.ideal(clock, number).ok()?)
    }

    fn hits(&self, outs: &[Vec<Sound>]) -> Vec<Contributions> {
        // A step may be played twice by one pulse, and hits may overtake each other: the first of the same is the first.
        let numbered = |sounds: &[Sound]| {
            let mut seen: BTreeMap<(i64, i64, u16), usize> = BTreeMap::new();
            let mut number = |s: &Sound| {
                let count = seen.entry((s.pulse, s.due, s.step)).or_insert(0);
                *count += 1;
                (s.pulse, s.due, s.step, *count)
            };
            sounds.iter().map(|s| (number(s), *s)).collect::<Vec<_>>()
        };
        let by_key: Vec<BTreeMap<_, Instant>> =
            outs.iter().map(|sounds| numbered(sounds).into_iter().map(|(key, s)| (key, s.at)).collect()).collect();
        let Some(last) = outs.last() else { return Vec::new() };
        let take = |(key, sound): (_, Sound)| {
            let times: Vec<Instant> = by_key.iter().map(|times| times.get(&key).copied()).collect::<Option<_>>()?;
            self.hit(&sound, &times)
        };
        numbered(last).into_iter().filter_map(take).collect()
    }

    /// One hit: `times` are its times before the ear, after none, one, two … of the stages there.
    fn hit(&self, sound: &Sound, times: &[Instant]) -> Option<Contributions> {
        let sequencer = &self.rig.sequencers[self.index];
        let clock = &self.performance.timelines[self.rig.origin(&sequencer.clock)];
        let counting = &self.performance.countings[self.index];
        let ideal = counting.ideal(clock, sound.pulse).ok()?;
        let due = counting.ideal(clock, sound.due).ok()?;
        let event = Instant(times[0].0 - sequencer.latency.0 - sequencer.offset.0);
        let mut parts = vec![(Cause::Counting, ideal - due)];
        let pin = self.points.len() - 1;
        match self.rise(pin, sound.pulse, event) {
            Some(at) => {
                parts.extend(self.way(sound.pulse, at)?);
                let waits = sequencer.poll.is_some()
                    || [sequencer.gathers, sequencer.min_high].iter().any(|t| *t > Span::ZERO)
                    || sequencer.clock_edge == EdgeKind::Fall;
                parts.push((if waits { Cause::Inputs } else { Cause::Reset }, event - at));
            }
            None => parts.push((Cause::Reset, event - ideal)),
        }
        parts.push((Cause::Latency, sequencer.latency));
        parts.push((Cause::Offset, sequencer.offset));
        let stages = times.windows(2).zip(&sequencer.out).enumerate();
        parts.extend(stages.map(|(n, (two, stage))| (Cause::Out(n, *stage), two[1] - two[0])));
        Some(parts)
    }

    /// What the points of the way add to a pulse that leaves the last one at an instant.
    fn way(&self, number: i64, at: Instant) -> Option<Contributions> {
        let mut parts = Vec::new();
        let (mut number, mut at) = (number, at);
        for point in (1..self.points.len()).rev() {
            let off = self.off(point, number, at)?;
            let place = match self.points[point].0 {
                Point::Stage(stage) => Some(PathPoint::Stage(stage)),
                Point::Sequencer(index) => Some(PathPoint::Sequencer(index)),
                Point::Wire(_) | Point::Output(_) => None,
            };
            let before = match place {
                Some(PathPoint::Stage(stage)) if matches!(self.rig.stages[stage].kind, StageKind::Multiply(_)) => {
                    number.div_euclid(i64::from(self.rig.parts(stage)))
                }
                _ => number,
            };
            let Some(came) = self.rise(point - 1, before, at) else {
                // Pulses do not keep their numbers here: what lies before is one.
                parts.push((Cause::WholeWay, off));
                return Some(parts);
            };
            let added = Span(off.0 - self.off(point - 1, before, came)?.0);
            if let Some(place) = place {
                parts.push((Cause::Way(point, place), added));
            }
            (number, at) = (before, came);
        }
        parts.extend(self.output(number, at)?);
        Some(parts)
    }

    /// What the output itself adds: phase and shift, as they are set, and the jitter of the clock.
    fn output(&self, number: i64, at: Instant) -> Option<Contributions> {
        let Point::Output(index) = self.points.first()?.0 else { return None };
        let (output, timeline) = (&self.rig.outputs[index], &self.performance.timelines[index]);
        let ideal = timeline.ideal(number).ok()?;
        if !timeline.is_even() {
            return Some(vec![(Cause::Output, at - ideal)]);
        }
        let phase: ExactPs = match &output.timing {
            Timing::Rate { period, phase, .. } => self.performance.tempo.exact(*period * phase),
            _ => Ratio::from_integer(0),
        };
        let beat = self.performance.tempo.exact(timeline.meant(number));
        let rounded = |exact: ExactPs| i64::try_from(round_half_up(exact)).ok().map(Instant);
        let (phased, sent) = (rounded(beat + phase)?, rounded(beat + phase + output.shift)?);
        Some(vec![(Cause::Clock, at - sent), (Cause::Shift, sent - phased), (Cause::Phase, phased - ideal)])
    }
}

/// The contributions of many hits, being gathered.
#[derive(Clone, Debug, Default)]
struct Spread {
    causes: BTreeMap<Cause, (Vec<Span>, Span, Span)>,
    typical: Vec<Span>,
    ends: Option<(Span, Span)>,
}

impl Spread {
    fn add(&mut self, hits: Vec<Contributions>, typical: bool) {
        for hit in hits {
            let total = Span(hit.iter().map(|(_, t)| t.0).sum());
            let (low, high) = self.ends.unwrap_or((total, total));
            self.ends = Some((low.min(total), high.max(total)));
            if typical {
                self.typical.push(total);
            }
            for (cause, time) in hit {
                let (all, low, high) = self.causes.entry(cause).or_insert((Vec::new(), time, time));
                (*low, *high) = ((*low).min(time), (*high).max(time));
                if typical {
                    all.push(time);
                }
            }
        }
    }

    fn close(self, period: Option<Span>) -> Option<Breakdown> {
        let hits = self.typical.len();
        let reached = |mut typical: Vec<Span>, (least, most): (Span, Span)| {
            // A cause that most hits have not adds nothing to the usual one.
            typical.resize(hits.max(typical.len()), Span::ZERO);
            typical.sort_unstable();
            Reached { least, typical: typical.get(typical.len() / 2).copied().unwrap_or(Span::ZERO), most }
        };
        let total = reached(self.typical.clone(), self.ends?);
        let parts = self.causes.into_iter().filter(|(_, (_, low, high))| *low != Span::ZERO || *high != Span::ZERO);
        let parts = parts.map(|(cause, (all, low, high))| {
            let seldom = all.len() < hits;
            let ends = if seldom { (low.min(Span::ZERO), high.max(Span::ZERO)) } else { (low, high) };
            (cause, reached(all, ends))
        });
        Some(Breakdown { parts: parts.collect(), total, period, hits })
    }
}
