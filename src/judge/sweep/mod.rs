//! A grid: one path at many delays, or one dial at many settings, by tempos.

mod announce;
mod knob;
mod range;

pub use announce::{ANNOUNCER, LOW_TONE, announce, tones};
pub use knob::{Knob, KnobError};
pub use range::{MOST_VALUES, RangeError, Value, values};
