//! How loud versions stand that are held against each other: equally loud, and none of them clips.

use super::Failure;
use super::press::Press;
use crate::dsp::amplitude;
use crate::sound::render::{Loudness, Program};
use rayon::prelude::*;

/// Where the original stands, in dBTP: 5 dB under the ceiling of all files, for fixes whose peaks stand out more.
pub(super) const STAND_DBTP: f64 = -6.0;

/// A change of level after which a loudness is measured anew, in decibels.
const MUCH_DB: f64 = 0.1;

/// How loud the versions of one tempo stand.
pub(super) struct Matched {
    /// The original's factor.
    pub(super) stand: f64,
    /// Of each fix the factor with which it is as loud, and the largest up to that with which its file does not clip.
    pub(super) fixes: Vec<[f64; 2]>,
}

impl Matched {
    /// The factors with which all versions are equally loud and none clips, the original's first.
    pub(super) fn all(&self) -> Vec<f64> {
        let lower = self.fixes.iter().map(|[matched, alone]| alone / matched).fold(1.0, f64::min);
        std::iter::once(self.stand).chain(self.fixes.iter().map(|f| f[0])).map(|g| g * lower).collect()
    }
}

/// Levels of an original and of what is held against it, each by the two alone; of `flam` the two voices together are the
/// original.
///
/// # Errors
/// Exit status 130 on Ctrl-C.
pub(super) fn matched(press: &Press, original: &Program<'_>, fixed: &[Program<'_>]) -> Result<Matched, Failure> {
    let levels = press.counted(|watch| original.measure(watch))?;
    let stand = amplitude((STAND_DBTP - levels.dbtp()).min(0.0));
    let loudness = press.counted(|watch| original.loudness_at(stand, watch))?;
    let fix = |program: &Program<'_>| {
        let levels = press.counted(|watch| program.measure(watch))?;
        let mut matched = stand;
        // Which parts count depends on the level itself: what is turned by much is heard again where it then stands.
        for _ in 0..2 {
            let louder = louder_by(loudness, press.counted(|watch| program.loudness_at(matched, watch))?);
            matched *= amplitude(louder);
            if louder.abs() < MUCH_DB {
                break;
            }
        }
        // A file never clips: one that is so much sparser stays quieter where it stands alone.
        Ok([matched, matched.min(levels.safe_gain())])
    };
    let fixes = fixed.par_iter().map(fix).collect::<Result<_, Failure>>()?;
    Ok(Matched { stand, fixes })
}

/// By how many decibels the fix must be turned up to be as loud as the original: by gated loudness (BS.1770-5), and by
/// K-weighted energy where a file is too short for that.
pub(super) fn louder_by(original: Loudness, fixed: Loudness) -> f64 {
    let by = |x: Option<f64>, y: Option<f64>| Some(x? - y?);
    by(original.integrated, fixed.integrated).or_else(|| by(original.energy, fixed.energy)).unwrap_or(0.0)
}
