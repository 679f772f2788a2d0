//! The listener's ear: what is asked in a trial, which gap comes next, and what the answers say.
//!
//! Gaps are kept as levels: whole millionths of an octave above 1 ms ([`Level`]), so that a staircase is whole numbers and
//! two programs that follow it agree trial by trial. Pure: sessions come in as text, chance as a seed.

mod blind_test;
mod bootstrap;
mod calibration;
mod class;
mod class_result;
mod ear_file;
mod estimate;
mod fit;
mod guessing;
mod heard;
mod key;
mod level;
mod listener;
mod max_gap;
mod offset;
mod profile;
mod psychometric;
mod rule;
mod sensitivity;
mod series;
mod session;
mod staircase;
mod task;
#[cfg(test)]
mod uniform;
mod update;

pub use blind_test::{AnswersError, BlindTest, BlindTrial, Kind, Side, kind};
pub use bootstrap::{Intervals, bootstrap};
pub use calibration::{Calibration, Procedure};
pub use class::{Class, ClassError};
pub use class_result::{ClassResult, Mark};
pub use ear_file::{Conditions, EarFile, EarFileError, Threshold};
pub use estimate::{Estimate, NoThreshold, estimate};
pub use fit::{Bin, Fitted, LAPSE_MOST, Point, binned, fit, points};
pub use guessing::{Guessing, MOST_TRIALS, best_of};
pub use key::{Key, MOST_QUESTIONS, Question};
pub use level::Level;
pub use listener::Listener;
pub use max_gap::MaxGap;
pub use profile::profile_interval;
pub use psychometric::{PsychometricFunction, Shape};
pub use rule::{Rule, RuleError};
pub use sensitivity::{d_prime, proportion_correct};
pub use series::Series;
pub use session::{Session, SessionError, Trial};
pub use staircase::{ReversalMean, Settings, SettingsError, Staircase, reversal_mean};
pub use task::Task;
