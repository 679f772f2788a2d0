use super::{Reason, Verdict};

/// What a listener meets, from the worst to the best: a box off the one, hits that should be one and are not, or neither.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum State {
    /// Somebody misses the one, never plays, or meets nobody.
    Off,
    /// All are on the one, and a gap is over the max gap.
    Apart,
    /// All are on the one, and no gap is over the max gap.
    Together,
}

impl Verdict {
    /// The worst that the reasons say.
    #[must_use]
    pub fn state(&self) -> State {
        let of = |reason: &Reason| match reason {
            Reason::GapTooLarge { .. } => State::Apart,
            _ => State::Off,
        };
        self.reasons.iter().map(of).min().unwrap_or(State::Together)
    }
}
