//! Listening in: what comes to inputs, and what leaves every point.

use super::super::inputs::InputPulses;
use super::super::player::CLOCK;
use super::super::{Counting, Edge, Later, Run, Timeline};
use super::node::{Body, Node};
use super::ran;
use super::wiring::{Builder, Port, Tip};
use crate::patch::Rig;
use std::collections::BTreeMap;

/// A point of the rig that edges leave from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Point {
    /// An output of the clock: an index into [`Rig::outputs`].
    Output(usize),
    /// A channel of a stage: an index into [`Rig::stages`]. A stage has one for each path that it is named in.
    Stage(usize),
    /// A shared point: an index into [`Rig::wires`].
    Wire(usize),
    /// A tap of a sequencer: an index into [`Rig::sequencers`].
    Sequencer(usize),
}

/// What left one point in the course of a run.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Probed {
    /// The place in the rig that was listened to.
    pub point: Point,
    /// Which of its channels: of a sequencer the tap, in the order step 1, end, hits, thru.
    pub channel: usize,
    /// What left, in order of time.
    pub edges: Vec<Edge>,
}

impl Builder<'_> {
    /// Lets every node keep what leaves it, and says which is which.
    fn probed(&mut self) -> Vec<Option<Point>> {
        self.nodes.iter_mut().for_each(|node| node.kept = Some(Vec::new()));
        let of = |n: usize, node: &Node<'_>| match node.body {
            Body::Output(_) => self.outputs.iter().position(|o| *o == Some(n)).map(Point::Output),
            Body::Point => self.points.iter().position(|p| *p == Some(n)).map(Point::Wire),
            Body::Stage(stage, _) => Some(Point::Stage(stage)),
            Body::Player(_) => Some(Point::Sequencer(n)),
        };
        self.nodes.iter().enumerate().map(|(n, node)| of(n, node)).collect()
    }
}

/// What comes to the inputs of each sequencer in the typical run.
pub(in crate::rig) fn listen(
    rig: &Rig,
    later: &[Later],
    timelines: &[Timeline],
    countings: &[Counting],
) -> Vec<InputPulses> {
    let listen = |builder: &mut Builder<'_>, _: &[(Tip, Port)]| {
        for node in &mut builder.nodes {
            if let Body::Player(player) = &mut node.body {
                player.listen();
            }
        }
    };
    let (nodes, _) = ran(rig, later, timelines, countings, Run::Typical, listen);
    let heard = nodes.into_iter().filter_map(|node| match node.body {
        Body::Player(mut player) => Some(player.heard()),
        _ => None,
    });
    heard.collect()
}

/// What leaves every point in a run: the outputs that something hangs on, shared points and the channels of stages, in
/// the order in which paths come to them.
pub(in crate::rig) fn probe(
    rig: &Rig,
    later: &[Later],
    timelines: &[Timeline],
    countings: &[Counting],
    run: Run,
) -> Vec<Probed> {
    let mut points: Vec<Option<Point>> = Vec::new();
    let attach = |builder: &mut Builder<'_>, _: &[(Tip, Port)]| points = builder.probed();
    let (nodes, _) = ran(rig, later, timelines, countings, run, attach);
    let mut all = Vec::new();
    for (node, point) in nodes.into_iter().zip(points) {
        let (Some(point), Some(kept)) = (point, node.kept) else { continue };
        for channel in 0..node.listeners.len() {
            let edges = kept.iter().filter(|(c, _)| *c == channel).map(|(_, edge)| *edge).collect();
            all.push(Probed { point, channel, edges });
        }
    }
    all
}

/// For each sequencer what leaves every point on the way to its clock input, from the output on: on the way as it is plugged
/// at the start.
pub(in crate::rig) fn trace(
    rig: &Rig,
    later: &[Later],
    timelines: &[Timeline],
    countings: &[Counting],
    run: Run,
) -> Vec<Vec<Probed>> {
    let mut points: Vec<Option<Point>> = Vec::new();
    let mut ways: Vec<Vec<Tip>> = Vec::new();
    let attach = |builder: &mut Builder<'_>, wires: &[(Tip, Port)]| {
        points = builder.probed();
        let wires: BTreeMap<Port, Tip> = wires.iter().map(|&(from, to)| (to, from)).collect();
        ways = (0..rig.sequencers.len()).map(|s| way(&builder.nodes, &wires, (s, CLOCK))).collect();
    };
    let (nodes, _) = ran(rig, later, timelines, countings, run, attach);
    let left = |&(node, channel): &Tip| {
        let kept = nodes[node].kept.iter().flatten();
        let edges = kept.filter(|(c, _)| *c == channel).map(|(_, edge)| *edge).collect();
        Some(Probed { point: points[node]?, channel, edges })
    };
    ways.iter().map(|way| way.iter().filter_map(left).collect()).collect()
}

/// What an input hangs on, from the output on; a ring is followed once.
fn way(nodes: &[Node<'_>], wires: &BTreeMap<Port, Tip>, input: Port) -> Vec<Tip> {
    let (mut way, mut port) = (Vec::new(), input);
    while let Some(&tip) = wires.get(&port).filter(|tip| !way.contains(*tip)) {
        way.push(tip);
        port = match &nodes[tip.0].body {
            Body::Output(_) => break,
            // A port of a serial line for each of its channels.
            Body::Stage(..) if nodes[tip.0].listeners.len() > 1 => tip,
            Body::Stage(..) | Body::Point => (tip.0, 0),
            Body::Player(_) => (tip.0, CLOCK),
        };
    }
    way.reverse();
    way
}
