//! How much one command may look at: the bounds of the library, refused as bad input.

use super::Failure;
use crate::show::workload::TooMuch;

pub(super) use crate::show::workload::{
    HIT_BYTES, MOST_TRIED, Workload as Work, few_enough, few_enough_gaps, few_enough_runs, few_enough_tries, hits,
    side_by_side,
};

impl From<TooMuch> for Failure {
    fn from(error: TooMuch) -> Self {
        Self::input(&error, error.help())
    }
}
