use super::heard::{are_sounds, heard};
use super::{Estimate, Session, Task};
use serde::{Deserialize, Serialize};
use std::fmt::Write;

/// A threshold of a listener for one task, with one pair of sounds, at one tempo.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct Threshold {
    /// The task that it holds for.
    pub task: Task,
    /// The names of the one or two voices it was measured with.
    pub voices: Vec<String>,
    /// What each of them was played from: the checksum of its files, nothing where it was drawn; empty where none was.
    #[serde(default)]
    pub sounds: Vec<String>,
    /// Quarter notes a minute.
    pub tempo_bpm: f64,
    /// The threshold.
    pub gap_ms: f64,
    /// The 95 % interval of it.
    pub between_ms: [f64; 2],
    /// The share of right answers at it.
    pub share: f64,
    /// How many trials it rests on.
    pub trials: u32,
    /// When the session was saved; may be empty.
    #[serde(default)]
    pub saved: String,
}

/// An ear: the thresholds of one listener, older ones first.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct EarFile {
    /// The thresholds, older ones first.
    pub thresholds: Vec<Threshold>,
}

/// Why a text is no ear file.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
#[error("{0}")]
pub struct EarFileError(pub String);

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Raw {
    format: u32,
    #[serde(default)]
    threshold: Vec<Threshold>,
}

/// For which sounds and tempo a threshold is wanted.
#[derive(Clone, Debug, PartialEq)]
pub struct Conditions<'a> {
    /// The names of the voices that play.
    pub voices: &'a [String],
    /// What each of them is played from, as a [`Threshold`] has it.
    pub sounds: &'a [String],
    /// Quarter notes a minute.
    pub tempo_bpm: f64,
}

impl EarFile {
    /// Reads an ear file.
    ///
    /// # Errors
    /// With line and column.
    pub fn parse(text: &str) -> Result<Self, EarFileError> {
        let raw: Raw = toml::from_str(text).map_err(|e| EarFileError(e.to_string().trim_end().to_owned()))?;
        if raw.format != 1 {
            return Err(EarFileError(format!("found format {}, and this program knows 1", raw.format)));
        }
        for (n, entry) in raw.threshold.iter().enumerate() {
            let [low, high] = entry.between_ms;
            // No finer than they are written: what would be written as nothing could not be read again.
            let ms = |x: f64| (0.01..=10_000.0).contains(&x);
            let wrong = |what: &str| Err(EarFileError(format!("threshold {}: {what}", n + 1)));
            if !ms(entry.gap_ms) || !ms(low) || !ms(high) || low > high {
                return wrong("expected a gap and an interval of it from 0.01 to 10000 ms");
            }
            if !(1.0..=1000.0).contains(&entry.tempo_bpm) {
                return wrong("expected a tempo from 1 to 1000");
            }
            let share = (0.0001..=0.9999).contains(&entry.share);
            let voices = (1..=2).contains(&entry.voices.len());
            if !share || !voices {
                return wrong("expected a share from 0.0001 to 0.9999 and the names of one or two voices");
            }
            if !are_sounds(&entry.sounds, entry.voices.len()) {
                return wrong("expected a checksum in `sounds` for each voice, empty where it was drawn");
            }
        }
        Ok(Self { thresholds: raw.threshold })
    }

    /// Adds a threshold; the same session again takes the place of what is there.
    pub fn add(&mut self, entry: Threshold) {
        match self.same(&entry) {
            Some(n) => self.thresholds[n] = entry,
            None => self.thresholds.push(entry),
        }
    }

    /// Which threshold is of the same session.
    pub(super) fn same(&self, entry: &Threshold) -> Option<usize> {
        self.thresholds.iter().position(|e| {
            !e.saved.is_empty()
                && (&e.saved, e.task, &e.voices) == (&entry.saved, entry.task, &entry.voices)
                && (&e.sounds, e.tempo_bpm) == (&entry.sounds, entry.tempo_bpm)
        })
    }

    /// The text of its file.
    #[must_use]
    pub fn to_toml(&self) -> String {
        let mut out =
            "# A listener's thresholds, as `hitgap results --save` wrote them; later ones count before earlier.\n\
                       format = 1\n"
                .to_owned();
        for entry in &self.thresholds {
            let _ = write!(out, "\n[[threshold]]\n{}", entry.to_toml());
        }
        out
    }

    /// The threshold of a task that is nearest to what is wanted: first by how many voices it shares, of one name and one sound,
    /// then by tempo (as a ratio), then the latest.
    #[must_use]
    pub fn nearest(&self, task: Task, wanted: &Conditions<'_>) -> Option<&Threshold> {
        let missing = |e: &Threshold| e.heard().filter(|heard| !wanted.heard().any(|own| own == *heard)).count();
        let far = |e: &Threshold| libm::log(e.tempo_bpm / wanted.tempo_bpm).abs();
        let of_task = self.thresholds.iter().enumerate().filter(|(_, e)| e.task == task);
        of_task
            .min_by(|(m, a), (n, b)| missing(a).cmp(&missing(b)).then(far(a).total_cmp(&far(b))).then(n.cmp(m)))
            .map(|(_, e)| e)
    }
}

impl Threshold {
    /// The threshold of a session as an ear file keeps it: the fitted one with its profile-likelihood interval. `None` where the
    /// session has none, or no interval was asked for.
    #[must_use]
    pub fn of(session: &Session, estimate: &Estimate) -> Option<Self> {
        let at = *estimate.threshold.as_ref().ok()?;
        let [low, high] = estimate.fits.first()?.1?.ln_at_share.map(libm::exp);
        let gap_ms = libm::exp(at);
        // Written to two places: what is less is no gap that anyone was asked for.
        Some(Self {
            task: session.task,
            voices: session.voices.clone(),
            sounds: session.sounds.clone(),
            tempo_bpm: session.tempo_bpm,
            gap_ms: gap_ms.max(0.01),
            between_ms: [low.min(gap_ms).max(0.01), high.max(gap_ms).clamp(0.01, 10_000.0)],
            share: estimate.target,
            trials: session.trials.len() as u32,
            saved: session.saved.clone(),
        })
    }

    /// Each of its voices by its name and what it was played from.
    pub(super) fn heard(&self) -> impl Iterator<Item = (&str, &str)> {
        heard(&self.voices, &self.sounds)
    }

    /// Its lines in an ear file.
    pub(super) fn to_toml(&self) -> String {
        let list = |all: &[String]| all.iter().map(|v| quoted(v)).collect::<Vec<_>>().join(", ");
        let sounds = match self.sounds.is_empty() {
            true => String::new(),
            false => format!("sounds = [{}]\n", list(&self.sounds)),
        };
        format!(
            "task = \"{}\"\nvoices = [{}]\n{sounds}tempo-bpm = {:?}\ngap-ms = {:.2}\nbetween-ms = [{:.2}, {:.2}]\nshare = {:.4}\n\
             trials = {}\nsaved = {}\n",
            self.task.name(),
            list(&self.voices),
            self.tempo_bpm,
            self.gap_ms,
            self.between_ms[0],
            self.between_ms[1],
            self.share,
            self.trials,
            quoted(&self.saved)
        )
    }
}

impl Conditions<'_> {
    fn heard(&self) -> impl Iterator<Item = (&str, &str)> {
        heard(self.voices, self.sounds)
    }
}

/// A string of TOML, which has the same escapes as one of JSON.
fn quoted(text: &str) -> String {
    // TOML takes no raw delete, which JSON does.
    serde_json::to_string(text).unwrap_or_default().replace('\u{7f}', "\\u007f")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn entry(voices: [&str; 2], tempo_bpm: f64, gap_ms: f64, saved: &str) -> Threshold {
        Threshold {
            task: Task::TwoOrOne,
            voices: voices.map(str::to_owned).to_vec(),
            sounds: Vec::new(),
            tempo_bpm,
            gap_ms,
            between_ms: [gap_ms / 2.0, gap_ms * 2.0],
            share: 0.8035,
            trials: 50,
            saved: saved.into(),
        }
    }

    fn ear() -> EarFile {
        EarFile {
            thresholds: vec![
                entry(["kick", "snare"], 90.0, 6.0, "a"),
                entry(["kick", "snare"], 90.0, 5.0, "b"),
                entry(["kick", "hat"], 160.0, 9.0, "c"),
                entry(["a \"b\"\\\n\u{7f}", "x"], 120.5, 3.0, "d"),
            ],
        }
    }

    #[test]
    fn what_is_written_is_read_again() {
        assert_eq!(EarFile::parse(&ear().to_toml()), Ok(ear()));
    }

    #[test]
    fn the_nearest_is_of_the_same_voices_then_tempo_then_the_latest() {
        let ear = ear();
        let find = |voices: [&str; 2], tempo_bpm: f64| {
            let voices = voices.map(str::to_owned);
            ear.nearest(Task::TwoOrOne, &Conditions { voices: &voices, sounds: &[], tempo_bpm }).map(|e| e.gap_ms)
        };
        assert_eq!(find(["kick", "snare"], 160.0), Some(5.0));
        assert_eq!(find(["hat", "kick"], 60.0), Some(9.0));
        assert_eq!(find(["kick", "click"], 150.0), Some(9.0));
        assert!(ear.nearest(Task::WhichFirst, &Conditions { voices: &[], sounds: &[], tempo_bpm: 90.0 }).is_none());
    }

    /// A voice of one name from another file is another sound, and has thresholds of its own.
    #[test]
    fn the_nearest_is_of_the_same_sounds() {
        let of = |sounds: [&str; 2], gap_ms| Threshold {
            sounds: sounds.map(str::to_owned).to_vec(),
            ..entry(["kick", "bell"], 90.0, gap_ms, "")
        };
        let ear = EarFile {
            thresholds: vec![of(["", "0a"], 3.0), of(["", "0b"], 4.0), entry(["kick", "bell"], 90.0, 5.0, "")],
        };
        assert_eq!(EarFile::parse(&ear.to_toml()), Ok(ear.clone()));
        let voices = ["kick", "bell"].map(str::to_owned);
        let find = |bell: &str| {
            let sounds = [String::new(), bell.to_owned()];
            let wanted = Conditions { voices: &voices, sounds: &sounds, tempo_bpm: 90.0 };
            ear.nearest(Task::TwoOrOne, &wanted).map(|e| e.gap_ms)
        };
        assert_eq!(["0a", "0b", ""].map(find), [3.0, 4.0, 5.0].map(Some));
        let text = ear.to_toml();
        for (from, to) in [("[\"\", \"0a\"]", "[\"0a\"]"), ("\"0a\"", "\"A file\"")] {
            let error = EarFile::parse(&text.replacen(from, to, 1)).expect_err("a fault").to_string();
            assert!(error.contains("threshold 1: expected a checksum"), "{error}");
        }
    }

    #[test]
    fn a_session_saved_twice_is_there_once() {
        let mut ear = ear();
        ear.add(entry(["kick", "snare"], 90.0, 7.0, "b"));
        ear.add(entry(["kick", "snare"], 90.0, 8.0, "e"));
        assert_eq!(ear.thresholds.iter().map(|e| e.gap_ms).collect::<Vec<_>>(), [6.0, 7.0, 9.0, 3.0, 8.0]);
    }

    #[test]
    fn faults_say_where() {
        let good = ear().to_toml();
        for (from, to, says) in [
            ("gap-ms = 6.00", "gap-ms = nan", "threshold 1: expected a gap"),
            ("gap-ms = 6.00", "gap-ms = 0.0", "threshold 1: expected a gap"),
            ("format = 1", "format = 9", "found format 9"),
            ("two-or-one", "three", "line 5, column 8"),
            ("trials = 50", "trials = -1", "line 11, column 10"),
            ("saved", "sawed", "unknown field `sawed`"),
        ] {
            let error = EarFile::parse(&good.replacen(from, to, 1)).expect_err("a fault").to_string();
            assert!(error.contains(says), "{says}: {error}");
        }
        assert!(EarFile::parse("").is_err() && EarFile::parse("{\"hitgap\": 1}").is_err());
    }
}
