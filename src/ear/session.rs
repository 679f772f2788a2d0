use super::heard::are_sounds;
use super::{Level, Rule, Settings, Staircase, Task};
use crate::text::{shown, spelled};
use serde::{Deserialize, Serialize};

/// A trial of a session: the gap, the right answer and the listener's.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Trial {
    /// Which staircase it belongs to, from 0.
    #[serde(default)]
    pub track: u32,
    /// The gap that was asked for, or of a catch trial the largest one.
    pub level: Level,
    /// The right answer, from 1.
    pub asked: u32,
    /// What was answered, from 1.
    pub answered: u32,
    /// Whether it was a plain one, slipped in to see that the listener is awake.
    #[serde(default)]
    pub catch: bool,
}

impl Serialize for Level {
    fn serialize<S: serde::Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.serialize_i32(self.0)
    }
}

impl<'de> Deserialize<'de> for Level {
    fn deserialize<D: serde::Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        i32::deserialize(from).map(Level)
    }
}

impl Trial {
    /// Whether the answer was right.
    #[must_use]
    pub const fn right(&self) -> bool {
        self.asked == self.answered
    }
}

/// A session of training: what was asked, of which sounds, and every answer.
#[derive(Clone, Debug, PartialEq)]
pub struct Session {
    /// The task, whatever its gap.
    pub task: Task,
    /// The voices, in the order in which they count as first and second.
    pub voices: Vec<String>,
    /// What each voice was played from: the checksum of its files, nothing where it was drawn; empty where none was.
    pub sounds: Vec<String>,
    /// Quarter notes a minute.
    pub tempo_bpm: f64,
    /// How the staircases were walked.
    pub settings: Settings,
    /// Every answer.
    pub trials: Vec<Trial>,
    /// The patch whose bar was played; `None` where it was the plain one, or no bar.
    pub pattern: Option<String>,
    /// Whether each voice alone kept its beat in every bar. In tight or loose of format 1 it did not: hits of the loose bar were
    /// early and late by reversals, and that could be heard of one voice.
    pub each_even: bool,
    /// When it was saved, as the page wrote it; may be empty.
    pub saved: String,
}

/// Why a text is no session.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
#[error("line {line}, column {column}: {what}")]
pub struct SessionError {
    /// The line, from 1.
    pub line: usize,
    /// The column, in bytes from 1.
    pub column: usize,
    /// What was found and expected.
    pub what: String,
}

impl SessionError {
    /// What the reader of JSON has to say, with the place it says.
    pub(super) fn of_json(e: &serde_json::Error) -> Self {
        // It repeats what stands in the file, and that may be of any length.
        let what = spelled(e.to_string().split(" at line ").next().unwrap_or_default(), MOST_SAID);
        // A fault of syntax is told in words that readers of JSON use among themselves.
        let what = match e.classify() {
            // That one is plain, and the text is JSON.
            serde_json::error::Category::Syntax if what == "number out of range" => what,
            serde_json::error::Category::Syntax => format!("this is no JSON from here on ({what})"),
            serde_json::error::Category::Eof => "the file ends in the middle: it was cut short".to_owned(),
            _ => what,
        };
        Self { line: e.line().max(1), column: e.column().max(1), what }
    }
}

/// The most characters of a message from the reader of JSON.
const MOST_SAID: usize = 200;
/// The most trials of a session, and the most tracks.
const MOST: (usize, u32) = (10_000, 8);

/// The format that is written: since 2 each voice of tight or loose keeps its beat. Format 1 is read for ever.
const FORMAT: u32 = 2;

/// The file as it is written. Fields may be added; none changes its meaning without a new `format`.
#[derive(Serialize, Deserialize)]
struct Raw {
    hitgap: String,
    format: u32,
    task: Task,
    voices: Vec<String>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    sounds: Vec<String>,
    tempo_bpm: f64,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pattern: Option<String>,
    #[serde(default)]
    saved: String,
    staircase: RawSettings,
    trials: Vec<Trial>,
}

#[derive(Clone, Copy, Serialize, Deserialize)]
struct RawSettings {
    down: u32,
    ratio: u32,
    start: Level,
    floor: Level,
    ceiling: Level,
    large_step: i32,
    small_step: i32,
    #[serde(rename = "large_turns")]
    large_reversals: u32,
    #[serde(rename = "turns")]
    reversals: u32,
    most_trials: u32,
}

impl RawSettings {
    const fn of(s: &Settings) -> Self {
        Self {
            down: s.rule.down(),
            ratio: s.rule.ratio(),
            start: s.start,
            floor: s.floor,
            ceiling: s.ceiling,
            large_step: s.large_step,
            small_step: s.small_step,
            large_reversals: s.large_reversals,
            reversals: s.reversals,
            most_trials: s.most_trials,
        }
    }

    fn checked(self) -> Result<Settings, String> {
        let settings = Settings {
            rule: Rule::new(self.down, self.ratio).map_err(|e| e.to_string())?,
            start: self.start,
            floor: self.floor,
            ceiling: self.ceiling,
            large_step: self.large_step,
            small_step: self.small_step,
            large_reversals: self.large_reversals,
            reversals: self.reversals,
            most_trials: self.most_trials,
        };
        settings.check().map_err(|e| e.to_string())?;
        Ok(settings)
    }
}

impl Session {
    /// One of kick and snare at 90 without answers, for tests.
    #[cfg(test)]
    pub(super) fn plain(task: Task, settings: Settings) -> Self {
        Self {
            task,
            voices: vec!["kick".into(), "snare".into()],
            sounds: Vec::new(),
            tempo_bpm: 90.0,
            settings,
            trials: Vec::new(),
            pattern: None,
            each_even: true,
            saved: String::new(),
        }
    }

    /// Reads a session file and checks all of it: that every level is what the staircases ask for, too.
    ///
    /// # Errors
    /// The place and what is wrong there.
    pub fn parse(text: &str) -> Result<Self, SessionError> {
        let raw: Raw = serde_json::from_str(text).map_err(|e| SessionError::of_json(&e))?;
        let fault = |key: &str, nth: usize, what: String| {
            let (line, column) = place(text, key, nth);
            SessionError { line, column, what }
        };
        if raw.hitgap != "training" {
            let what = format!("found a file of `{}`, expected `training`", shown(&raw.hitgap));
            return Err(fault("hitgap", 0, what));
        }
        if !(1..=FORMAT).contains(&raw.format) {
            return Err(fault(
                "format",
                0,
                format!("found format {}, and this program knows 1 and {FORMAT}", raw.format),
            ));
        }
        if !(1..=2).contains(&raw.voices.len()) || raw.voices.iter().any(|v| v.is_empty() || v.len() > 64) {
            return Err(fault("voices", 0, "expected the names of one or two voices".into()));
        }
        if !are_sounds(&raw.sounds, raw.voices.len()) {
            return Err(fault("sounds", 0, "expected a checksum for each voice, empty where it was drawn".into()));
        }
        if !(1.0..=1000.0).contains(&raw.tempo_bpm) {
            return Err(fault("tempo_bpm", 0, format!("found a tempo of {}, expected 1 to 1000", raw.tempo_bpm)));
        }
        if raw.pattern.as_ref().is_some_and(|p| p.is_empty() || p.len() > 255) {
            return Err(fault("pattern", 0, "expected the name of a patch".into()));
        }
        let settings = raw.staircase.checked().map_err(|e| fault("staircase", 0, e))?;
        if raw.trials.len() > MOST.0 {
            return Err(fault("trials", 0, format!("found {} trials, expected at most {}", raw.trials.len(), MOST.0)));
        }
        let session = Self {
            task: raw.task,
            voices: raw.voices,
            sounds: raw.sounds,
            tempo_bpm: raw.tempo_bpm,
            settings,
            trials: raw.trials,
            pattern: raw.pattern,
            each_even: raw.format > 1 || raw.task != Task::TightOrLoose,
            saved: if raw.saved.len() <= 40 { raw.saved } else { String::new() },
        };
        session.walk().map_err(|(nth, what)| fault("level", nth, format!("trial {}: {what}", nth + 1)))?;
        Ok(session)
    }

    /// The text of its file.
    #[must_use]
    pub fn to_json(&self) -> String {
        let raw = Raw {
            hitgap: "training".into(),
            format: if self.each_even { FORMAT } else { 1 },
            task: self.task,
            voices: self.voices.clone(),
            sounds: self.sounds.clone(),
            tempo_bpm: self.tempo_bpm,
            pattern: self.pattern.clone(),
            saved: self.saved.clone(),
            staircase: RawSettings::of(&self.settings),
            trials: self.trials.clone(),
        };
        let mut text = serde_json::to_string_pretty(&raw).unwrap_or_default();
        text.push('\n');
        text
    }

    /// The staircases, each after all of its answers.
    #[must_use]
    pub fn tracks(&self) -> Vec<Staircase> {
        self.walk().unwrap_or_default()
    }

    /// Walks all trials; the first one that does not fit, and why.
    fn walk(&self) -> Result<Vec<Staircase>, (usize, String)> {
        let mut tracks: Vec<Staircase> = vec![Staircase::new(self.settings)];
        let m = self.task.alternatives();
        for (n, trial) in self.trials.iter().enumerate() {
            if trial.track >= MOST.1 {
                return Err((n, format!("found track {}, expected 0 to {}", trial.track, MOST.1 - 1)));
            }
            for answer in [trial.asked, trial.answered] {
                if !(1..=m).contains(&answer) {
                    return Err((n, format!("found answer {answer}, expected 1 to {m}")));
                }
            }
            while tracks.len() <= trial.track as usize {
                tracks.push(Staircase::new(self.settings));
            }
            let track = &mut tracks[trial.track as usize];
            let expected = if trial.catch { self.settings.ceiling } else { track.level() };
            if trial.level != expected {
                return Err((n, format!("found level {}, expected {}", trial.level.0, expected.0)));
            }
            if !trial.catch {
                if track.done() {
                    return Err((n, "the staircase had ended before it".to_owned()));
                }
                track.answer(trial.right());
            }
        }
        Ok(tracks)
    }
}

/// Line and column, from 1, of the `nth` key of that name in a text that is valid JSON.
pub(super) fn place(text: &str, key: &str, nth: usize) -> (usize, usize) {
    let (mut at, mut seen) = (0, 0);
    while let Some(open) = text[at..].find('"').map(|n| at + n) {
        let mut close = open + 1;
        let bytes = text.as_bytes();
        while close < bytes.len() && bytes[close] != b'"' {
            close += if bytes[close] == b'\\' { 2 } else { 1 };
        }
        let is_key = text.get(close + 1..).is_some_and(|rest| rest.trim_start().starts_with(':'));
        if is_key && text.get(open + 1..close) == Some(key) {
            if seen == nth {
                let before = &text[..open];
                let line = before.matches('\n').count() + 1;
                return (line, open - before.rfind('\n').map_or(0, |n| n + 1) + 1);
            }
            seen += 1;
        }
        at = (close + 1).min(text.len());
    }
    (1, 1)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ear::{Listener, PsychometricFunction, Shape};

    fn session() -> Session {
        let settings = Settings::usual(Rule::published(2).expect("rule"));
        let curve = PsychometricFunction {
            shape: Shape::Weibull,
            ln_threshold: 1.8,
            slope: 2.0,
            guess_rate: 1.0 / 3.0,
            lapse_rate: 0.0,
        };
        let trials = Listener::new(curve, 7).session(Task::TwoOrOne, &settings, 10);
        Session { trials, saved: "2026-05-04".into(), ..Session::plain(Task::TwoOrOne, settings) }
    }

    #[test]
    fn what_is_written_is_read_again() {
        let session = session();
        assert_eq!(Session::parse(&session.to_json()), Ok(session.clone()));
        let own = Session { pattern: Some("thin-ice".into()), ..session };
        assert_eq!(Session::parse(&own.to_json()), Ok(own));
    }

    /// What an older page saved is read: of tight or loose it is known that a voice alone was uneven.
    #[test]
    fn older_files_are_read_and_known_for_what_they_are() {
        let settings = Settings::usual(Rule::published(2).expect("rule"));
        for task in Task::ALL {
            let trials = Listener::guessing(task, 3).session(task, &settings, 10);
            let now = Session { trials, ..Session::plain(task, settings) };
            assert!(now.to_json().contains("\"format\": 2"));
            let old = now.to_json().replacen("\"format\": 2", "\"format\": 1", 1);
            let read = Session::parse(&old).expect("an older file");
            assert_eq!(read.each_even, task != Task::TightOrLoose);
            assert_eq!(Session { each_even: true, ..read.clone() }, now);
            assert_eq!(Session::parse(&read.to_json()), Ok(read));
        }
    }

    fn fault(from: &str, to: &str) -> String {
        let text = session().to_json();
        assert!(text.contains(from), "{from}");
        Session::parse(&text.replacen(from, to, 1)).expect_err("a fault").to_string()
    }

    #[test]
    fn every_fault_says_where_and_what() {
        assert_eq!(
            fault("training", "blind-test"),
            "line 2, column 3: found a file of `blind-test`, expected `training`"
        );
        assert_eq!(
            fault("\"format\": 2", "\"format\": 3"),
            "line 3, column 3: found format 3, and this program knows 1 and 2"
        );
        assert_eq!(fault("90.0", "0.5"), "line 9, column 3: found a tempo of 0.5, expected 1 to 1000");
        assert_eq!(fault("90.0", "1e999"), "line 9, column 20: number out of range");
        assert_eq!(
            fault("\"down\": 2", "\"down\": 7"),
            "line 11, column 3: a rule takes 1 to 4 right answers for a step down, not 7"
        );
        assert_eq!(
            fault("\"down\": 2,\n    \"ratio\": 5488", "\"down\": 1,\n    \"ratio\": 10000"),
            "line 11, column 3: one right answer down and one wrong up by equal steps runs away to where answers are guessed"
        );
        let wrong = fault("\"level\": 5000000", "\"level\": 4999999");
        assert_eq!(wrong, "line 26, column 7: trial 1: found level 4999999, expected 5000000");
        let wrong = fault("\"asked\": 1,", "\"asked\": 4,");
        assert!(wrong.ends_with("found answer 4, expected 1 to 3"), "{wrong}");
    }

    #[test]
    fn what_is_cut_short_foreign_or_hostile_is_an_error_and_no_crash() {
        let text = session().to_json();
        for end in 0..text.len() - 2 {
            assert!(Session::parse(&text[..end]).is_err(), "{end}");
        }
        let deep = "[".repeat(100_000);
        for hostile in ["", "null", "{}", "[]", "\u{feff}{}", deep.as_str(), "{\"hitgap\":\"training\"", "RIFF\0\0WAVE"]
        {
            let error = Session::parse(hostile).expect_err("hostile");
            assert!(error.line >= 1 && error.column >= 1 && !error.what.is_empty());
        }
    }
}
