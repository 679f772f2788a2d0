//! What the manifest says of a file.

use serde::{Deserialize, Deserializer, Serialize, Serializer, de, ser};
use serde_json::Value;
use std::collections::BTreeMap;

/// The format of manifests that this version reads and writes.
pub(super) const FORMAT: u64 = 1;

/// One file of the manifest.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Entry {
    /// Its name, without the folder.
    pub file: String,
    /// What it is and how it was made.
    #[serde(flatten)]
    pub facts: Facts,
    /// How many bytes it has on the disk.
    pub bytes: u64,
    /// Its SHA-256, in 64 lower-case hexadecimal digits.
    #[serde(deserialize_with = "digest")]
    pub sha256: String,
    /// What a later version of this format says beside that. It is kept as it is.
    #[serde(flatten)]
    pub later: BTreeMap<String, Value>,
}

/// The facts of how a file was made: everything in its entry that its own bytes do not tell the store.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Facts {
    /// Which of the program's products it is.
    pub kind: Kind,
    /// The command that made it: `render`, `compare`, …
    pub command: String,
    /// The path of the patch as the user gave it; nothing for a command without a patch.
    pub patch: Option<String>,
    /// The SHA-256 of the patch's text, see [`sha256_hex`](super::sha256_hex); nothing without a patch.
    pub patch_sha256: Option<String>,
    /// A checksum of everything that the file was computed from, where its command can go on after an interruption.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub recipe: Option<String>,
    /// The variant; nothing without a patch.
    pub variant: Option<String>,
    /// Whose part it is, for a stem.
    pub sequencer: Option<String>,
    /// Quarter notes a minute; nothing where no tempo matters.
    #[serde(serialize_with = "opt_figure")]
    pub tempo_bpm: Option<f64>,
    /// The seed of everything random.
    pub seed: u64,
    /// Which run's draws it plays; nothing where nothing is drawn.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub run: Option<u64>,
    /// Frames a second; like the rest, nothing for a picture.
    pub sample_rate: Option<u32>,
    /// The bits of a sample; nothing where there is no sound.
    pub sample_format: Option<SampleFormat>,
    /// Samples a frame.
    pub channels: Option<u16>,
    /// How many frames it lasts; nothing where there is no sound.
    pub frames: Option<u64>,
    /// How many places are marked in it; nothing where none is.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub marks: Option<u64>,
    /// By how much its own levels were turned up or down, in decibels, to 6 decimals. Must be finite.
    #[serde(serialize_with = "opt_figure")]
    pub gain_db: Option<f64>,
    /// Its true peak in decibels above full scale, to 6 decimals; nothing for silence.
    #[serde(serialize_with = "opt_figure")]
    pub true_peak_dbtp: Option<f64>,
}

impl Facts {
    /// The facts of a file that holds no sound, by the path and the checksum of its patch, if it has one.
    #[must_use]
    pub fn silent(kind: Kind, command: &str, patch: Option<(String, String)>, seed: u64) -> Self {
        let (patch, patch_sha256) = patch.unzip();
        Self {
            kind,
            command: command.to_owned(),
            patch,
            patch_sha256,
            recipe: None,
            variant: None,
            sequencer: None,
            tempo_bpm: None,
            seed,
            run: None,
            sample_rate: None,
            sample_format: None,
            channels: None,
            frames: None,
            marks: None,
            gain_db: None,
            true_peak_dbtp: None,
        }
    }
}

/// The products of the program, one word each in the manifest.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Kind {
    /// All sequencers of a variant.
    Mix,
    /// One sequencer of a variant.
    Stem,
    /// A variant with its level matched to the other of its pair.
    Matched,
    /// Two variants by turns.
    Alternation,
    /// One voice alone, as `voices` writes it.
    Voice,
    /// Two voices a given time apart.
    Flam,
    /// What a box would do in a trial that tells habits apart.
    Trial,
    /// An SVG.
    Picture,
    /// One cell of a grid of settings.
    Cell,
    /// All cells of a grid, announced and in order.
    Parade,
    /// All that a lesson plays, announced and in order.
    Reel,
    /// Figures as text: a table, a session, a key.
    Figures,
    /// One HTML file with all that it needs inside.
    Page,
}

/// The bits of one sample in a sound file.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum SampleFormat {
    /// Whole numbers of 16 bits.
    Int16,
    /// Whole numbers of 24 bits.
    Int24,
    /// Floating point of 32 bits.
    Float32,
}

/// Rounded to 6 decimals, far finer than anyone hears. With so few digits every reader gets the very number back, so
/// that an entry can be read and written any number of times without change. JSON has no infinity: that is refused
/// here, since as `null` it would make the manifest unreadable.
fn figure<S: Serializer>(value: &f64, to: S) -> Result<S::Ok, S::Error> {
    let rounded = (value * 1e6).round() / 1e6;
    if !rounded.is_finite() {
        return Err(ser::Error::custom(format!("the figure {value} is not finite")));
    }
    to.serialize_f64(rounded + 0.0) // Minus nought becomes nought.
}

fn opt_figure<S: Serializer>(value: &Option<f64>, to: S) -> Result<S::Ok, S::Error> {
    match value {
        Some(value) => figure(value, to),
        None => to.serialize_none(),
    }
}

fn digest<'de, D: Deserializer<'de>>(from: D) -> Result<String, D::Error> {
    let text = String::deserialize(from)?;
    if text.len() == 64 && text.bytes().all(|b| matches!(b, b'0'..=b'9' | b'a'..=b'f')) {
        Ok(text)
    } else {
        Err(de::Error::custom("a sha256 has 64 lower-case hexadecimal digits"))
    }
}
