//! The event loop: outputs, stages and sequencers as nodes that hand edges on, in order of time.
//!
//! At one instant everything happens in two halves. First what outputs and late stages sent off earlier leaves. Then
//! nodes act, each after all that can hand it something at this instant; so a sequencer sees all edges of an instant at
//! once, whatever path they took, and a stage that answers at once has heard all before anything leaves it: what ends
//! at this instant and what begins at it touch. Late stages, which never answer at the instant of their cause, may close
//! a loop; a loop without one has no order, and a checked patch has none.

mod node;
mod probe;
mod wiring;

pub use probe::{Point, Probed};
pub(super) use probe::{listen, probe, trace};

use super::player::Player;
use super::stage::{HeldUp, Stage, Tally, poll::Poll};
use super::{Counting, Edge, Later, Pulse, Run, Timeline, Track};
use crate::patch::{Rig, StageKind};
use crate::time::Instant;
use node::{Body, Node};
use std::cmp::Reverse;
use std::collections::{BTreeMap, BinaryHeap};
use wiring::{Builder, Port, Tip, rank};

/// What happened to the pulses that passed one stage.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Passage {
    /// Index into [`Rig::stages`].
    pub stage: usize,
    /// What was counted there.
    pub tally: Tally,
    /// By how much its pulses were held up, where that depends on what went before.
    pub held_up: Option<HeldUp>,
}

/// The order of things to do: the instant, then what was under way before what acts, then the turn.
type QueueKey = Reverse<(Instant, bool, usize, usize)>;

struct Circuit<'a> {
    nodes: Vec<Node<'a>>,
    /// What is plugged in where.
    wires: BTreeMap<Port, Tip>,
    /// The rig as it is now, and what it is set to later on, with what is plugged in where then.
    rig: &'a Rig,
    later: std::vec::IntoIter<(&'a Later, Vec<(Tip, Port)>)>,
    timelines: &'a [Timeline],
    turns: BinaryHeap<QueueKey>,
    /// What has just left a node, and to which ports; kept so that its room is used again.
    left: Vec<(usize, usize, Edge)>,
    /// How many turns are still allowed.
    budget: u64,
}

impl<'a> Circuit<'a> {
    fn act(&mut self, n: usize, at: Instant) {
        let node = &mut self.nodes[n];
        self.turns.push(Reverse((at, true, node.rank, n)));
    }

    /// Hands out all that leaves a node by now.
    fn deliver(&mut self, n: usize, now: Instant) {
        let node = &mut self.nodes[n];
        let mut left = std::mem::take(&mut self.left);
        for channel in 0..node.out.channels() {
            while let Some(edge) = node.out.leave(channel, now) {
                node.numbers[channel] = edge.number;
                node.kept.iter_mut().for_each(|kept| kept.push((channel, edge)));
                left.extend(node.listeners[channel].iter().map(|&(to, port)| (to, port, edge)));
            }
        }
        for (to, port, edge) in left.drain(..) {
            self.nodes[to].inbox.push((port, edge));
            self.act(to, now);
        }
        self.left = left;
        let node = &self.nodes[n];
        if let Some(next) = node.out.next() {
            self.turns.push(Reverse((next, !node.leaves_first(), node.rank, n)));
        }
    }

    /// What is changed before anything else happens.
    fn later_by(&mut self, next: Option<Instant>) -> Option<(&'a Later, Vec<(Tip, Port)>)> {
        let due = self.later.as_slice().first().is_some_and(|(later, _)| next.is_none_or(|next| later.at <= next));
        if due { self.later.next() } else { None }
    }

    /// Sets stages and sequencers anew and plugs in what is plugged in from now on, before all edges of this instant.
    fn refit(&mut self, later: &'a Later, wires: Vec<(Tip, Port)>) {
        let now = later.at;
        let before = std::mem::replace(&mut self.rig, &later.rig);
        for (n, node) in self.nodes.iter_mut().enumerate() {
            match &mut node.body {
                Body::Stage(index, stage) if before.stages[*index].kind != later.rig.stages[*index].kind => {
                    stage.turn(&later.rig.stages[*index].kind, now, &mut node.out);
                }
                Body::Player(player) => player.refit(later, n, self.timelines, &mut node.out),
                _ => continue,
            }
            node.wakes.extend(node.out.take_wakes().map(Reverse));
            self.turns.push(Reverse((now, true, node.rank, n)));
        }
        let wires: BTreeMap<Port, Tip> = wires.into_iter().map(|(from, to)| (to, from)).collect();
        let plugged = std::mem::replace(&mut self.wires, wires.clone());
        let ports: Vec<Port> = plugged.keys().chain(wires.keys()).copied().collect();
        let mut done: Vec<Port> = Vec::new();
        for port in ports {
            let (was, is) = (plugged.get(&port).copied(), wires.get(&port).copied());
            if was == is || done.contains(&port) {
                continue;
            }
            done.push(port);
            // An input into which nothing is plugged is low.
            let level = |tip: Option<Tip>| tip.is_some_and(|(node, channel)| self.nodes[node].out.now(channel));
            let (from, to) = (level(was), level(is));
            let number = is.or(was).map_or(0, |(node, channel)| self.nodes[node].numbers[channel]);
            if let Some((node, channel)) = was {
                self.nodes[node].listeners[channel].retain(|listener| *listener != port);
            }
            if let Some((node, channel)) = is {
                self.nodes[node].listeners[channel].push(port);
            }
            if from != to {
                self.nodes[port.0].inbox.push((port.1, Edge { at: now, rise: to, number }));
                self.act(port.0, now);
            }
        }
        rank(&mut self.nodes);
        let turns = std::mem::take(&mut self.turns).into_vec();
        let ranked = |Reverse((at, acts, _, n)): QueueKey| Reverse((at, acts, self.nodes[n].rank, n));
        self.turns = turns.into_iter().map(ranked).collect();
    }

    /// An output sends its next pulse.
    fn send(&mut self, n: usize) {
        let node = &mut self.nodes[n];
        let Body::Output(feed) = &mut node.body else { return };
        if let Some(Pulse { rise, fall, number }) = feed.next() {
            node.out.send(0, Edge { at: rise, rise: true, number });
            node.out.send(0, Edge { at: fall, rise: false, number });
            let (rank, next) = (node.rank, node.out.next());
            self.turns.extend(next.map(|next| Reverse((next, false, rank, n))));
        }
    }

    fn run(&mut self) {
        for n in 0..self.nodes.len() {
            self.send(n);
        }
        loop {
            let next = self.turns.peek().map(|turn| turn.0.0);
            if let Some((later, wires)) = self.later_by(next) {
                self.refit(later, wires);
                continue;
            }
            let Some(Reverse((now, acts, _, n))) = self.turns.pop() else { break };
            if self.budget == 0 {
                break;
            }
            self.budget -= 1;
            // The same turn may have been asked for several times.
            while self.turns.peek().is_some_and(|t| t.0 == (now, acts, self.nodes[n].rank, n)) {
                self.turns.pop();
            }
            if !acts {
                let node = &mut self.nodes[n];
                if let Body::Stage(_, stage) = &mut node.body
                    && node.wakes.peek().is_some_and(|w| w.0 <= now)
                {
                    stage.ripe(now, &mut node.out);
                }
                self.deliver(n, now);
                if matches!(self.nodes[n].body, Body::Output(_)) && self.nodes[n].out.next().is_none() {
                    self.send(n);
                }
                continue;
            }
            let node = &mut self.nodes[n];
            let mut inbox = std::mem::take(&mut node.inbox);
            inbox.sort_by_key(|(port, _)| *port);
            for (port, edge) in inbox.drain(..) {
                match &mut node.body {
                    Body::Output(_) => {}
                    Body::Point => node.out.send(0, edge),
                    Body::Stage(_, stage) => stage.edge(port, edge, &mut node.out),
                    Body::Player(player) => player.edge(port, edge, &mut node.out),
                }
            }
            node.inbox = inbox;
            node.wakes.extend(node.out.take_wakes().map(Reverse));
            while node.wakes.peek().is_some_and(|w| w.0 <= now) {
                node.wakes.pop();
                match &mut node.body {
                    Body::Output(_) | Body::Point => {}
                    Body::Stage(_, stage) => stage.wake(now, &mut node.out),
                    Body::Player(player) => player.wake(now, &mut node.out),
                }
                node.wakes.extend(node.out.take_wakes().map(Reverse));
            }
            if let Some(&Reverse(next)) = node.wakes.peek() {
                if node.is_late() {
                    // What is ripe then leaves before anything acts.
                    self.turns.push(Reverse((next, false, node.rank, n)));
                }
                self.act(n, next);
            }
            self.deliver(n, now);
        }
    }
}

/// Runs a rig to the end of the patch: a track a sequencer, and what happened on the way.
///
/// Last, whether it came to rest: a loop can keep itself going for ever, and is then cut off.
pub(super) fn run(
    rig: &Rig,
    later: &[Later],
    timelines: &[Timeline],
    countings: &[Counting],
    run: Run,
) -> (Vec<Track>, Vec<Passage>, bool) {
    let (mut tracks, mut passages) = (Vec::new(), Vec::new());
    let (nodes, rests) = ran(rig, later, timelines, countings, run, |_, _| {});
    for node in nodes {
        match node.body {
            Body::Player(player) => tracks.push(player.close()),
            Body::Stage(stage, machine) => {
                passages.push(Passage { stage, tally: node.out.tally, held_up: machine.held_up() });
            }
            Body::Output(_) | Body::Point => {}
        }
    }
    (tracks, passages, rests)
}

/// All nodes after the run; `attach` may fit them with ears before.
fn ran<'a>(
    rig: &'a Rig,
    later: &'a [Later],
    timelines: &'a [Timeline],
    countings: &'a [Counting],
    run: Run,
    attach: impl FnOnce(&mut Builder<'a>, &[(Tip, Port)]),
) -> (Vec<Node<'a>>, bool) {
    let mut builder = Builder {
        rig,
        first: rig,
        from: Instant(i64::MIN),
        timelines,
        run,
        nodes: Vec::new(),
        outputs: vec![None; rig.outputs.len()],
        points: vec![None; rig.wires.len()],
        followed: Vec::new(),
        stages: BTreeMap::new(),
        channels: vec![0; rig.stages.len()],
        cables: vec![None; rig.stages.len()],
        wires: Vec::new(),
    };
    for (sequencer, counting) in rig.sequencers.iter().zip(countings) {
        let poll = sequencer.poll.and_then(|poll| match &rig.stages[poll].kind {
            StageKind::Poll(settings) => {
                Some(Poll::new(settings, run.chance(&format!("stage/{}", rig.stages[poll].name))))
            }
            _ => None,
        });
        let player = Player::new(rig, sequencer, timelines, counting, poll);
        builder.add(Body::Player(Box::new(player)), 4);
    }
    let wires = builder.plug(rig, Instant(i64::MIN));
    let later: Vec<_> = later.iter().map(|later| (later, builder.plug(&later.rig, later.at))).collect();
    builder.connect();
    for &((node, channel), to) in &wires {
        builder.nodes[node].listeners[channel].push(to);
    }
    rank(&mut builder.nodes);
    builder.settle();
    attach(&mut builder, &wires);
    // A pulse makes two edges, a multiplier up to 256 of it, and each edge a few turns at a node; whoever needs more than
    // that does not come to rest.
    let pulses: u64 = timelines.iter().map(|t| t.most(rig.end).unsigned_abs()).sum();
    let nodes = builder.nodes.len() as u64;
    let budget = 100_000 + pulses.saturating_mul(nodes).saturating_mul(16).saturating_add(pulses.saturating_mul(2048));
    let wires = wires.into_iter().map(|(from, to)| (to, from)).collect();
    let (later, turns) = (later.into_iter(), BinaryHeap::new());
    let mut circuit = Circuit { nodes: builder.nodes, wires, rig, later, timelines, turns, left: Vec::new(), budget };
    circuit.run();
    (circuit.nodes, circuit.budget > 0)
}
