use crate::time::Instant;

/// A change of the level on a wire.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Edge {
    /// The instant at which the level changes.
    pub at: Instant,
    /// Whether the level goes up.
    pub rise: bool,
    /// Which of its origin's pulses it stems from, from 0. Behind a multiplier by *m* numbers count in *m*ths of a
    /// pulse.
    pub number: i64,
}
