//! A rig with keys set, and the smaller rigs that say the same of some of its boxes.

use crate::judge::{Input, Target};
use crate::patch::Rig;
use std::sync::OnceLock;

/// A rig with keys set, and what follows from that alone.
pub(super) struct Base {
    pub(super) rig: Rig,
    pub(super) rigs: Vec<Rig>,
    alone: Vec<OnceLock<Option<Rig>>>,
    /// Every two players and nobody else, in the order of pairs.
    twos: Vec<OnceLock<Rig>>,
}

impl Base {
    pub(super) fn new(rig: Rig) -> Self {
        let (rigs, boxes) = (rig.in_turn(), rig.sequencers.len());
        let twos = every_two(rig.players()).map(|_| OnceLock::new()).collect();
        Self { rig, rigs, alone: (0..boxes).map(|_| OnceLock::new()).collect(), twos }
    }

    pub(super) fn alone(&self, sequencer: usize) -> Option<&Rig> {
        let make = || Target { sequencer, input: Input::Clock }.alone(&self.rig).map(|(_, rig)| rig);
        self.alone[sequencer].get_or_init(make).as_ref()
    }

    /// The n-th two of all pairs, and nobody else.
    pub(super) fn two(&self, (n, between): (usize, [usize; 2])) -> &Rig {
        fn keep<T>(all: &mut Vec<T>, before: usize, between: [usize; 2]) {
            let mut player = before;
            all.retain(|_| {
                player += 1;
                between.contains(&(player - 1))
            });
        }
        self.twos[n].get_or_init(|| {
            let mut rig = self.rig.clone();
            let boxes = rig.sequencers.len();
            keep(&mut rig.sequencers, 0, between);
            rig.course.eras.iter_mut().for_each(|era| keep(&mut era.sequencers, 0, between));
            keep(&mut rig.takes, boxes, between);
            rig
        })
    }
}

/// Every two of so many.
pub(super) fn every_two(players: usize) -> impl Iterator<Item = [usize; 2]> {
    (0..players).flat_map(move |a| (a + 1..players).map(move |b| [a, b]))
}
