use super::Timeline;
use crate::patch::{Rig, Sequencer};
use crate::time::Beat;

/// The ones as a sequencer's clock sees them: which of its pulses each one is, and how a play stands against it.
#[derive(Clone, Debug)]
pub struct Ones<'a> {
    clock: &'a Timeline,
    /// The output whose pulses are the ones; `None` where only the start counts.
    one: Option<&'a Timeline>,
    /// The number of the last one before the end of the patch.
    last: i64,
    /// The stretch looked at last: pulses `from..to` belong to one `j`.
    j: i64,
    from: i64,
    to: i64,
}

impl<'a> Ones<'a> {
    /// The ones for a sequencer of a rig.
    #[must_use]
    pub fn new(rig: &Rig, sequencer: &Sequencer, timelines: &'a [Timeline]) -> Self {
        let one = rig.one.filter(|_| !sequencer.own_one).map(|o| &timelines[o]);
        let last = one.map_or(0, |o| (o.first_from(rig.end) - 1).max(0));
        let mut ones = Self { clock: &timelines[sequencer.clock.output], one, last, j: 0, from: 0, to: 0 };
        ones.stretch(0);
        ones
    }

    /// The number of the last one before the end of the patch.
    #[must_use]
    pub fn last(&self) -> i64 {
        self.last
    }

    /// The one that pulse `k` counts from, and its intended pulse `K(j)`.
    pub fn of(&mut self, k: i64) -> (i64, i64) {
        if !(self.from..self.to).contains(&k) {
            // `K(j) ≤ k` holds just when one j is meant for the pulse's beat or earlier.
            let j = self.one.map_or(0, |o| o.last_until(self.clock.meant(k)).clamp(0, self.last));
            self.stretch(j);
        }
        (self.j, self.from)
    }

    fn stretch(&mut self, j: i64) {
        self.j = j;
        self.from = self.intended(j);
        self.to = if j >= self.last { i64::MAX } else { self.intended(j + 1) };
    }

    fn intended(&self, j: i64) -> i64 {
        self.clock.first_from(self.one.map_or(Beat::from_integer(0), |o| o.meant(j)))
    }

    /// The offset of a play: how many pulses late (negative: early) step 1 stands, reduced modulo `steps` to above
    /// −n/2 up to n/2. `step` counts from 0.
    pub fn offset(&mut self, k: i64, step: usize, steps: usize) -> (i64, i64) {
        let (j, intended) = self.of(k);
        let n = i64::try_from(steps).unwrap_or(i64::MAX);
        let raw = (k - i64::try_from(step).unwrap_or(i64::MAX) - intended).rem_euclid(n);
        (j, if 2 * raw > n { raw - n } else { raw })
    }
}
