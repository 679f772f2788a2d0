use super::catalogue::Offer;
use super::cone::{Cone, Map};

/// The offers that touch what a fault hangs on, as bits.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Reach(Vec<u64>);

impl Reach {
    pub(super) fn of(map: Map, offers: &[Offer], cone: &Cone) -> Self {
        let mut bits = vec![0; offers.len().div_ceil(64)];
        for (n, offer) in offers.iter().enumerate() {
            if cone.meets(map, &offer.touches) {
                bits[n / 64] |= 1_u64 << (n % 64);
            }
        }
        Self(bits)
    }

    pub(super) fn holds(&self, n: usize) -> bool {
        self.0[n / 64] & (1 << (n % 64)) != 0
    }

    pub(super) fn count(&self) -> u32 {
        self.0.iter().map(|word| word.count_ones()).sum()
    }

    pub(super) fn all(&self) -> impl Iterator<Item = usize> + '_ {
        (0..self.0.len() * 64).filter(|&n| self.holds(n))
    }

    fn meets(&self, other: &Self) -> bool {
        self.0.iter().zip(&other.0).any(|(a, b)| a & b != 0)
    }

    fn and(&mut self, other: &Self) {
        self.0.iter_mut().zip(&other.0).for_each(|(a, b)| *a &= b);
    }
}

/// Whether so many changes may reach all faults: not if more of them than that have no change in common with another, nor if one
/// is to reach all and none does. It may say yes where it is no, never the other way round.
pub(super) fn may_reach<'r>(faults: impl Iterator<Item = &'r Reach>, changes: usize) -> bool {
    let mut apart: Vec<&Reach> = Vec::new();
    let mut common: Option<Reach> = None;
    for fault in faults {
        match &mut common {
            None => common = Some(fault.clone()),
            Some(common) => common.and(fault),
        }
        if !apart.iter().any(|other| other.meets(fault)) {
            apart.push(fault);
        }
    }
    match (changes, common) {
        (_, None) => true,
        (0, Some(_)) => false,
        (1, Some(common)) => common.count() > 0,
        (_, Some(_)) => apart.len() <= changes && apart.iter().all(|fault| fault.count() > 0),
    }
}
