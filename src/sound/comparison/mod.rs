//! A comparison: the original and its fixes at one tempo, each alone and by turns with the original, matched in loudness.

mod alternation;
mod loudness_match;
mod played;

pub use alternation::Alternation;
pub use loudness_match::{LoudnessMatch, MatchedGain, STAND_DBTP};
pub use played::PlayedVariant;

use super::render::{Bank, Program, RenderError, Spec, Watch};
use super::score::{Ensemble, Passage};
use crate::patch::{Meter, Variant};
use crate::rig::{RigError, Run};
use crate::time::{Span, Tempo};

/// All that is heard of a comparison at one tempo.
#[derive(Clone, Debug)]
pub struct Comparison<'v> {
    /// What was played: the original, then each fix.
    pub played: Vec<PlayedVariant<'v>>,
    original: Passage,
    fixes: Vec<Fixed>,
}

/// A fix, alone and by turns with the original.
#[derive(Clone, Debug)]
struct Fixed {
    alone: Passage,
    turns: Alternation,
}

/// The renders of a comparison whose levels do not depend on each other yet.
#[derive(Debug)]
pub struct ComparisonPrograms<'a> {
    /// The original alone.
    pub original: Program<'a>,
    /// Each fix alone.
    pub fixes: Vec<Program<'a>>,
    /// For each fix, the frames of its alternation: levels do not change them.
    pub turns: Vec<u64>,
}

impl<'v> Comparison<'v> {
    /// Plays variants at a tempo, the original first, and lays out what is heard of them. Their rigs are those of the ensemble,
    /// in the same order.
    ///
    /// # Errors
    /// As [`PlayedVariant::new`].
    ///
    /// # Panics
    /// If there is no variant.
    pub fn new(
        variants: &[&'v Variant],
        ensemble: &Ensemble,
        meter: Meter,
        (tempo, run): (Tempo, Run),
    ) -> Result<Self, RigError> {
        let played = variants.iter().enumerate().map(|(n, v)| PlayedVariant::new(v, n, tempo, run));
        let played: Vec<PlayedVariant<'v>> = played.collect::<Result<_, _>>()?;
        let original = &played[0];
        let clockwork = original.variant.rig.clockwork(tempo);
        let end = clockwork.instant(original.variant.rig.end);
        let fixed = |fix: &PlayedVariant<'v>| Fixed {
            alone: fix.passage(ensemble, meter, end),
            turns: Alternation::new([original, fix], meter, &clockwork, ensemble),
        };
        let fixes = played[1..].iter().map(fixed).collect();
        Ok(Self { original: original.passage(ensemble, meter, end), fixes, played })
    }

    /// The renders, after a lead-in, all of which fit a file that is written so.
    ///
    /// # Errors
    /// As [`Program::new`] and [`Program::size`].
    pub fn programs<'a>(
        &self,
        bank: &'a Bank,
        lead_in: Span,
        spec: &Spec,
    ) -> Result<ComparisonPrograms<'a>, RenderError> {
        let fits = |program: Program<'a>| program.size(spec).map(|_| program);
        let turns = self.fixes.iter().map(|f| Ok(fits(f.turns.program([1.0; 2], bank, lead_in)?)?.frames()));
        let turns = turns.collect::<Result<_, RenderError>>()?;
        let fixes = self.fixes.iter().map(|f| fits(f.alone.program(bank, lead_in)?)).collect::<Result<_, _>>()?;
        Ok(ComparisonPrograms { original: fits(self.original.program(bank, lead_in)?)?, fixes, turns })
    }

    /// The alternation with a fix, by its number, the original at `stand` and both sides equally loud.
    ///
    /// # Errors
    /// As [`Alternation::matched`].
    pub fn turns<'a>(
        &self,
        fix: usize,
        stand: f64,
        (bank, lead_in): (&'a Bank, Span),
        watch: Watch<'_>,
    ) -> Result<Program<'a>, RenderError> {
        self.fixes[fix].turns.matched(stand, bank, lead_in, watch)
    }
}

impl ComparisonPrograms<'_> {
    /// The frames of each file: the alternations, the fixes, the original.
    pub fn frames(&self) -> impl Iterator<Item = u64> {
        let alone = self.fixes.iter().chain([&self.original]).map(Program::frames);
        self.turns.iter().copied().chain(alone)
    }

    /// The factors with which the fixes are as loud as the original.
    ///
    /// # Errors
    /// If it is stopped.
    pub fn loudness_match(&self, watch: Watch<'_>) -> Result<LoudnessMatch, RenderError> {
        LoudnessMatch::measure(&self.original, &self.fixes, watch)
    }
}
