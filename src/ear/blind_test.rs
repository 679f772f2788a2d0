use super::series::{best_of, caveat};
use crate::stats::wilson;
use crate::text::{plain, within};
use serde::de::{Error, IgnoredAny, SeqAccess, Visitor};
use serde::{Deserialize, Deserializer};
use std::fmt;

/// The most trials of a test: as many as a page asks at most.
pub const MOST_TRIALS: usize = 100;

/// Why a text is no file of answers.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
#[error("line {line}, column {column}: {what}")]
pub struct AnswersError {
    /// From 1.
    pub line: usize,
    /// From 1, in bytes; 0 where the line is empty.
    pub column: usize,
    /// What was found and expected, fit to be shown.
    pub what: String,
}

impl From<serde_json::Error> for AnswersError {
    fn from(error: serde_json::Error) -> Self {
        /// The most characters of a message: it may repeat what stands in the file.
        const MOST: usize = 200;
        let (line, column) = (error.line(), error.column());
        let said = error.to_string();
        // The place stands at the end of the message too.
        let said = if error.is_eof() { "the file ends in the middle: it was cut short".to_owned() } else { said };
        let said = said.strip_suffix(&format!(" at line {line} column {column}")).unwrap_or(&said);
        Self { line, column, what: within(&plain(said), MOST) }
    }
}

/// What a file of answers holds, by its field `hitgap`.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Deserialize)]
pub enum Kind {
    /// A blind test of a listening page.
    #[serde(rename = "blind-test")]
    BlindTest,
}

/// Reads what kind of file a text is, and nothing else of it.
///
/// # Errors
/// If it is not JSON, or not one of ours.
pub fn kind(text: &str) -> Result<Kind, AnswersError> {
    #[derive(Deserialize)]
    struct Head {
        hitgap: Kind,
    }
    let begins = text.trim_start();
    if !begins.is_empty() && !begins.starts_with('{') {
        let before = &text[..text.len() - begins.len()];
        let (line, column) =
            (before.matches('\n').count() + 1, before.len() - before.rfind('\n').map_or(0, |n| n + 1) + 1);
        let what = "found no JSON object, expected `{` at the beginning".to_owned();
        return Err(AnswersError { line, column, what });
    }
    Ok(serde_json::from_str::<Head>(text)?.hitgap)
}

/// A version that was held against another.
#[derive(Clone, PartialEq, Debug, Deserialize)]
#[serde(expecting = "an object with `variant` and `gap_ms`")]
pub struct Side {
    /// Its name.
    pub variant: String,
    /// Its worst gap in milliseconds, second minus first; `None` where nothing meets.
    pub gap_ms: Option<f64>,
}

/// A or B.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Deserialize)]
enum Letter {
    #[serde(rename = "a")]
    A,
    #[serde(rename = "b")]
    B,
}

/// How often each was played before the answer.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Deserialize)]
#[serde(expecting = "an object with `a`, `b` and `x`")]
struct Heard {
    #[serde(rename = "a")]
    _a: u32,
    #[serde(rename = "b")]
    _b: u32,
    x: u32,
}

/// One trial.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Deserialize)]
#[serde(expecting = "an object with `x`, `answer` and `heard`")]
pub struct Trial {
    x: Letter,
    answer: Letter,
    heard: Heard,
}

impl Trial {
    /// Whether the answer was right.
    #[must_use]
    pub fn right(&self) -> bool {
        self.x == self.answer
    }

    /// Whether X was heard at all before the answer.
    #[must_use]
    pub fn heard(&self) -> bool {
        self.heard.x > 0
    }
}

/// A blind test as a listening page saves it. Fields that are not known are left alone: later pages may add some.
#[derive(Clone, PartialEq, Debug, Deserialize)]
#[serde(expecting = "an object, as a page saves it")]
pub struct BlindTest {
    #[serde(rename = "hitgap")]
    _kind: Kind,
    #[serde(rename = "format", deserialize_with = "first_format")]
    _format: (),
    /// The patch that the page was made from, as it was named.
    pub patch: String,
    /// What the page or the chapter was called.
    pub title: String,
    /// Quarter notes a minute.
    #[serde(deserialize_with = "tempo")]
    pub tempo_bpm: f64,
    /// One version.
    pub a: Side,
    /// The other.
    pub b: Side,
    /// When it was saved, as the page wrote it.
    #[serde(default)]
    pub saved: String,
    /// Every answer; at least one.
    #[serde(deserialize_with = "trials")]
    pub trials: Vec<Trial>,
    /// Which test of these two at this tempo it was on its page; what does not say so was the first.
    #[serde(default = "first", deserialize_with = "count")]
    pub tests: u32,
    /// How many right answers the file itself claims. Nothing is worked out from it.
    #[serde(default, rename = "right")]
    pub claimed: Option<u64>,
}

fn first_format<'de, D: Deserializer<'de>>(from: D) -> Result<(), D::Error> {
    match u64::deserialize(from)? {
        1 => Ok(()),
        other => Err(D::Error::custom(format!("found format {other}, expected 1: a newer hitgap may read it"))),
    }
}

const fn first() -> u32 {
    1
}

fn count<'de, D: Deserializer<'de>>(from: D) -> Result<u32, D::Error> {
    match u32::deserialize(from)? {
        count @ 1..=10_000 => Ok(count),
        count => Err(D::Error::custom(format!("found {count} tests, expected 1 to 10000"))),
    }
}

fn tempo<'de, D: Deserializer<'de>>(from: D) -> Result<f64, D::Error> {
    let bpm = f64::deserialize(from)?;
    if (1.0..=1000.0).contains(&bpm) {
        Ok(bpm)
    } else {
        Err(D::Error::custom(format!("found a tempo of {bpm}, expected 1 to 1000")))
    }
}

fn trials<'de, D: Deserializer<'de>>(from: D) -> Result<Vec<Trial>, D::Error> {
    struct Trials;
    impl<'de> Visitor<'de> for Trials {
        type Value = Vec<Trial>;

        fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
            write!(f, "a list of 1 to {MOST_TRIALS} trials")
        }

        fn visit_seq<A: SeqAccess<'de>>(self, mut list: A) -> Result<Self::Value, A::Error> {
            let mut all = Vec::new();
            while all.len() < MOST_TRIALS {
                match list.next_element()? {
                    Some(trial) => all.push(trial),
                    None if all.is_empty() => return Err(A::Error::custom("found no trial, expected at least one")),
                    None => return Ok(all),
                }
            }
            match list.next_element::<IgnoredAny>()? {
                None => Ok(all),
                Some(_) => {
                    Err(A::Error::custom(format!("found more than {MOST_TRIALS} trials, the most that a page asks")))
                }
            }
        }
    }
    from.deserialize_seq(Trials)
}

impl BlindTest {
    /// Reads what a page saved.
    ///
    /// # Errors
    /// If it is cut short, of another kind, or says what no page can have said; with the place.
    pub fn parse(text: &str) -> Result<Self, AnswersError> {
        Ok(serde_json::from_str(text)?)
    }

    /// How many answers are right, counted from the trials.
    #[must_use]
    pub fn right(&self) -> u32 {
        self.trials.iter().map(|t| u32::from(t.right())).sum()
    }

    /// What guessing would have done.
    #[must_use]
    pub fn guessing(&self) -> Guessing {
        Guessing::new(self.right(), self.trials.len() as u32)
    }

    /// The share of right answers, and its Wilson 95 % interval.
    #[must_use]
    pub fn share(&self) -> (f64, [f64; 2]) {
        let n = self.trials.len() as f64;
        let share = f64::from(self.right()) / n;
        (share, wilson(share, n))
    }
}

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

    /// The same as a number.
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

    /// As people read it: 3.8 %, under 0.1 %; halves upwards, as the page rounds.
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
            "You were right {right} times of {of}; guessing does that, or better, in {} of tests. {among}{so}",
            self.percent()
        )
    }
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
}
