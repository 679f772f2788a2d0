use super::level::OCTAVE;
use super::prior::{CURVES, GAPS, LOWEST, STEP};
use super::{Level, Posterior};

/// How gaps are asked for where an answer tells most.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub struct PsiSettings {
    /// The smallest level.
    pub floor: Level,
    /// The largest level.
    pub ceiling: Level,
    /// The share of right answers that the threshold stands for, in ten-thousandths.
    pub target: u32,
    /// It ends when the 95 % interval of the threshold is no wider: millionths of an octave.
    pub narrow: i32,
    /// Not before so many trials.
    pub least_trials: u32,
    /// After so many trials it ends in any case.
    pub most_trials: u32,
    /// Which prior: there is one, 1.
    pub prior: u32,
}

/// Why settings are refused.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
pub enum PsiError {
    /// The levels are out of order, out of bounds, or off the grid.
    #[error("the levels must run from floor to ceiling in whole steps of 100000, all from -2000000 to 7000000")]
    Levels,
    /// No share that all listeners of the prior reach.
    #[error("a target is 6000 to 8600 of 10000 right, not {0}")]
    Target(u32),
    /// Never, or at once.
    #[error("an interval to end at is 100000 to 5000000 wide, not {0}")]
    Narrow(i32),
    /// Too few trials or too many.
    #[error("{0} to {1} trials are not 10 to 1000")]
    Trials(u32, u32),
    /// Another prior than is known.
    #[error("found prior {0}, and this program knows 1")]
    Prior(u32),
}

/// The larger of two figures that are wide apart: log2(1.6) in millionths of an octave.
const USUAL_NARROW: i32 = 678_072;

impl PsiSettings {
    /// The usual ones: between 0.25 and 128 ms, at the share of two right down, one wrong up (80.35 %); it ends at × 1.6 or after 120.
    #[must_use]
    pub const fn usual() -> Self {
        Self {
            floor: Level(-2 * OCTAVE),
            ceiling: Level(7 * OCTAVE),
            target: 8035,
            narrow: USUAL_NARROW,
            least_trials: 40,
            most_trials: 120,
            prior: 1,
        }
    }

    /// Refuses what cannot be walked.
    ///
    /// # Errors
    /// The first thing that is wrong.
    pub fn check(&self) -> Result<(), PsiError> {
        let (floor, ceiling) = (self.floor.0, self.ceiling.0);
        if !(-2 * OCTAVE <= floor && floor < ceiling && ceiling <= 7 * OCTAVE)
            || floor % STEP != 0
            || ceiling % STEP != 0
        {
            return Err(PsiError::Levels);
        }
        if !(6000..=8600).contains(&self.target) {
            return Err(PsiError::Target(self.target));
        }
        if !(100_000..=5_000_000).contains(&self.narrow) {
            return Err(PsiError::Narrow(self.narrow));
        }
        let trials = 10..=1000;
        if !trials.contains(&self.least_trials)
            || !trials.contains(&self.most_trials)
            || self.least_trials > self.most_trials
        {
            return Err(PsiError::Trials(self.least_trials, self.most_trials));
        }
        if self.prior != 1 {
            return Err(PsiError::Prior(self.prior));
        }
        Ok(())
    }

    /// The share of right answers that the threshold stands for.
    #[must_use]
    pub fn share(&self) -> f64 {
        f64::from(self.target) / 10_000.0
    }
}

/// A session under way in which each gap is asked for where an answer tells most: threshold, slope and lapse rate are looked for together
/// (Kontsevich and Tyler, Vision Research 39:2729, 1999: the psi method, abstract seen; Watson, Journal of Vision 17(3):10, 2017, seen),
/// slope and lapse rate as what is not asked about (Prins, Journal of Vision 12(6):25, 2012, seen: with the lapse rate among what is
/// asked about, long rows of trials go to gaps that anybody hears).
///
/// Told most is where the variance of the threshold's logarithm is expected to fall most. By entropy, as in those papers, intervals
/// came out as wide (docs/ear.md has the figures); variance needs no logarithm, and so is the same to the last bit on the page.
#[derive(Clone, Debug, PartialEq)]
pub struct Psi {
    settings: PsiSettings,
    posterior: Posterior,
    /// The share of right answers by curve, and by the level's place above the gap's, from the lowest on.
    table: Vec<f64>,
    level: i32,
    trials: u32,
}

/// Gaps less likely than this are left out where the next level is looked for.
const LIKELY: f64 = 1e-9;

impl Psi {
    /// At its beginning; `guess_rate` is that of the task. Settings are checked by whoever takes them in; `None` where some listeners never
    /// reach the target.
    #[must_use]
    pub fn new(settings: PsiSettings, guess_rate: f64) -> Option<Self> {
        let posterior = Posterior::new(guess_rate, settings.share())?;
        let reach = GAPS + ((settings.ceiling.0 - settings.floor.0) / STEP) as usize;
        let lowest = settings.floor.0 - (LOWEST.0 + STEP * (GAPS as i32 - 1));
        let curves = posterior.curves();
        let mut table = vec![0.0; CURVES * reach];
        for place in 0..reach {
            for (curve, share) in curves.right(lowest + STEP * place as i32).into_iter().enumerate() {
                table[curve * reach + place] = share;
            }
        }
        let mut psi = Self { settings, posterior, table, level: settings.floor.0, trials: 0 };
        psi.level = psi.next();
        Some(psi)
    }

    /// The level whose answer tells most; of several the smallest.
    fn next(&self) -> i32 {
        let gaps = self.posterior.gaps();
        let reach = self.table.len() / CURVES;
        let mut mean = 0.0;
        for (n, weight) in gaps.iter().enumerate() {
            mean += weight * n as f64;
        }
        let (mut best, mut most) = (self.settings.floor.0, -1.0);
        for place in 0..=((self.settings.ceiling.0 - self.settings.floor.0) / STEP) as usize {
            // How likely a right answer is, and that times the gap.
            let (mut right, mut moment) = (0.0, 0.0);
            for (n, weights) in self.posterior.weights().chunks_exact(CURVES).enumerate() {
                if gaps[n] < LIKELY {
                    continue;
                }
                let mut share = 0.0;
                for (curve, weight) in weights.iter().enumerate() {
                    share += weight * self.table[curve * reach + place + GAPS - 1 - n];
                }
                right += share;
                moment += share * n as f64;
            }
            // The variance between what a right and a wrong answer leave: that which the answer takes away.
            let off = moment - right * mean;
            let told = off * off / (right * (1.0 - right));
            if told > most {
                most = told;
                best = self.settings.floor.0 + STEP * place as i32;
            }
        }
        best
    }

    /// The level of the next trial.
    #[must_use]
    pub const fn level(&self) -> Level {
        Level(self.level)
    }

    /// How it is walked.
    #[must_use]
    pub const fn settings(&self) -> &PsiSettings {
        &self.settings
    }

    /// What is likely by now.
    #[must_use]
    pub const fn posterior(&self) -> &Posterior {
        &self.posterior
    }

    /// Trials answered, plain ones that were slipped in too.
    #[must_use]
    pub const fn trials(&self) -> u32 {
        self.trials
    }

    /// How wide the 95 % interval is: millionths of an octave.
    #[must_use]
    pub fn width(&self) -> f64 {
        let [low, high] = self.posterior.between();
        high - low
    }

    /// Whether it has ended.
    #[must_use]
    pub fn done(&self) -> bool {
        self.trials >= self.settings.most_trials
            || (self.trials >= self.settings.least_trials && self.width() <= f64::from(self.settings.narrow))
    }

    /// Takes an answer to a gap: that of [`level`](Self::level), or of a plain one that was slipped in, which tells of lapses.
    pub fn answer(&mut self, level: Level, right: bool) {
        self.trials += 1;
        self.posterior.answer(level, right);
        self.level = self.next();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The next level is the one after which the variance of the gap is least on average, worked out by taking either answer at every level.
    #[test]
    fn the_next_level_is_where_variance_falls_most() {
        for guess_rate in [1.0 / 3.0, 0.5] {
            let mut psi = Psi::new(PsiSettings::usual(), guess_rate).expect("reached");
            for right in [true, true, false, true, false, true, true, true, false, true, true, false] {
                let left = |level: i32| {
                    let chance: f64 = {
                        let curves = psi.posterior.curves();
                        let all = psi.posterior.weights().chunks_exact(CURVES).enumerate();
                        all.map(|(n, w)| {
                            let right = curves.right(level - LOWEST.0 - STEP * n as i32);
                            w.iter().zip(right).map(|(w, share)| w * share).sum::<f64>()
                        })
                        .sum()
                    };
                    let variance = |right: bool| {
                        let mut after = psi.posterior.clone();
                        after.answer(Level(level), right);
                        after.ln_moments().1.powi(2)
                    };
                    chance * variance(true) + (1.0 - chance) * variance(false)
                };
                let own = left(psi.level().0);
                for level in (psi.settings.floor.0..=psi.settings.ceiling.0).step_by(STEP as usize) {
                    // What is left out as unlikely has a weight of 1e-9 and less.
                    assert!(own <= left(level) + 1e-6, "{level} after {} trials", psi.trials);
                }
                psi.answer(psi.level(), right);
            }
        }
    }

    #[test]
    fn it_ends() {
        let usual = PsiSettings::usual();
        let mut psi = Psi::new(PsiSettings { narrow: 100_000, ..usual }, 0.5).expect("reached");
        for n in 0..120 {
            assert!(!psi.done(), "{n}");
            psi.answer(psi.level(), n % 3 != 0);
        }
        assert!(psi.done());
        let mut psi = Psi::new(PsiSettings { narrow: 5_000_000, ..usual }, 0.5).expect("reached");
        for n in 0..40 {
            assert!(!psi.done(), "{n}");
            psi.answer(psi.level(), psi.level() > Level(2_000_000));
        }
        assert!(psi.done() && psi.width() < 5e6);
    }

    #[test]
    fn what_cannot_be_walked_is_refused() {
        let good = PsiSettings::usual();
        assert_eq!(good.check(), Ok(()));
        assert_eq!(PsiSettings { floor: Level(-1_950_000), ..good }.check(), Err(PsiError::Levels));
        assert_eq!(PsiSettings { ceiling: Level(7_100_000), ..good }.check(), Err(PsiError::Levels));
        assert_eq!(PsiSettings { target: 9000, ..good }.check(), Err(PsiError::Target(9000)));
        assert_eq!(PsiSettings { narrow: 0, ..good }.check(), Err(PsiError::Narrow(0)));
        assert_eq!(PsiSettings { least_trials: 121, ..good }.check(), Err(PsiError::Trials(121, 120)));
        assert_eq!(PsiSettings { prior: 2, ..good }.check(), Err(PsiError::Prior(2)));
        // Every target that is taken is one that all listeners of the prior reach.
        for target in [6000, 8600] {
            assert!(
                [1.0 / 3.0, 0.5].iter().all(|g| Psi::new(PsiSettings { target, ..good }, *g).is_some()),
                "{target}"
            );
        }
    }
}
