use crate::patch::{ResetMode, Rig};
use crate::rig::{Margin, Performance, Reach, listen, margins};
use crate::time::Span;

/// How sure a sequencer's resets are, over all tolerances.
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

/// How sure the resets of each sequencer are; `None` for one without a reset that it obeys, and for one whose inputs are
/// polled, gathered or filtered. A margin under `skew` counts as at risk even where nothing has a tolerance.
#[must_use]
pub fn sure(rig: &Rig, performance: &Performance, skew: Span) -> Vec<Option<Sure>> {
    let obeys = rig.sequencers.iter().any(|s| s.reset.as_ref().is_some_and(|r| r.mode != ResetMode::Ignored));
    let pulses: u64 = performance.tracks.iter().map(|t| t.pulses).sum();
    if !obeys || pulses > MOST_PULSES {
        return vec![None; rig.sequencers.len()];
    }
    let heard = listen(rig, performance);
    let of = |(index, heard): (usize, _)| {
        let sequencer = &rig.sequencers[index];
        let reset = sequencer.reset.as_ref()?;
        let margins = margins(rig, sequencer, &performance.timelines, heard)?;
        let reach = Reach::between(rig, &performance.timelines, &sequencer.clock, &reset.path).0;
        let settled = &performance.tracks[index].settled;
        let right = |m: &Margin| settled.iter().find(|s| s.one == m.one).is_none_or(|s| s.pulses_late == 0);
        let mut all = Sure {
            resets: margins.len(),
            always_right: 0,
            always_wrong: 0,
            at_risk: 0,
            margin: None,
            bounded: reach.is_some(),
        };
        for margin in &margins {
            let left = reach.zip(margin.distance).map(|(reach, distance)| Span(distance.0 - reach.0));
            let risk = match (reach, left) {
                (None, _) => true,
                (Some(_), None) => false,
                (Some(_), Some(left)) => left < skew,
            };
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
