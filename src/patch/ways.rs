//! What only all paths together show: whether each begins at the clock in the end, whether a loop closes in no time,
//! and whether a multiplier is asked for too much.
//!
//! Every path is a line of *points*: where it begins, then behind each of its stages. A point has one or two causes: the
//! point before it, the end of its stage's second path, or the ends of the paths of the sequencer that it begins at.

use super::fault::{Fault, Faults, Place};
use super::measure::show_span;
use super::model::{Path, ResetMode, Retrigger, Rig, Source, StageKind, Tap, Timing};
use super::output::SHORTEST_PERIOD_PS;
use super::path::{TAPS, place_of_name};
use super::show::{listed, shown};
use super::view::{Kind, View};
use crate::time::{Span, Tempo};

/// How many loops are told: each is drawn, and they may be as many as there are ways.
const MOST_LOOPS: usize = 8;
/// How many stages may lie on the ways to second inputs, counted for each path that comes by.
const MOST_CHANNELS: u64 = 65_536;
/// How many points of a loop are drawn, apart from its last.
const MOST_DRAWN: usize = 12;

/// Tells what is wrong with the ways of a rig of which each path alone is good.
pub(super) fn check_ways(rig: &Rig, view: &View<'_>, fastest: Tempo, faults: &mut Faults) {
    let ways = Ways::new(rig, view);
    ways.check_multipliers(fastest, faults);
    ways.check_cables(faults);
    let before = faults.count();
    ways.check_sides(faults);
    if faults.count() > before {
        return;
    }
    if !ways.lines.iter().all(|line| matches!(line.path.source, Source::Output(_)))
        || ways.sides.iter().any(Option::is_some)
    {
        let active = ways.active();
        ways.check_starts(&active, faults);
        ways.check_loops(&active, faults);
    }
}

/// A path, and what it leads to.
struct Line<'a> {
    owner: (Kind, usize),
    key: &'static str,
    path: &'a Path,
    /// The number of the point where it begins; the others follow.
    first: usize,
}

impl Line<'_> {
    fn end(&self) -> usize {
        self.first + self.path.stages.len()
    }
}

/// Why there are edges at a point.
#[derive(Clone, Copy)]
struct Cause {
    point: usize,
    /// Some time lies between the two.
    late: bool,
    /// Edges there bring edges here, even if there have been none before.
    starts: bool,
}

struct Ways<'a> {
    rig: &'a Rig,
    view: &'a View<'a>,
    lines: Vec<Line<'a>>,
    /// The line of each point.
    line_of: Vec<usize>,
    /// The line of each wire.
    wires: Vec<usize>,
    /// The line of each stage's second path.
    sides: Vec<Option<usize>>,
    /// The lines of each sequencer's clock and reset.
    inputs: Vec<(usize, Option<usize>)>,
}

impl<'a> Ways<'a> {
    fn new(rig: &'a Rig, view: &'a View<'a>) -> Self {
        let mut lines: Vec<Line<'a>> = Vec::new();
        let mut add = |owner, key, path: &'a Path| {
            let first = lines.last().map_or(0, |line| line.end() + 1);
            lines.push(Line { owner, key, path, first });
            lines.len() - 1
        };
        let wires = rig.wires.iter().enumerate().map(|(n, wire)| add((Kind::Wire, n), "path", &wire.path)).collect();
        let side = |(n, stage): (usize, &'a super::model::Stage)| match &stage.kind {
            StageKind::Logic(logic) => logic.with.as_ref().map(|path| add((Kind::Stage, n), "with", path)),
            StageKind::Divide(divide) => divide.reset.as_ref().map(|path| add((Kind::Stage, n), "reset", path)),
            _ => None,
        };
        let sides = rig.stages.iter().enumerate().map(side).collect();
        let input = |(n, sequencer): (usize, &'a super::model::Sequencer)| {
            let clock = add((Kind::Sequencer, n), "clock", &sequencer.clock);
            (clock, sequencer.reset.as_ref().map(|reset| add((Kind::Sequencer, n), "reset", &reset.path)))
        };
        let inputs = rig.sequencers.iter().enumerate().map(input).collect();
        let mut line_of = Vec::with_capacity(lines.last().map_or(0, |line| line.end() + 1));
        for (n, line) in lines.iter().enumerate() {
            line_of.resize(line.end() + 1, n);
        }
        Self { rig, view, lines, line_of, wires, sides, inputs }
    }

    fn points(&self) -> usize {
        self.line_of.len()
    }

    /// The line of a point, and how many stages lie before it.
    fn line(&self, point: usize) -> (&Line<'a>, usize) {
        let line = &self.lines[self.line_of[point]];
        (line, point - line.first)
    }

    fn causes(&self, point: usize) -> [Option<Cause>; 2] {
        let (line, n) = self.line(point);
        if let Some(before) = n.checked_sub(1) {
            let stage = line.path.stages[before];
            let late = is_late(&self.rig.stages[stage].kind);
            // A divider's reset lets nothing through by itself.
            let starts = !matches!(self.rig.stages[stage].kind, StageKind::Divide(_));
            let side = self.sides[stage].map(|side| Cause { point: self.lines[side].end(), late, starts });
            return [Some(Cause { point: point - 1, late, starts: true }), side];
        }
        match line.path.source {
            Source::Output(_) => [None, None],
            Source::Wire(wire) => {
                let end = self.lines[self.wires[wire]].end();
                [Some(Cause { point: end, late: false, starts: true }), None]
            }
            // A sequencer is one device with one turn: all its outputs, its clock passed on too, come after both inputs.
            Source::Sequencer { index, tap } => {
                let (clock, reset) = self.inputs[index];
                let mode = self.rig.sequencers[index].reset.as_ref().map(|reset| &reset.mode);
                let plays = tap != Tap::Thru && matches!(mode, Some(ResetMode::Immediate { .. } | ResetMode::Held));
                let end = |line: usize, starts| Cause { point: self.lines[line].end(), late: false, starts };
                [Some(end(clock, true)), reset.map(|reset| end(reset, plays))]
            }
        }
    }

    /// The points at which there are ever edges.
    fn active(&self) -> Vec<bool> {
        // The effects of each point as a chain of links: a point, and the number of the next link.
        let mut first: Vec<Option<usize>> = vec![None; self.points()];
        let mut links: Vec<(usize, Option<usize>)> = Vec::new();
        let mut active = vec![false; self.points()];
        let mut open = Vec::new();
        for (point, active) in active.iter_mut().enumerate() {
            let causes = self.causes(point);
            if causes[0].is_none() {
                *active = true;
                open.push(point);
            }
            for cause in causes.into_iter().flatten().filter(|cause| cause.starts) {
                links.push((point, first[cause.point].replace(links.len())));
            }
        }
        while let Some(point) = open.pop() {
            let mut link = first[point];
            while let Some((effect, next)) = link.map(|n| links[n]) {
                if !std::mem::replace(&mut active[effect], true) {
                    open.push(effect);
                }
                link = next;
            }
        }
        active
    }

    /// Tells stages that stand on the way to their own second input, and second inputs that are too many.
    ///
    /// A stage has a channel for each path that it is in, and each channel a way of its own to the second input. Shared
    /// points are what they are called: what leads to them is there once.
    fn check_sides(&self, faults: &mut Faults) {
        let mut known = vec![None; self.sides.len()];
        let mut trail = Vec::new();
        for stage in 0..self.sides.len() {
            if self.channels(stage, &mut known, &mut trail).is_none() {
                let points = trail.iter().flat_map(|&(side, point)| (point..=self.lines[side].end()).rev());
                let (drawn, at) = self.drawn(&points.collect::<Vec<_>>());
                let name = shown(&self.rig.stages[stage].name);
                let fault = Fault::new(at, format!("a stage is on the way to its own second input: `{drawn}`"))
                    .label("expected a shared point, since each path has a channel of its own through a stage")
                    .help(format!(
                        "name the point behind it, [wire.NAME] path = [\"OUTPUT\", \"{name}\"], and begin the second path at \"wire.NAME\""
                    ));
                faults.push(fault);
                return;
            }
        }
        let on_paths = self.lines.iter().filter(|line| line.owner.0 != Kind::Stage).flat_map(|line| &line.path.stages);
        let all = on_paths.fold(0_u64, |sum, stage| sum.saturating_add(known[*stage].unwrap_or(0)));
        if all > MOST_CHANNELS {
            let heaviest = (0..known.len()).rev().max_by_key(|stage| known[*stage]).unwrap_or(0);
            let at = self.sides[heaviest].map_or(0..0, |side| self.place(self.lines[side].first));
            let fault = Fault::new(at, "the ways to second inputs branch too often")
                .label(format!(
                    "found {all} stages on such ways, each path with its own; expected at most {MOST_CHANNELS}"
                ))
                .help("name a point with [wire.NAME] and begin the second path there: what leads to it is there once");
            faults.push(fault);
        }
    }

    /// How many stages lie on the ways to the second input of one channel of a stage. `None` where it leads to itself:
    /// then `trail` has each second path on the circle, and the point on it of the stage whose second path is next.
    fn channels(&self, stage: usize, known: &mut [Option<u64>], trail: &mut Vec<(usize, usize)>) -> Option<u64> {
        if let Some(channels) = known[stage] {
            return Some(channels);
        }
        let Some(side) = self.sides[stage] else {
            known[stage] = Some(0);
            return Some(0);
        };
        if let Some(begin) = trail.iter().position(|(open, _)| *open == side) {
            trail.drain(..begin);
            return None;
        }
        let line = &self.lines[side];
        let mut channels = 0_u64;
        for (n, before) in line.path.stages.iter().enumerate() {
            trail.push((side, line.first + n + 1));
            let of_stage = self.channels(*before, known, trail)?;
            trail.pop();
            channels = channels.saturating_add(1).saturating_add(of_stage);
        }
        known[stage] = Some(channels);
        Some(channels)
    }

    /// Tells the loops that the clock has no part in.
    fn check_starts(&self, active: &[bool], faults: &mut Faults) {
        let mut seen_by: Vec<Option<usize>> = vec![None; self.points()];
        let mut told = 0;
        for (n, line) in self.lines.iter().enumerate().filter(|(_, line)| !active[line.end()]) {
            let (mut trail, mut point) = (Vec::new(), line.end());
            while seen_by[point].is_none() {
                seen_by[point] = Some(n);
                trail.push(point);
                let [Some(cause), _] = self.causes(point) else { break };
                point = cause.point;
            }
            let Some(start) = trail.iter().position(|p| *p == point).filter(|_| told < MOST_LOOPS) else { continue };
            told += 1;
            let (drawn, at) = self.drawn(&trail[start..]);
            let fault = Fault::new(at, format!("nothing ever starts the loop `{drawn}`"))
                .label("expected a way that begins at an output of the clock in the end")
                .help(match listed(self.view.names(Kind::Output)).as_str() {
                    "none" => {
                        "define an output, such as [clock.sixteenths], and begin one of these paths there".to_owned()
                    }
                    outputs => format!("begin one of these paths at an output; there is {outputs}"),
                });
            faults.push(fault);
        }
    }

    /// Tells the loops in which an edge would come back at the instant at which it went.
    fn check_loops(&self, active: &[bool], faults: &mut Faults) {
        #[derive(Clone, Copy, PartialEq)]
        enum State {
            New,
            Open,
            Done,
        }
        let mut states = vec![State::New; self.points()];
        let mut told = 0;
        for start in 0..self.points() {
            if states[start] != State::New || !active[start] {
                continue;
            }
            let mut stack = vec![(start, 0)];
            states[start] = State::Open;
            while let Some((point, next)) = stack.last_mut() {
                let Some(cause) = self.causes(*point).get(*next).copied() else {
                    states[*point] = State::Done;
                    stack.pop();
                    continue;
                };
                *next += 1;
                let Some(cause) = cause.filter(|cause| !cause.late && active[cause.point]) else { continue };
                match states[cause.point] {
                    State::New => {
                        states[cause.point] = State::Open;
                        stack.push((cause.point, 0));
                    }
                    State::Open => {
                        let begin = stack.iter().position(|(p, _)| *p == cause.point).unwrap_or(0);
                        let trail: Vec<usize> = stack[begin..].iter().map(|(p, _)| *p).collect();
                        let (drawn, at) = self.drawn(&trail);
                        let fault = Fault::new(at, format!("a loop without delay: `{drawn}`"))
                            .label("expected some time between an edge and its own effect")
                            .help(
                                "put a stage with a delay into the loop: kind = \"delay\", delay = \"10 us\"; \
                                 `logic` with a `delay`, `midi-cable` and `audio-buffer` will do too, and \
                                 `rc` and `envelope` with two thresholds",
                            );
                        faults.push(fault);
                        told += 1;
                        if told == MOST_LOOPS {
                            return;
                        }
                    }
                    State::Done => {}
                }
            }
        }
    }

    /// A loop as people follow it, and where in the file it begins. `trail` goes from each point to its cause.
    fn drawn(&self, trail: &[usize]) -> (String, Place) {
        let mut flow: Vec<usize> = trail.iter().rev().copied().collect();
        // It begins at a sequencer, else at a wire, else anywhere; at the first of several in the order of the file.
        let rank = |point: &usize| match self.line(*point) {
            (line, 0) if matches!(line.path.source, Source::Sequencer { .. }) => (0, *point),
            (_, 0) => (1, *point),
            _ => (2, *point),
        };
        let begin = flow.iter().enumerate().min_by_key(|(_, point)| rank(point)).map_or(0, |(n, _)| n);
        flow.rotate_left(begin);
        let names_of = |n: usize| {
            let entry = self.entry(flow[n], flow[(n + 1) % flow.len()]);
            std::iter::once(self.name(flow[n])).chain(entry)
        };
        let mut names: Vec<String> = (0..flow.len().min(MOST_DRAWN)).flat_map(names_of).collect();
        if flow.len() > MOST_DRAWN {
            names.push("…".to_owned());
            names.extend(names_of(flow.len() - 1));
        }
        names.push(names[0].clone());
        (names.join(" → "), self.place(flow[0]))
    }

    fn name(&self, point: usize) -> String {
        let (line, n) = self.line(point);
        match (n.checked_sub(1), line.path.source) {
            (Some(before), _) => shown(&self.rig.stages[line.path.stages[before]].name),
            (None, Source::Output(output)) => shown(&self.rig.outputs[output].name),
            (None, Source::Wire(wire)) => format!("wire.{}", shown(&self.rig.wires[wire].name)),
            (None, Source::Sequencer { index, tap }) => {
                let word = TAPS.iter().find(|(_, known)| *known == tap).map_or("", |(word, _)| word);
                format!("{}.{word}", shown(&self.rig.sequencers[index].name))
            }
        }
    }

    /// The input that lies between the end of a line and what it brings about, where it has a name of its own.
    fn entry(&self, point: usize, effect: usize) -> Option<String> {
        let (line, _) = self.line(point);
        let follows = effect == point + 1 && effect <= line.end();
        let name = match line.owner {
            _ if follows => return None,
            (Kind::Sequencer, n) => &self.rig.sequencers[n].name,
            (Kind::Stage, n) => &self.rig.stages[n].name,
            _ => return None,
        };
        Some(format!("{}.{}", shown(name), line.key))
    }

    /// Where a point's name stands in the file.
    fn place(&self, point: usize) -> Place {
        let (line, n) = self.line(point);
        let (kind, owner) = line.owner;
        let section = &self.view.of(kind)[owner];
        section.get(line.key).map_or(section.name.at.clone(), |(_, node)| place_of_name(node, n))
    }

    /// Tells the serial lines that are named on a path and after a sequencer too: what goes to an input is worked out before
    /// what goes to the ear, so that the two cannot wait for each other in one queue.
    fn check_cables(&self, faults: &mut Faults) {
        let is_cable = |stage: &usize| matches!(self.rig.stages[*stage].kind, StageKind::MidiCable(_));
        let on_path = |stage: usize| {
            let place = |line: &Line<'_>| Some(line.first + 1 + line.path.stages.iter().position(|s| *s == stage)?);
            self.lines.iter().find_map(place)
        };
        for stage in (0..self.rig.stages.len()).filter(is_cable) {
            let Some(point) = on_path(stage) else { continue };
            let mut sequencers = self.rig.sequencers.iter().enumerate();
            let Some((owner, n)) =
                sequencers.find_map(|(owner, s)| Some((owner, s.out.iter().position(|s| *s == stage)?)))
            else {
                continue;
            };
            let sequencer = &self.rig.sequencers[owner].name;
            let section = &self.view.of(Kind::Sequencer)[owner];
            let at = section.get("out").map_or(section.name.at.clone(), |(_, node)| place_of_name(node, n));
            let (line, _) = self.line(point);
            let (kind, owner) = line.owner;
            let path = format!("{}.{}.{}", kind.key(), shown(&self.view.of(kind)[owner].name.text), line.key);
            let cable = shown(&self.rig.stages[stage].name);
            let fault = Fault::new(at, format!("the serial line `{cable}` goes to an input and to the ear"))
                .label(format!(
                    "found it in `out` of `{}` and in `{path}`; expected one or the other, since one queue for both is not worked out",
                    shown(sequencer)
                ))
                .help(format!("define a second line, [stage.{cable}-2] kind = \"midi-cable\", and name it in one of the two"));
            faults.push(fault);
        }
    }

    /// Tells the multipliers whose pulses would come closer than those of any output may.
    fn check_multipliers(&self, fastest: Tempo, faults: &mut Faults) {
        if !self.rig.stages.iter().any(|stage| matches!(stage.kind, StageKind::Multiply(_))) {
            return;
        }
        let mut periods = vec![None; self.lines.len()];
        for line in 0..self.lines.len() {
            self.period(line, fastest, &mut periods, faults);
        }
    }

    /// The time between pulses at the end of a line, in picoseconds; infinite where there is no telling.
    fn period(&self, line: usize, fastest: Tempo, known: &mut Vec<Option<f64>>, faults: &mut Faults) -> f64 {
        if let Some(period) = known[line] {
            return period;
        }
        // A line that leads back to itself has no period of its own.
        known[line] = Some(f64::INFINITY);
        let path = self.lines[line].path;
        let mut period = match path.source {
            Source::Output(output) => match &self.rig.outputs[output].timing {
                Timing::Rate { period, .. } => {
                    let exact = fastest.exact(*period);
                    *exact.numer() as f64 / *exact.denom() as f64
                }
                Timing::Start | Timing::Stop | Timing::Run => f64::INFINITY,
            },
            Source::Wire(wire) => self.period(self.wires[wire], fastest, known, faults),
            Source::Sequencer { index, tap } => {
                let sequencer = &self.rig.sequencers[index];
                let pulses = match tap {
                    Tap::Thru => 1.0,
                    Tap::Hits => f64::from(sequencer.pulses_per_step),
                    Tap::Step1 | Tap::End => f64::from(sequencer.pulses_per_step) * sequencer.steps.len() as f64,
                };
                self.period(self.inputs[index].0, fastest, known, faults) * pulses
            }
        };
        for (n, stage) in path.stages.iter().enumerate() {
            match &self.rig.stages[*stage].kind {
                StageKind::Divide(divide) => period *= f64::from(divide.by),
                StageKind::Multiply(multiply) => {
                    period /= f64::from(multiply.by);
                    if period < SHORTEST_PERIOD_PS as f64 {
                        let found = show_span(Span(period.round() as i64));
                        let name = shown(&self.rig.stages[*stage].name);
                        let fault = Fault::new(
                            self.place(self.lines[line].first + n + 1),
                            format!("the stage `{name}` would pulse every {found} at {fastest}"),
                        )
                        .label(format!("found a period of {found}, expected 10 us or more"))
                        .help(format!("write a smaller `by` in [stage.{name}], or begin at a slower output"));
                        faults.push(fault);
                        // Told once, and not again for every multiplier behind it.
                        period = SHORTEST_PERIOD_PS as f64 * 65_536.0;
                    }
                }
                _ => {}
            }
        }
        known[line] = Some(period);
        period
    }
}

/// Whether nothing ever leaves a stage at the instant at which its cause came, whatever is drawn within its limits: what
/// the stages of the simulation say of themselves, held a little stricter.
fn is_late(kind: &StageKind) -> bool {
    /// From one threshold to the other, in picoseconds, with room for rounding.
    const APART: f64 = 2.0;
    match kind {
        StageKind::Delay(delay) => {
            delay.rise.min > Span::ZERO && (delay.one_shot.is_some() || delay.fall.min > Span::ZERO)
        }
        StageKind::Logic(logic) => logic.delay.min > Span::ZERO,
        StageKind::Rc(rc) => {
            let series = rc.r.min + rc.source;
            let parallel = 1.0 / (1.0 / series + 1.0 / rc.load + 1.0 / rc.discharge);
            let (rise, fall) = (rc.threshold_rise, rc.threshold_fall);
            let gap = (rise.min - fall.min).min(rise.typ - fall.typ).min(rise.max - fall.max);
            // An exponential is steepest where it begins: at most its whole way in a time constant.
            rc.c.min * parallel * 1e12 * gap / (rc.high - rc.low) >= APART
        }
        StageKind::Envelope(envelope) => {
            // A curve to its peak aims half as far again, with a time constant of its time by ln 3 = 1.0986.
            let steepest = (envelope.attack.min.0 as f64 / (1.5 * 1.0987)).min(envelope.decay.min.0 as f64);
            let gap = envelope.threshold_rise - envelope.threshold_fall;
            envelope.retrigger != Retrigger::FromZero && steepest * gap / envelope.peak >= APART
        }
        StageKind::MidiCable(_) | StageKind::AudioBuffer(_) => true,
        // A look sees what comes at its own instant, the last of a row of looks too.
        StageKind::Poll(_)
        | StageKind::Divide(_)
        | StageKind::Multiply(_)
        | StageKind::Air(_)
        | StageKind::Strike(_)
        | StageKind::Jitter(_) => false,
    }
}
