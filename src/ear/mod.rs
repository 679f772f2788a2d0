//! The listener's ear: what is asked in a trial, which gap comes next, and what the answers say.
//!
//! Gaps are kept as levels: whole millionths of an octave above 1 ms ([`Level`]), so that a staircase is whole numbers and
//! two programs that follow it agree trial by trial. Pure: sessions come in as text, chance as a seed.

mod again;
mod answers;
mod blind;
mod book;
mod bootstrap;
mod class;
mod curve;
mod detect;
mod estimate;
#[cfg(test)]
mod evenly;
mod fit;
mod level;
mod likely;
mod listener;
mod rehearse;
mod rule;
mod session;
mod staircase;
mod stand;
mod task;
mod written;

pub use again::{Series, best_of};
pub use answers::{Class, ClassError};
pub use blind::{AnswersError, BlindTest, Guessing, Kind, MOST_TRIALS, Side, Trial as BlindTrial, kind};
pub use book::{Book, BookError, Entry, Wanted};
pub use bootstrap::{Spread, spread};
pub use class::{Key, MOST_QUESTIONS, Question};
pub use curve::{Curve, Shape};
pub use detect::{d_prime, share_right};
pub use estimate::{NoThreshold, Reading, Turned, read, turned_mean};
pub use fit::{Bin, Fitted, LAPSE_MOST, Point, binned, fit, points};
pub use level::Level;
pub use likely::likely_between;
pub use listener::Listener;
pub use rehearse::{Rehearsal, Walk};
pub use rule::{Rule, RuleError};
pub use session::{Session, SessionError, Trial};
pub use staircase::{Settings, SettingsError, Staircase};
pub use task::Task;
