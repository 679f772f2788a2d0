//! A cone, and which of the offers touch it: worked out once for all sets that fail on it.

use super::catalogue::Offer;
use super::cone::{Cone, Map};
use super::reach::Reach;
use std::sync::OnceLock;

/// What a verdict hangs on.
#[derive(Debug)]
pub(super) struct Trace {
    pub(super) cone: Cone,
    reach: OnceLock<Reach>,
}

impl Trace {
    pub(super) const fn new(cone: Cone) -> Self {
        Self { cone, reach: OnceLock::new() }
    }

    /// The offers that touch it.
    pub(super) fn reach(&self, map: Map, offers: &[Offer]) -> &Reach {
        self.reach.get_or_init(|| Reach::of(map, offers, &self.cone))
    }
}
