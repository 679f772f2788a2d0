use crate::stats::wilson;

/// A share of trials in which something was so, where trials come a few to a run.
///
/// Only whole numbers are kept, so that the order in which runs are counted changes nothing.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Proportion {
    /// How many runs had a trial.
    runs: u64,
    trials: u64,
    /// Of these, how many were so.
    seen: u64,
    /// Over runs: the square of what was seen, what was seen times the trials, and the square of the trials.
    seen_squared: u128,
    seen_trials: u128,
    trials_squared: u128,
}

impl Proportion {
    /// Counts a run in which `seen` of `trials` were so.
    pub fn add(&mut self, seen: u64, trials: u64) {
        if trials == 0 {
            return;
        }
        self.runs += 1;
        self.trials += trials;
        self.seen += seen;
        let (x, m) = (u128::from(seen), u128::from(trials));
        self.seen_squared += x * x;
        self.seen_trials += x * m;
        self.trials_squared += m * m;
    }

    /// What both counted.
    #[must_use]
    pub fn merge(self, other: Self) -> Self {
        Self {
            runs: self.runs + other.runs,
            trials: self.trials + other.trials,
            seen: self.seen + other.seen,
            seen_squared: self.seen_squared + other.seen_squared,
            seen_trials: self.seen_trials + other.seen_trials,
            trials_squared: self.trials_squared + other.trials_squared,
        }
    }

    /// The number of trials in all runs.
    #[must_use]
    pub fn trials(&self) -> u64 {
        self.trials
    }

    /// The number of trials in which it was so.
    #[must_use]
    pub fn seen(&self) -> u64 {
        self.seen
    }

    /// The share that was so; `None` without any trial.
    #[must_use]
    pub fn share(&self) -> Option<f64> {
        (self.trials > 0).then(|| self.seen as f64 / self.trials as f64)
    }

    /// The interval in which the true share lies with 95 % confidence: Wilson's.
    ///
    /// Trials of one run share its draws, and what goes together counts for less. So Wilson's number of trials is the
    /// effective one: all of them over the design effect, which is the variance of a share of clustered trials over
    /// that of independent ones (Kish 1965, as in the vignette on design effects of the R package PracTools), at least 1. Where all or none were so
    /// nothing can be said of the variance, and a run counts as one trial.
    #[must_use]
    pub fn interval(&self) -> Option<[f64; 2]> {
        let share = self.share()?;
        Some(wilson(share, self.effective_trials(share)))
    }

    fn effective_trials(&self, p: f64) -> f64 {
        let (n, m) = (self.runs as f64, self.trials as f64);
        if self.runs == self.trials {
            return m;
        }
        if self.seen == 0 || self.seen == self.trials || self.runs < 2 {
            return n;
        }
        // The sum over runs of (seen − p·trials)². Sums stay far below 2⁵³, so that nothing is lost before the last step.
        let squares = self.seen_squared as f64 - 2.0 * p * self.seen_trials as f64 + p * p * self.trials_squared as f64;
        let clustered = n / (n - 1.0) * squares / (m * m);
        let independent = p * (1.0 - p) / m;
        m / (clustered / independent).max(1.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_trial_a_run_is_wilson_as_it_stands() {
        let mut odds = Proportion::default();
        (0..16).for_each(|i| odds.add(u64::from(i < 12), 1));
        let [low, high] = odds.interval().expect("trials");
        // 12 of 16: see the table beside `wilson`.
        assert!((low - 0.505_017).abs() < 6e-7 && (high - 0.898_179).abs() < 6e-7);
    }

    /// If all trials of a run go together, only the runs count: the variance of the mean of whole clusters.
    #[test]
    fn trials_that_go_together_count_as_one() {
        let (mut together, mut runs) = (Proportion::default(), Proportion::default());
        for i in 0..1000_u64 {
            let so = u64::from(i % 4 == 0);
            together.add(8 * so, 8);
            runs.add(so, 1);
        }
        let ([a, b], [c, d]) = (together.interval().expect("some"), runs.interval().expect("some"));
        // n/(n − 1) with n = 1000 widens by 0.05 %, of 0.027.
        assert!((a - c).abs() < 3e-5 && (b - d).abs() < 3e-5, "{a} {b} {c} {d}");
    }

    /// If they do not, all count: every pattern of two trials as often as chance has it.
    #[test]
    fn trials_that_are_independent_all_count() {
        let (mut pairs, mut all) = (Proportion::default(), Proportion::default());
        for i in 0..1000_u64 {
            pairs.add((i & 1) + (i >> 1 & 1), 2);
            all.add(i & 1, 1);
            all.add(i >> 1 & 1, 1);
        }
        let ([a, b], [c, d]) = (pairs.interval().expect("some"), all.interval().expect("some"));
        assert!((a - c).abs() < 3e-5 && (b - d).abs() < 3e-5, "{a} {b} {c} {d}");
    }

    #[test]
    fn where_nothing_was_seen_a_run_is_one_trial() {
        let mut odds = Proportion::default();
        (0..10).for_each(|_| odds.add(0, 3));
        let [low, high] = odds.interval().expect("trials");
        assert!(low == 0.0 && (high - 0.277_533).abs() < 6e-7);
        assert_eq!(Proportion::default().interval(), None);
    }
}
