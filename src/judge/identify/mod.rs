//! Which way has a box of reading its reset? The simulator works out which settings of the clock tell the ways apart.
//!
//! Every habit that is known is played under every setting that a player can dial, and what is heard of each is compared
//! as ears compare: to an eighth of a pulse. The fewest settings that tell apart whatever all of them tell apart are the
//! experiment; habits that none of them tells apart sound alike, and it does not matter which of them a box has.

mod answers;
mod audible;
mod bench;
mod clock_setting;
mod habit;
mod performed;
mod plan;
mod reading;

pub use answers::{AnswerError, letter};
pub use audible::AudiblePattern;
pub use bench::{BenchError, TestBench};
pub use clock_setting::{ClockSetting, Dials, PULSES, ResetPlace, STEPS};
pub use habit::Habit;
pub use performed::{Performed, perform};
pub use plan::{Group, Plan, PlanStep, alike};
pub use reading::reading;

/// The patch on which a box is tried that nothing else is known of.
pub const BENCH: &str = include_str!("bench.toml");
/// The place of the box in it.
pub const BOX: usize = 0;
