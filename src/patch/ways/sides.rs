//! Second inputs: a stage on the way to its own, and ways to them that branch too often.

use super::Ways;
use crate::patch::check::fault::{Fault, Faults};
use crate::patch::check::show::shown;
use crate::patch::check::view::Kind;

/// How many stages may lie on the ways to second inputs, counted for each path that comes by.
const MOST_CHANNELS: u64 = 65_536;

impl Ways<'_> {
    /// Tells stages that stand on the way to their own second input, and second inputs that are too many.
    ///
    /// A stage has a channel for each path that it is in, and each channel a way of its own to the second input. Shared
    /// points are what they are called: what leads to them is there once.
    pub(super) fn check_sides(&self, faults: &mut Faults) {
        let mut known = vec![None; self.sides.len()];
        let mut trail = Vec::new();
        for stage in 0..self.sides.len() {
            if self.channels(stage, &mut known, &mut trail).is_none() {
                let points = trail.iter().flat_map(|&(side, point)| (point..=self.lines[side].end()).rev());
                let (drawn, at) = self.drawn(&points.collect::<Vec<_>>());
                let name = shown(&self.rig.stages[stage].name);
                let fault = Fault::new(at, format!("a stage is on the way to its own second input: `{drawn}`"))
                    .label("expected a shared point, since each path has a channel of its own through a stage")
                    .help(format!(
                        "name the point behind it, [wire.NAME] path = [\"OUTPUT\", \"{name}\"], and begin the second path at \"wire.NAME\""
                    ));
                faults.push(fault);
                return;
            }
        }
        let on_paths = self.lines.iter().filter(|line| line.owner.0 != Kind::Stage).flat_map(|line| &line.path.stages);
        let all = on_paths.fold(0_u64, |sum, stage| sum.saturating_add(known[*stage].unwrap_or(0)));
        if all > MOST_CHANNELS {
            let heaviest = (0..known.len()).rev().max_by_key(|stage| known[*stage]).unwrap_or(0);
            let at = self.sides[heaviest].map_or(0..0, |side| self.place(self.lines[side].first));
            let fault = Fault::new(at, "the ways to second inputs branch too often")
                .label(format!(
                    "found {all} stages on such ways, each path with its own; expected at most {MOST_CHANNELS}"
                ))
                .help("name a point with [wire.NAME] and begin the second path there: what leads to it is there once");
            faults.push(fault);
        }
    }

    /// How many stages lie on the ways to the second input of one channel of a stage. `None` where it leads to itself:
    /// then `trail` has each second path on the circle, and the point on it of the stage whose second path is next.
    fn channels(&self, stage: usize, known: &mut [Option<u64>], trail: &mut Vec<(usize, usize)>) -> Option<u64> {
        if let Some(channels) = known[stage] {
            return Some(channels);
        }
        let Some(side) = self.sides[stage] else {
            known[stage] = Some(0);
            return Some(0);
        };
        if let Some(begin) = trail.iter().position(|(open, _)| *open == side) {
            trail.drain(..begin);
            return None;
        }
        let line = &self.lines[side];
        let mut channels = 0_u64;
        for (n, before) in line.path.stages.iter().enumerate() {
            trail.push((side, line.first + n + 1));
            let of_stage = self.channels(*before, known, trail)?;
            trail.pop();
            channels = channels.saturating_add(1).saturating_add(of_stage);
        }
        known[stage] = Some(channels);
        Some(channels)
    }
}
