use super::Share;
use crate::time::{Beat, ExactPs};

/// A named output of the clock.
#[derive(Clone, Debug, PartialEq)]
pub struct Output {
    /// Its name in the patch.
    pub name: String,
    /// When it pulses.
    pub timing: Timing,
    /// How long each pulse stays high.
    pub width: Width,
    /// A time added to every rise; later is positive.
    pub shift: ExactPs,
}

/// When an output pulses.
#[derive(Clone, Debug, PartialEq)]
pub enum Timing {
    /// Again and again.
    Rate {
        /// The period in beats: `M/N` for `N per M beats`.
        period: Beat,
        /// Share of the period added to every rise, taken round into −1/2 (not included) to 1/2.
        phase: Share,
        /// Where in a pair of periods the odd pulse is meant to be: 1/2 is straight.
        swing: Share,
    },
    /// Once, when the clock starts.
    Start,
    /// Once, when the clock stops: at the end of the patch, if nothing stops it before.
    Stop,
    /// No pulse but a level: high while the clock runs.
    Run,
}

/// How long a pulse stays high.
#[derive(Clone, Debug, PartialEq)]
pub enum Width {
    /// A time, positive.
    Time(ExactPs),
    /// A share of the period, above 0 and below 1.
    Share(Share),
    /// The shorter of 5 ms and half the period; 5 ms for an output without a rate.
    Default,
}
