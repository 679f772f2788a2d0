/// When a staircase goes down and how far: so many right answers in a row down, one wrong answer up.
///
/// A step down is [`Rule::ratio`] of a step up. With equal steps a forced choice does not settle where the classic formula
/// has it (García-Pérez, Vision Research 38:1861, 1998), so a rule has a ratio, and says its own target.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Rule {
    down: u32,
    /// In ten-thousandths, so that steps are whole numbers.
    ratio: u32,
}

/// Ten-thousandths in one.
pub(super) const WHOLE: i32 = 10_000;

/// Why a rule is refused.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
pub enum RuleError {
    /// One right answer down, one wrong answer up, by equal steps.
    #[error("one right answer down and one wrong up by equal steps runs away to where answers are guessed")]
    Equal,
    /// Not 1 to 4 right answers.
    #[error("a rule takes 1 to 4 right answers for a step down, not {0}")]
    Down(u32),
    /// A step down of nothing, or larger than a step up.
    #[error("a step down is more than 0 and at most 1 of a step up, not {:.4}", f64::from(*.0) / 10_000.0)]
    Ratio(u32),
}

impl Rule {
    /// The ratios of García-Pérez 1998 for 1 to 4 right answers (abstract of that paper), in ten-thousandths.
    pub const RATIOS: [u32; 4] = [2845, 5488, 7393, 8415];

    /// A rule with its published ratio.
    ///
    /// # Errors
    /// Unless `down` is from 1 to 4.
    pub fn published(down: u32) -> Result<Self, RuleError> {
        let at = down.checked_sub(1).and_then(|n| Self::RATIOS.get(n as usize));
        Self::new(down, *at.ok_or(RuleError::Down(down))?)
    }

    /// A rule with a ratio in ten-thousandths.
    ///
    /// # Errors
    /// For a rule that settles nowhere.
    pub fn new(down: u32, ratio: u32) -> Result<Self, RuleError> {
        match (down, ratio) {
            (1..=4, 0 | 10_001..) => Err(RuleError::Ratio(ratio)),
            (1, 10_000) => Err(RuleError::Equal),
            (1..=4, _) => Ok(Self { down, ratio }),
            _ => Err(RuleError::Down(down)),
        }
    }

    /// How many right answers in a row make a step down.
    #[must_use]
    pub const fn down(self) -> u32 {
        self.down
    }

    /// A step down over a step up, in ten-thousandths.
    #[must_use]
    pub const fn ratio(self) -> u32 {
        self.ratio
    }

    /// The share of right answers at which the staircase settles: `(1/(1 + ratio))^(1/n)`.
    ///
    /// There `n` right answers in a row, which come with `pⁿ`, times a step down balance what is left times a step up.
    #[must_use]
    pub fn target(self) -> f64 {
        libm::pow(1.0 / (1.0 + f64::from(self.ratio) / f64::from(WHOLE)), 1.0 / f64::from(self.down))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// García-Pérez 1998, abstract: 77.85, 80.35, 83.15, 85.84 %.
    #[test]
    fn targets_are_the_published_ones() {
        for (down, percent) in [(1, 77.85), (2, 80.35), (3, 83.15), (4, 85.84)] {
            let target = Rule::published(down).expect("published").target();
            // The table has two places.
            assert!((100.0 * target - percent).abs() <= 0.005, "{down}: {target}");
        }
    }

    /// Kaernbach 1991 (abstract seen; the rule p·down = (1 − p)·up is a closed form): one down, one up with steps 1 : 3 settles at 75 %.
    #[test]
    fn a_weighted_rule_settles_where_steps_balance() {
        // 3333 is a third to four places.
        assert!((Rule::new(1, 3333).expect("weighted").target() - 0.75).abs() < 2e-5);
    }

    #[test]
    fn what_runs_away_is_refused() {
        assert_eq!(Rule::new(1, 10_000), Err(RuleError::Equal));
        assert_eq!(Rule::published(0), Err(RuleError::Down(0)));
        assert_eq!(Rule::published(5), Err(RuleError::Down(5)));
        assert_eq!(Rule::new(2, 0), Err(RuleError::Ratio(0)));
        assert_eq!(Rule::new(3, 10_001), Err(RuleError::Ratio(10_001)));
        assert!(Rule::new(2, 10_000).is_ok());
    }
}
