use super::{Level, Point, SessionError, Task, points, session};
use crate::dsp::uniform;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

/// A question of a pack: its gap, and which of three had it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Question {
    /// The gap between the two hits that are split.
    pub level: Level,
    /// The right answer, from 1 to 3.
    pub asked: u32,
}

/// What a teacher keeps while a class listens.
#[derive(Clone, Debug, PartialEq)]
pub struct Key {
    /// The names of the two voices.
    pub voices: Vec<String>,
    /// Quarter notes a minute.
    pub tempo_bpm: f64,
    /// What the questions were drawn from.
    pub seed: u64,
    /// The questions, in the order of their numbers.
    pub questions: Vec<Question>,
}

/// The gaps of a pack, each asked for as often as the others: 32, 16, 8, 4 and 2 ms.
const LADDER: [i32; 5] = [5_000_000, 4_000_000, 3_000_000, 2_000_000, 1_000_000];
/// The most questions of a pack: its files have two digits.
pub const MOST_QUESTIONS: u32 = 99;

#[derive(Serialize, Deserialize)]
struct Raw {
    hitgap: String,
    format: u32,
    task: Task,
    voices: Vec<String>,
    tempo_bpm: f64,
    seed: u64,
    /// The questions, each a level and an answer, with every digit moved on by five: not to be read in passing.
    sealed: String,
    /// The first eight hexadecimal digits of the SHA-256 of that.
    check: String,
}

/// Moves every digit on by five: done twice, it is undone.
fn rotated(text: &str) -> String {
    text.chars().map(|c| c.to_digit(10).and_then(|d| char::from_digit((d + 5) % 10, 10)).unwrap_or(c)).collect()
}

fn check(sealed: &str) -> String {
    Sha256::digest(sealed.as_bytes()).iter().take(4).map(|b| format!("{b:02x}")).collect()
}

impl Key {
    /// Draws a pack of `count` questions.
    ///
    /// Written out and not taken from a library, as [`uniform`] is: the key and the sounds of a pack are files whose bytes hang on it.
    #[must_use]
    pub fn draw(count: u32, voices: Vec<String>, tempo_bpm: f64, seed: u64) -> Self {
        let mut bits = ChaCha8Rng::seed_from_u64(seed);
        let mut below = |n: usize| ((uniform(&mut bits) * n as f64) as usize).min(n - 1);
        let mut questions: Vec<Question> = (0..count as usize)
            .map(|n| Question { level: Level(LADDER[n % LADDER.len()]), asked: 1 + below(3) as u32 })
            .collect();
        for n in (1..questions.len()).rev() {
            questions.swap(n, below(n + 1));
        }
        Self { voices, tempo_bpm, seed, questions }
    }

    /// The text of its file.
    #[must_use]
    pub fn to_json(&self) -> String {
        let list: Vec<String> = self.questions.iter().map(|q| format!("{}:{}", q.level.0, q.asked)).collect();
        let sealed = rotated(&list.join(" "));
        let raw = Raw {
            hitgap: "class-key".into(),
            format: 1,
            task: Task::TwoOrOne,
            voices: self.voices.clone(),
            tempo_bpm: self.tempo_bpm,
            seed: self.seed,
            check: check(&sealed),
            sealed,
        };
        let mut text = serde_json::to_string_pretty(&raw).unwrap_or_default();
        text.push('\n');
        text
    }

    /// Reads a key file.
    ///
    /// # Errors
    /// The place and what is wrong there.
    pub fn parse(text: &str) -> Result<Self, SessionError> {
        let raw: Raw = serde_json::from_str(text).map_err(|e| SessionError::of_json(&e))?;
        let fault = |key: &str, what: String| {
            let (line, column) = session::place(text, key, 0);
            SessionError { line, column, what }
        };
        if raw.hitgap != "class-key" {
            return Err(fault("hitgap", "found another kind of file, expected `class-key`".into()));
        }
        if raw.format != 1 {
            return Err(fault("format", format!("found format {}, and this program knows 1", raw.format)));
        }
        if !(1.0..=1000.0).contains(&raw.tempo_bpm) {
            return Err(fault("tempo_bpm", format!("found a tempo of {}, expected 1 to 1000", raw.tempo_bpm)));
        }
        let question = |text: &str| {
            let (level, asked) = text.split_once(':')?;
            let (level, asked): (i32, u32) = (level.parse().ok()?, asked.parse().ok()?);
            let within = (-7_000_000..=9_000_000).contains(&level) && (1..=3).contains(&asked);
            within.then_some(Question { level: Level(level), asked })
        };
        let questions: Option<Vec<Question>> = rotated(&raw.sealed).split_whitespace().map(question).collect();
        let fits = |q: &Vec<Question>| (1..=MOST_QUESTIONS as usize).contains(&q.len());
        let questions = questions
            .filter(|q| fits(q) && check(&raw.sealed) == raw.check)
            .ok_or_else(|| fault("sealed", "this is not as it was written: keep the key as it is".into()))?;
        Ok(Self { voices: raw.voices, tempo_bpm: raw.tempo_bpm, seed: raw.seed, questions })
    }

    /// How many of a student's answers are right, and how many there are; what was left empty counts as neither.
    #[must_use]
    pub fn mark(&self, answers: &[Option<u32>]) -> (u32, u32) {
        let given = self.questions.iter().zip(answers).filter_map(|(q, a)| Some((q.asked, (*a)?)));
        given.fold((0, 0), |(right, n), (asked, answered)| (right + u32::from(asked == answered), n + 1))
    }

    /// All answers of a class, gap by gap.
    #[must_use]
    pub fn points(&self, class: &[Vec<Option<u32>>]) -> Vec<Point> {
        let trial = |q: &Question, answered: u32| super::Trial {
            track: 0,
            level: q.level,
            asked: q.asked,
            answered,
            catch: false,
        };
        let of = |answers: &Vec<Option<u32>>| -> Vec<super::Trial> {
            self.questions.iter().zip(answers).filter_map(|(q, a)| Some(trial(q, (*a)?))).collect()
        };
        points(&class.iter().flat_map(of).collect::<Vec<_>>())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn key() -> Key {
        Key::draw(20, vec!["kick".into(), "snare".into()], 90.0, 7)
    }

    #[test]
    fn every_gap_is_asked_for_as_often_and_the_seed_decides() {
        let key = key();
        for level in LADDER {
            assert_eq!(key.questions.iter().filter(|q| q.level.0 == level).count(), 4);
        }
        assert!(key.questions.iter().all(|q| (1..=3).contains(&q.asked)));
        assert_eq!(key, Key::draw(20, key.voices.clone(), 90.0, 7));
        assert_ne!(key.questions, Key::draw(20, key.voices.clone(), 90.0, 8).questions);
    }

    #[test]
    fn what_is_sealed_is_read_again_and_cannot_be_read_in_passing() {
        let key = key();
        let text = key.to_json();
        assert_eq!(Key::parse(&text), Ok(key.clone()));
        assert!(!text.contains(&format!("{}:{}", key.questions[0].level.0, key.questions[0].asked)));
        let broken = text.replacen("555", "55", 1);
        assert!(broken != text && Key::parse(&broken).is_err());
        assert_eq!(Key::parse("{}").expect_err("nothing").line, 1);
        for end in 0..text.len() - 2 {
            assert!(Key::parse(&text[..end]).is_err());
        }
    }

    #[test]
    fn a_class_is_marked() {
        let key = key();
        let all: Vec<Option<u32>> = key.questions.iter().map(|q| Some(q.asked)).collect();
        let mut some = all.clone();
        some[0] = None;
        some[1] = some[1].map(|a| a % 3 + 1);
        assert_eq!((key.mark(&all), key.mark(&some)), ((20, 20), (18, 19)));
        let points = key.points(&[all, some]);
        assert_eq!(points.iter().map(|p| (p.right, p.trials)).fold((0, 0), |a, b| (a.0 + b.0, a.1 + b.1)), (38, 39));
    }
}
