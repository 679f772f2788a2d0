use super::level::OCTAVE;
use super::rule::WHOLE;
use super::{Level, Rule};

/// How a staircase is walked.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Settings {
    /// When it goes down, and how far.
    pub rule: Rule,
    /// Where it begins.
    pub start: Level,
    /// The smallest level.
    pub floor: Level,
    /// The largest level.
    pub ceiling: Level,
    /// The step up until the first reversals are over, in millionths of an octave.
    pub large_step: i32,
    /// The step up after.
    pub small_step: i32,
    /// How many reversals have the larger step.
    pub large_reversals: u32,
    /// How many reversals come after; their mean is the estimate.
    pub reversals: u32,
    /// After so many trials it ends in any case.
    pub most_trials: u32,
}

/// Why settings are refused.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
pub enum SettingsError {
    /// The levels are out of order, or out of bounds.
    #[error("the levels must run from floor over start to ceiling, all from -7000000 to 9000000")]
    Levels,
    /// A step is no multiple of 10,000, or the later is the larger.
    #[error("steps must be multiples of 10000 from 10000 to 3000000, the later one no larger than the first")]
    Steps,
    /// Too few reversals or too many.
    #[error("the first {0} turns and {1} after are not at most 8 and 8 to 12")]
    Turns(u32, u32),
    /// Too few trials or too many.
    #[error("{0} trials are not 20 to 1000")]
    Trials(u32),
}

impl Settings {
    /// The usual ones: from 32 ms, between 0.25 and 128 ms; an octave up for four reversals, then 0.4 of one for ten.
    ///
    /// Four large reversals and 8 to 12 small ones are common practice (auditory.org mailing list, 2009).
    #[must_use]
    pub const fn usual(rule: Rule) -> Self {
        Self {
            rule,
            start: Level(5 * OCTAVE),
            floor: Level(-2 * OCTAVE),
            ceiling: Level(7 * OCTAVE),
            large_step: OCTAVE,
            small_step: 400_000,
            large_reversals: 4,
            reversals: 10,
            most_trials: 120,
        }
    }

    /// Refuses what cannot be walked.
    ///
    /// # Errors
    /// The first thing that is wrong.
    pub fn check(&self) -> Result<(), SettingsError> {
        let (floor, start, ceiling) = (self.floor.0, self.start.0, self.ceiling.0);
        if !(-7 * OCTAVE <= floor && floor <= start && start <= ceiling && ceiling <= 9 * OCTAVE && floor < ceiling) {
            return Err(SettingsError::Levels);
        }
        let step = |s: i32| (WHOLE..=3 * OCTAVE).contains(&s) && s % WHOLE == 0;
        if !step(self.large_step) || !step(self.small_step) || self.small_step > self.large_step {
            return Err(SettingsError::Steps);
        }
        if self.large_reversals > 8 || !(8..=12).contains(&self.reversals) {
            return Err(SettingsError::Turns(self.large_reversals, self.reversals));
        }
        if !(20..=1000).contains(&self.most_trials) {
            return Err(SettingsError::Trials(self.most_trials));
        }
        Ok(())
    }
}

/// A staircase under way. Whole numbers throughout: the page follows the same ones.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Staircase {
    settings: Settings,
    level: i32,
    /// Right answers in a row since the last step.
    right: u32,
    /// Whether the last step went up.
    up: Option<bool>,
    reversals: Vec<Level>,
    trials: u32,
}

impl Staircase {
    /// At its beginning; settings are checked by whoever takes them in.
    #[must_use]
    pub const fn new(settings: Settings) -> Self {
        Self { settings, level: settings.start.0, right: 0, up: None, reversals: Vec::new(), trials: 0 }
    }

    /// The level of the next trial.
    #[must_use]
    pub const fn level(&self) -> Level {
        Level(self.level)
    }

    /// The levels at which it turned.
    #[must_use]
    pub fn reversals(&self) -> &[Level] {
        &self.reversals
    }

    /// The reversals that the estimate is made of: all after the first, larger ones.
    #[must_use]
    pub fn late_reversals(&self) -> &[Level] {
        self.reversals.get(self.settings.large_reversals as usize..).unwrap_or(&[])
    }

    /// How it is walked.
    #[must_use]
    pub const fn settings(&self) -> &Settings {
        &self.settings
    }

    /// Trials answered.
    #[must_use]
    pub const fn trials(&self) -> u32 {
        self.trials
    }

    /// Whether it has ended.
    #[must_use]
    pub fn done(&self) -> bool {
        let reversals = self.settings.large_reversals + self.settings.reversals;
        self.reversals.len() >= reversals as usize || self.trials >= self.settings.most_trials
    }

    /// Takes an answer.
    pub fn answer(&mut self, right: bool) {
        if self.done() {
            return;
        }
        self.trials += 1;
        self.right = if right { self.right + 1 } else { 0 };
        if right && self.right < self.settings.rule.down() {
            return;
        }
        self.right = 0;
        let up = !right;
        if self.up.is_some_and(|before| before != up) {
            self.reversals.push(Level(self.level));
        }
        self.up = Some(up);
        let large = self.reversals.len() < self.settings.large_reversals as usize;
        let step = if large { self.settings.large_step } else { self.settings.small_step };
        // Exact: steps are multiples of ten thousand.
        let moved = if up { step } else { -(step / WHOLE * self.settings.rule.ratio() as i32) };
        self.level = (self.level + moved).clamp(self.settings.floor.0, self.settings.ceiling.0);
    }
}

/// The mean of reversals, in log time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ReversalMean {
    /// The natural logarithm of the gap in ms.
    pub ln_ms: f64,
    /// Between which gaps the one at the target lies, 95 times of 100, in the same unit: see [`Calibration::gap_interval`](super::Calibration::gap_interval). `None` where
    /// it was not asked for. The SD of the reversals says nothing of it: they hang together, and the first are still on the way
    /// down.
    pub between: Option<[f64; 2]>,
    /// How many reversals.
    pub reversals: usize,
}

/// The mean of the later reversals of all tracks. With an odd number in a track its first is left out, so that peaks and
/// valleys count alike.
#[must_use]
pub fn reversal_mean(tracks: &[Staircase]) -> Option<ReversalMean> {
    let of_track = |s: &Staircase| {
        let late = s.late_reversals();
        late[late.len() % 2..].iter().map(|l| l.ln_ms()).collect::<Vec<f64>>()
    };
    let all: Vec<f64> = tracks.iter().flat_map(of_track).collect();
    if all.len() < 2 {
        return None;
    }
    let ln_ms = all.iter().sum::<f64>() / all.len() as f64;
    Some(ReversalMean { ln_ms, between: None, reversals: all.len() })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn levels(down: u32, answers: &str) -> (Vec<i32>, Vec<i32>) {
        let mut s = Staircase::new(Settings::usual(Rule::published(down).expect("rule")));
        let mut seen = vec![s.level().0];
        for c in answers.chars() {
            s.answer(c == '1');
            seen.push(s.level().0);
        }
        (seen, s.reversals().iter().map(|l| l.0).collect())
    }

    /// By hand: up 1 octave, down 0.2845 of it; after the fourth reversal 0.4 and 0.1138.
    #[test]
    fn one_down_is_walked_as_by_hand() {
        let (seen, reversals) = levels(1, "1010101");
        let hand = [5_000_000, 4_715_500, 5_715_500, 5_431_000, 6_431_000, 6_317_200, 6_717_200, 6_603_400];
        assert_eq!(seen, hand);
        assert_eq!(reversals, [4_715_500, 5_715_500, 5_431_000, 6_431_000, 6_317_200, 6_717_200]);
    }

    /// By hand: two right make a step of 0.5488; a wrong one begins the count anew; a step in the same direction is no reversal.
    #[test]
    fn two_down_is_walked_as_by_hand() {
        let (seen, reversals) = levels(2, "1110110");
        let hand = [5_000_000, 5_000_000, 4_451_200, 4_451_200, 5_451_200, 5_451_200, 4_902_400, 5_902_400];
        assert_eq!(seen, hand);
        assert_eq!(reversals, [4_451_200, 5_451_200, 4_902_400]);
    }

    #[test]
    fn it_stays_within_its_bounds_and_ends() {
        let mut s = Staircase::new(Settings::usual(Rule::published(2).expect("rule")));
        for _ in 0..500 {
            s.answer(false);
            assert!(s.level() <= Level(7_000_000));
        }
        assert!(s.done() && s.trials() == 120 && s.reversals().is_empty());
        let mut s = Staircase::new(Settings::usual(Rule::published(1).expect("rule")));
        (0..500).for_each(|n| s.answer(n % 2 == 0));
        assert!(s.done() && s.reversals().len() == 14 && s.late_reversals().len() == 10);
    }

    #[test]
    fn what_cannot_be_walked_is_refused() {
        let good = Settings::usual(Rule::published(2).expect("rule"));
        assert_eq!(good.check(), Ok(()));
        assert_eq!(Settings { start: Level(8_000_000), ..good }.check(), Err(SettingsError::Levels));
        assert_eq!(Settings { small_step: 12_345, ..good }.check(), Err(SettingsError::Steps));
        assert_eq!(Settings { small_step: 2_000_000, ..good }.check(), Err(SettingsError::Steps));
        assert_eq!(Settings { reversals: 6, ..good }.check(), Err(SettingsError::Turns(4, 6)));
        assert_eq!(Settings { most_trials: 5, ..good }.check(), Err(SettingsError::Trials(5)));
    }
}
