//! The gap.
