//! What a verdict hangs on: the cone of a box, transitive through chains, shared points, second inputs and queues.

use super::change::{Change, Place};
use crate::judge::{Input, Target};
use crate::patch::{Path, Rig, Source, StageKind};

/// Something that a change touches and a verdict hangs on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Entity {
    /// Everything: nobody knows what it does not reach.
    All,
    Output(usize),
    /// The point at an output before all inputs of a kind.
    Fan(usize, Input),
    Stage(usize),
    Wire(usize),
    Input(Target),
    Box(usize),
    /// When the hits of a player sound, whatever it plays.
    Player(usize),
}

/// Where each entity stands in a set of bits.
#[derive(Clone, Copy, Debug)]
pub(super) struct Map {
    outputs: usize,
    stages: usize,
    wires: usize,
    boxes: usize,
    players: usize,
}

/// A set of entities.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub(super) struct Cone {
    bits: Vec<u64>,
    /// The boxes that are played for it.
    pub(super) boxes: Vec<bool>,
    /// Whether the whole rig has to be played.
    pub(super) whole: bool,
}

const fn is_reset(input: Input) -> usize {
    matches!(input, Input::Reset) as usize
}

impl Map {
    pub(super) fn of(rig: &Rig) -> Self {
        Self {
            outputs: rig.outputs.len(),
            stages: rig.stages.len(),
            wires: rig.wires.len(),
            boxes: rig.sequencers.len(),
            players: rig.players(),
        }
    }

    fn place(&self, entity: Entity) -> usize {
        let outputs = 1;
        let fans = outputs + self.outputs;
        let stages = fans + 2 * self.outputs;
        let wires = stages + self.stages;
        let inputs = wires + self.wires;
        let boxes = inputs + 2 * self.boxes;
        let players = boxes + self.boxes;
        match entity {
            Entity::All => 0,
            Entity::Output(n) => outputs + n,
            Entity::Fan(n, input) => fans + 2 * n + is_reset(input),
            Entity::Stage(n) => stages + n,
            Entity::Wire(n) => wires + n,
            Entity::Input(t) => inputs + 2 * t.sequencer + is_reset(t.input),
            Entity::Box(n) => boxes + n,
            Entity::Player(n) => players + n,
        }
    }

    fn len(&self) -> usize {
        1 + 3 * self.outputs + self.stages + self.wires + 3 * self.boxes + self.players
    }

    /// What a change touches.
    pub(super) fn touches(&self, rig: &Rig, change: &Change) -> Vec<Entity> {
        match change {
            Change::Nudge { player } => vec![Entity::Player(*player)],
            Change::Route { target, .. } => vec![Entity::Input(*target)],
            Change::Put { at, .. } => match at {
                Place::Input(target) => vec![Entity::Input(*target)],
                Place::Wire(wire) => vec![Entity::Wire(*wire)],
                Place::Output(output, input) => vec![Entity::Fan(*output, *input)],
                Place::Group(group) => group.targets(rig).into_iter().map(Entity::Input).collect(),
            },
            Change::Turn { output, .. } => vec![Entity::Output(*output)],
            Change::Set { path, .. } => {
                let parts: Vec<&str> = path.split('.').collect();
                let entity = match parts[..] {
                    // What the pulses are meant for moves the ones of everybody, and what is due when.
                    ["clock", _, "rate" | "at" | "swing"] => None,
                    ["clock", name, _] => rig.outputs.iter().position(|o| o.name == name).map(Entity::Output),
                    ["stage", name, _] => rig.stages.iter().position(|s| s.name == name).map(Entity::Stage),
                    ["sequencer", name, _] => rig.sequencers.iter().position(|s| s.name == name).map(Entity::Box),
                    _ => None,
                };
                vec![entity.unwrap_or(Entity::All)]
            }
        }
    }
}

impl Cone {
    fn nothing(map: Map) -> Self {
        let mut cone = Self { bits: vec![0; map.len().div_ceil(64)], boxes: vec![false; map.boxes], whole: false };
        cone.add(map, Entity::All);
        cone
    }

    /// What the hits of a take hang on: nothing but itself.
    pub(super) fn of_takes(map: Map) -> Self {
        Self::nothing(map)
    }

    /// All there is.
    pub(super) fn everything(map: Map) -> Self {
        Self { bits: vec![u64::MAX; map.len().div_ceil(64)], boxes: vec![true; map.boxes], whole: true }
    }

    pub(super) fn add(&mut self, map: Map, entity: Entity) {
        let place = map.place(entity);
        self.bits[place / 64] |= 1 << (place % 64);
    }

    pub(super) fn holds(&self, map: Map, entity: Entity) -> bool {
        let place = map.place(entity);
        self.bits[place / 64] & (1 << (place % 64)) != 0
    }

    /// Whether any of these is in it.
    pub(super) fn meets(&self, map: Map, touched: &[Entity]) -> bool {
        touched.iter().any(|entity| *entity == Entity::All || self.holds(map, *entity))
    }

    pub(super) fn and(&mut self, other: &Self) {
        self.bits.iter_mut().zip(&other.bits).for_each(|(a, b)| *a |= b);
        self.boxes.iter_mut().zip(&other.boxes).for_each(|(a, b)| *a |= b);
        self.whole |= other.whole;
    }

    /// What the plays and hits of a box hang on. `rigs` are the rig in turn; `route` gives another way to an input.
    pub(super) fn of_box<'r>(map: Map, rigs: &'r [Rig], sequencer: usize, route: Route<'_, 'r>) -> Self {
        let mut all = Self::nothing(map);
        for (era, rig) in rigs.iter().enumerate() {
            let mut own = Self::nothing(map);
            let mut walk = Walk { map, rig, route, later: era > 0, cone: &mut own };
            walk.visit_box(sequencer);
            // All who may stand in a queue count.
            if walk.cone.whole {
                (0..map.boxes).for_each(|s| walk.visit_box(s));
            }
            all.and(&own);
        }
        all.whole |= all.boxes.iter().filter(|played| **played).count() > 1;
        all
    }

    /// Adds what the second input of a part hangs on.
    pub(super) fn add_part(&mut self, map: Map, rig: &Rig, kind: &StageKind) {
        let mut walk = Walk { map, rig, route: &|_| None, later: false, cone: self };
        if let Some((_, path)) = kind.second() {
            walk.visit_path(path, None);
        }
        self.whole |= self.boxes.iter().filter(|played| **played).count() > 1;
    }
}

/// Another way to an input.
pub(super) type Route<'f, 'r> = &'f dyn Fn(Target) -> Option<&'r Path>;

/// A walk against the stream of one rig.
struct Walk<'f, 'r, 'c> {
    map: Map,
    rig: &'r Rig,
    route: Route<'f, 'r>,
    /// Whether this is an era: there an input may be plugged in as the era has it.
    later: bool,
    cone: &'c mut Cone,
}

impl<'r> Walk<'_, 'r, '_> {
    fn visit_box(&mut self, sequencer: usize) {
        if std::mem::replace(&mut self.cone.boxes[sequencer], true) {
            return;
        }
        self.cone.add(self.map, Entity::Box(sequencer));
        let own = &self.rig.sequencers[sequencer];
        for input in [Input::Clock, Input::Reset] {
            let target = Target { sequencer, input };
            self.cone.add(self.map, Entity::Input(target));
            let written = match input {
                Input::Clock => Some(&own.clock),
                Input::Reset => own.reset.as_ref().map(|reset| &reset.path),
            };
            let ways = if self.later { 2 } else { 1 };
            for path in [(self.route)(target), written].into_iter().flatten().take(ways) {
                self.visit_path(path, Some(input));
            }
        }
        for &stage in own.out.iter().chain(&own.poll) {
            self.visit_stage(stage);
        }
    }

    fn visit_path(&mut self, path: &'r Path, input: Option<Input>) {
        match path.source {
            Source::Output(output) => {
                self.cone.add(self.map, Entity::Output(output));
                input.into_iter().for_each(|input| self.cone.add(self.map, Entity::Fan(output, input)));
            }
            Source::Wire(wire) => {
                let seen = self.cone.holds(self.map, Entity::Wire(wire));
                self.cone.add(self.map, Entity::Wire(wire));
                if !seen {
                    self.visit_path(&self.rig.wires[wire].path, None);
                }
            }
            Source::Sequencer { index, .. } => self.visit_box(index),
        }
        path.stages.iter().for_each(|&stage| self.visit_stage(stage));
    }

    fn visit_stage(&mut self, stage: usize) {
        // What was put in is none of the patch's.
        if stage >= self.map.stages || self.cone.holds(self.map, Entity::Stage(stage)) {
            return;
        }
        self.cone.add(self.map, Entity::Stage(stage));
        let kind = &self.rig.stages[stage].kind;
        self.cone.whole |= matches!(kind, StageKind::MidiCable(_));
        if let Some((_, path)) = kind.second() {
            self.visit_path(path, None);
        }
    }
}
