use super::{Counting, Timeline};
use crate::patch::{Rig, Sequencer};
use crate::time::Beat;

/// The ones as a sequencer's clock sees them: which of its pulses each one is, and how a play stands against it.
#[derive(Clone, Debug)]
pub struct Ones<'a> {
    clock: &'a Timeline,
    counting: &'a Counting,
    /// The output whose pulses are the ones; `None` where only the start counts.
    one: Option<&'a Timeline>,
    /// The number of the last one before the end of the patch.
    last: i64,
    steps: i64,
    pulses_per_step: i64,
    /// The stretch looked at last: pulses `from..to` belong to one `j`.
    j: i64,
    from: i64,
    to: i64,
}

impl<'a> Ones<'a> {
    /// The ones for a sequencer of a rig.
    #[must_use]
    pub fn new(rig: &Rig, sequencer: &Sequencer, timelines: &'a [Timeline], counting: &'a Counting) -> Self {
        // Where no output has the ones, every start of the clock is one.
        let one = rig.one.filter(|_| !sequencer.own_one).map(|o| &timelines[o]).or(timelines.get(rig.outputs.len()));
        let last = one.map_or(0, |o| (o.count(rig.end) - 1).max(0));
        let clock = &timelines[rig.origin(&sequencer.clock)];
        let steps = i64::try_from(sequencer.steps.len()).unwrap_or(i64::MAX);
        let pulses_per_step = i64::from(sequencer.pulses_per_step);
        let mut ones = Self { clock, counting, one, last, steps, pulses_per_step, j: 0, from: 0, to: 0 };
        ones.stretch(0);
        ones
    }

    /// Whether its pulses are numbered so.
    pub(super) fn counts(&self, counting: &Counting) -> bool {
        self.counting == counting
    }

    /// The number of the last one before the end of the patch.
    #[must_use]
    pub fn last(&self) -> i64 {
        self.last
    }

    /// The one that pulse number `k` counts from, and its intended pulse `K(j)`.
    pub fn of(&mut self, k: i64) -> (i64, i64) {
        if !(self.from..self.to).contains(&k) {
            // `K(j) ≤ k` holds just when one j is meant for the pulse's beat or earlier.
            let beat = self.clock.meant(k.div_euclid(self.counting.scale()));
            let j = self.one.map_or(0, |o| o.last_until(beat).clamp(0, self.last));
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
        let beat = self.one.map_or(Beat::from_integer(0), |o| o.meant(j));
        self.clock.first_from(beat).saturating_mul(self.counting.scale())
    }

    /// The offset of a play of a step (from 0) by pulse number `k`: how far behind the place at which the step was due,
    /// in numbers; of all rounds of the pattern the nearest, and of two that are equally near the one before.
    ///
    /// For a plain clock that is `k − step − K(j)`, reduced modulo the steps to above −n/2 up to n/2.
    pub fn offset(&mut self, k: i64, step: usize) -> (i64, i64) {
        let (j, intended) = self.of(k);
        let step = i64::try_from(step).unwrap_or(i64::MAX);
        if self.counting.is_plain() {
            let round = self.steps * self.pulses_per_step;
            let raw = (k - step * self.pulses_per_step - intended).rem_euclid(round);
            return (j, if 2 * raw > round { raw - round } else { raw });
        }
        let first = self.counting.first_from(intended) + step * self.pulses_per_step;
        let round = self.steps * self.pulses_per_step;
        // The last round whose place is at or before k, and the one after.
        let here = self.counting.first_from(k + 1) - 1;
        let before = first + (here - first).div_euclid(round) * round;
        let behind = k - self.counting.place(before);
        let ahead = k - self.counting.place(before + round);
        (j, if behind <= -ahead { behind } else { ahead })
    }
}
