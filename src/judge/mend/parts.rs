//! What can be put in, and where.

use super::catalogue::{is_rate, is_still};
use super::change::{Change, Place, fan};
use super::group::Group;
use crate::judge::{Input, Target};
use crate::patch::{Component, Rig, StageKind};
use std::collections::HashSet;

/// Something that can be put in.
#[derive(Clone, Debug, PartialEq)]
pub struct Part {
    /// Its name.
    pub name: String,
    /// What it does.
    pub kind: StageKind,
    /// What it costs, in the file's own words.
    pub price: Option<String>,
    /// The stage as a table in braces; `None` for a stage of the patch that lies idle.
    pub written: Option<String>,
    /// The index of such a stage.
    pub stage: Option<usize>,
}

/// The components, and the stages of the patch that lie idle.
pub(super) fn parts(rig: &Rig, components: &[Component]) -> Vec<Part> {
    let of_components = components.iter().map(|c| Part {
        name: c.name.clone(),
        kind: c.kind.clone(),
        price: c.price.clone(),
        written: Some(c.written.clone()),
        stage: None,
    });
    let rigs = rig.in_turn();
    let used: HashSet<usize> = rigs.iter().flat_map(used).collect();
    let idle = rig.stages.iter().enumerate().filter(|(n, stage)| {
        let pulses = !matches!(stage.kind, StageKind::MidiCable(_) | StageKind::Poll(_));
        let still = stage.kind.second().is_none_or(|(_, path)| is_still(rig, path, 0));
        !used.contains(n) && pulses && still && carries_pulses(&stage.kind)
    });
    let idle = idle.map(|(n, stage)| Part {
        name: stage.name.clone(),
        kind: stage.kind.clone(),
        price: None,
        written: None,
        stage: Some(n),
    });
    idle.chain(of_components).collect()
}

fn carries_pulses(kind: &StageKind) -> bool {
    !matches!(kind, StageKind::Air(_) | StageKind::Strike(_) | StageKind::AudioBuffer(_))
}

/// The stages that anything passes.
fn used(rig: &Rig) -> Vec<usize> {
    let mut all: Vec<usize> = Vec::new();
    let second = rig.stages.iter().filter_map(|stage| stage.kind.second().map(|(_, path)| path));
    let inputs = rig.sequencers.iter().flat_map(|s| std::iter::once(&s.clock).chain(s.reset.as_ref().map(|r| &r.path)));
    for path in rig.wires.iter().map(|wire| &wire.path).chain(second).chain(inputs) {
        all.extend(&path.stages);
    }
    rig.sequencers.iter().for_each(|s| all.extend(s.out.iter().chain(&s.poll)));
    all
}

/// The outputs at which several inputs of a kind begin.
fn fans(rig: &Rig) -> impl Iterator<Item = (usize, Input)> + '_ {
    let all = (0..rig.outputs.len()).flat_map(|o| [Input::Clock, Input::Reset].map(|input| (o, input)));
    all.filter(|(output, input)| fan(rig, *output, *input).len() > 1)
}

/// Those at which there are too many groups of inputs to look at each.
pub(super) fn ungrouped(rig: &Rig, most: usize) -> Vec<(usize, Input)> {
    fans(rig).filter(|at| fan(rig, at.0, at.1).len() > 2 && Group::all(rig, *at, most).is_empty()).collect()
}

/// Every part in every way; what makes more or fewer pulses only in that of a reset, or the groove would be another.
pub(super) fn puts(rig: &Rig, parts: &[Part], most: usize) -> Vec<Change> {
    let inputs = Target::all(rig).into_iter().filter(|t| t.path(rig).is_some()).map(Place::Input);
    let wires = (0..rig.wires.len()).map(Place::Wire);
    let groups = fans(rig).flat_map(|at| Group::all(rig, at, most)).map(Place::Group);
    let fans = fans(rig).map(|(output, input)| Place::Output(output, input));
    let places: Vec<Place> = inputs.chain(wires).chain(fans).chain(groups).collect();
    let is_reset = |at: &Place| match at {
        Place::Input(target) => target.input == Input::Reset,
        Place::Output(_, input) | Place::Group(Group { input, .. }) => *input == Input::Reset,
        Place::Wire(_) => false,
    };
    let of = |at: &Place| {
        let may = |part: &usize| is_reset(at) || !is_rate(&parts[*part].kind);
        (0..parts.len()).filter(may).map(|part| Change::Put { part, at: *at }).collect::<Vec<_>>()
    };
    places.iter().flat_map(of).collect()
}
