//! From a sequencer to the ear: the stages of its `out`, which act on hits and not on levels.

use super::stage::passing::{HitStage, Passing, through};
use super::stage::{Air, Delay, Jitter, Strike};
use super::{Run, Track};
use crate::patch::{Rig, Sequencer, StageKind};

/// Sends the hits of every sequencer through its `out`.
pub(super) fn sequencers(rig: &Rig, tracks: &mut [Track], run: Run) {
    for (sequencer, track) in rig.sequencers.iter().zip(tracks).filter(|(s, _)| !s.out.is_empty()) {
        let mut stages = stages(rig, sequencer, run);
        let mut hits: Vec<Passing> = track
            .sounds
            .iter()
            .enumerate()
            .map(|(index, s)| Passing { at: s.at, velocity: s.velocity, level_db: 0.0, index })
            .collect();
        track.lost = through(&mut stages, &mut hits).iter().sum();
        let arrived = |hit: &Passing| {
            let level_mdb = (hit.level_db * 1000.0).round() as i32;
            super::Sound { at: hit.at, velocity: hit.velocity, level_mdb, ..track.sounds[hit.index] }
        };
        track.sounds = hits.iter().map(arrived).collect();
    }
}

fn stages(rig: &Rig, sequencer: &Sequencer, run: Run) -> Vec<Box<dyn HitStage>> {
    let make = |&index: &usize| -> Option<Box<dyn HitStage>> {
        let stage = &rig.stages[index];
        let device = run.chance(&format!("stage/{}", stage.name));
        let events = run.chance(&format!("stage/{}/{}", stage.name, sequencer.name));
        match &stage.kind {
            StageKind::Delay(delay) => Some(Box::new(Delay::new(delay, device))),
            StageKind::Jitter(jitter) => Some(Box::new(Jitter::new(jitter, device, events))),
            StageKind::Air(air) => Some(Box::new(Air::new(air, device))),
            StageKind::Strike(strike) => Some(Box::new(Strike::new(strike, device, events))),
            _ => None,
        }
    };
    sequencer.out.iter().filter_map(make).collect()
}
