//! From a rig to nodes that are wired: every device once, whatever it is plugged into in the course of the piece.

use super::super::jittered::Swayed;
use super::super::player::{CLOCK, RESET, channel};
use super::super::stage::midi_cable::{Carries, MidiCable, Names};
use super::super::stage::{self, Out, Stage};
use super::super::{Run, Timeline};
use super::node::{Body, Feed, Node};
use crate::patch::{Path, Rig, Source, StageKind, Tap, Timing};
use crate::time::Instant;
use std::collections::{BTreeMap, BinaryHeap};

/// Where a channel of a node is, for wiring.
pub(super) type Tip = (usize, usize);

/// An input of a node.
pub(super) type Port = (usize, usize);

/// The channel of a stage: on the way to which input, which stage, and for the how manieth time on this way.
pub(super) type Channel = (Port, usize, usize);

/// The node of a serial line, and what each of its ports carries, for whom and from where.
pub(super) type Cable = (usize, Vec<(Carries, Channel, Names)>);

pub(super) struct Builder<'a> {
    /// The rig that is being wired: that of the start, or a later one.
    pub(super) rig: &'a Rig,
    /// The rig as it is at the start of the piece.
    pub(super) first: &'a Rig,
    /// From when on what is being wired holds.
    pub(super) from: Instant,
    pub(super) timelines: &'a [Timeline],
    pub(super) run: Run,
    pub(super) nodes: Vec<Node<'a>>,
    /// Nodes of outputs and of shared points, once they are made.
    pub(super) outputs: Vec<Option<usize>>,
    pub(super) points: Vec<Option<usize>>,
    /// Shared points whose way has been followed in the rig that is being wired.
    pub(super) followed: Vec<bool>,
    /// The channel of a stage on the way to an input: it is the same device however it is plugged in.
    pub(super) stages: BTreeMap<Channel, usize>,
    /// How many channels of each stage there are so far.
    pub(super) channels: Vec<usize>,
    /// For each serial line that is named, its node and what its ports carry so far, and for whom.
    pub(super) cables: Vec<Option<Cable>>,
    /// What is plugged in where.
    pub(super) wires: Vec<(Tip, Port)>,
}

impl<'a> Builder<'a> {
    pub(super) fn add(&mut self, body: Body<'a>, channels: usize) -> usize {
        let (out, listeners) = (Out::new(&vec![false; channels]), vec![Vec::new(); channels]);
        let numbers = vec![0; channels];
        self.nodes.push(Node {
            body,
            out,
            listeners,
            inbox: Vec::new(),
            wakes: BinaryHeap::new(),
            rank: 0,
            numbers,
            kept: None,
        });
        self.nodes.len() - 1
    }

    fn wire(&mut self, from: Tip, to: Port) {
        self.wires.push((from, to));
    }

    /// Follows all ways of a rig that holds from an instant on; makes the nodes that are not there yet. Says what is
    /// plugged in where.
    pub(super) fn plug(&mut self, rig: &'a Rig, from: Instant) -> Vec<(Tip, Port)> {
        (self.rig, self.from) = (rig, from);
        self.followed = vec![false; rig.wires.len()];
        for (index, sequencer) in rig.sequencers.iter().enumerate() {
            let clock = self.tip(&sequencer.clock, (index, CLOCK));
            self.wire(clock, (index, CLOCK));
            if let Some(reset) = &sequencer.reset {
                let tip = self.tip(&reset.path, (index, RESET));
                self.wire(tip, (index, RESET));
            }
        }
        std::mem::take(&mut self.wires)
    }

    /// The end of a path to an input; makes what it passes. Sequencers are the first nodes, by their index.
    fn tip(&mut self, path: &'a Path, to: Port) -> Tip {
        let mut tip = match path.source {
            Source::Output(output) => (self.output(output), 0),
            Source::Sequencer { index, tap } => (index, channel(tap)),
            Source::Wire(wire) => {
                let point = match self.points[wire] {
                    Some(point) => point,
                    None => self.add(Body::Point, 1),
                };
                self.points[wire] = Some(point);
                // Marked before its path is followed, so that a circle ends here.
                if !std::mem::replace(&mut self.followed[wire], true) {
                    let from = self.tip(&self.rig.wires[wire].path, (point, 0));
                    self.wire(from, (point, 0));
                }
                (point, 0)
            }
        };
        for (n, &index) in path.stages.iter().enumerate() {
            let stage = &self.rig.stages[index];
            let again = path.stages[..n].iter().filter(|before| **before == index).count();
            let way = (to, index, again);
            if let StageKind::MidiCable(_) = &stage.kind {
                tip = self.cable(way, tip, path.source);
                continue;
            }
            let node = match self.stages.get(&way) {
                Some(node) => *node,
                None => self.stage(way),
            };
            self.wire(tip, (node, 0));
            let second = match &stage.kind {
                StageKind::Logic(logic) => logic.with.as_ref(),
                StageKind::Divide(divide) => divide.reset.as_ref(),
                _ => None,
            };
            if let Some(second) = second {
                let from = self.tip(second, (node, 1));
                self.wire(from, (node, 1));
            }
            tip = (node, 0);
        }
        tip
    }

    /// One more channel of a stage, set as it is at the start.
    fn stage(&mut self, way: Channel) -> usize {
        let index = way.1;
        let stage = &self.first.stages[index];
        let place = self.channels[index];
        self.channels[index] += 1;
        let device = self.run.chance(&format!("stage/{}", stage.name));
        let events = self.run.chance(&format!("stage/{}/{place}", stage.name));
        let made = stage::make(&stage.kind, self.first.parts(index), device, events);
        let node = self.add(Body::Stage(index, made), 1);
        self.stages.insert(way, node);
        node
    }

    /// One more channel of a serial line: all who name it share one queue.
    fn cable(&mut self, way: Channel, from: Tip, source: Source) -> Tip {
        let index = way.1;
        // What the bytes are is said by what sends them, however many points lie between.
        let source = self.rig.beyond_wires(source);
        let (carries, name) = match source {
            Source::Output(output) => {
                let carries = match self.rig.outputs[output].timing {
                    Timing::Rate { .. } => Carries::Pulses,
                    Timing::Start => Carries::Starts,
                    Timing::Stop => Carries::Stops,
                    Timing::Run => Carries::Level,
                };
                (carries, &self.rig.outputs[output].name)
            }
            Source::Sequencer { index, tap } => {
                let carries = match tap {
                    Tap::Step1 | Tap::End | Tap::Hits => Carries::Notes,
                    Tap::Thru => Carries::Pulses,
                };
                (carries, &self.rig.sequencers[index].name)
            }
            // A ring of points that hangs on nothing.
            Source::Wire(wire) => (Carries::Pulses, &self.rig.wires[wire].name),
        };
        if self.cables[index].is_none() {
            let node = self.add(Body::Point, 0);
            self.cables[index] = Some((node, Vec::new()));
        }
        let Some((node, ports)) = &mut self.cables[index] else { return from };
        let node = *node;
        let known = ports.iter().position(|port| (port.0, port.1) == (carries, way));
        let place = known.unwrap_or(ports.len());
        if known.is_none() {
            ports.push((carries, way, Names::new()));
            self.nodes[node].listeners.push(Vec::new());
            self.nodes[node].numbers.push(0);
        }
        ports[place].2.push((self.from, name.clone()));
        self.wire(from, (node, place));
        (node, place)
    }

    /// Sets the serial lines up, now that all their ports are known.
    pub(super) fn connect(&mut self) {
        for (index, cable) in std::mem::take(&mut self.cables).into_iter().enumerate() {
            if let (Some((node, ports)), StageKind::MidiCable(settings)) = (cable, &self.first.stages[index].kind) {
                let (ports, names): (Vec<Carries>, _) =
                    ports.into_iter().map(|(carries, _, names)| (carries, names)).unzip();
                let course = &self.first.course;
                let runs = (0..).zip(course.runs());
                let continues = runs.filter(|(_, (from, _))| course.continues.contains(from)).map(|(n, _)| n).collect();
                let cable = MidiCable::new(settings, &ports).with_continues(continues).with_names(names);
                self.nodes[node].body = Body::Stage(index, Box::new(cable));
            }
        }
    }

    fn output(&mut self, output: usize) -> usize {
        if let Some(node) = self.outputs[output] {
            return node;
        }
        let timeline = &self.timelines[output];
        let is_level = self.rig.outputs[output].timing == Timing::Run;
        let feed = match self.rig.outputs[output].timing {
            Timing::Run | Timing::Stop if timeline.is_even() => {
                let pulse = timeline.single(&self.rig.outputs[output], self.rig.end);
                Feed::Once(Swayed::new(pulse.into_iter(), self.rig, self.run, is_level))
            }
            _ => Feed::Pulses(Swayed::new(timeline.pulses(self.rig.end), self.rig, self.run, is_level)),
        };
        let node = self.add(Body::Output(Box::new(feed)), 1);
        self.outputs[output] = Some(node);
        node
    }

    /// Finds the levels before the start, in the order of the ranks; again and again, since a stage that is late may have
    /// a higher rank than what hangs on it. A ring that finds no rest is left as it is.
    pub(super) fn settle(&mut self) {
        let mut order: Vec<usize> = (0..self.nodes.len()).collect();
        order.sort_by_key(|&n| self.nodes[n].rank);
        let ports = |n: &Node<'_>| n.listeners.len().max(2);
        let mut levels: Vec<Vec<bool>> = self.nodes.iter().map(|n| vec![false; ports(n)]).collect();
        for _ in 0..=self.nodes.len() {
            let before = levels.clone();
            for &n in &order {
                let inputs = levels[n].clone();
                let node = &mut self.nodes[n];
                let channels = node.listeners.len();
                let mut settled = match &mut node.body {
                    Body::Output(_) => vec![false],
                    Body::Point => vec![inputs[0]],
                    Body::Stage(_, stage) => stage.settled(&inputs),
                    Body::Player(player) => player.settled(&inputs),
                };
                // A stage of one port that passes its level on has been shown two.
                settled.resize(channels, false);
                node.out = Out::new(&settled);
                for (channel, level) in settled.into_iter().enumerate() {
                    for &(to, port) in &node.listeners[channel] {
                        levels[to][port] = level;
                    }
                }
            }
            if levels == before {
                break;
            }
        }
    }
}

/// Gives every node its turn: after all nodes that can hand it something at the same instant.
pub(super) fn rank(nodes: &mut [Node<'_>]) {
    // A late stage may still answer at the instant at which it wakes itself, so it comes before its listeners too,
    // unless that would close a ring: then it is one of the late stages that opens it.
    if !rank_all(nodes, true) {
        let all = rank_all(nodes, false);
        debug_assert!(all, "a checked patch has no loop without delay");
    }
}

/// Ranks the nodes; with `late`, late stages come before their listeners as well. Says whether that is possible.
fn rank_all(nodes: &mut [Node<'_>], late: bool) -> bool {
    let count = nodes.len();
    let orders = |n: &Node<'_>| late || !n.is_late();
    let mut before = vec![0_usize; count];
    for node in nodes.iter().filter(|n| orders(n)) {
        node.listeners.iter().flatten().for_each(|&(to, _)| before[to] += 1);
    }
    let mut ready: Vec<usize> = (0..count).rev().filter(|&n| before[n] == 0).collect();
    let mut rank = 0;
    while let Some(n) = ready.pop() {
        nodes[n].rank = rank;
        rank += 1;
        if !orders(&nodes[n]) {
            continue;
        }
        let listeners: Vec<usize> = nodes[n].listeners.iter().flatten().map(|l| l.0).collect();
        for to in listeners {
            before[to] -= 1;
            if before[to] == 0 {
                ready.push(to);
            }
        }
    }
    rank == count
}
