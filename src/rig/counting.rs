use super::Timeline;
use crate::patch::{Path, Rig, Sequencer, Source, StageKind, Tap};
use crate::time::{Beat, Instant, LineError};

/// Which pulses are meant to come to a clock input, and how they are numbered: a path may divide them, multiply them,
/// or begin at another sequencer.
///
/// Numbers are those of the output from which all stems, times a `scale` where a multiplier makes pulses between them.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Counting {
    /// The number of counts that make one pulse of the output: more than 1 behind a multiplier.
    scale: i64,
    /// After so many numbers the places repeat.
    cycle: i64,
    /// Where within a cycle pulses are meant to come, rising, the first at 0 or later.
    places: Vec<i64>,
    /// The last multiplier on the way: by how much, and how what came to it is numbered.
    multiplied: Option<(i64, Box<Counting>)>,
}

/// The most places of one counting that are worked out.
const MOST_PLACES: i64 = 1 << 16;

impl Counting {
    /// What comes at the end of a path, if all goes as it is meant to.
    #[must_use]
    pub fn of(rig: &Rig, path: &Path) -> Self {
        Self::within(rig, path, rig.sequencers.len() + rig.wires.len() + 1)
    }

    /// `depth` ends a path that runs in a circle.
    fn within(rig: &Rig, path: &Path, depth: usize) -> Self {
        let plain = Self { scale: 1, cycle: 1, places: vec![0], multiplied: None };
        let mut here = match path.source {
            _ if depth == 0 => plain,
            Source::Output(_) => plain,
            Source::Wire(wire) => Self::within(rig, &rig.wires[wire].path, depth - 1),
            Source::Sequencer { index, tap } => {
                let sequencer = &rig.sequencers[index];
                let clock = Self::within(rig, &sequencer.clock, depth - 1);
                clock.taken(sequencer, tap)
            }
        };
        for &stage in &path.stages {
            match &rig.stages[stage].kind {
                StageKind::Divide(divide) => here = here.every(i64::from(divide.by)),
                StageKind::Multiply(multiply) => {
                    here = here.times(i64::from(multiply.by), i64::from(rig.parts(stage)));
                }
                _ => {}
            }
        }
        here
    }

    /// What a sequencer that counts these gives out.
    fn taken(self, sequencer: &Sequencer, tap: Tap) -> Self {
        if tap == Tap::Thru {
            return self;
        }
        let steps = self.every(i64::from(sequencer.pulses_per_step));
        let n = sequencer.steps.len();
        let plays = |step: &usize| match tap {
            Tap::Thru => true,
            Tap::Step1 => *step == 0,
            Tap::End => *step == n - 1,
            Tap::Hits => sequencer.steps[*step].velocity().is_some(),
        };
        let mut on: Vec<usize> = (0..n).filter(plays).collect();
        if on.is_empty() {
            on.push(0);
        }
        // So many rounds of the pattern until it meets the cycle of the places again. Where that would be more than
        // anybody waits for, a round repeats as it is the first time.
        let count = steps.places.len() as i64;
        let together = count / gcd(count, n as i64);
        let rounds = if together.saturating_mul(on.len() as i64) <= MOST_PLACES { together } else { 1 };
        let place = |round: i64, step: usize| steps.place(round * n as i64 + step as i64);
        let taken = (0..rounds).flat_map(|round| on.iter().map(move |&step| (round, step)));
        let places = taken.map(|(round, step)| place(round, step)).collect();
        let cycle = place(rounds, 0) - place(0, 0);
        Self { scale: steps.scale, cycle: cycle.max(1), places, multiplied: steps.multiplied }
    }

    /// Every `by`th of these, the first of each group.
    fn every(self, by: i64) -> Self {
        let count = self.places.len() as i64;
        let groups = count / gcd(count, by);
        let places = (0..groups).map(|g| self.place(g * by)).collect();
        let cycle = self.cycle * (groups * by / count);
        Self { scale: self.scale, cycle, places, multiplied: self.multiplied }
    }

    /// `by` for each of these; in between they are numbered from the one before, in `parts` of which `by` takes some each.
    fn times(self, by: i64, parts: i64) -> Self {
        let between = |&place: &i64| (0..by).map(move |i| place * parts + i * parts / by);
        let places = self.places.iter().flat_map(between).collect();
        Self { scale: self.scale * parts, cycle: self.cycle * parts, places, multiplied: Some((parts, Box::new(self))) }
    }

    /// The number of pulse `n` of those that are meant to come; `n` may be negative.
    #[must_use]
    pub fn place(&self, n: i64) -> i64 {
        let count = self.places.len() as i64;
        n.div_euclid(count) * self.cycle + self.places[n.rem_euclid(count) as usize]
    }

    /// Which of them is the first with this number or a later one.
    #[must_use]
    pub fn first_from(&self, number: i64) -> i64 {
        let count = self.places.len() as i64;
        let within = number.rem_euclid(self.cycle);
        number.div_euclid(self.cycle) * count + self.places.partition_point(|&p| p < within) as i64
    }

    /// The number of counts that make one pulse of the output: more than 1 behind a multiplier.
    #[must_use]
    pub fn scale(&self) -> i64 {
        self.scale
    }

    /// Whether every pulse of the output is meant to come, each once.
    #[must_use]
    pub fn is_plain(&self) -> bool {
        self.scale == 1 && self.cycle == 1
    }

    /// The beat that a number is meant for. What a multiplier puts between two pulses is meant to be evenly spread from
    /// the one to where the next would be meant to come.
    #[must_use]
    pub fn meant(&self, clock: &Timeline, number: i64) -> Beat {
        let Some((by, before)) = &self.multiplied else { return clock.meant(number) };
        let (base, part) = (number.div_euclid(*by), number.rem_euclid(*by));
        let from = before.meant(clock, base);
        if part == 0 {
            return from;
        }
        let n = before.first_from(base);
        let apart = before.place(n + 1) - before.place(n);
        from + (before.meant(clock, base + apart) - from) * Beat::new(i128::from(part), i128::from(*by))
    }

    /// The ideal time of the beat that a number is meant for.
    ///
    /// # Errors
    /// If it does not fit an [`Instant`].
    pub fn ideal(&self, clock: &Timeline, number: i64) -> Result<Instant, LineError> {
        if self.scale == 1 { clock.ideal(number) } else { Ok(clock.ideal_of(self.meant(clock, number))) }
    }
}

fn gcd(a: i64, b: i64) -> i64 {
    num_integer::gcd(a, b)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn plain() -> Counting {
        Counting { scale: 1, cycle: 1, places: vec![0], multiplied: None }
    }

    fn numbers(c: &Counting, n: i64) -> Vec<i64> {
        (-1..n).map(|i| c.place(i)).collect()
    }

    #[test]
    fn dividers_and_multipliers_compose() {
        assert_eq!(numbers(&plain().every(6), 3), [-6, 0, 6, 12]);
        assert_eq!(numbers(&plain().every(2).every(3), 3), [-6, 0, 6, 12]);
        assert_eq!(numbers(&plain().times(2, 2), 4), [-1, 0, 1, 2, 3]);
        // Two thirds: three out of one, and of these every second.
        assert_eq!(numbers(&plain().times(3, 3).every(2), 4), [-2, 0, 2, 4, 6]);
    }

    #[test]
    fn the_first_from_a_number_is_found() {
        let c = Counting { scale: 1, cycle: 8, places: vec![0, 3, 6], multiplied: None };
        for number in -20..20 {
            let found = c.first_from(number);
            assert!(c.place(found) >= number && c.place(found - 1) < number, "{number}");
        }
    }
}
