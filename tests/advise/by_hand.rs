//! Worked out by hand.
