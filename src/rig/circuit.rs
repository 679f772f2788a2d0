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
use super::swayed::Swayed;
use super::{Counting, Edge, Later, Pulse, Pulses, Run, Timeline, Track, Wire};
use crate::patch::{Path, Rig, Source, StageKind, Tap, Timing};
use crate::time::Instant;
use std::cmp::Reverse;
use std::collections::{BTreeMap, BinaryHeap};

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
    /// The number of the edge that left last on each output channel: for who is plugged in later.
    numbers: Vec<i64>,
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
    Output(Box<Feed<'a>>),
    Stage(usize, Box<dyn Stage>),
    /// A shared point.
    Point,
    Player(Box<Player<'a>>),
}

/// An output as it is sent.
#[derive(Debug)]
enum Feed<'a> {
    Pulses(Wire<Swayed<Wire<Pulses<'a>>>>),
    /// A single pulse.
    Once(Wire<Swayed<std::option::IntoIter<Pulse>>>),
}

impl Feed<'_> {
    fn next(&mut self) -> Option<Pulse> {
        match self {
            Self::Pulses(pulses) => pulses.next(),
            Self::Once(pulse) => pulse.next(),
        }
    }
}

/// Where a channel of a node is, for wiring.
type Tip = (usize, usize);

/// An input of a node.
type Port = (usize, usize);

/// The channel of a stage: on the way to which input, which stage, and for the how manieth time on this way.
type Channel = (Port, usize, usize);

/// The node of a serial line, and what each of its ports carries and for whom.
type Cable = (usize, Vec<(Carries, Channel)>);

struct Builder<'a> {
    /// The rig that is being wired: that of the start, or a later one.
    rig: &'a Rig,
    /// That of the start.
    first: &'a Rig,
    timelines: &'a [Timeline],
    run: Run,
    nodes: Vec<Node<'a>>,
    /// Nodes of outputs and of shared points, once they are made.
    outputs: Vec<Option<usize>>,
    points: Vec<Option<usize>>,
    /// Shared points whose way has been followed in the rig that is being wired.
    followed: Vec<bool>,
    /// The channel of a stage on the way to an input: it is the same device however it is plugged in.
    stages: BTreeMap<Channel, usize>,
    /// How many channels of each stage there are so far.
    channels: Vec<usize>,
    /// For each serial line that is named, its node and what its ports carry so far, and for whom.
    cables: Vec<Option<Cable>>,
    /// What is plugged in where.
    wires: Vec<(Tip, Port)>,
}

impl<'a> Builder<'a> {
    fn add(&mut self, body: Body<'a>, channels: usize) -> usize {
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

    /// Follows all ways of a rig; makes the nodes that are not there yet. Says what is plugged in where.
    fn plug(&mut self, rig: &'a Rig) -> Vec<(Tip, Port)> {
        self.rig = rig;
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
        let node = *node;
        let known = ports.iter().position(|port| *port == (carries, way));
        let place = known.unwrap_or(ports.len());
        if known.is_none() {
            ports.push((carries, way));
            self.nodes[node].listeners.push(Vec::new());
            self.nodes[node].numbers.push(0);
        }
        self.wire(from, (node, place));
        (node, place)
    }

    /// Sets the serial lines up, now that all their ports are known.
    fn connect(&mut self) {
        for (index, cable) in std::mem::take(&mut self.cables).into_iter().enumerate() {
            if let (Some((node, ports)), StageKind::MidiCable(settings)) = (cable, &self.first.stages[index].kind) {
                let ports: Vec<Carries> = ports.into_iter().map(|(carries, _)| carries).collect();
                let course = &self.first.course;
                let runs = (0..).zip(course.runs());
                let continues = runs.filter(|(_, (from, _))| course.continues.contains(from)).map(|(n, _)| n).collect();
                let cable = MidiCable::new(settings, &ports).with_continues(continues);
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

/// Gives every node its turn: after all nodes that can hand it something at the same instant.
fn rank(nodes: &mut [Node<'_>]) {
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

/// The order of things to do: the instant, then what was under way before what acts, then the turn.
type Turn = Reverse<(Instant, bool, usize, usize)>;

struct Circuit<'a> {
    nodes: Vec<Node<'a>>,
    /// What is plugged in where.
    wires: BTreeMap<Port, Tip>,
    /// The rig as it is now, and what it is set to later on, with what is plugged in where then.
    rig: &'a Rig,
    later: std::vec::IntoIter<(&'a Later, Vec<(Tip, Port)>)>,
    timelines: &'a [Timeline],
    turns: BinaryHeap<Turn>,
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
        let ranked = |Reverse((at, acts, _, n)): Turn| Reverse((at, acts, self.nodes[n].rank, n));
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

/// What comes to the inputs of each sequencer in the typical run.
pub(super) fn listen(rig: &Rig, later: &[Later], timelines: &[Timeline], countings: &[Counting]) -> Vec<Heard> {
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
pub(super) fn probe(
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

/// For each sequencer what leaves every point on the way to its clock input, from the output on.
pub(super) fn trace(rig: &Rig, timelines: &[Timeline], countings: &[Counting], run: Run) -> Vec<Vec<Probed>> {
    let mut points: Vec<Option<Point>> = Vec::new();
    let mut ways: Vec<Vec<Tip>> = Vec::new();
    let attach = |builder: &mut Builder<'_>, wires: &[(Tip, Port)]| {
        points = builder.probed();
        let wires: BTreeMap<Port, Tip> = wires.iter().map(|&(from, to)| (to, from)).collect();
        ways = (0..rig.sequencers.len()).map(|s| way(&builder.nodes, &wires, (s, CLOCK))).collect();
    };
    let (nodes, _) = ran(rig, &[], timelines, countings, run, attach);
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
    let wires = builder.plug(rig);
    let later: Vec<_> = later.iter().map(|later| (later, builder.plug(&later.rig))).collect();
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
