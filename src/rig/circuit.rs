//! The event loop: outputs, stages and sequencers as nodes that hand edges on, in order of time.
//!
//! At one instant everything happens in two halves. First what outputs and late stages sent off earlier leaves. Then
//! nodes act, each after all that can hand it something at this instant; so a sequencer sees all edges of an instant at
//! once, whatever path they took, and a stage that answers at once has heard all before anything leaves it: what ends
//! at this instant and what begins at it touch. Late stages, which never answer at the instant of their cause, may close
//! a loop; a loop without one has no order, and a checked patch has none.

use super::margin::Heard;
use super::player::{CLOCK, Player, RESET, channel};
use super::stage::midi_cable::{Carries, MidiCable};
use super::stage::{self, HeldUp, Out, Stage, Tally, poll::Poll};
use super::{Counting, Edge, Pulse, Pulses, Run, Timeline, Track, Wire};
use crate::patch::{Path, Rig, Source, StageKind, Tap, Timing};
use crate::time::Instant;
use std::cmp::Reverse;
use std::collections::BinaryHeap;

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

#[derive(Debug)]
struct Node<'a> {
    body: Body<'a>,
    out: Out,
    /// For each output channel, the ports that it is wired to.
    listeners: Vec<Vec<(usize, usize)>>,
    inbox: Vec<(usize, Edge)>,
    wakes: BinaryHeap<Reverse<Instant>>,
    /// Its turn within an instant.
    rank: usize,
    /// What left it, with its channel, where somebody wants to know.
    kept: Option<Vec<(usize, Edge)>>,
}

/// Where edges leave from.
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
    /// Where.
    pub point: Point,
    /// Which of its channels: of a sequencer the tap, in the order step 1, end, hits, thru.
    pub channel: usize,
    /// What left, in order of time.
    pub edges: Vec<Edge>,
}

impl Node<'_> {
    /// Whether nothing ever leaves it at the instant of its cause.
    fn is_late(&self) -> bool {
        matches!(&self.body, Body::Stage(_, stage) if stage.is_late())
    }

    /// Whether what it sent off earlier leaves before anything acts.
    fn leaves_first(&self) -> bool {
        self.is_late() || matches!(self.body, Body::Output(_))
    }
}

#[derive(Debug)]
enum Body<'a> {
    Output(Feed<'a>),
    Stage(usize, Box<dyn Stage>),
    /// A shared point.
    Point,
    Player(Box<Player<'a>>),
}

/// An output as it is sent.
#[derive(Debug)]
enum Feed<'a> {
    Pulses(Wire<Pulses<'a>>),
    /// A single pulse.
    Once(Option<Pulse>),
}

impl Feed<'_> {
    fn next(&mut self) -> Option<Pulse> {
        match self {
            Self::Pulses(pulses) => pulses.next(),
            Self::Once(pulse) => pulse.take(),
        }
    }
}

/// Where a channel of a node is, for wiring.
type Tip = (usize, usize);

struct Builder<'a> {
    rig: &'a Rig,
    timelines: &'a [Timeline],
    run: Run,
    nodes: Vec<Node<'a>>,
    /// Nodes of outputs, of shared points and of shared serial lines, once they are made.
    outputs: Vec<Option<usize>>,
    points: Vec<Option<Tip>>,
    /// How many channels of each stage there are so far.
    channels: Vec<usize>,
    /// For each serial line that is named, its node and what its ports carry so far.
    cables: Vec<Option<(usize, Vec<Carries>)>>,
}

impl<'a> Builder<'a> {
    fn add(&mut self, body: Body<'a>, channels: usize) -> usize {
        let (out, listeners) = (Out::new(&vec![false; channels]), vec![Vec::new(); channels]);
        self.nodes.push(Node {
            body,
            out,
            listeners,
            inbox: Vec::new(),
            wakes: BinaryHeap::new(),
            rank: 0,
            kept: None,
        });
        self.nodes.len() - 1
    }

    fn wire(&mut self, (node, channel): Tip, to: (usize, usize)) {
        self.nodes[node].listeners[channel].push(to);
    }

    /// The end of a path; makes what it passes. Sequencers are the first nodes, by their index.
    fn tip(&mut self, path: &Path) -> Tip {
        let mut tip = match path.source {
            Source::Output(output) => (self.output(output), 0),
            Source::Sequencer { index, tap } => (index, channel(tap)),
            Source::Wire(wire) => match self.points[wire] {
                Some(tip) => tip,
                None => {
                    // Before its path is followed, so that a circle ends here.
                    let point = self.add(Body::Point, 1);
                    self.points[wire] = Some((point, 0));
                    let from = self.tip(&self.rig.wires[wire].path);
                    self.wire(from, (point, 0));
                    (point, 0)
                }
            },
        };
        for &index in &path.stages {
            let place = self.channels[index];
            self.channels[index] += 1;
            let stage = &self.rig.stages[index];
            if let StageKind::MidiCable(_) = &stage.kind {
                tip = self.cable(index, place, tip, path.source);
                continue;
            }
            let device = self.run.chance(&format!("stage/{}", stage.name));
            let events = self.run.chance(&format!("stage/{}/{place}", stage.name));
            let node = self.add(Body::Stage(index, stage::make(&stage.kind, device, events)), 1);
            self.wire(tip, (node, 0));
            let second = match &stage.kind {
                StageKind::Logic(logic) => logic.with.as_ref(),
                StageKind::Divide(divide) => divide.reset.as_ref(),
                _ => None,
            };
            if let Some(second) = second {
                let from = self.tip(second);
                self.wire(from, (node, 1));
            }
            tip = (node, 0);
        }
        tip
    }

    /// One more channel of a serial line: all who name it share one queue.
    fn cable(&mut self, index: usize, place: usize, from: Tip, source: Source) -> Tip {
        let carries = match source {
            Source::Output(output) if self.rig.outputs[output].timing == Timing::Run => Carries::Level,
            Source::Sequencer { tap: Tap::Step1 | Tap::End | Tap::Hits, .. } => Carries::Notes,
            _ => Carries::Pulses,
        };
        if self.cables[index].is_none() {
            let node = self.add(Body::Point, 0);
            self.cables[index] = Some((node, Vec::new()));
        }
        let Some((node, ports)) = &mut self.cables[index] else { return from };
        ports.push(carries);
        let node = *node;
        self.nodes[node].listeners.push(Vec::new());
        self.wire(from, (node, place));
        (node, place)
    }

    /// Sets the serial lines up, now that all their ports are known.
    fn connect(&mut self) {
        for (index, cable) in std::mem::take(&mut self.cables).into_iter().enumerate() {
            if let (Some((node, ports)), StageKind::MidiCable(settings)) = (cable, &self.rig.stages[index].kind) {
                self.nodes[node].body = Body::Stage(index, Box::new(MidiCable::new(settings, &ports)));
            }
        }
    }

    fn output(&mut self, output: usize) -> usize {
        if let Some(node) = self.outputs[output] {
            return node;
        }
        let timeline = &self.timelines[output];
        let end = timeline.ideal_of(self.rig.end);
        let feed = match self.rig.outputs[output].timing {
            _ if !timeline.is_even() => Feed::Pulses(timeline.pulses(self.rig.end)),
            Timing::Rate { .. } | Timing::Start => Feed::Pulses(timeline.pulses(self.rig.end)),
            Timing::Run => Feed::Once(Some(Pulse { rise: Instant::START, fall: end, number: 0 })),
            Timing::Stop => Feed::Once(timeline.pulses(self.rig.end).next().map(|p| Pulse {
                rise: end + (p.rise - Instant::START),
                fall: end + (p.fall - Instant::START),
                number: 0,
            })),
        };
        let node = self.add(Body::Output(feed), 1);
        self.outputs[output] = Some(node);
        node
    }

    /// Gives every node its turn: after all nodes that can hand it something at the same instant.
    fn rank(&mut self) {
        // A late stage may still answer at the instant at which it wakes itself, so it comes before its listeners too,
        // unless that would close a ring: then it is one of the late stages that opens it.
        if !self.rank_all(true) {
            let all = self.rank_all(false);
            debug_assert!(all, "a checked patch has no loop without delay");
        }
    }

    /// Ranks the nodes; with `late`, late stages come before their listeners as well. Says whether that is possible.
    fn rank_all(&mut self, late: bool) -> bool {
        let count = self.nodes.len();
        let orders = |n: &Node<'_>| late || !n.is_late();
        let mut before = vec![0_usize; count];
        for node in self.nodes.iter().filter(|n| orders(n)) {
            node.listeners.iter().flatten().for_each(|&(to, _)| before[to] += 1);
        }
        let mut ready: Vec<usize> = (0..count).rev().filter(|&n| before[n] == 0).collect();
        let mut rank = 0;
        while let Some(n) = ready.pop() {
            self.nodes[n].rank = rank;
            rank += 1;
            if !orders(&self.nodes[n]) {
                continue;
            }
            let listeners: Vec<usize> = self.nodes[n].listeners.iter().flatten().map(|l| l.0).collect();
            for to in listeners {
                before[to] -= 1;
                if before[to] == 0 {
                    ready.push(to);
                }
            }
        }
        rank == count
    }

    /// Finds the levels before the start, in the order of the ranks; again and again, since a stage that is late may have
    /// a higher rank than what hangs on it. A ring that finds no rest is left as it is.
    fn settle(&mut self) {
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

/// The order of things to do: the instant, then what was under way before what acts, then the turn.
type Turn = Reverse<(Instant, bool, usize, usize)>;

struct Circuit<'a> {
    nodes: Vec<Node<'a>>,
    turns: BinaryHeap<Turn>,
    /// How many turns are still allowed.
    budget: u64,
}

impl Circuit<'_> {
    fn act(&mut self, n: usize, at: Instant) {
        let node = &mut self.nodes[n];
        self.turns.push(Reverse((at, true, node.rank, n)));
    }

    /// Hands out all that leaves a node by now.
    fn deliver(&mut self, n: usize, now: Instant) {
        let node = &mut self.nodes[n];
        let mut left: Vec<(usize, usize, Edge)> = Vec::new();
        for channel in 0..node.out.channels() {
            while let Some(edge) = node.out.leave(channel, now) {
                node.kept.iter_mut().for_each(|kept| kept.push((channel, edge)));
                left.extend(node.listeners[channel].iter().map(|&(to, port)| (to, port, edge)));
            }
        }
        for (to, port, edge) in left {
            self.nodes[to].inbox.push((port, edge));
            self.act(to, now);
        }
        let node = &self.nodes[n];
        if let Some(next) = node.out.next() {
            self.turns.push(Reverse((next, !node.leaves_first(), node.rank, n)));
        }
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
        while let Some(Reverse((now, acts, _, n))) = self.turns.pop() {
            if self.budget == 0 {
                break;
            }
            self.budget -= 1;
            // The same turn may have been asked for several times.
            while self.turns.peek().is_some_and(|t| t.0 == (now, acts, self.nodes[n].rank, n)) {
                self.turns.pop();
            }
            if !acts {
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
    timelines: &[Timeline],
    countings: &[Counting],
    run: Run,
) -> (Vec<Track>, Vec<Passage>, bool) {
    let (mut tracks, mut passages) = (Vec::new(), Vec::new());
    let (nodes, rests) = ran(rig, timelines, countings, run, |_| {});
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

/// What comes to the inputs of each sequencer in the typical run.
pub(super) fn listen(rig: &Rig, timelines: &[Timeline], countings: &[Counting]) -> Vec<Heard> {
    let listen = |builder: &mut Builder<'_>| {
        for node in &mut builder.nodes {
            if let Body::Player(player) = &mut node.body {
                player.listen();
            }
        }
    };
    let (nodes, _) = ran(rig, timelines, countings, Run::Typical, listen);
    let heard = nodes.into_iter().filter_map(|node| match node.body {
        Body::Player(mut player) => Some(player.heard()),
        _ => None,
    });
    heard.collect()
}

/// What leaves every point in a run: the outputs that something hangs on, shared points and the channels of stages, in
/// the order in which paths come to them.
pub(super) fn probe(rig: &Rig, timelines: &[Timeline], countings: &[Counting], run: Run) -> Vec<Probed> {
    let mut points: Vec<Option<Point>> = Vec::new();
    let attach = |builder: &mut Builder<'_>| {
        builder.nodes.iter_mut().for_each(|node| node.kept = Some(Vec::new()));
        let of = |n: usize, node: &Node<'_>| match node.body {
            Body::Output(_) => builder.outputs.iter().position(|o| *o == Some(n)).map(Point::Output),
            Body::Point => builder.points.iter().position(|p| *p == Some((n, 0))).map(Point::Wire),
            Body::Stage(stage, _) => Some(Point::Stage(stage)),
            Body::Player(_) => Some(Point::Sequencer(n)),
        };
        points = builder.nodes.iter().enumerate().map(|(n, node)| of(n, node)).collect();
    };
    let (nodes, _) = ran(rig, timelines, countings, run, attach);
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

/// All nodes after the run; `attach` may fit them with ears before.
fn ran<'a>(
    rig: &'a Rig,
    timelines: &'a [Timeline],
    countings: &'a [Counting],
    run: Run,
    attach: impl FnOnce(&mut Builder<'a>),
) -> (Vec<Node<'a>>, bool) {
    let mut builder = Builder {
        rig,
        timelines,
        run,
        nodes: Vec::new(),
        outputs: vec![None; rig.outputs.len()],
        points: vec![None; rig.wires.len()],
        channels: vec![0; rig.stages.len()],
        cables: vec![None; rig.stages.len()],
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
    for (index, sequencer) in rig.sequencers.iter().enumerate() {
        let clock = builder.tip(&sequencer.clock);
        builder.wire(clock, (index, CLOCK));
        if let Some(reset) = &sequencer.reset {
            let reset = builder.tip(&reset.path);
            builder.wire(reset, (index, RESET));
        }
    }
    builder.connect();
    builder.rank();
    builder.settle();
    attach(&mut builder);
    // A pulse makes two edges, a multiplier up to 256 of it, and each edge a few turns at a node; whoever needs more than
    // that does not come to rest.
    let pulses: u64 = timelines.iter().map(|t| t.most(rig.end).unsigned_abs()).sum();
    let nodes = builder.nodes.len() as u64;
    let budget = 100_000 + pulses.saturating_mul(nodes).saturating_mul(16).saturating_add(pulses.saturating_mul(2048));
    let mut circuit = Circuit { nodes: builder.nodes, turns: BinaryHeap::new(), budget };
    circuit.run();
    (circuit.nodes, circuit.budget > 0)
}
