//! A flam: two voices of the kit together and a time apart, without any patch.

mod bars;
mod looped;
mod pair;
mod setting;

pub use bars::{BARS_APART, FlamBars, reference};
pub use looped::FlamLoops;
pub use pair::{PairError, body, pair, pair_rig};
pub use setting::{Setting, SettingError};

/// Beats of a bar: both voices play on each.
const BEATS: i64 = 4;
