//! The way from a sequencer to the ear: stages that move hits instead of edges.
//!
//! A hit is an event and no level, so that nothing merges here and hits may overtake each other: an accent flies faster
//! than the soft stroke before it. `delay` and `jitter` know both ways; `air` and `strike` know only this one.

use crate::patch::StageKind;
use crate::time::{Instant, Span};

/// A hit on its way.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Passing {
    /// When it is at the point it has come to.
    pub at: Instant,
    /// How hard it was struck, from 1 to 127.
    pub velocity: u8,
    /// What the way has done to its level so far, in decibels: 0 for nothing.
    pub level_db: f64,
    /// Which of its sequencer's hits it is, from 0, by which it is known again when others have overtaken it.
    pub index: usize,
}

/// A stage behind a sequencer, at work for that sequencer alone.
pub trait HitStage: std::fmt::Debug + Send {
    /// Lets a hit pass; `None` if it is lost. Hits come in order of time, and never leave before they came.
    fn pass(&mut self, hit: Passing) -> Option<Passing>;

    /// Its values are set anew, for hits that come at this moment or later. A device keeps its standing among all devices.
    fn refit(&mut self, kind: &StageKind, at: Instant);
}

impl<S: HitStage + ?Sized> HitStage for Box<S> {
    fn pass(&mut self, hit: Passing) -> Option<Passing> {
        (**self).pass(hit)
    }

    fn refit(&mut self, kind: &StageKind, at: Instant) {
        (**self).refit(kind, at);
    }
}

/// Sends hits through stages one after the other and returns how many were lost in each.
///
/// They are put in order of time before each stage and at the end; of two at one instant the one that was first stays
/// first.
pub(crate) fn through<S: HitStage>(stages: &mut [S], hits: &mut Vec<Passing>) -> Vec<u64> {
    let in_order = |hits: &mut Vec<Passing>| {
        if !hits.is_sorted_by_key(|h| h.at) {
            hits.sort_by_key(|h| h.at);
        }
    };
    let lost = stages.iter_mut().map(|stage| {
        in_order(hits);
        let before = hits.len();
        hits.retain_mut(|hit| match stage.pass(*hit) {
            Some(passed) => {
                *hit = passed;
                true
            }
            None => false,
        });
        (before - hits.len()) as u64
    });
    let lost = lost.collect();
    in_order(hits);
    lost
}

/// Seconds, not negative, to the nearest picosecond.
pub(super) fn span(seconds: f64) -> Span {
    Span((seconds * crate::time::PS_PER_SECOND as f64).round() as i64)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Takes its time over soft hits, and loses every hit of velocity 1.
    #[derive(Debug)]
    struct Slow;

    impl HitStage for Slow {
        fn refit(&mut self, _kind: &StageKind, _at: Instant) {}

        fn pass(&mut self, hit: Passing) -> Option<Passing> {
            let by = Span(i64::from(127 - hit.velocity));
            (hit.velocity > 1).then_some(Passing { at: hit.at + by, ..hit })
        }
    }

    /// Wants its hits in order.
    #[derive(Debug)]
    struct Strict(Instant);

    impl HitStage for Strict {
        fn refit(&mut self, _kind: &StageKind, _at: Instant) {}

        fn pass(&mut self, hit: Passing) -> Option<Passing> {
            assert!(hit.at >= self.0);
            self.0 = hit.at;
            Some(hit)
        }
    }

    #[test]
    fn hits_overtake_and_every_stage_still_gets_them_in_order() {
        let hit = |index, at, velocity| Passing { at: Instant(at), velocity, level_db: 0.0, index };
        let mut hits = vec![hit(0, 0, 100), hit(1, 10, 127), hit(2, 20, 1), hit(3, 27, 127)];
        let mut stages: Vec<Box<dyn HitStage>> = vec![Box::new(Slow), Box::new(Strict(Instant(0))), Box::new(Slow)];
        let lost = through(&mut stages, &mut hits);
        assert_eq!(lost, [1, 0, 0]);
        assert_eq!(hits, [hit(1, 10, 127), hit(3, 27, 127), hit(0, 54, 100)]);
    }

    #[test]
    fn seconds_become_the_nearest_picosecond() {
        assert_eq!(span(1e-12), Span(1));
        assert_eq!(span(0.0), Span(0));
        assert_eq!(span(2.000_000_000_000_4), Span(2_000_000_000_000));
    }
}
