use crate::patch::{Output, Timing};
use crate::time::{Beat, simple, wholes};

/// The beats of an output's pulses, in pairs, since swing moves every second one.
#[derive(Clone, Debug)]
pub(super) struct Cycle {
    /// Two periods, in beats.
    pub(super) pair: Beat,
    /// From a pair's first pulse to its second, in beats.
    pub(super) odd: Beat,
}

impl Cycle {
    /// `None` for an output without a rate.
    pub(super) fn of(output: &Output) -> Option<Self> {
        let Timing::Rate { period, swing, .. } = &output.timing else { return None };
        let pair = *period * 2;
        Some(Self { pair, odd: pair * swing })
    }

    pub(super) fn period(&self) -> Beat {
        self.pair / 2
    }

    /// The beat that pulse `k` is meant for, from where the count begins.
    pub(super) fn meant(&self, k: i64) -> Beat {
        let (n, is_odd) = (i128::from(k.div_euclid(2)), k.rem_euclid(2) == 1);
        self.quick(n, is_odd).unwrap_or_else(|| {
            let first = self.pair * n;
            if is_odd { first + self.odd } else { first }
        })
    }

    /// The same, made simple once.
    fn quick(&self, n: i128, is_odd: bool) -> Option<Beat> {
        let (over, under) = (self.pair.numer().checked_mul(n)?, *self.pair.denom());
        if !is_odd {
            return Some(simple(over, under));
        }
        let more = self.odd.numer().checked_mul(under)?;
        let over = over.checked_mul(*self.odd.denom())?.checked_add(more)?;
        Some(simple(over, under.checked_mul(*self.odd.denom())?))
    }

    pub(super) fn first_from(&self, beat: Beat) -> i64 {
        let (pairs, rest) = split(beat, self.pair);
        let within = if rest == Beat::from_integer(0) {
            0
        } else if rest <= self.odd {
            1
        } else {
            2
        };
        2 * pairs + within
    }

    pub(super) fn last_until(&self, beat: Beat) -> i64 {
        let (pairs, rest) = split(beat, self.pair);
        2 * pairs + i64::from(rest >= self.odd)
    }
}

/// Whole pairs in a beat, and what is left.
fn split(beat: Beat, pair: Beat) -> (i64, Beat) {
    let pairs = wholes(Beat::default(), beat, pair);
    (i64::try_from(pairs).unwrap_or(i64::MAX / 4), beat - pair * pairs)
}
