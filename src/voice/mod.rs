//! The drums: each a function of the time since its hit, the same at every sample rate, drawn by a model or read from
//! files ([`recorded`]).
//!
//! A voice is drawn once, at 96 kHz, into a [`Master`](crate::dsp::Master) that a renderer reads between the samples. [`Drum`] holds what
//! all hits of a voice share; its noise is drawn from a [`NoiseKey`], so that hits may have the same noise or each its
//! own. Every value comes from exact operations and from `libm`, in a fixed order: the same bytes on every machine.

mod band;
mod click;
mod deck;
mod drum;
mod envelope;
mod error;
mod facts;
mod hat;
mod kick;
mod noise;
mod param;
mod parts;
pub mod recorded;
mod settings;
mod snare;
mod sound;
mod tone;
mod weight;

pub use deck::Deck;
pub use drum::{Drum, master};
pub use error::VoiceError;
pub use facts::{Facts, strongest_hz};
pub use noise::NoiseKey;
pub use sound::Sound;
pub use weight::{K_REFERENCE, KFilter, balance_db, k_energy};

/// The kinds of drum that can be synthesised.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Model {
    /// A falling sine with a click.
    Kick,
    /// Two shell tones and wires.
    Snare,
    /// A band of noise.
    Hat,
    /// One short burst.
    Click,
}

/// What a parameter is measured in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Unit {
    /// In hertz.
    Frequency,
    /// In seconds; patches write milliseconds.
    Time,
    /// In decibels, against another part of the sound.
    Level,
    /// A part of 1, written in per cent.
    Share,
}

/// A setting that a model has.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Param {
    /// The key that a patch's voice table has for it.
    pub key: &'static str,
    /// The unit of its value and of both bounds.
    pub unit: Unit,
    /// Smallest value, in that unit.
    pub min: f64,
    /// Largest value, in that unit.
    pub max: f64,
    /// What it does, in a line.
    pub about: &'static str,
}

/// A model and a value for each of its parameters.
#[derive(Clone, Debug, PartialEq)]
pub struct Settings {
    /// Which drum is drawn.
    pub model: Model,
    /// A value a parameter, in the order and the units of [`Model::params`].
    pub values: Vec<f64>,
}

impl Model {
    /// All models, in the order in which they are listed.
    pub const ALL: [Self; 4] = [Self::Kick, Self::Snare, Self::Hat, Self::Click];

    /// The model's name in a patch.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Kick => "kick",
            Self::Snare => "snare",
            Self::Hat => "hat",
            Self::Click => "click",
        }
    }

    /// The parameters of the model, in the order in which [`Settings::values`] holds them.
    #[must_use]
    pub const fn params(self) -> &'static [Param] {
        match self {
            Self::Kick => &kick::PARAMS,
            Self::Snare => &snare::PARAMS,
            Self::Hat => &hat::PARAMS,
            Self::Click => &click::PARAMS,
        }
    }
}
