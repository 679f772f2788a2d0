//! What people and programs are shown: words, tables, JSON, CSV. Nothing here computes; it only says.

mod advise;
mod advise_csv;
mod advise_figures;
mod advise_json;
mod breakdown;
mod chart;
mod check;
mod check_csv;
mod check_json;
mod compare;
mod flam;
mod identify;
mod ms;
mod runs;
mod runs_csv;
mod runs_json;
mod summary;
mod sweep;
mod table;
mod takes;
mod training;
mod words;

pub use advise::{Advised, advise_card, advise_table};
pub use advise_csv::advise_csv;
pub use advise_json::{AdviseReport, advise_json};
pub use check::{Detail, check_table};
pub use check_csv::check_csv;
pub use check_json::{CheckReport, check_json};
pub use compare::{Compared, compare_table};
pub use flam::{FlamRow, flam_table};
pub use identify::{alike_table, identified, identify_json, identify_table, letter};
pub use ms::{exact_ms, gap_ms, ms};
pub use summary::Layout;
pub use sweep::{SweepCell, sweep_csv, sweep_table};
pub use table::{Align, Table};
pub use takes::{left_out, take_notes};
pub use training::{Trained, training_json, training_table};
pub use words::{beats_and_time, gap_phrase, one_phrase, one_phrase_short, plain, reason, to_decimals, warning};

use crate::judge::runs::Chances;
use crate::judge::{Breakdown, Colour, State, Sure, Verdict};
use crate::patch::{Patch, Variant};
use crate::time::{Span, Tempo};

/// One variant at one tempo, judged.
#[derive(Clone, Debug)]
pub struct Judged<'a> {
    /// The variant.
    pub variant: &'a Variant,
    /// The tempo.
    pub tempo: Tempo,
    /// What is to be said of it.
    pub verdict: Verdict,
    /// For each pair, in the order of [`Verdict::gaps`], what the worst gap does to the sound; nothing for unlike sounds and
    /// where nothing pairs.
    pub colours: Vec<Colour>,
    /// For each sequencer, how sure its resets are; `None` where there is nothing to say.
    pub sure: Vec<Option<Sure>>,
    /// The stages of the variant that are left to chance, by name.
    pub drawn: Vec<String>,
    /// Where each sequencer's time goes, if that was asked for; else empty.
    pub breakdown: Vec<Option<Breakdown>>,
    /// What many runs came to, if they were asked for.
    pub runs: Option<Chances>,
}

impl Judged<'_> {
    /// Whether the typical run passes and, where runs were made, every one of them too.
    #[must_use]
    pub fn passes(&self) -> bool {
        self.verdict.passes() && self.runs.as_ref().is_none_or(Chances::passes)
    }

    /// What a listener meets, over all runs where there are some.
    #[must_use]
    pub fn state(&self) -> State {
        let off = |runs: &Chances| runs.sequencers.iter().any(|missing| missing.runs.seen() > 0);
        match (self.verdict.state(), &self.runs) {
            (State::Together, Some(runs)) if !runs.passes() => {
                if off(runs) {
                    State::Off
                } else {
                    State::Apart
                }
            }
            (state, _) => state,
        }
    }

    /// Why it does not pass, in sentences without their full stops.
    #[must_use]
    pub fn reasons(&self, max_gap: Span) -> Vec<String> {
        let typical = self.verdict.reasons.iter().map(|r| reason(&self.variant.rig, r, max_gap));
        typical.chain(runs::reasons(self)).collect()
    }

    /// What should be known all the same.
    #[must_use]
    pub fn warnings(&self, max_wobble: Option<Span>) -> Vec<String> {
        let typical = self.verdict.warnings.iter().map(|w| warning(&self.variant.rig, w));
        typical.chain(runs::warnings(self, max_wobble)).collect()
    }
}

/// All that a `check` looked at.
#[derive(Clone, Debug)]
pub struct Checked<'a> {
    /// The patch as it was named on the command line.
    pub name: String,
    /// The patch.
    pub patch: &'a Patch,
    /// How many bars were asked for instead of the patch's own.
    pub bars: Option<u64>,
    /// Whose threshold the max gap is, in a sentence; `None` where it is not from an ear file.
    pub max_gap_from: Option<String>,
    /// Variant by variant, tempo by tempo.
    pub results: Vec<Judged<'a>>,
}

impl Checked<'_> {
    /// Whether all that is listed passes.
    #[must_use]
    pub fn passes(&self) -> bool {
        self.results.iter().all(|r| r.passes())
    }
}
