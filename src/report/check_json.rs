use super::{Checked, Judged, words};
use crate::gap::{Gap, Standing, Stats};
use crate::patch::Rig;
use crate::time::Span;
use serde::Serialize;

/// What `check --format json` writes. Fields may be added; none changes its meaning without a new `format`.
#[derive(Serialize, Debug)]
pub struct CheckReport {
    format: u32,
    patch: String,
    title: Option<String>,
    max_gap_ms: f64,
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
    sequencers: Vec<SequencerRow>,
    gaps: Vec<GapRow>,
}

#[derive(Serialize, Debug)]
struct SequencerRow {
    name: String,
    pulses: u64,
    hits: usize,
    pulses_late_worst: Option<i64>,
    pulses_late_last: Option<i64>,
    right: bool,
    agrees: bool,
    off_by_ms: Option<f64>,
    /// Only where something changes in the course of the piece.
    #[serde(skip_serializing_if = "Option::is_none")]
    off: Option<Vec<OffRow>>,
    lateness_ms: Option<Spread>,
    path_lateness_ms: Option<Spread>,
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
        passes: checked.passes(),
        results: checked.results.iter().map(|r| result(r, checked.patch.max_gap)).collect(),
    }
}

fn result(judged: &Judged<'_>, max_gap: Span) -> ResultRow {
    let (rig, verdict) = (&judged.variant.rig, &judged.verdict);
    ResultRow {
        variant: judged.variant.name.clone(),
        tempo_bpm: judged.tempo.bpm(),
        passes: verdict.passes(),
        reasons: verdict.reasons.iter().map(|r| words::reason(rig, r, max_gap)).collect(),
        warnings: verdict.warnings.iter().map(|w| words::warning(rig, w)).collect(),
        sequencers: verdict.standings.iter().enumerate().map(|(i, s)| sequencer(rig, i, s)).collect(),
        gaps: verdict.gaps.iter().zip(&judged.body_db).map(|(g, &body)| gap(rig, g, body)).collect(),
    }
}

fn sequencer(rig: &Rig, index: usize, s: &Standing) -> SequencerRow {
    SequencerRow {
        name: rig.sequencers[index].name.clone(),
        pulses: s.pulses,
        hits: s.hits,
        pulses_late_worst: s.late_worst,
        pulses_late_last: s.late_last,
        right: s.right,
        agrees: s.agrees,
        off_by_ms: s.off_by.map(Span::ms),
        off: (!rig.course.turns.is_empty() || !rig.course.switches.is_empty()).then(|| s.off.iter().map(off).collect()),
        lateness_ms: s.lateness.map(Into::into),
        path_lateness_ms: s.path_lateness.map(Into::into),
    }
}

fn off(off: &crate::gap::Off) -> OffRow {
    let number = |beat: crate::time::Beat| *beat.numer() as f64 / *beat.denom() as f64;
    OffRow { from_beat: number(off.from), to_beat: off.to.map(number), pulses_late: off.pulses_late }
}

fn gap(rig: &Rig, g: &Gap, body_db: Option<f64>) -> GapRow {
    GapRow {
        between: g.between.map(|s| rig.sequencers[s].name.clone()),
        paired: g.paired,
        unpaired: g.unpaired,
        min_ms: g.stats.map(|s| s.min.ms()),
        median_ms: g.stats.map(Stats::median_ms),
        max_ms: g.stats.map(|s| s.max.ms()),
        worst_ms: g.worst().map(Span::ms),
        band: g.band().map(crate::gap::Band::key),
        order_heard: g.worst().map(|w| w >= crate::gap::ORDER_HEARD),
        like: g.like,
        first_notch_hz: g.first_notch_hz(),
        body_db,
    }
}
