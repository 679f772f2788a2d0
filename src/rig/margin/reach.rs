use crate::patch::{
    AudioBuffer, EventGrain, Jitter, Path, Poll, ResetMode, Rig, Scatter, Source, StageKind, Timing, Tolerance,
};
use crate::rig::jittered::furthest;
use crate::rig::stage::envelope::bound::{Shortest, apart};
use crate::rig::stage::{rc, speed_of_sound};
use crate::rig::{CUT, Pulse, Timeline};
use crate::time::{Instant, PS_PER_SECOND, Span};

/// How far, either way, what comes to an input can stand from where the typical run has it, over all tolerances.
///
/// `None` where no bound is known: then every reset is at risk. A bound may be wider than it need be, never narrower.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Reach(pub Option<Span>);

/// How far something can come earlier and how far later than the typical run has it, over all tolerances. Each may be wider than
/// it need be, never narrower.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Sides {
    /// To the front.
    pub early: Span,
    /// To the back.
    pub late: Span,
}

impl Sides {
    /// The same either way.
    const fn even(span: Span) -> Self {
        Self { early: span, late: span }
    }

    /// From the usual value to the least and to the most.
    fn of(sheet: Tolerance<Span>) -> Self {
        Self { early: Span(sheet.typ.0 - sheet.min.0), late: Span(sheet.max.0 - sheet.typ.0) }
    }

    /// One after the other.
    const fn plus(self, other: Self) -> Self {
        Self { early: Span(self.early.0 + other.early.0), late: Span(self.late.0 + other.late.0) }
    }

    /// What moves against something that moves so itself.
    const fn against(self, other: Self) -> Self {
        self.plus(Self { early: other.late, late: other.early })
    }

    /// Whichever is further.
    fn or(self, other: Self) -> Self {
        Self { early: self.early.max(other.early), late: self.late.max(other.late) }
    }

    /// The further of the two.
    #[must_use]
    pub fn widest(self) -> Span {
        self.early.max(self.late)
    }

    /// At a tempo, by its outputs' timelines (none where no tempo is looked at: then less is known), of one way to a sequencer against
    /// another to it; what they share moves both alike and does not count. `None` where no bound is known.
    #[must_use]
    pub fn between(rig: &Rig, timelines: &[Timeline], path: &Path, against: &Path) -> Option<Self> {
        let off = off_by_itself(rig);
        if off > Span::ZERO && !([path, against].into_iter().all(|path| only_moves(rig, path, 0))) {
            // What is off alike at the outputs does not stay so.
            let rig = TimedRig { rig, timelines };
            let of = |path: &Path| stages(rig, path, source(rig, path.source, 0)?);
            return of(path).zip(of(against)).map(|(a, b)| a.against(b));
        }
        let exact = TimedRig { rig: &Rig { jitter: None, ..rig.clone() }, timelines };
        let of = |own: &Path| {
            let shared = path.source == against.source;
            let begun = if shared { Some(Self::default()) } else { source(exact, own.source, 0) };
            stages(exact, own, begun?)
        };
        of(path).zip(of(against)).map(|(a, b)| a.against(b))
    }
}

impl Reach {
    /// At a tempo, by its outputs' timelines (none where no tempo is looked at: then less is known), of a sequencer's clock and reset against each other; what they share moves both alike and does not count.
    #[must_use]
    pub fn between(rig: &Rig, timelines: &[Timeline], clock: &Path, reset: &Path) -> Self {
        Self(Sides::between(rig, timelines, reset, clock).map(Sides::widest))
    }

    /// Of the hits of a sequencer against those of another, or (`None`) against what stands still: whichever of their
    /// inputs cause them, and what lies between each and the ear. The loop that looks at a box's inputs is left out.
    #[must_use]
    pub fn of_hits(rig: &Rig, timelines: &[Timeline], one: usize, other: Option<usize>) -> Self {
        let inputs = |s: usize| {
            let sequencer = &rig.sequencers[s];
            let reset = sequencer.reset.as_ref().filter(|r| r.mode != ResetMode::Ignored).map(|r| &r.path);
            std::iter::once(&sequencer.clock).chain(reset)
        };
        let out = |s: usize| {
            let stages = rig.sequencers[s].out.iter();
            stages.map(|&stage| out_adds(&rig.stages[stage].kind)).try_fold(0, |sum, adds| Some(sum + adds?.0))
        };
        let widest = |spans: Vec<Option<Span>>| {
            spans.into_iter().try_fold(Span::ZERO, |widest: Span, next| Some(widest.max(next?)))
        };
        let played = TimedRig { rig, timelines };
        let alone = |path: &Path| stages(played, path, source(played, path.source, 0)?).map(Sides::widest);
        let moved = match other {
            None => widest(inputs(one).map(alone).collect()),
            Some(other) => widest(
                inputs(one).flat_map(|a| inputs(other).map(move |b| Self::between(rig, timelines, a, b).0)).collect(),
            ),
        };
        let queues =
            |s: usize| rig.sequencers[s].out.iter().any(|&o| matches!(rig.stages[o].kind, StageKind::MidiCable(_)));
        let queues = queues(one) || other.is_some_and(queues);
        // Who stands before whom in a queue may change with anything that moves.
        let moved = moved.filter(|moved| !queues || *moved == Span::ZERO);
        let both = |moved: Span| Some(Span(moved.0 + out(one)? + other.map_or(Some(0), out)?));
        Self(moved.and_then(both))
    }

    /// Of what comes out of a stage that hangs on nothing, and whose input stands still. `None` too where the lengths of
    /// pulses would have to be known.
    #[must_use]
    pub fn of_stage(rig: &Rig, kind: &StageKind) -> Self {
        Self(kind_adds(TimedRig { rig, timelines: &[] }, kind, None, Sides::default()).map(Sides::widest))
    }

    /// How far what the clock sends at two instants can be off against each other by its own jitter, however close they are.
    #[must_use]
    pub fn swing(rig: &Rig) -> Span {
        Span(2 * off_by_itself(rig).0)
    }

    /// How far what the clock sends at two instants is off against each other because of the clock's own jitter; 0 for an
    /// exact clock. `None` where pulses are so close that it may make one of two.
    #[must_use]
    pub fn of_clock(rig: &Rig, timelines: &[Timeline], index: usize) -> Option<Span> {
        let swing = Self::swing(rig);
        if swing == Span::ZERO {
            return Some(swing);
        }
        let sequencer = &rig.sequencers[index];
        let paths = std::iter::once(&sequencer.clock).chain(sequencer.reset.as_ref().map(|r| &r.path));
        let close = |path: &Path| {
            let mut fall: Option<Instant> = None;
            timelines[rig.origin(path)].pulses(rig.end).any(|pulse| {
                let before = fall.replace(pulse.fall);
                before.is_some_and(|before| pulse.rise - before <= swing)
            })
        };
        let any = paths.into_iter().any(close);
        (!any).then_some(swing)
    }

    /// Whether nothing on the ways to a sequencer's inputs differs from run to run at all, shared or not.
    #[must_use]
    pub fn is_still(rig: &Rig, timelines: &[Timeline], index: usize) -> bool {
        let rig = TimedRig { rig, timelines };
        let sequencer = &rig.sequencers[index];
        let paths = std::iter::once(&sequencer.clock).chain(sequencer.reset.as_ref().map(|r| &r.path));
        let mut reaches = paths.map(|path| stages(rig, path, source(rig, path.source, 0)?));
        reaches.all(|reach| reach == Some(Sides::default()))
    }
}

/// How far a stage between a sequencer and the ear can move a hit from where the typical run has it.
fn out_adds(kind: &StageKind) -> Option<Span> {
    let seconds = |seconds: f64| Span((seconds * PS_PER_SECOND as f64).ceil() as i64);
    let apart = |typ: f64, ends: [f64; 2]| seconds(ends.iter().map(|end| (end - typ).abs()).fold(0.0, f64::max));
    Some(match kind {
        StageKind::Delay(delay) => span(delay.rise),
        StageKind::Air(air) => {
            let lasts = |distance: f64, celsius: f64| distance / speed_of_sound(celsius);
            let (d, t) = (air.distance, air.temperature);
            apart(lasts(d.typ, t.typ), [lasts(d.min, t.max), lasts(d.max, t.min)])
        }
        StageKind::Strike(strike) => {
            // 2·stroke/v; the softest stroke that a pattern has, velocity 100, takes the longest.
            let lasts = |stroke: f64, speed: f64| 2.0 * stroke * 127.0 / (speed * 100.0);
            let (stroke, speed) = (strike.stroke, strike.speed);
            let way = apart(lasts(stroke.typ, speed.typ), [lasts(stroke.min, speed.max), lasts(stroke.max, speed.min)]);
            Span(way.0 + span(strike.rise).0 + (strike.spread.0 as f64 * CUT).ceil() as i64)
        }
        // What hits do to each other in a queue is moved by anything that moves; that is asked where it is known.
        StageKind::MidiCable(_) => Span::ZERO,
        StageKind::Jitter(jitter) => scatter(jitter),
        StageKind::Poll(poll) => latest_look(poll),
        StageKind::AudioBuffer(buffer) => blocks(buffer),
        _ => return None,
    })
}

/// The furthest, either way, that the clock is off by itself.
fn off_by_itself(rig: &Rig) -> Span {
    rig.jitter.as_ref().map_or(Span::ZERO, furthest)
}

/// Whether a path moves every edge by a time that has nothing to do with when it comes. `depth` ends a circle.
fn only_moves(rig: &Rig, path: &Path, depth: usize) -> bool {
    let source = match path.source {
        _ if depth > rig.wires.len() => false,
        Source::Output(_) => true,
        Source::Wire(wire) => only_moves(rig, &rig.wires[wire].path, depth + 1),
        Source::Sequencer { .. } => false,
    };
    let moves = |stage: &usize| match &rig.stages[*stage].kind {
        StageKind::Delay(delay) => delay.swallows == Span::ZERO && delay.one_shot.is_none(),
        _ => false,
    };
    source && path.stages.iter().all(moves)
}

/// A rig, and its outputs at a tempo.
#[derive(Clone, Copy)]
struct TimedRig<'a> {
    rig: &'a Rig,
    timelines: &'a [Timeline],
}

impl std::ops::Deref for TimedRig<'_> {
    type Target = Rig;

    fn deref(&self) -> &Rig {
        self.rig
    }
}

impl TimedRig<'_> {
    /// The shortest pulses that come to a stage of a path, if it hangs on the clock by stages that keep their lengths.
    fn shortest(self, path: &Path, stage: usize) -> Option<Shortest> {
        let keeps = |stage: &usize| match &self.rig.stages[*stage].kind {
            StageKind::Delay(d) => d.rise == d.fall && d.one_shot.is_none() && d.swallows == Span::ZERO,
            _ => false,
        };
        let Source::Output(output) = path.source else { return None };
        let timeline = self.timelines.get(output)?;
        let output_keeps = match self.rig.outputs[output].timing {
            Timing::Rate { .. } | Timing::Start => true,
            Timing::Stop | Timing::Run => !timeline.is_even(),
        };
        if !output_keeps || !path.stages[..stage].iter().all(keeps) {
            return None;
        }
        let long = Span(i64::MAX / 4);
        let mut shortest = Shortest { high: long, low: long, apart: long };
        let mut before: Option<Pulse> = None;
        for pulse in timeline.pulses(self.rig.end) {
            shortest.high = shortest.high.min(pulse.fall - pulse.rise);
            if let Some(before) = before.replace(pulse) {
                shortest.low = shortest.low.min(pulse.rise - before.fall);
                shortest.apart = shortest.apart.min(pulse.rise - before.rise);
            }
        }
        Some(shortest)
    }
}

/// What a path begins with. `depth` ends one that runs in a circle.
fn source(rig: TimedRig<'_>, from: Source, depth: usize) -> Option<Sides> {
    if depth > rig.wires.len() + rig.sequencers.len() {
        return None;
    }
    match from {
        Source::Output(_) => Some(Sides::even(off_by_itself(rig.rig))),
        Source::Wire(wire) => {
            let path = &rig.wires[wire].path;
            stages(rig, path, source(rig, path.source, depth + 1)?)
        }
        // A step may be played by another pulse if anything moves: only what stands still is bounded.
        Source::Sequencer { index, .. } => {
            let sequencer = &rig.sequencers[index];
            let paths = std::iter::once(&sequencer.clock).chain(sequencer.reset.as_ref().map(|r| &r.path));
            let still = paths.map(|p| stages(rig, p, source(rig, p.source, depth + 1)?));
            let polled = sequencer.poll.is_some();
            (!polled && still.into_iter().all(|s| s == Some(Sides::default()))).then_some(Sides::default())
        }
    }
}

fn stages(rig: TimedRig<'_>, path: &Path, begun: Sides) -> Option<Sides> {
    (0..path.stages.len()).try_fold(begun, |so_far, n| stage_adds(rig, path, n, so_far))
}

/// The reach behind stage `n` of a path, from that before it.
fn stage_adds(rig: TimedRig<'_>, path: &Path, n: usize, before: Sides) -> Option<Sides> {
    kind_adds(rig, &rig.rig.stages[path.stages[n]].kind, Some((path, n)), before)
}

/// How far a kind of stage moves an edge, perhaps without a place on a path.
fn kind_adds(rig: TimedRig<'_>, kind: &StageKind, place: Option<(&Path, usize)>, before: Sides) -> Option<Sides> {
    let plus = |own: Sides| Some(before.plus(own));
    let is_still = before == Sides::default();
    // What looks at its input now and then moves an edge by less than its period, wherever its looks fall.
    let looks = |period: Span, still: bool| if still && is_still { Some(before) } else { plus(Sides::even(period)) };
    match kind {
        StageKind::Delay(d) => {
            let width = d.one_shot.as_ref().map_or(Sides::default(), |o| Sides::of(o.width));
            plus(Sides::of(d.rise).or(Sides::of(d.fall)).or(Sides::of(d.rise).plus(width)))
        }
        StageKind::Logic(logic) => {
            let second = match &logic.with {
                Some(with) => stages(rig, with, source(rig, with.source, 0)?)?,
                None => Sides::default(),
            };
            // Which input causes an edge may change: the wider of the two.
            Some(before.or(second).plus(Sides::of(logic.delay)))
        }
        StageKind::Rc(settings) => plus(rc_reach(settings)?),
        StageKind::Envelope(envelope) => {
            let plain = envelope.attack.is_plain() && envelope.decay.is_plain();
            if plain && is_still {
                return Some(before);
            }
            let (path, n) = place?;
            plus(Sides::even(apart(envelope, rig.shortest(path, n)?)?))
        }
        StageKind::Divide(divide) => match &divide.reset {
            None => Some(before),
            Some(reset) => {
                let moved = stages(rig, reset, source(rig, reset.source, 0)?)?;
                (moved == Sides::default() && is_still).then_some(before)
            }
        },
        // A pulse between two is spaced by the distance of the two before.
        StageKind::Multiply(_) => Some(Sides::even(Span(before.widest().0.saturating_mul(3)))),
        StageKind::Poll(poll) => looks(latest_look(poll), poll.phase.is_some() && poll.drift == 0.0),
        StageKind::AudioBuffer(buffer) => looks(blocks(buffer), buffer.phase.is_some() && buffer.drift == 0.0),
        StageKind::Jitter(jitter) => plus(Sides::even(scatter(jitter))),
        // Of any other only what stands still is bounded: who stands before whom in a queue, for one, may change with
        // anything that moves.
        other => (is_still && !other.is_drawn()).then_some(before),
    }
}

/// How late a loop can see an edge, over all that it draws.
#[must_use]
pub fn latest_look(poll: &Poll) -> Span {
    let grown = (poll.period.0 as f64 * (1.0 + poll.drift)).ceil() as i64;
    Span(grown * i64::from(poll.samples.max(1)))
}

/// How far what comes out of blocks of audio can be moved.
fn blocks(buffer: &AudioBuffer) -> Span {
    let frames = if buffer.events == EventGrain::Block { buffer.frames } else { 1 };
    let period = f64::from(frames) * PS_PER_SECOND as f64 / f64::from(buffer.sample_rate.max(1));
    // The blocks that it is late by grow with its drift, too.
    let late = f64::from(buffer.frames) * f64::from(buffer.blocks) * PS_PER_SECOND as f64
        / f64::from(buffer.sample_rate.max(1));
    Span((period * (1.0 + buffer.drift) + late * buffer.drift).ceil() as i64)
}

/// How far chance moves an event, either way of its middle.
fn scatter(jitter: &Jitter) -> Span {
    let each = match jitter.each {
        Some(Scatter::Gaussian(sd)) => (sd.0 as f64 * CUT).ceil() as i64,
        Some(Scatter::Uniform(range)) => range.0 / 2 + 1,
        None => 0,
    };
    Span(each + jitter.wander.map_or(0, |w| w.most.0))
}

/// The furthest of least and most from the usual value.
fn span(sheet: Tolerance<Span>) -> Span {
    Span((sheet.max.0 - sheet.typ.0).max(sheet.typ.0 - sheet.min.0))
}

/// An RC's delay grows with r, with c and with its threshold: its corners bound it, empty or with the charge of the pulse
/// before left over. `None` if at some corner a pulse would not come through.
fn rc_reach(settings: &crate::patch::Rc) -> Option<Sides> {
    let Tolerance { min: r0, max: r1, .. } = settings.r;
    let Tolerance { min: c0, max: c1, .. } = settings.c;
    let plain = settings.r.is_plain()
        && settings.c.is_plain()
        && settings.threshold_rise.is_plain()
        && settings.threshold_fall.is_plain();
    if plain {
        return Some(Sides::default());
    }
    // Pulses that are long against the time constant leave no charge behind; others have no simple bound.
    let slowest = 5.0 * (r1 + settings.source) * c1;
    let long = Span((slowest * 2.0 * PS_PER_SECOND as f64) as i64);
    let typical = rc::first_and_settled_delay(settings, Span(long.0 * 2), long);
    let mut furthest = Sides::default();
    for (r, c) in [(r0, c0), (r0, c1), (r1, c0), (r1, c1)] {
        for end in [0, 1] {
            let pick = |sheet: Tolerance<f64>| Tolerance::plain(if end == 0 { sheet.min } else { sheet.max });
            let corner = crate::patch::Rc {
                r: Tolerance::plain(r),
                c: Tolerance::plain(c),
                threshold_rise: pick(settings.threshold_rise),
                threshold_fall: pick(settings.threshold_fall),
                ..settings.clone()
            };
            let there = rc::first_and_settled_delay(&corner, Span(long.0 * 2), long);
            for (a, b) in [(there.first, typical.first), (there.settled, typical.settled)] {
                let (rc::Passage::After(a), rc::Passage::After(b)) = (a, b) else { return None };
                furthest = furthest.or(Sides { early: Span(b.0 - a.0), late: Span(a.0 - b.0) });
            }
        }
    }
    Some(furthest)
}
