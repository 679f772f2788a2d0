//! The kick: a sine that falls to one pitch, and a beater's click.

use super::band::{Band, HIGHEST, NARROW, NARROWEST};
use super::envelope::Decay;
use super::noise::Burst;
use super::param::{frequency, level, time};
use super::parts::Parts;
use super::tone::{Sweep, Tone};
use super::{Param, Settings, VoiceError};
use crate::dsp::amplitude;

/// The 10 to 90 % rise of the body, in seconds: 0.4 ms is the most that is promised.
const RISE: f64 = 0.000_15;

pub(super) const PARAMS: [Param; 8] = [
    frequency("pitch-start", 40.0, 1000.0, "pitch at the hit"),
    frequency("pitch-end", 30.0, 600.0, "pitch that the body settles on"),
    time("pitch-fall", 0.002, 0.1, "time constant of the fall in pitch"),
    time("decay", 0.02, 0.25, "time constant of the body's level"),
    level("click-level", -60.0, 0.0, "peak of the click against the body's"),
    frequency("click-low", 500.0, 8000.0, "lower edge of the click's band"),
    frequency("click-high", 4500.0, HIGHEST, "upper edge of the click's band"),
    time("click-decay", 0.000_5, 0.01, "time constant of the click's level"),
];

pub(super) fn check(settings: &Settings) -> Result<(), VoiceError> {
    settings.order("pitch-start", "pitch-end", 0.0, "a kick's pitch falls")?;
    settings.order("click-high", "click-low", NARROWEST, NARROW)
}

pub(super) fn parts(settings: &Settings) -> Parts {
    let get = |key| settings.get(key);
    let body = Tone {
        level: 1.0,
        rise: RISE,
        decay: get("decay"),
        pitch: Sweep { start: get("pitch-start"), end: get("pitch-end"), fall: get("pitch-fall") },
    };
    let burst = Burst {
        level: amplitude(get("click-level")),
        noise: 0.15,
        band: Band::new(get("click-low"), get("click-high")),
        decay: Decay::single(get("click-decay")),
    };
    Parts { tones: vec![body], burst: Some(burst), pulse: None }
}
