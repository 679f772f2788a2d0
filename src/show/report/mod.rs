//! What people and programs are shown: words, tables, JSON, CSV. Nothing here computes; it only says.

mod advise;
mod advise_aside;
mod advise_card;
mod advise_csv;
mod advise_figures;
mod advise_json;
mod advise_verdict;
mod basket;
mod blind;
mod boxes;
mod breakdown;
mod care;
mod chart;
mod check;
mod check_csv;
mod check_json;
mod class;
mod compare;
mod ear;
mod evening;
mod evening_json;
mod flam;
mod heard;
mod identify;
mod legend;
mod measured;
mod mend;
mod mend_json;
mod mend_words;
mod ms;
mod offset;
mod runs;
mod runs_csv;
mod runs_json;
mod summary;
mod survey;
mod sweep;
mod table;
mod takes;
mod training;
mod turns;
mod voices;
mod words;

pub use advise::{Advised, advise_table};
pub(super) use advise_aside::and;
pub use advise_card::advise_card;
pub use advise_csv::advise_csv;
pub use advise_json::{AdviseReport, advise_json};
pub use advise_verdict::{advise_sentence, fit_phrase};
pub use basket::{SHOP_COLUMNS, Shop, ShopRow, extreme_phrase, shop_csv, shop_json, shop_table, version_names};
pub use blind::{Blind, blind_csv, blind_json, blind_note, blind_table};
pub use boxes::{boxes_json, boxes_table};
pub use care::{CARE, CARE_SHORT, WIRING};
pub use check::{Detail, check_table};
pub use check_csv::check_csv;
pub use check_json::{CheckReport, check_json};
pub use class::{class_json, class_table};
pub use compare::{Compared, compare_csv, compare_json, compare_table};
pub use ear::max_gap_sentence;
pub use evening::{EveningReport, SongLine, evening_table};
pub use evening_json::{evening_csv, evening_json};
pub use flam::{FlamRow, flam_csv, flam_json, flam_table};
pub use identify::{alike_table, identified, identify_json, identify_table, trial_settings};
pub use measured::{
    MEASURED_COLUMNS, Measured, Origin, WrittenPatch, measure_plan, measured_csv, measured_json, measured_names,
    measured_notes, measured_patch, measured_rows, measured_sentence, measured_table, measured_take, plugged_patch,
};
pub use mend::{Mending, change as mend_change, mend_table};
pub use mend_json::{mend_csv, mend_json};
pub use ms::{exact_ms, gap_ms, ms};
pub use summary::{Layout, cell_lines, state_word, verdict_sentence};
pub use survey::{Surveyed, survey_csv, survey_json, survey_table};
pub use sweep::{SweepCell, sweep_csv, sweep_json, sweep_table};
pub use table::{Align, Table};
pub use takes::{all_left_out, left_out, take_notes};
pub use training::{Trained, pooled, training_bar, training_json, training_table};
pub use voices::{VoiceFacts, voices_csv, voices_json, voices_table};
pub use words::{beats_and_time, gap_phrase, one_phrase, one_phrase_short, plain, reason, to_decimals, warning};

use crate::judge::Judged;
use crate::patch::Patch;
use crate::time::Span;

/// Why a variant does not pass at a tempo, in sentences without their full stops.
fn reasons(of: &Judged<'_>, max_gap: Span) -> Vec<String> {
    let typical = of.verdict.reasons.iter().map(|r| reason(&of.variant.rig, r, max_gap));
    typical.chain(runs::reasons(of)).collect()
}

/// What should be known of a variant at a tempo all the same.
fn warnings(of: &Judged<'_>, max_wobble: Option<Span>) -> Vec<String> {
    let typical = of.verdict.warnings.iter().map(|w| warning(&of.variant.rig, w));
    typical.chain(runs::warnings(of, max_wobble)).collect()
}

/// All that a `check` looked at.
#[derive(Clone, Debug)]
pub struct Checked<'a> {
    /// The patch as it was named on the command line.
    pub name: String,
    /// What it says, with what was asked for instead.
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
