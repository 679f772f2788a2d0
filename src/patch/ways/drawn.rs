//! What points are called, and where they stand in the file.

use super::Ways;
use crate::patch::check::fault::Place;
use crate::patch::check::show::shown;
use crate::patch::check::view::Kind;
use crate::patch::model::Source;
use crate::patch::read::path::{TAPS, place_of_name};

/// How many points of a loop are drawn, apart from its last.
const MOST_DRAWN: usize = 12;

impl Ways<'_> {
    /// A loop as people follow it, and where in the file it begins. `trail` goes from each point to its cause.
    pub(super) fn drawn(&self, trail: &[usize]) -> (String, Place) {
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
    pub(super) fn place(&self, point: usize) -> Place {
        let (line, n) = self.line(point);
        let (kind, owner) = line.owner;
        let section = &self.view.of(kind)[owner];
        section.get(line.key).map_or(section.name.at.clone(), |(_, node)| place_of_name(node, n))
    }
}
