//! What only all paths together show: whether each begins at the clock in the end, whether a loop closes in no time,
//! and whether a multiplier is asked for too much.
//!
//! Every path is a line of *points*: where it begins, then behind each of its stages. A point has one or two causes: the
//! point before it, the end of its stage's second path, or the ends of the paths of the sequencer that it begins at.

mod cable;
mod drawn;
mod loops;
mod multiply;
mod sides;

use crate::patch::check::fault::Faults;
use crate::patch::check::view::{Kind, View};
use crate::patch::model::{Path, ResetMode, Rig, Source, StageKind, Tap};
use crate::time::Tempo;

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
        let side = |(n, stage): (usize, &'a crate::patch::model::Stage)| {
            stage.kind.second().map(|(key, path)| add((Kind::Stage, n), key, path))
        };
        let sides = rig.stages.iter().enumerate().map(side).collect();
        let input = |(n, sequencer): (usize, &'a crate::patch::model::Sequencer)| {
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
            let late = self.rig.stages[stage].kind.is_late();
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
}
