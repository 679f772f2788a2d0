use super::breakdown::{self, BreakdownRow};
use super::runs_json::{RunsObject, runs_object};
use super::{Checked, to_decimals};
use crate::judge::Judged;
use crate::judge::{Colour, Gap, Standing, Stats, Sure};
use crate::patch::Rig;
use crate::rig::{Passage, stage::Tally};
use crate::time::Span;
use serde::Serialize;

/// What `check --format json` writes. Fields may be added; none changes its meaning without a new `format`.
#[derive(Serialize, Debug)]
pub struct CheckReport {
    format: u32,
    patch: String,
    title: Option<String>,
    max_gap_ms: f64,
    /// With an ear file only.
    #[serde(skip_serializing_if = "Option::is_none")]
    max_gap_from: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    max_wobble_ms: Option<f64>,
    passes: bool,
    results: Vec<ResultRow>,
}

#[derive(Serialize, Debug)]
struct ResultRow {
    variant: String,
    tempo_bpm: f64,
    passes: bool,
    reasons: Vec<String>,
    warnings: Vec<String>,
    stages: Vec<StageRow>,
    sequencers: Vec<SequencerRow>,
    gaps: Vec<GapRow>,
    /// With `--breakdown` only.
    #[serde(skip_serializing_if = "Option::is_none")]
    breakdown: Option<Vec<BreakdownRow>>,
    /// With `--runs` only.
    #[serde(skip_serializing_if = "Option::is_none")]
    runs: Option<RunsObject>,
}

/// What happened to pulses at a stage; one where nothing did is not listed.
#[derive(Serialize, Debug)]
struct StageRow {
    name: String,
    lost: u64,
    merged: u64,
    added: u64,
    /// Only where the delay depends on what went before.
    #[serde(skip_serializing_if = "Option::is_none")]
    first_delay_ms: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    settled_delay_ms: Option<f64>,
}

#[derive(Serialize, Debug)]
struct SequencerRow {
    name: String,
    /// Where the file lies, of a take.
    #[serde(skip_serializing_if = "Option::is_none")]
    file: Option<String>,
    pulses: u64,
    hits: usize,
    unseen: u64,
    lost: u64,
    pulses_late_worst: Option<Pulses>,
    pulses_late_last: Option<Pulses>,
    right: bool,
    agrees: bool,
    off_by_ms: Option<f64>,
    /// Only where something changes in the course of the piece.
    #[serde(skip_serializing_if = "Option::is_none")]
    off: Option<Vec<OffRow>>,
    lateness_ms: Option<Spread>,
    path_lateness_ms: Option<Spread>,
    resets: Option<Resets>,
}

/// How sure a sequencer's resets are, over all tolerances.
#[derive(Serialize, Debug)]
struct Resets {
    count: usize,
    always_right: usize,
    always_wrong: usize,
    at_risk: usize,
    decision_margin_us: Option<f64>,
}

#[derive(Serialize, Debug)]
struct OffRow {
    from_beat: f64,
    to_beat: Option<f64>,
    pulses_late: i64,
}

#[derive(Serialize, Debug)]
struct GapRow {
    between: [String; 2],
    paired: usize,
    unpaired: [usize; 2],
    min_ms: Option<f64>,
    median_ms: Option<f64>,
    max_ms: Option<f64>,
    worst_ms: Option<f64>,
    band: Option<&'static str>,
    order_heard: Option<bool>,
    like: bool,
    first_notch_hz: Option<f64>,
    body_db: Option<f64>,
}

/// A number of pulses: whole, but behind a multiplier.
#[derive(Debug)]
struct Pulses(i64, i64);

impl Serialize for Pulses {
    fn serialize<S: serde::Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        match *self {
            Self(late, scale) if late % scale == 0 => to.serialize_i64(late / scale),
            Self(late, scale) => to.serialize_f64(late as f64 / scale as f64),
        }
    }
}

#[derive(Serialize, Debug)]
struct Spread {
    min: f64,
    median: f64,
    max: f64,
}

impl From<Stats> for Spread {
    fn from(s: Stats) -> Self {
        Self { min: s.min.ms(), median: s.median_ms(), max: s.max.ms() }
    }
}

/// A check as the object that `check --format json` writes.
#[must_use]
pub fn check_json(checked: &Checked<'_>) -> CheckReport {
    CheckReport {
        format: 1,
        patch: checked.name.clone(),
        title: checked.patch.title.clone(),
        max_gap_ms: checked.patch.max_gap.ms(),
        max_gap_from: checked.max_gap_from.clone(),
        max_wobble_ms: checked.patch.max_wobble.map(Span::ms),
        passes: checked.passes(),
        results: checked.results.iter().map(|r| result(r, checked)).collect(),
    }
}

fn result(judged: &Judged<'_>, checked: &Checked<'_>) -> ResultRow {
    let (rig, verdict) = (&judged.variant.rig, &judged.verdict);
    ResultRow {
        variant: judged.variant.name.clone(),
        tempo_bpm: judged.tempo.bpm(),
        passes: judged.passes(),
        reasons: super::reasons(judged, checked.patch.max_gap),
        warnings: super::warnings(judged, checked.patch.max_wobble),
        stages: verdict.passages.iter().map(|p| stage(rig, p)).collect(),
        sequencers: verdict
            .standings
            .iter()
            .enumerate()
            .map(|(i, s)| sequencer(rig, i, s, judged.sure.get(i).copied().flatten()))
            .collect(),
        gaps: verdict.gaps.iter().zip(&judged.colours).map(|(g, &colour)| gap(rig, g, colour)).collect(),
        breakdown: breakdown::rows(judged),
        runs: judged.runs.as_ref().map(|runs| runs_object(rig, runs)),
    }
}

fn stage(rig: &Rig, passage: &Passage) -> StageRow {
    let Tally { lost, merged, added } = passage.tally;
    let (first_delay_ms, settled_delay_ms) = passage.held_up.map(|h| (h.first.ms(), h.last.ms())).unzip();
    let name = rig.stages[passage.stage].name.clone();
    StageRow { name, lost, merged, added, first_delay_ms, settled_delay_ms }
}

fn sequencer(rig: &Rig, index: usize, s: &Standing, sure: Option<Sure>) -> SequencerRow {
    SequencerRow {
        name: rig.player_name(index).to_owned(),
        file: index.checked_sub(rig.sequencers.len()).map(|take| rig.takes[take].file.clone()),
        pulses: s.pulses,
        hits: s.hits,
        unseen: s.unseen,
        lost: s.lost,
        pulses_late_worst: s.late_worst.map(|l| Pulses(l, s.scale)),
        pulses_late_last: s.late_last.map(|l| Pulses(l, s.scale)),
        right: s.right,
        agrees: s.agrees,
        off_by_ms: s.off_by.map(Span::ms),
        off: (!rig.course.is_steady()).then(|| s.off.iter().map(off).collect()),
        lateness_ms: s.lateness.map(Into::into),
        path_lateness_ms: s.path_lateness.map(Into::into),
        resets: sure.map(|s| Resets {
            count: s.resets,
            always_right: s.always_right,
            always_wrong: s.always_wrong,
            at_risk: s.at_risk,
            decision_margin_us: s.margin.map(|m| m.ms() * 1000.0),
        }),
    }
}

fn off(off: &crate::judge::Off) -> OffRow {
    let number = |beat: crate::time::Beat| *beat.numer() as f64 / *beat.denom() as f64;
    OffRow { from_beat: number(off.from), to_beat: off.to.map(number), pulses_late: off.pulses_late }
}

fn gap(rig: &Rig, g: &Gap, colour: Colour) -> GapRow {
    GapRow {
        between: g.between.map(|s| rig.player_name(s).to_owned()),
        paired: g.paired,
        unpaired: g.unpaired,
        min_ms: g.stats.map(|s| s.min.ms()),
        median_ms: g.stats.map(Stats::median_ms),
        max_ms: g.stats.map(|s| s.max.ms()),
        worst_ms: g.worst().map(Span::ms),
        band: g.band().map(crate::judge::Band::key),
        order_heard: g.worst().map(|w| w >= crate::judge::ORDER_HEARD),
        like: g.like,
        first_notch_hz: colour.first_notch_hz,
        body_db: colour.body_db.map(|db| to_decimals(db, 3)),
    }
}
