//! The click: a few swings of a tone under a Gaussian, the shortest sound that stays within its band.

use super::param::{frequency, time};
use super::parts::Parts;
use super::tone::Pulse;
use super::{Param, Settings, VoiceError};

/// The top of the band, in hertz.
const TOP: f64 = 18_000.0;
/// Where a Gaussian's spectrum has fallen by 90 dB, times its width: `sqrt(ln(10^4.5) / (2 π²))`.
const REACH: f64 = 0.724_5;

pub(super) const PARAMS: [Param; 2] = [
    frequency("pitch", 2000.0, 8000.0, "pitch of the tick"),
    // 1.69 widths lie between 10 and 90 % of a Gaussian, 0.245 ms at most; with the swing before the top, 0.3 ms.
    time("width", 0.000_07, 0.000_145, "standard deviation of the Gaussian that shapes it"),
];

pub(super) fn check(settings: &Settings) -> Result<(), VoiceError> {
    let (pitch, width) = (settings.get("pitch"), settings.get("width"));
    let reach = pitch + REACH / width;
    if reach <= TOP {
        return Ok(());
    }
    Err(VoiceError::Reach { pitch: "pitch", width: "width", pitch_found: pitch, width_found: width, reach })
}

pub(super) fn parts(settings: &Settings) -> Parts {
    let pulse = Pulse { pitch: settings.get("pitch"), width: settings.get("width") };
    Parts { tones: Vec::new(), burst: None, pulse: Some(pulse) }
}
