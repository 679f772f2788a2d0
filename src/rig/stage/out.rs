use super::Edge;
use crate::time::Instant;
use std::collections::VecDeque;

/// What happened to pulses on the way, counted.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Tally {
    /// Pulses that came in and never left.
    pub lost: u64,
    /// Pulses that became one with the one before.
    pub merged: u64,
    /// Pulses that left without one that came in.
    pub added: u64,
}

/// The outputs of a stage: levels to come, and moments at which it wants to be woken.
///
/// On a wire edges never overtake each other, pulses that touch are one, and pulses without length vanish; all of that
/// is seen to here, so that a stage only says what it would do.
#[derive(Clone, Debug)]
pub struct Out {
    channels: Vec<Channel>,
    wakes: Vec<Instant>,
    /// What happened on the way.
    pub tally: Tally,
}

#[derive(Clone, Debug)]
struct Channel {
    /// The level after all that is still to come.
    level: bool,
    to_come: VecDeque<Edge>,
}

impl Out {
    /// A set of as many outputs as there are levels, each at its level.
    #[must_use]
    pub fn new(levels: &[bool]) -> Self {
        let channels = levels.iter().map(|&level| Channel { level, to_come: VecDeque::new() }).collect();
        Self { channels, wakes: Vec::new(), tally: Tally::default() }
    }

    /// Sends an edge on an output channel. It must not lie before the instant that the stage is at.
    ///
    /// An edge to the level that the wire will have by then anyway changes nothing. One that would overtake the last
    /// goes out with it; if the two are at one instant then, both vanish: no length is no pulse, and no gap is no gap.
    pub fn send(&mut self, channel: usize, mut edge: Edge) {
        let wire = &mut self.channels[channel];
        if edge.rise == wire.level {
            return;
        }
        if let Some(last) = wire.to_come.back() {
            edge.at = edge.at.max(last.at);
            if last.at == edge.at {
                // Not sent yet, and of the other level: nothing remains of the two.
                let gone = wire.to_come.pop_back();
                wire.level = edge.rise;
                if gone.is_some_and(|g| g.rise) {
                    self.tally.lost += 1;
                } else {
                    self.tally.merged += 1;
                }
                return;
            }
        }
        wire.level = edge.rise;
        wire.to_come.push_back(edge);
    }

    /// Takes the last edge back that has been sent on a channel and has not left yet.
    pub fn take_back(&mut self, channel: usize) -> Option<Edge> {
        let wire = &mut self.channels[channel];
        let edge = wire.to_come.pop_back()?;
        wire.level = !edge.rise;
        Some(edge)
    }

    /// The last edge that has been sent on a channel and has not left yet.
    #[must_use]
    pub fn last(&self, channel: usize) -> Option<Edge> {
        self.channels[channel].to_come.back().copied()
    }

    /// The level that a channel will have when all that was sent has left.
    #[must_use]
    pub fn level(&self, channel: usize) -> bool {
        self.channels[channel].level
    }

    /// The level that a channel has now, with what has left.
    #[must_use]
    pub fn now(&self, channel: usize) -> bool {
        let wire = &self.channels[channel];
        wire.level ^ (wire.to_come.len() % 2 == 1)
    }

    /// Asks to be woken at a moment, not before the one that the stage is at.
    pub fn wake(&mut self, at: Instant) {
        self.wakes.push(at);
    }

    /// The number of output channels.
    #[must_use]
    pub fn channels(&self) -> usize {
        self.channels.len()
    }

    /// The next edge of a channel that leaves at `now` or before, taken out.
    pub fn leave(&mut self, channel: usize, now: Instant) -> Option<Edge> {
        let queue = &mut self.channels[channel].to_come;
        if queue.front().is_some_and(|e| e.at <= now) { queue.pop_front() } else { None }
    }

    /// The moment at which the next edge of any channel leaves.
    #[must_use]
    pub fn next(&self) -> Option<Instant> {
        self.channels.iter().filter_map(|c| c.to_come.front().map(|e| e.at)).min()
    }

    /// The moments that were asked for since this was last called.
    pub fn take_wakes(&mut self) -> std::vec::Drain<'_, Instant> {
        self.wakes.drain(..)
    }
}

/// Runs a stage alone: edges in, edges out.
///
/// `edges` are `(port, edge)` in order of time.
#[cfg(test)]
pub(super) fn alone(stage: &mut dyn super::Stage, ports: usize, edges: &[(usize, Edge)]) -> (Vec<Vec<Edge>>, Tally) {
    let levels = stage.settled(&vec![false; ports]);
    let mut out = Out::new(&levels);
    let mut left = vec![Vec::new(); levels.len()];
    let mut wakes: Vec<Instant> = Vec::new();
    let mut edges = edges.iter().copied().peekable();
    loop {
        wakes.extend(out.take_wakes());
        wakes.sort_unstable();
        wakes.dedup();
        let next = [edges.peek().map(|e| e.1.at), wakes.first().copied(), out.next()];
        let Some(now) = next.into_iter().flatten().min() else { break };
        if wakes.first() == Some(&now) {
            stage.ripe(now, &mut out);
        }
        while let Some((port, edge)) = edges.next_if(|e| e.1.at == now) {
            stage.edge(port, edge, &mut out);
        }
        while wakes.first() == Some(&now) {
            wakes.remove(0);
            stage.wake(now, &mut out);
        }
        for (channel, left) in left.iter_mut().enumerate() {
            while let Some(edge) = out.leave(channel, now) {
                left.push(edge);
            }
        }
    }
    (left, out.tally)
}
