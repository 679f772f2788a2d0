use super::super::jittered::Swayed;
use super::super::player::Player;
use super::super::stage::{Out, Stage};
use super::super::{Edge, Pulse, Pulses, Wire};
use crate::time::Instant;
use std::cmp::Reverse;
use std::collections::BinaryHeap;

/// A device, and what is under way around it.
#[derive(Debug)]
pub(super) struct Node<'a> {
    pub(super) body: Body<'a>,
    pub(super) out: Out,
    /// For each output channel, the ports that it is wired to.
    pub(super) listeners: Vec<Vec<(usize, usize)>>,
    pub(super) inbox: Vec<(usize, Edge)>,
    pub(super) wakes: BinaryHeap<Reverse<Instant>>,
    /// Its turn within an instant.
    pub(super) rank: usize,
    /// The number of the edge that left last on each output channel: for who is plugged in later.
    pub(super) numbers: Vec<i64>,
    /// What left it, with its channel, where somebody wants to know.
    pub(super) kept: Option<Vec<(usize, Edge)>>,
}

impl Node<'_> {
    /// Whether nothing ever leaves it at the instant of its cause.
    pub(super) fn is_late(&self) -> bool {
        matches!(&self.body, Body::Stage(_, stage) if stage.is_late())
    }

    /// Whether what it sent off earlier leaves before anything acts.
    pub(super) fn leaves_first(&self) -> bool {
        self.is_late() || matches!(self.body, Body::Output(_))
    }
}

#[derive(Debug)]
pub(super) enum Body<'a> {
    Output(Box<Feed<'a>>),
    Stage(usize, Box<dyn Stage>),
    /// A point that several paths share, which only hands edges on.
    Point,
    Player(Box<Player<'a>>),
}

/// An output as it is sent.
#[derive(Debug)]
pub(super) enum Feed<'a> {
    Pulses(Wire<Swayed<Wire<Pulses<'a>>>>),
    /// A single pulse.
    Once(Wire<Swayed<std::option::IntoIter<Pulse>>>),
}

impl Feed<'_> {
    pub(super) fn next(&mut self) -> Option<Pulse> {
        match self {
            Self::Pulses(pulses) => pulses.next(),
            Self::Once(pulse) => pulse.next(),
        }
    }
}
