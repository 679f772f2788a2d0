use crate::patch::{ResetMode, Rig};
use crate::rig::{Margin, Moved, Performance, Reach, Sides, listen, margins};
use crate::time::Span;
use std::collections::BTreeMap;

/// The resets of a sequencer over all tolerances: how many are right, wrong or at risk, and what is left at the worst.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Sure {
    /// Resets that came to its input and were looked at.
    pub resets: usize,
    /// Those that act alike in every run, and put step 1 on the one.
    pub always_right: usize,
    /// Those that act alike in every run, and do not.
    pub always_wrong: usize,
    /// Those of which tolerances, or less than the skew, may change the step that is played.
    pub at_risk: usize,
    /// The smallest distance of an edge from changing the step that is played, what tolerances can move taken off; it may
    /// be negative. `None` where nothing near changes anything, or where no bound is known.
    pub margin: Option<Span>,
    /// Whether a bound is known of how far tolerances move its inputs against each other.
    pub bounded: bool,
}

/// The most pulses of a performance whose margins are worked out: it is played a second time for that.
const MOST_PULSES: u64 = 4_000_000;

/// Judges the resets of each sequencer over all tolerances; `None` for one without a reset that it obeys, and for one whose inputs are
/// polled, gathered or filtered. A margin under `skew` counts as at risk even where nothing has a tolerance.
#[must_use]
pub fn sure(rig: &Rig, performance: &Performance, skew: Span) -> Vec<Option<Sure>> {
    let all = rig.sequencers.iter().chain(rig.course.eras.iter().flat_map(|era| &era.sequencers));
    let obeys = all.into_iter().any(|s| s.reset.as_ref().is_some_and(|r| r.mode != ResetMode::Ignored));
    let pulses: u64 = performance.tracks.iter().map(|t| t.pulses).sum();
    if !obeys || pulses > MOST_PULSES {
        return vec![None; rig.sequencers.len()];
    }
    let heard = listen(rig, performance);
    let of = |(index, heard): (usize, _)| {
        let (first, from) = bounds(rig, index, performance);
        // Where stages make more of it than it is, it is in the bound of the paths already.
        let of_clock = Reach::of_clock(rig, &performance.timelines, index);
        let first = first.filter(|_| of_clock.is_some());
        let moved = Moved { sides: first.unwrap_or_default(), swing: of_clock.unwrap_or(Span::ZERO) };
        let margins = margins(rig, index, performance, heard, moved)?;
        // By its one: a box may be reset so often that not every reset can ask every one.
        let settled: BTreeMap<i64, i64> =
            performance.tracks[index].settled.iter().rev().map(|s| (s.one, s.pulses_late)).collect();
        let right = |m: &Margin| settled.get(&m.one).is_none_or(|late| *late == 0);
        let mut all = Sure {
            resets: margins.len(),
            always_right: 0,
            always_wrong: 0,
            at_risk: 0,
            margin: None,
            bounded: first.is_some() && !margins.iter().any(|m| from.is_some_and(|one| m.one >= one)),
        };
        for margin in &margins {
            let known = first.is_some() && from.is_none_or(|one| margin.one < one);
            let left = margin.distance.filter(|_| known);
            let risk = !known || left.is_some_and(|left| left < skew);
            all.margin = match (all.margin, left) {
                (Some(a), Some(b)) => Some(a.min(b)),
                (a, b) => a.or(b),
            };
            match (risk, right(margin)) {
                (true, _) => all.at_risk += 1,
                (false, true) => all.always_right += 1,
                (false, false) => all.always_wrong += 1,
            }
        }
        Some(all)
    };
    heard.iter().enumerate().map(of).collect()
}

/// How far tolerances move a sequencer's reset against its clock, each way; and from which one on that is not known.
///
/// Where something that it depends on is changed in the course of the piece, nothing may be drawn for the bound to go on:
/// an edge that is moved across that moment takes another way.
fn bounds(rig: &Rig, index: usize, performance: &Performance) -> (Option<Sides>, Option<i64>) {
    let reach = |rig: &Rig| {
        let sequencer = &rig.sequencers[index];
        sequencer.reset.as_ref().map_or(Some(Sides::default()), |reset| {
            Sides::between(rig, &performance.timelines, &reset.path, &sequencer.clock)
        })
    };
    let first = reach(rig);
    if !rig.is_refitted(index) {
        return (first, None);
    }
    let eras: Vec<Rig> = rig.course.eras.iter().map(|era| era.rig(rig)).collect();
    if std::iter::once(rig).chain(&eras).all(|rig| Reach::is_still(rig, &performance.timelines, index)) {
        return (first, None);
    }
    // A stretch earlier: what is late may still be on its way.
    let one = |beat| rig.one.map_or(0, |o| performance.timelines[o].last_until(beat));
    (first, rig.course.eras.first().map(|era| one(era.from) - 1))
}
