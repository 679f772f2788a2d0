/// An estimate of how much one question asks for, at the least: what the search comes upon on its way is bounded by itself.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Outlook {
    /// Delays and components at all tempos, and tempos of all settings, that have to be tried.
    pub tries: u128,
    /// How many pulses are played in these.
    pub pulses: u128,
}

impl Outlook {
    pub(super) const NOTHING: Self = Self { tries: 0, pulses: 0 };

    pub(super) fn of(tries: u128, pulses: u128) -> Self {
        Self { tries, pulses: tries.saturating_mul(pulses) }
    }

    pub(super) fn and(self, other: Self) -> Self {
        let (tries, pulses) = (self.tries.saturating_add(other.tries), self.pulses.saturating_add(other.pulses));
        Self { tries, pulses }
    }
}
