//! A flam: two voices of the kit together and a time apart, without any patch.

mod bars;
mod flam_gap;
mod looped;
mod pair;

pub use bars::{BARS_APART, FlamBars, reference};
pub use flam_gap::{FlamGap, SettingError};
pub use looped::FlamLoops;
pub use pair::{PairError, body, pair, pair_rig};

/// Beats of a bar: both voices play on each.
const BEATS: i64 = 4;
