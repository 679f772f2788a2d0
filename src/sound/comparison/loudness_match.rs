use crate::dsp::amplitude;
use crate::sound::render::{Loudness, Program, RenderError, Watch};
use rayon::prelude::*;

/// Where the original stands, in dBTP: 5 dB under the ceiling of all files, for fixes whose peaks stand out more.
pub const STAND_DBTP: f64 = -6.0;

/// A change of level after which a loudness is measured anew, in decibels.
const MUCH_DB: f64 = 0.1;

/// How loud an original stands, and of each version that is held against it the factors with which it is as loud.
#[derive(Clone, Debug, PartialEq)]
pub struct LoudnessMatch {
    /// The original's factor.
    pub stand: f64,
    /// Those of each fix.
    pub fixes: Vec<MatchedGain>,
}

/// The factors of a version that is held against an original.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MatchedGain {
    /// With which it is as loud.
    pub matched: f64,
    /// The largest up to that with which a file of it alone does not clip.
    pub alone: f64,
}

impl MatchedGain {
    /// By how many decibels a file of it alone is too quiet, or it would clip; `None` where it is matched.
    #[must_use]
    pub fn short_db(self) -> Option<f64> {
        (self.alone < self.matched).then(|| 20.0 * libm::log10(self.matched / self.alone))
    }
}

impl LoudnessMatch {
    /// Measures an original and what is held against it, each by the two alone: so a factor never depends on what else is made.
    ///
    /// # Errors
    /// If it is stopped.
    pub fn measure(original: &Program<'_>, fixes: &[Program<'_>], watch: Watch<'_>) -> Result<Self, RenderError> {
        let stand = amplitude((STAND_DBTP - original.measure(watch)?.dbtp()).min(0.0));
        let loudness = original.loudness_at(stand, watch)?;
        let fix = |program: &Program<'_>| {
            let levels = program.measure(watch)?;
            let mut matched = stand;
            // Which parts count depends on the level itself: what is turned by much is heard again where it then stands.
            for _ in 0..2 {
                let louder = louder_by(loudness, program.loudness_at(matched, watch)?);
                matched *= amplitude(louder);
                if louder.abs() < MUCH_DB {
                    break;
                }
            }
            // A file never clips: one that is so much sparser stays quieter where it stands alone.
            Ok(MatchedGain { matched, alone: matched.min(levels.safe_gain()) })
        };
        let fixes = fixes.par_iter().map(fix).collect::<Result<_, RenderError>>()?;
        Ok(Self { stand, fixes })
    }

    /// The factors with which all versions are equally loud and none clips, the original's first.
    #[must_use]
    pub fn together(&self) -> Vec<f64> {
        let lower = self.fixes.iter().map(|f| f.alone / f.matched).fold(1.0, f64::min);
        std::iter::once(self.stand).chain(self.fixes.iter().map(|f| f.matched)).map(|g| g * lower).collect()
    }
}

/// By how many decibels a fix must be turned up to be as loud as the original: by gated loudness (BS.1770-5), and by K-weighted
/// energy where a file is too short for that.
pub(super) fn louder_by(original: Loudness, fixed: Loudness) -> f64 {
    let by = |x: Option<f64>, y: Option<f64>| Some(x? - y?);
    by(original.integrated, fixed.integrated).or_else(|| by(original.energy, fixed.energy)).unwrap_or(0.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sound::render::{Bank, Cue, Master};
    use crate::time::{Instant, Span};

    /// A tone of 1 kHz that dies away in 100 ms, and one that does in 5 ms.
    fn bank() -> Bank {
        let tone = |tau: f64| {
            let at = |n: i32| (std::f64::consts::TAU * f64::from(n) / 96.0).sin() * (-f64::from(n) / tau).exp();
            Master { samples: (0..48_000).map(|n| at(n) as f32).collect(), pre: 0 }
        };
        Bank::new(48_000, vec![tone(9_600.0), tone(480.0)]).expect("a usual rate")
    }

    /// One of the two each second, so many at once, each at 0.9.
    fn program(bank: &Bank, voice: u32, at_once: usize) -> Program<'_> {
        let at = |n: usize| Instant(Span::from_ms((n / at_once) as i64 * 1_000).0);
        let cues = (0..4 * at_once).map(|n| Cue::centred(at(n), voice, 0.9)).collect();
        Program::new(bank, cues, Span::ZERO, Instant(Span::from_ms(4_000).0)).expect("sound")
    }

    /// By hand: two equal hits at once are 6.02 dB louder than one (closed form), so that a fix that has one instead of the two
    /// is turned up by as much. A click that would clip before it is as loud stays at the ceiling where it stands alone; all
    /// together are then turned down by what it lacks.
    #[test]
    fn what_is_softer_is_turned_up_and_nothing_clips() {
        let bank = bank();
        let (loud, fixes) = (program(&bank, 0, 2), [program(&bank, 0, 1), program(&bank, 1, 1)]);
        let found = LoudnessMatch::measure(&loud, &fixes[..1], Watch::nobody()).expect("nobody stops it");
        let db = |gain: f64| 20.0 * gain.log10();
        // The peak of two is 1.8, which comes down to −6 dBTP.
        assert!((db(found.stand) - (STAND_DBTP - db(1.8))).abs() < 0.1, "{found:?}");
        let [fix] = found.fixes[..] else { panic!("{found:?}") };
        // Loudness has two decimals.
        assert!((db(fix.matched / found.stand) - 6.02).abs() < 0.02, "{found:?}");
        assert_eq!((fix.alone, fix.short_db()), (fix.matched, None));
        assert_eq!(found.together(), [found.stand, fix.matched]);
        let found = LoudnessMatch::measure(&loud, &fixes, Watch::nobody()).expect("nobody stops it");
        assert_eq!(found.fixes[0], fix, "each by the two alone");
        let short = found.fixes[1].short_db().expect("it would clip");
        let together = found.together();
        assert!((db(found.stand / together[0]) - short).abs() < 1e-9, "{found:?}");
        // The ceiling of −1 dBTP less the 0.7 dB that are kept in hand; by its decay the click peaks at 0.952 of its level.
        assert!((db(0.9 * 0.952 * together[2]) + 1.7).abs() < 0.1, "{found:?}");
    }
}
