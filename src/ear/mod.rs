//! The listener's ear: what answers say. Pure: files come in as text.

mod blind;

pub use blind::{AnswersError, BlindTest, Guessing, Kind, MOST_TRIALS, Side, Trial, kind};
