use crate::patch::{EventGrain, Path, Rig, Scatter, Sheet, Source, StageKind, Timing};
use crate::rig::stage::envelope::bound::{Shortest, apart};
use crate::rig::stage::rc;
use crate::rig::{CUT, Pulse, Timeline};
use crate::time::{PS_PER_SECOND, Span};

/// How far, either way, what comes to an input can stand from where the typical run has it, over all tolerances.
///
/// `None` where no bound is known: then every reset is at risk. A bound may be wider than it need be, never narrower.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Reach(pub Option<Span>);

impl Reach {
    /// At a tempo, by its outputs' timelines, of a sequencer's clock and reset against each other; what they share moves both alike and does not count.
    #[must_use]
    pub fn between(rig: &Rig, timelines: &[Timeline], clock: &Path, reset: &Path) -> Self {
        let rig = Played { rig, timelines };
        let of = |path: &Path| {
            let begun = if clock.source == reset.source { Some(Span::ZERO) } else { source(rig, path.source, 0) };
            stages(rig, path, begun?)
        };
        Self(of(clock).zip(of(reset)).map(|(a, b)| Span(a.0 + b.0)))
    }
}

/// A rig, and its outputs at a tempo.
#[derive(Clone, Copy)]
struct Played<'a> {
    rig: &'a Rig,
    timelines: &'a [Timeline],
}

impl std::ops::Deref for Played<'_> {
    type Target = Rig;

    fn deref(&self) -> &Rig {
        self.rig
    }
}

impl Played<'_> {
    /// The shortest pulses that come to a stage of a path, if it hangs on the clock by stages that keep their lengths.
    fn shortest(self, path: &Path, stage: usize) -> Option<Shortest> {
        let keeps = |stage: &usize| match &self.rig.stages[*stage].kind {
            StageKind::Delay(d) => d.rise == d.fall && d.one_shot.is_none() && d.swallows == Span::ZERO,
            _ => false,
        };
        let Source::Output(output) = path.source else { return None };
        let output_keeps = match self.rig.outputs[output].timing {
            Timing::Rate { .. } | Timing::Start => true,
            Timing::Stop | Timing::Run => !self.timelines[output].is_even(),
        };
        if !output_keeps || !path.stages[..stage].iter().all(keeps) {
            return None;
        }
        let long = Span(i64::MAX / 4);
        let mut shortest = Shortest { high: long, low: long, apart: long };
        let mut before: Option<Pulse> = None;
        for pulse in self.timelines[output].pulses(self.rig.end) {
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
fn source(rig: Played<'_>, from: Source, depth: usize) -> Option<Span> {
    if depth > rig.wires.len() + rig.sequencers.len() {
        return None;
    }
    match from {
        Source::Output(_) => Some(Span::ZERO),
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
            (!polled && still.into_iter().all(|s| s == Some(Span::ZERO))).then_some(Span::ZERO)
        }
    }
}

fn stages(rig: Played<'_>, path: &Path, begun: Span) -> Option<Span> {
    (0..path.stages.len()).try_fold(begun, |so_far, n| stage_adds(rig, path, n, so_far))
}

/// The reach behind stage `n` of a path, from that before it.
fn stage_adds(rig: Played<'_>, path: &Path, n: usize, before: Span) -> Option<Span> {
    let plus = |own: Span| Some(Span(before.0 + own.0));
    // What looks at its input now and then moves an edge by less than its period, wherever its looks fall.
    let looks = |period: Span, still: bool| if still && before == Span::ZERO { Some(Span::ZERO) } else { plus(period) };
    match &rig.rig.stages[path.stages[n]].kind {
        StageKind::Delay(d) => {
            let width = d.one_shot.as_ref().map_or(Span::ZERO, |o| span(o.width));
            plus(span(d.rise).max(span(d.fall)).max(Span(span(d.rise).0 + width.0)))
        }
        StageKind::Logic(logic) => {
            let second = match &logic.with {
                Some(with) => stages(rig, with, source(rig, with.source, 0)?)?,
                None => Span::ZERO,
            };
            // Which input causes an edge may change: the wider of the two.
            Some(Span(before.0.max(second.0) + span(logic.delay).0))
        }
        StageKind::Rc(settings) => plus(rc_reach(settings)?),
        StageKind::Envelope(envelope) => {
            let plain = envelope.attack.is_plain() && envelope.decay.is_plain();
            if plain && before == Span::ZERO {
                return Some(Span::ZERO);
            }
            plus(apart(envelope, rig.shortest(path, n)?)?)
        }
        StageKind::Divide(divide) => match &divide.reset {
            None => Some(before),
            Some(reset) => {
                let moved = stages(rig, reset, source(rig, reset.source, 0)?)?;
                (moved == Span::ZERO && before == Span::ZERO).then_some(Span::ZERO)
            }
        },
        // A pulse between two is spaced by the distance of the two before.
        StageKind::Multiply(_) => Some(Span(before.0.saturating_mul(3))),
        StageKind::Poll(poll) => {
            let still = poll.phase.is_some() && poll.drift == 0.0;
            let grown = (poll.period.0 as f64 * (1.0 + poll.drift)).ceil() as i64;
            looks(Span(grown * i64::from(poll.samples.max(1))), still)
        }
        StageKind::AudioBuffer(buffer) => {
            let frames = if buffer.events == EventGrain::Block { buffer.frames } else { 1 };
            let period = f64::from(frames) * PS_PER_SECOND as f64 / f64::from(buffer.sample_rate.max(1));
            let still = buffer.phase.is_some() && buffer.drift == 0.0;
            // The blocks that it is late by grow with its drift, too.
            let late = f64::from(buffer.frames) * f64::from(buffer.blocks) * PS_PER_SECOND as f64
                / f64::from(buffer.sample_rate.max(1));
            looks(Span((period * (1.0 + buffer.drift) + late * buffer.drift).ceil() as i64), still)
        }
        // Who stands before whom in a queue may change with anything that moves.
        StageKind::MidiCable(_) => (before == Span::ZERO).then_some(Span::ZERO),
        StageKind::Jitter(jitter) => {
            let each = match jitter.each {
                Some(Scatter::Gaussian(sd)) => (sd.0 as f64 * CUT).ceil() as i64,
                Some(Scatter::Uniform(range)) => range.0 / 2 + 1,
                None => 0,
            };
            plus(Span(each + jitter.wander.map_or(0, |w| w.most.0)))
        }
        // These stand behind a sequencer only.
        StageKind::Air(_) | StageKind::Strike(_) => Some(before),
    }
}

/// The furthest of least and most from the usual value.
fn span(sheet: Sheet<Span>) -> Span {
    Span((sheet.max.0 - sheet.typ.0).max(sheet.typ.0 - sheet.min.0))
}

/// An RC's delay grows with r, with c and with its threshold: its corners bound it, empty or with the charge of the pulse
/// before left over. `None` if at some corner a pulse would not come through.
fn rc_reach(settings: &crate::patch::Rc) -> Option<Span> {
    let Sheet { min: r0, max: r1, .. } = settings.r;
    let Sheet { min: c0, max: c1, .. } = settings.c;
    let plain = settings.r.is_plain()
        && settings.c.is_plain()
        && settings.threshold_rise.is_plain()
        && settings.threshold_fall.is_plain();
    if plain {
        return Some(Span::ZERO);
    }
    // Pulses that are long against the time constant leave no charge behind; others have no simple bound.
    let slowest = 5.0 * (r1 + settings.source) * c1;
    let long = Span((slowest * 2.0 * PS_PER_SECOND as f64) as i64);
    let typical = rc::first_and_settled_delay(settings, Span(long.0 * 2), long);
    let mut furthest = Span::ZERO;
    for (r, c) in [(r0, c0), (r0, c1), (r1, c0), (r1, c1)] {
        for end in [0, 1] {
            let pick = |sheet: Sheet<f64>| Sheet::plain(if end == 0 { sheet.min } else { sheet.max });
            let corner = crate::patch::Rc {
                r: Sheet::plain(r),
                c: Sheet::plain(c),
                threshold_rise: pick(settings.threshold_rise),
                threshold_fall: pick(settings.threshold_fall),
                ..settings.clone()
            };
            let there = rc::first_and_settled_delay(&corner, Span(long.0 * 2), long);
            for (a, b) in [(there.first, typical.first), (there.settled, typical.settled)] {
                let (rc::Passage::After(a), rc::Passage::After(b)) = (a, b) else { return None };
                furthest = furthest.max(Span((a.0 - b.0).abs()));
            }
        }
    }
    Some(furthest)
}
