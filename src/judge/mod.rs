//! How far apart hits land that should be one, who misses the one, and whether a patch passes.
//!
//! All judging is done in whole picoseconds; a rounded figure is only ever shown.

pub mod advise;
mod band;
mod body;
mod breakdown;
mod brief;
mod gaps;
pub mod identify;
mod judged;
pub mod mend;
mod pairing;
pub mod runs;
mod short;
mod state;
mod stats;
mod sure;
pub mod sweep;
mod target;
mod verdict;
pub mod which;

pub use band::{Band, ORDER_HEARD, first_notch_hz};
pub use body::{Body, Colour};
pub use breakdown::{Breakdown, Cause, Contributions, PathPoint, Reached, breakdown, contributions};
pub use brief::{Brief, brief};
pub use gaps::Gaps;
pub use judged::{Bodies, Judged, JudgedError};
pub use pairing::{Meant, Pair, pair, pair_hits};
pub use short::meant;
pub use state::State;
pub use stats::Stats;
pub use sure::{Sure, sure};
pub use target::{Input, Target, TargetError};
pub use verdict::{Gap, Off, Reason, Standing, Verdict, Warning, judge};
