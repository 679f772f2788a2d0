/// The most trials of a blind test: as many as a page asks at most.
pub const MOST_TRIALS: usize = 100;

/// How often a fair coin gives as many right answers or more: exactly, as a fraction over a power of two.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Guessing {
    right: u32,
    of: u32,
    /// Of 2 to the power of `of` equally likely rows of answers, those with as many right ones or more.
    rows: u128,
}

impl Guessing {
    /// `right` of at most [`MOST_TRIALS`] answers.
    ///
    /// # Panics
    /// If there are more.
    #[must_use]
    pub fn new(right: u32, of: u32) -> Self {
        assert!(of as usize <= MOST_TRIALS, "2^{of} rows and their products fit");
        let (mut rows, mut choose) = (0_u128, 1_u128);
        for k in 0..=of {
            if k >= right {
                rows += choose;
            }
            // Both factors are whole, and so is the quotient; 2^100 · 100 is below 2^107.
            choose = choose * u128::from(of - k) / u128::from(k + 1);
        }
        Self { right, of, rows }
    }

    /// The fraction in lowest terms.
    #[must_use]
    pub fn fraction(&self) -> (u128, u128) {
        // Nothing but twos is in the denominator.
        let twos = self.rows.trailing_zeros().min(self.of);
        (self.rows >> twos, 1 << (self.of - twos))
    }

    /// The probability of as many right answers or more by guessing, to the nearest number.
    #[must_use]
    pub fn p(&self) -> f64 {
        let (over, under) = self.fraction();
        over as f64 / under as f64
    }

    /// Whether guessing does so well in less than 5 % of tests; of several tests of the same thing, in at least one of them in
    /// less than 5 %.
    #[must_use]
    pub fn told_apart(&self, tests: u32) -> bool {
        let (over, under) = self.fraction();
        20 * over < under && (tests < 2 || best_of(self.p(), tests) < 0.05)
    }

    /// The probability as people read it: 3.8 %, under 0.1 %; halves upwards, as the page rounds.
    #[must_use]
    pub fn percent(&self) -> String {
        let (over, under) = self.fraction();
        if 1000 * over < under {
            return "under 0.1 %".to_owned();
        }
        // A share below a tenth has a decimal.
        let rounded = |per: u128| (2 * per * over + under) / (2 * under);
        if 10 * over < under {
            let tenths = rounded(1000);
            format!("{}.{} %", tenths / 10, tenths % 10)
        } else {
            format!("{} %", rounded(100))
        }
    }

    /// The sentence in which the page says the result, with so many tests of the same thing.
    #[must_use]
    pub fn sentence(&self, tests: u32) -> String {
        let Self { right, of, .. } = self;
        // What looks like proof is one of several: how often guessing has one such among so many.
        let among = if tests > 1 && self.told_apart(1) { caveat(self.p(), tests) } else { String::new() };
        let so = if self.told_apart(tests) {
            "You hear the difference."
        } else {
            "That is no proof that you hear it, nor that you do not."
        };
        format!(
            "{so} You were right {right} times of {of}; guessing does that, or better, in {} of tests.{among}",
            self.percent()
        )
    }
}

/// How often at least one of so many guessed tests comes out as well as one in which guessing does so with `p`: `1 − (1 − p)ⁿ`.
/// The tests do not hang together, since X is drawn anew for each trial (Šidák, JASA 62:626, 1967; cited so by the R package mutoss).
#[must_use]
pub fn best_of(p: f64, tests: u32) -> f64 {
    if tests < 2 { p } else { -libm::expm1(f64::from(tests) * libm::log1p(-p)) }
}

/// A sentence on what would be proof, were it not one of several tests.
fn caveat(p: f64, tests: u32) -> String {
    let best = best_of(p, tests);
    // As the page rounds: halves upwards.
    let share = match best {
        ..0.001 => "under 0.1 %".to_owned(),
        ..0.1 => format!("{:.1} %", (1000.0 * best + 0.5).floor() / 10.0),
        _ => format!("{} %", (100.0 * best + 0.5).floor()),
    };
    format!(
        " It is one of {tests} tests of these two: who guesses through {tests} does so well in at least one of them in {share} of \
         cases."
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Binomial tails, p = ½: exact fractions, redone by hand; 12/16 and 9/10 are the usual cut-offs of published tables.
    #[test]
    fn guessing_does_what_tables_say() {
        for (right, of, fraction) in [
            (12, 16, (2517, 65_536)),
            (14, 16, (137, 65_536)),
            (9, 10, (11, 1024)),
            (8, 10, (7, 128)),
            (5, 5, (1, 32)),
            (7, 8, (9, 256)),
            (0, 16, (1, 1)),
            (16, 16, (1, 65_536)),
            (1, 1, (1, 2)),
        ] {
            assert_eq!(Guessing::new(right, of).fraction(), fraction, "{right} of {of}");
        }
        // By symmetry: half of all rows, and half of the middle one. C(100, 50) by scipy.
        let middle = 100_891_344_545_564_193_334_812_497_256_u128;
        assert_eq!(Guessing::new(50, 100).rows, (1 << 99) + middle / 2);
        // The fewest right answers that guessing reaches in less than 5 %, n = 10 to 25: the usual table.
        let least = |n: u32| (0..=n).find(|k| Guessing::new(*k, n).told_apart(1));
        let row: Vec<u32> = (10..=25).filter_map(least).collect();
        assert_eq!(row, [9, 9, 10, 10, 11, 12, 12, 13, 13, 14, 15, 15, 16, 16, 17, 18]);
        assert_eq!((least(4), least(5)), (None, Some(5)));
    }

    /// Pascal's triangle, which adds where the code multiplies and divides.
    #[test]
    fn rows_are_those_of_pascals_triangle() {
        let mut line = vec![1_u128];
        for n in 0..=MOST_TRIALS {
            for right in 0..=n {
                let rows: u128 = line[right..].iter().sum();
                assert_eq!(Guessing::new(right as u32, n as u32).rows, rows, "{right} of {n}");
            }
            let mut next = vec![1];
            next.extend(line.windows(2).map(|w| w[0] + w[1]));
            next.push(1);
            line = next;
        }
    }

    #[test]
    fn shares_are_rounded_as_the_page_rounds() {
        for (right, of, said) in [
            (12, 16, "3.8 %"),
            (14, 16, "0.2 %"),
            (9, 10, "1.1 %"),
            (16, 16, "under 0.1 %"),
            // Halves go up: 12.5 and 6.25.
            (3, 3, "13 %"),
            (4, 4, "6.3 %"),
            (8, 16, "60 %"),
            (0, 16, "100 %"),
        ] {
            assert_eq!(Guessing::new(right, of).percent(), said, "{right} of {of}");
        }
    }

    /// By hand, as fractions: of two fair coins one comes up heads in 3/4, of three in 7/8; and p alone for one test.
    #[test]
    fn the_best_of_several_is_the_closed_form() {
        for (p, tests, share) in
            [(0.5, 2, 0.75), (0.5, 3, 0.875), (0.25, 2, 7.0 / 16.0), (0.04, 1, 0.04), (1.0, 5, 1.0), (0.0, 9, 0.0)]
        {
            assert!((best_of(p, tests) - share).abs() < 1e-15, "{p} {tests}");
        }
    }
}
