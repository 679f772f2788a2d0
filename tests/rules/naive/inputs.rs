//! What arrives at a box's inputs, as the box sees it, and what it handles together.

use super::signal::{Change, EVER, NEVER, Pulse, changes, kept, later};
use super::stages;
use hitgap::patch::{EdgeKind, Rig, Sequencer, StageKind};
use std::collections::VecDeque;

/// "shorter pulses and gaps are not seen, and counted": how many are too short, of those that are not at the level which
/// the box has seen already.
fn too_short(wire: &[Pulse], sequencer: &Sequencer) -> usize {
    let all = changes(wire);
    let (mut count, mut seen) = (0, false);
    for (i, change) in all.iter().enumerate().filter(|(_, change)| change.at != NEVER) {
        let until = all.get(i + 1).map_or(NEVER, |next| next.at);
        let least = if change.rise { sequencer.min_high.0 } else { sequencer.min_low.0 };
        if change.at != EVER && until - change.at < least {
            count += usize::from(change.rise != seen);
        } else {
            seen = change.rise;
        }
    }
    count
}

/// An input as the box sees it: whether it was high before the start, its changes since, and how many pulses it did not
/// see.
pub(super) fn input(rig: &Rig, wire: &[Pulse], edge: EdgeKind, sequencer: &Sequencer) -> (bool, Vec<Change>, usize) {
    let mut unseen = too_short(wire, sequencer);
    // "`input = { min-high, min-low }` (shorter pulses are not seen, and counted)"; it "acts when the pulse is old
    // enough".
    let mut seen = changes(&kept(wire, sequencer.min_high.0, sequencer.min_low.0));
    for change in &mut seen {
        change.at = later(change.at, if change.rise { sequencer.min_high.0 } else { sequencer.min_low.0 });
    }
    // "`poll` for both inputs together"
    if let Some(poll) = sequencer.poll {
        let StageKind::Poll(poll) = &rig.stages[poll].kind else { panic!("a poll") };
        let rises = |list: &[Change]| list.iter().filter(|c| c.rise && c.at != EVER).count();
        let before = rises(&seen);
        seen = changes(&stages::looked_at(poll, &seen));
        // "edges are seen at the next poll, shorter pulses can be missed"
        unseen += before - rises(&seen);
    }
    let was_high = seen.first().is_some_and(|c| c.at == EVER);
    seen.retain(|c| c.at != EVER && c.at != NEVER);
    // "`reset-edge` and `clock-edge` = `"rise"` | `"fall"`"
    let turned = edge == EdgeKind::Fall;
    for change in &mut seen {
        change.rise ^= turned;
    }
    (was_high ^ turned, seen, unseen)
}

/// What came together.
pub(super) struct Batch {
    pub(super) at: i64,
    pub(super) clock: VecDeque<Change>,
    pub(super) reset: VecDeque<Change>,
}

/// What is handled together, and when: an instant, or what the box gathers.
pub(super) fn batches(clock: &[Change], reset: &[Change], gathers: i64) -> Vec<Batch> {
    let mut instants: Vec<i64> = clock.iter().chain(reset).map(|c| c.at).collect();
    instants.sort_unstable();
    let mut batches = Vec::new();
    let mut done_until = EVER;
    for first in instants {
        if first <= done_until {
            continue;
        }
        // "from the first edge the box waits, then handles all edges"
        let at = first + gathers;
        let within = |list: &[Change]| list.iter().filter(|c| first <= c.at && c.at <= at).copied().collect();
        batches.push(Batch { at, clock: within(clock), reset: within(reset) });
        done_until = at;
    }
    batches
}
