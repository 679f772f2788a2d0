//! The snare: two shell tones and wires.

use super::band::{Band, HIGHEST, NARROW, NARROWEST};
use super::envelope::Decay;
use super::noise::Burst;
use super::param::{frequency, level, time};
use super::parts::Parts;
use super::tone::{Sweep, Tone};
use super::{Param, Settings, VoiceError};
use crate::dsp::amplitude;

/// The 10 to 90 % rise of the shells, in seconds: 0.3 ms is the most that is promised.
const RISE: f64 = 0.000_15;

pub(super) const PARAMS: [Param; 11] = [
    frequency("shell-low", 100.0, 400.0, "pitch of the lower shell tone"),
    time("shell-low-decay", 0.01, 0.2, "time constant of the lower tone's level"),
    frequency("shell-high", 150.0, 900.0, "pitch of the upper shell tone"),
    time("shell-high-decay", 0.01, 0.2, "time constant of the upper tone's level"),
    level("shell-high-level", -40.0, 6.0, "upper tone against the lower"),
    level("wires-level", -40.0, 12.0, "peak of the wires against that of both tones"),
    frequency("wires-low", 500.0, 8000.0, "lower edge of the wires' band"),
    frequency("wires-high", 4500.0, HIGHEST, "upper edge of the wires' band"),
    time("wires-snap", 0.001, 0.02, "time constant of the wires' first fall"),
    level("wires-tail-level", -40.0, 0.0, "where the wires' second fall begins, against the first"),
    time("wires-decay", 0.005, 0.25, "time constant of the wires' second fall"),
];

pub(super) fn check(settings: &Settings) -> Result<(), VoiceError> {
    settings.order("shell-high", "shell-low", 10.0, "nearer tones beat instead of ringing as two")?;
    settings.order("wires-high", "wires-low", NARROWEST, NARROW)?;
    settings.order("wires-decay", "wires-snap", 0.0, "the second fall is the slower one")
}

pub(super) fn parts(settings: &Settings) -> Parts {
    let get = |key| settings.get(key);
    let upper = amplitude(get("shell-high-level"));
    let shell = |level: f64, pitch: f64, decay: f64| Tone {
        level: level / (1.0 + upper),
        rise: RISE,
        decay,
        pitch: Sweep::level(pitch),
    };
    let burst = Burst {
        level: amplitude(get("wires-level")),
        noise: 0.3,
        band: Band::new(get("wires-low"), get("wires-high")),
        decay: Decay::double(get("wires-snap"), amplitude(get("wires-tail-level")), get("wires-decay")),
    };
    Parts {
        tones: vec![
            shell(1.0, get("shell-low"), get("shell-low-decay")),
            shell(upper, get("shell-high"), get("shell-high-decay")),
        ],
        burst: Some(burst),
        pulse: None,
    }
}
