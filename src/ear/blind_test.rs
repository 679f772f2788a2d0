use super::{Guessing, MOST_TRIALS};
use crate::stats::wilson;
use crate::text::{plain, within};
use serde::de::{Error, IgnoredAny, SeqAccess, Visitor};
use serde::{Deserialize, Deserializer};
use std::fmt;

/// Why a text is no file of answers.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
#[error("line {line}, column {column}: {what}")]
pub struct AnswersError {
    /// The line, from 1.
    pub line: usize,
    /// The column, in bytes from 1; 0 where the line is empty.
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
    /// What was right in the files of a class.
    #[serde(rename = "class-key")]
    ClassKey,
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
    /// The name of the variant.
    pub variant: String,
    /// The variant's worst gap in milliseconds, second minus first; `None` where nothing meets.
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
struct PlayCounts {
    #[serde(rename = "a")]
    _a: u32,
    #[serde(rename = "b")]
    _b: u32,
    x: u32,
}

/// A trial of a blind test: which version X was, and which was answered.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Deserialize)]
#[serde(expecting = "an object with `x`, `answer` and `heard`")]
pub struct BlindTrial {
    x: Letter,
    answer: Letter,
    heard: PlayCounts,
}

impl BlindTrial {
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
    /// The version that stood as A.
    pub a: Side,
    /// The version that stood as B.
    pub b: Side,
    /// When it was saved, as the page wrote it.
    #[serde(default)]
    pub saved: String,
    /// The name or number that the listener gave, fit to be shown; `None` where there is none.
    #[serde(default, deserialize_with = "listener")]
    pub listener: Option<String>,
    /// Every answer; at least one.
    #[serde(deserialize_with = "trials")]
    pub trials: Vec<BlindTrial>,
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

/// The most characters of a listener's name, as many as the page takes.
const MOST_OF_A_NAME: usize = 64;

fn listener<'de, D: Deserializer<'de>>(from: D) -> Result<Option<String>, D::Error> {
    let Some(name) = Option::<String>::deserialize(from)? else { return Ok(None) };
    let count = name.chars().count();
    if count > MOST_OF_A_NAME {
        let what = format!("found a listener's name of {count} characters, expected at most {MOST_OF_A_NAME}");
        return Err(D::Error::custom(what));
    }
    let name = plain(&name).trim().to_owned();
    Ok((!name.is_empty()).then_some(name))
}

fn tempo<'de, D: Deserializer<'de>>(from: D) -> Result<f64, D::Error> {
    let bpm = f64::deserialize(from)?;
    if (1.0..=1000.0).contains(&bpm) {
        Ok(bpm)
    } else {
        Err(D::Error::custom(format!("found a tempo of {bpm}, expected 1 to 1000")))
    }
}

fn trials<'de, D: Deserializer<'de>>(from: D) -> Result<Vec<BlindTrial>, D::Error> {
    struct Trials;
    impl<'de> Visitor<'de> for Trials {
        type Value = Vec<BlindTrial>;

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
