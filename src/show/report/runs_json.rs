use crate::judge::runs::{Chances, Figures, Proportion};
use crate::patch::Rig;
use serde::Serialize;

/// What the runs of a variant at a tempo came to.
#[derive(Serialize, Debug)]
pub(super) struct RunsObject {
    runs: u64,
    seed: u64,
    passes: bool,
    /// Stages that are left to chance; without any, all runs are alike.
    drawn: Vec<String>,
    failing: Share,
    first_failing_run: Option<u64>,
    worst_run: u64,
    sequencers: Vec<SequencerRow>,
    gaps: Vec<GapRow>,
    spread: Option<FiguresRow>,
}

/// How many of how many, the share of 1, and its Wilson 95 % interval.
#[derive(Serialize, Debug)]
struct Share {
    count: u64,
    of: u64,
    share: Option<f64>,
    low: Option<f64>,
    high: Option<f64>,
}

#[derive(Serialize, Debug)]
struct SequencerRow {
    name: String,
    off_runs: Share,
    off_resets: Share,
    first_run_off: Option<u64>,
}

#[derive(Serialize, Debug)]
struct GapRow {
    between: [String; 2],
    figures: Option<FiguresRow>,
}

#[derive(Serialize, Debug)]
struct FiguresRow {
    count: u64,
    mean_ms: f64,
    sd_ms: f64,
    p5_ms: f64,
    p50_ms: f64,
    p95_ms: f64,
    p99_ms: f64,
    worst_ms: f64,
    worst_run: u64,
}

impl From<Proportion> for Share {
    fn from(odds: Proportion) -> Self {
        let interval = odds.interval();
        Self {
            count: odds.seen(),
            of: odds.trials(),
            share: odds.share(),
            low: interval.map(|i| i[0]),
            high: interval.map(|i| i[1]),
        }
    }
}

impl From<Figures> for FiguresRow {
    fn from(f: Figures) -> Self {
        let [p5_ms, p50_ms, p95_ms, p99_ms] = f.percentiles.map(crate::time::Span::ms);
        Self {
            count: f.count,
            mean_ms: f.mean.ms(),
            sd_ms: f.sd.ms(),
            p5_ms,
            p50_ms,
            p95_ms,
            p99_ms,
            worst_ms: f.worst.abs().ms(),
            worst_run: f.worst_run,
        }
    }
}

pub(super) fn runs_object(rig: &Rig, chances: &Chances) -> RunsObject {
    let name = |s: usize| rig.player_name(s).to_owned();
    let sequencer = |(index, missing): (usize, &crate::judge::runs::Missing)| SequencerRow {
        name: name(index),
        off_runs: missing.runs.into(),
        off_resets: missing.resets.into(),
        first_run_off: missing.first,
    };
    RunsObject {
        runs: chances.trials.runs,
        seed: chances.trials.seed,
        passes: chances.passes(),
        drawn: chances.drawn.clone(),
        failing: chances.failing.into(),
        first_failing_run: chances.first_failing,
        worst_run: chances.worst_run,
        sequencers: chances.sequencers.iter().enumerate().map(sequencer).collect(),
        gaps: chances
            .gaps
            .iter()
            .map(|(pair, figures)| GapRow { between: pair.map(name), figures: figures.map(Into::into) })
            .collect(),
        spread: chances.spread.map(Into::into),
    }
}
