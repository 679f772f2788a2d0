use super::BlindTest;
use crate::stats::binomial_tail;

/// Blind tests of one thing: of the same two versions at one tempo, whichever was A; by one listener, or by all.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub struct Series {
    /// The place of its first test.
    pub first: usize,
    /// How many are at hand; one that is there twice is one.
    pub at_hand: u32,
    /// How many there were, as far as anyone knows: those at hand, or what a page counted.
    pub known: u32,
    /// Right answers in all that are at hand.
    pub right: u32,
    /// Trials of these.
    pub trials: u32,
}

impl Series {
    /// For each of these tests the series of its own listener; tests without a name are one listener's.
    #[must_use]
    pub fn of(tests: &[BlindTest]) -> Vec<Self> {
        Self::by(tests, |one, other| same(one, other) && one.listener == other.listener)
    }

    /// For each of these tests the series of all listeners.
    #[must_use]
    pub fn of_all(tests: &[BlindTest]) -> Vec<Self> {
        Self::by(tests, same)
    }

    fn by(tests: &[BlindTest], same: impl Fn(&BlindTest, &BlindTest) -> bool) -> Vec<Self> {
        let series = |of: &BlindTest| {
            let first = tests.iter().position(|t| same(t, of)).unwrap_or_default();
            let mut series = Self { first, ..Self::default() };
            let mut seen: Vec<&BlindTest> = Vec::new();
            for test in tests.iter().filter(|t| same(t, of)) {
                series.known = series.known.max(test.tests);
                let what = |t: &'_ BlindTest| (t.saved.clone(), t.trials.clone(), t.listener.clone());
                if seen.iter().all(|s| what(s) != what(test)) {
                    series.at_hand += 1;
                    series.right += test.right();
                    series.trials += test.trials.len() as u32;
                    seen.push(test);
                }
            }
            series.known = series.known.max(series.at_hand);
            series
        };
        tests.iter().map(series).collect()
    }

    /// How often guessing gives as many right answers in all of them together, or more.
    #[must_use]
    pub fn guessed(&self) -> f64 {
        binomial_tail(self.right, self.trials, 2)
    }
}

/// Whether two tests ask the same.
fn same(one: &BlindTest, other: &BlindTest) -> bool {
    let sides = (&one.a, &one.b);
    let alike = sides == (&other.a, &other.b) || sides == (&other.b, &other.a);
    alike && one.patch == other.patch && one.tempo_bpm.to_bits() == other.tempo_bpm.to_bits()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ear::{Guessing, best_of};

    fn test(side: [&str; 2], tempo: u32, saved: &str, answers: &str, tests: u32) -> BlindTest {
        let trials: Vec<_> = answers
            .chars()
            .map(|a| serde_json::json!({ "x": "a", "answer": a.to_string(), "heard": { "a": 1, "b": 1, "x": 1 } }))
            .collect();
        let text = serde_json::json!({
            "hitgap": "blind-test", "format": 1, "patch": "p", "title": "t", "tempo_bpm": tempo, "tests": tests,
            "a": { "variant": side[0], "gap_ms": 1 }, "b": { "variant": side[1], "gap_ms": 1 },
            "saved": saved, "trials": trials,
        });
        BlindTest::parse(&text.to_string()).expect("a test")
    }

    #[test]
    fn tests_of_the_same_two_are_one_series() {
        let all = [
            test(["x", "y"], 80, "1", "aab", 1),
            test(["y", "x"], 80, "2", "aaaa", 2),
            test(["x", "y"], 90, "3", "ab", 1),
            test(["x", "z"], 80, "4", "a", 5),
            // The first once more.
            test(["x", "y"], 80, "1", "aab", 1),
        ];
        let two = Series { first: 0, at_hand: 2, known: 2, right: 6, trials: 7 };
        let one = Series { first: 2, at_hand: 1, known: 1, right: 1, trials: 2 };
        let five = Series { first: 3, at_hand: 1, known: 5, right: 1, trials: 1 };
        assert_eq!(Series::of(&all), [two, two, one, five, two]);
        // Two listeners are two series, and together one; a name is no part of what was asked.
        let named = |test: &BlindTest, name: &str| {
            let mut test = test.clone();
            test.listener = Some(name.to_owned());
            test
        };
        let class = [named(&all[0], "ox"), named(&all[0], "wren"), named(&all[1], "ox")];
        let of = |series: Vec<Series>| series.iter().map(|s| (s.first, s.at_hand, s.right)).collect::<Vec<_>>();
        assert_eq!(of(Series::of(&class)), [(0, 2, 6), (1, 1, 2), (0, 2, 6)]);
        assert_eq!(of(Series::of_all(&class)), [(0, 3, 8); 3]);
        // Six or more heads of seven coins: 8/128.
        assert!((two.guessed() - 0.0625).abs() < 1e-12);
    }

    /// Who guesses through several tests, and shows the best: a thousand times each. Without the caveat it says ever more often
    /// that he hears; with it no more often than one test may.
    #[test]
    fn the_best_of_guessed_tests_proves_nothing() {
        use crate::ear::{Listener, PsychometricFunction, Shape, Task};
        let guess_rate = PsychometricFunction {
            shape: Shape::Logistic,
            ln_threshold: 0.0,
            slope: 1.0,
            guess_rate: 0.5,
            lapse_rate: 0.5,
        };
        for tests in [1_u32, 3, 8] {
            let (mut plainly, mut counted) = (0, 0);
            for seed in 0..1000 {
                let settings =
                    crate::ear::Settings::usual(crate::ear::Rule::published(2).expect("a rule of two right answers"));
                let mut listener = Listener::new(guess_rate, seed);
                let mut answers = Vec::new();
                while answers.len() < 16 * tests as usize {
                    answers.extend(listener.session(Task::TightOrLoose, &settings, 0));
                }
                let rights = answers.chunks(16).take(tests as usize);
                let best = rights.map(|t| t.iter().filter(|t| t.right()).count() as u32).max().expect("a test");
                let guessing = Guessing::new(best, 16);
                plainly += u32::from(guessing.told_apart(1));
                counted += u32::from(guessing.told_apart(tests));
            }
            // 12 of 16 are guessed in 3.84 %: of 3 tests 11.1 % have one, of 8 26.9 %. Five standard errors.
            let share = best_of(2517.0 / 65_536.0, tests);
            let off = f64::from(plainly) / 1000.0 - share;
            assert!(off.abs() < 5.0 * (share * (1.0 - share) / 1000.0).sqrt(), "{tests}: {plainly}");
            // At most 5 %, and five standard errors.
            assert!(counted <= 50 + 34, "{tests}: {counted}");
        }
    }
}
