//! Everything that hangs together: what is on each wire, found by going over the whole rig again and again until
//! nothing changes any more.

use super::Exact;
use super::line::{self, Brings, Sender};
use super::outputs::{beat_by_formula, sent};
use super::sequencer::{self, Played};
use super::signal::{EVER, Pulse};
use super::stages;
use super::turning::Meant;
use hitgap::patch::{Does, Logic, Path, Rig, Source, StageKind, Tap, Timing, Tolerance};
use hitgap::time::{Span, Tempo};
use std::collections::BTreeMap;

/// What is on the wires of a rig.
pub(crate) struct Wires<'a> {
    pub(crate) rig: Meant<'a>,
    outputs: Vec<Vec<Pulse>>,
    /// What each sequencer does.
    pub(crate) played: Vec<Played>,
    /// What is heard behind serial lines: on which path, behind which of its stages.
    heard: BTreeMap<Place, Vec<Pulse>>,
}

/// Whose path, clocks and resets of sequencers first, and which of its stages.
type Place = (usize, usize);

impl<'a> Wires<'a> {
    /// Before any sequencer has done anything.
    pub(crate) fn of_the_clock(rig: &'a Rig, tempo: Tempo) -> Self {
        let outputs = (0..rig.outputs.len()).map(|output| sent(rig, output, tempo)).collect();
        let nothing = rig.sequencers.iter().map(|_| Played::default()).collect();
        let mut wires = Self { rig: Meant::of(rig), outputs, played: nothing, heard: BTreeMap::new() };
        wires.listen();
        wires
    }

    /// Goes over the rig until nothing changes.
    ///
    /// In a circle, what is wrong at first can go round and round with the circle's delay. So after a few rounds nothing
    /// is believed but what stayed as it was and what happened next: no effect comes before its cause.
    pub(crate) fn of(rig: &'a Rig, tempo: Tempo) -> Self {
        let mut wires = Self::of_the_clock(rig, tempo);
        for round in 0..20_000 {
            let mut again: Vec<Played> =
                rig.sequencers.iter().map(|s| sequencer::plays(&wires.rig, &wires, s)).collect();
            if again == wires.played {
                return wires;
            }
            let differ = again.iter().zip(&wires.played).filter_map(|(a, b)| a.first_difference(b)).min();
            if let Some(differ) = differ.filter(|_| round >= 30) {
                again.iter_mut().for_each(|played| played.forget_after(differ));
            }
            wires.played = again;
            wires.listen();
        }
        panic!("a circle that never comes to rest");
    }

    /// What comes out of a path's end.
    pub(crate) fn path(&self, path: &Path) -> Vec<Pulse> {
        let mut wire = match path.source {
            Source::Output(output) => self.outputs[output].clone(),
            Source::Wire(wire) => self.path(&self.rig.wires[wire].path),
            Source::Sequencer { index, tap: Tap::Thru } => self.played[index].thru.clone(),
            Source::Sequencer { index, tap } => self.played[index].taps[tap_index(tap)].clone(),
        };
        for n in 0..path.stages.len() {
            wire = self.behind(path, n, &wire);
        }
        wire
    }

    /// What the serial lines make of all that comes to them; one may hang on another.
    fn listen(&mut self) {
        for _ in 0..100 {
            let mut again = BTreeMap::new();
            for (stage, it) in self.rig.stages.iter().enumerate() {
                let StageKind::MidiCable(it) = &it.kind else { continue };
                let (places, senders): (Vec<Place>, Vec<Sender>) = self.senders(stage).into_iter().unzip();
                again.extend(places.into_iter().zip(line::heard(it, &senders)));
            }
            if again == self.heard {
                return;
            }
            self.heard = again;
        }
        panic!("serial lines that hang on nothing but each other");
    }

    /// "one queue for all who name it", in the order of the file: what a shared point hangs on stands where the point is
    /// first named.
    fn senders(&self, cable: usize) -> Vec<(Place, Sender)> {
        fn walk<'r>(rig: &'r Rig, path: &'r Path, all: &mut Vec<&'r Path>) {
            if let Source::Wire(wire) = path.source
                && !all.iter().any(|known| std::ptr::eq(*known, &rig.wires[wire].path))
            {
                walk(rig, &rig.wires[wire].path, all);
            }
            all.push(path);
        }
        let mut paths = Vec::new();
        for sequencer in &self.rig.sequencers {
            walk(&self.rig, &sequencer.clock, &mut paths);
            sequencer.reset.iter().for_each(|reset| walk(&self.rig, &reset.path, &mut paths));
        }
        let mut all = Vec::new();
        for path in paths {
            let mut wire = self.path(&Path { source: path.source, stages: Vec::new() });
            for (n, stage) in path.stages.iter().enumerate() {
                if *stage == cable {
                    let (brings, name) = self.brings(path.source);
                    all.push(((self.owner(path), n), Sender { brings, name, wire: wire.clone() }));
                }
                wire = self.behind(path, n, &wire);
            }
        }
        all
    }

    /// "A `[wire]` between changes nothing of what the bytes are."
    fn brings(&self, source: Source) -> (Brings, String) {
        match source {
            Source::Wire(wire) => self.brings(self.rig.wires[wire].path.source),
            Source::Sequencer { index, tap } => {
                let brings = if tap == Tap::Thru { Brings::Clock } else { Brings::Notes };
                (brings, self.rig.sequencers[index].name.clone())
            }
            Source::Output(output) => {
                let output = &self.rig.outputs[output];
                // What runs from a start that goes on is numbered with all other starts.
                let starts = self.rig.course.switches.iter().skip(1).step_by(2);
                let goes_on = (1..).zip(starts).filter(|(_, beat)| self.rig.course.continues.contains(beat));
                let brings = match output.timing {
                    Timing::Rate { .. } => Brings::Clock,
                    Timing::Start => Brings::Start,
                    Timing::Stop => Brings::Stop,
                    Timing::Run => Brings::Run(goes_on.map(|(number, _)| number).collect()),
                };
                (brings, output.name.clone())
            }
        }
    }

    /// Which of the rig's paths it is.
    fn owner(&self, path: &Path) -> usize {
        let sequencers = self.rig.sequencers.iter();
        let inputs = sequencers.flat_map(|s| [Some(&s.clock), s.reset.as_ref().map(|reset| &reset.path)]);
        let all = inputs.chain(self.rig.wires.iter().map(|wire| Some(&wire.path)));
        let is_it = |other: Option<&Path>| other.is_some_and(|other| std::ptr::eq(other, path));
        all.enumerate().find(|(_, other)| is_it(*other)).expect("a serial line is on a path of its own").0
    }

    /// What a stage of a path makes of what comes in.
    fn behind(&self, path: &Path, n: usize, wire: &[Pulse]) -> Vec<Pulse> {
        let stage = path.stages[n];
        match &self.rig.stages[stage].kind {
            StageKind::Delay(delay) => stages::delay(delay, wire),
            StageKind::Logic(logic) => stages::logic(logic, wire, &self.second(stage)),
            StageKind::Divide(divide) => stages::divide(divide, wire, &self.second(stage)),
            StageKind::Multiply(multiply) => stages::multiply(multiply, wire),
            StageKind::Poll(poll) => stages::poll(poll, wire),
            StageKind::MidiCable(_) => self.heard.get(&(self.owner(path), n)).cloned().unwrap_or_default(),
            other => panic!("the naive rules do not know {other:?}"),
        }
    }

    /// What comes to the second input of a stage.
    fn second(&self, stage: usize) -> Vec<Pulse> {
        second_path(&self.rig.stages[stage].kind).map_or(Vec::new(), |path| self.path(path))
    }

    /// "every pulse lost, merged or added on the way is counted": what went into each stage and did not come out, over
    /// all channels that it has. "All who begin at one wire share" what is before it, so that this is counted once.
    pub(crate) fn went_missing(&self) -> Vec<i128> {
        let mut missing = vec![0; self.rig.stages.len()];
        let mut wires = vec![false; self.rig.wires.len()];
        for sequencer in &self.rig.sequencers {
            self.count(&sequencer.clock, &mut missing, &mut wires);
            if let Some(reset) = &sequencer.reset {
                self.count(&reset.path, &mut missing, &mut wires);
            }
        }
        missing
    }

    fn count(&self, path: &Path, missing: &mut [i128], wires: &mut [bool]) {
        if let Source::Wire(wire) = path.source
            && !std::mem::replace(&mut wires[wire], true)
        {
            self.count(&self.rig.wires[wire].path, missing, wires);
        }
        let mut wire = self.path(&Path { source: path.source, stages: Vec::new() });
        for (n, stage) in path.stages.iter().enumerate() {
            let kind = &self.rig.stages[*stage].kind;
            if let Some(second) = second_path(kind) {
                self.count(second, missing, wires);
            }
            let out = self.behind(path, n, &wire);
            let should_come = match kind {
                // "What a divider keeps back is its purpose."
                StageKind::Divide(_) => out.len() as i128,
                // A multiplier's first pulse is lost; every other one asks for `by`.
                StageKind::Multiply(multiply) => match rises(&wire) {
                    0 => 0,
                    n => i128::from(multiply.by) * (n - 1) + 1,
                },
                // "What a gate lets through and what it holds back is its purpose, and is not counted", but "where two
                // pulses of an `or` overlap or touch, the second is merged".
                StageKind::Logic(logic) if logic.does == Does::Or => rises(&wire) + rises(&self.second(*stage)),
                StageKind::Logic(logic) => {
                    let at_once = Logic { delay: Tolerance::plain(Span::ZERO), swallows: Span::ZERO, ..logic.clone() };
                    rises(&stages::logic(&at_once, &wire, &self.second(*stage)))
                }
                // A line loses nothing: what is no byte, or says nothing to who listens, was not meant to come.
                StageKind::MidiCable(_) => rises(&out),
                _ => rises(&wire),
            };
            missing[*stage] += should_come - rises(&out);
            wire = out;
        }
    }
}

/// The path to the second input of a stage that has one.
fn second_path(kind: &StageKind) -> Option<&Path> {
    match kind {
        StageKind::Logic(logic) => logic.with.as_ref(),
        StageKind::Divide(divide) => divide.reset.as_ref(),
        _ => None,
    }
}

/// How often a wire rises; what was high before the start is no rise.
fn rises(wire: &[Pulse]) -> i128 {
    wire.iter().filter(|pulse| pulse.rise != EVER).count() as i128
}

/// Where the pulses of a tap are kept.
pub(crate) fn tap_index(tap: Tap) -> usize {
    match tap {
        Tap::Step1 => 0,
        Tap::End => 1,
        Tap::Hits => 2,
        Tap::Thru => panic!("it is no list of steps"),
    }
}

/// "numbers behind a multiplier by m count in m-ths"
pub(crate) fn scale(rig: &Rig, path: &Path) -> i128 {
    let before = match path.source {
        Source::Output(_) => 1,
        Source::Wire(wire) => scale(rig, &rig.wires[wire].path),
        Source::Sequencer { index, .. } => scale(rig, &rig.sequencers[index].clock),
    };
    let own = path.stages.iter().map(|stage| match &rig.stages[*stage].kind {
        StageKind::Multiply(multiply) => i128::from(multiply.by),
        _ => 1,
    });
    before * own.product::<i128>()
}

/// The `n`th pulse that is meant to come out of a path's end, if all goes as it is meant to: its number, and the beat
/// that it is meant for. "Between two pulses, a multiplier's pulses are meant to be evenly spread."
pub(crate) fn meant_to_come(rig: &Meant<'_>, path: &Path, n: i128) -> (i128, Exact) {
    behind(rig, path, path.stages.len(), n)
}

fn behind(rig: &Meant<'_>, path: &Path, stages: usize, n: i128) -> (i128, Exact) {
    if stages == 0 {
        return match path.source {
            Source::Output(output) => (n, beat_by_formula(rig, output, n)),
            Source::Wire(wire) => meant_to_come(rig, &rig.wires[wire].path, n),
            Source::Sequencer { index, tap } => {
                let it = &rig.sequencers[index];
                let all = it.steps.len();
                let on: Vec<usize> = match tap {
                    Tap::Thru => return meant_to_come(rig, &it.clock, n),
                    Tap::Step1 => vec![0],
                    Tap::End => vec![all - 1],
                    Tap::Hits => (0..all).filter(|s| it.steps[*s].velocity().is_some()).collect(),
                };
                let on = if on.is_empty() { vec![0] } else { on };
                let round = n.div_euclid(on.len() as i128);
                let step = on[n.rem_euclid(on.len() as i128) as usize] as i128;
                let pulse = (round * all as i128 + step) * i128::from(it.pulses_per_step);
                meant_to_come(rig, &it.clock, pulse)
            }
        };
    }
    match &rig.stages[path.stages[stages - 1]].kind {
        StageKind::Divide(divide) => behind(rig, path, stages - 1, n * i128::from(divide.by)),
        StageKind::Multiply(multiply) => {
            let by = i128::from(multiply.by);
            let (number, beat) = behind(rig, path, stages - 1, n.div_euclid(by));
            let (_, next) = behind(rig, path, stages - 1, n.div_euclid(by) + 1);
            let i = n.rem_euclid(by);
            (number * by + i, beat + (next - beat) * Exact::new(i, by))
        }
        _ => behind(rig, path, stages - 1, n),
    }
}

/// Which of the pulses that are meant to come is the first with this number or a later one.
pub(crate) fn first_from(rig: &Meant<'_>, path: &Path, number: i128) -> i128 {
    let mut n = number;
    while meant_to_come(rig, path, n).0 >= number {
        n -= 1 + n.abs() / 2;
    }
    while meant_to_come(rig, path, n).0 < number {
        n += 1;
    }
    n
}

/// The beat that a number is meant for, whether or not a pulse with this number is meant to come.
pub(crate) fn beat_of(rig: &Meant<'_>, path: &Path, number: i128) -> Exact {
    beat_behind(rig, path, path.stages.len(), number)
}

fn beat_behind(rig: &Meant<'_>, path: &Path, stages: usize, number: i128) -> Exact {
    if stages == 0 {
        return match path.source {
            Source::Output(output) => beat_by_formula(rig, output, number),
            Source::Wire(wire) => beat_of(rig, &rig.wires[wire].path, number),
            Source::Sequencer { index, .. } => beat_of(rig, &rig.sequencers[index].clock, number),
        };
    }
    let StageKind::Multiply(multiply) = &rig.stages[path.stages[stages - 1]].kind else {
        return beat_behind(rig, path, stages - 1, number);
    };
    let by = i128::from(multiply.by);
    let (base, i) = (number.div_euclid(by), number.rem_euclid(by));
    let from = beat_behind(rig, path, stages - 1, base);
    if i == 0 {
        return from;
    }
    // Evenly between this pulse and where the next one would be meant to come.
    let before = Path { source: path.source, stages: path.stages[..stages - 1].to_vec() };
    let n = first_from(rig, &before, base);
    let apart = meant_to_come(rig, &before, n + 1).0 - meant_to_come(rig, &before, n).0;
    let to = beat_behind(rig, path, stages - 1, base + apart);
    from + (to - from) * Exact::new(i, by)
}

/// Whether every pulse of the output comes once, under its own number, as far as the path goes.
pub(crate) fn is_plain(rig: &Rig, path: &Path) -> bool {
    let before = match path.source {
        Source::Output(_) => true,
        Source::Wire(wire) => is_plain(rig, &rig.wires[wire].path),
        Source::Sequencer { index, tap: Tap::Thru } => is_plain(rig, &rig.sequencers[index].clock),
        Source::Sequencer { .. } => false,
    };
    let counts = |kind: &StageKind| matches!(kind, StageKind::Divide(_) | StageKind::Multiply(_));
    before && !path.stages.iter().any(|stage| counts(&rig.stages[*stage].kind))
}
