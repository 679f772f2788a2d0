//! The hat: a bright band of noise.

use super::band::{Band, HIGHEST, NARROW, NARROWEST};
use super::envelope::Decay;
use super::noise::Burst;
use super::param::{frequency, level, time};
use super::parts::Parts;
use super::{Param, Settings, VoiceError};
use crate::dsp::amplitude;

pub(super) const PARAMS: [Param; 5] = [
    frequency("band-low", 3000.0, 9000.0, "lower edge of the band"),
    frequency("band-high", 7000.0, HIGHEST, "upper edge of the band"),
    time("snap", 0.001, 0.02, "time constant of the first fall"),
    level("tail-level", -40.0, 0.0, "where the second fall begins, against the first"),
    time("decay", 0.005, 0.25, "time constant of the second fall: long for an open hat"),
];

pub(super) fn check(settings: &Settings) -> Result<(), VoiceError> {
    settings.order("band-high", "band-low", NARROWEST, NARROW)?;
    settings.order("decay", "snap", 0.0, "the second fall is the slower one")
}

pub(super) fn parts(settings: &Settings) -> Parts {
    let get = |key| settings.get(key);
    let burst = Burst {
        level: 1.0,
        noise: 0.3,
        band: Band::new(get("band-low"), get("band-high")),
        decay: Decay::double(get("snap"), amplitude(get("tail-level")), get("decay")),
    };
    Parts { tones: Vec::new(), burst: Some(burst), pulse: None }
}
