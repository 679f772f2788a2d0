use crate::judge::runs::{Chances, Figures, Missing, Proportion};

/// What a check with runs adds to its rows. Shares are of 1.
pub(super) const COLUMNS: [&str; 21] = [
    "runs",
    "seed",
    "runs_off",
    "runs_off_share",
    "runs_off_low",
    "runs_off_high",
    "first_run_off",
    "resets",
    "resets_off",
    "resets_off_share",
    "resets_off_low",
    "resets_off_high",
    "runs_count",
    "runs_mean_ms",
    "runs_sd_ms",
    "runs_p5_ms",
    "runs_p50_ms",
    "runs_p95_ms",
    "runs_p99_ms",
    "runs_worst_ms",
    "worst_run",
];

type Cells = Vec<(&'static str, String)>;

/// The row `all`: `runs_off` are the runs that fail.
pub(super) fn all(chances: &Chances) -> Cells {
    let mut cells = vec![
        ("runs", chances.trials.runs.to_string()),
        ("seed", chances.trials.seed.to_string()),
        ("worst_run", chances.worst_run.to_string()),
    ];
    cells.extend(of_runs(&chances.failing, chances.first_failing));
    cells
}

/// The row of a sequencer.
pub(super) fn sequencer(missing: &Missing) -> Cells {
    let mut cells = of_runs(&missing.runs, missing.first);
    let [low, high] = interval(&missing.resets);
    cells.extend([
        ("resets", missing.resets.trials().to_string()),
        ("resets_off", missing.resets.seen().to_string()),
        ("resets_off_share", missing.resets.share().map_or_else(String::new, |s| s.to_string())),
        ("resets_off_low", low),
        ("resets_off_high", high),
    ]);
    cells
}

/// The row of a pair, or of the spread a beat.
pub(super) fn figures(figures: &Figures) -> Cells {
    let [p5, p50, p95, p99] = figures.percentiles.map(|p| p.ms().to_string());
    vec![
        ("runs_count", figures.count.to_string()),
        ("runs_mean_ms", figures.mean.ms().to_string()),
        ("runs_sd_ms", figures.sd.ms().to_string()),
        ("runs_p5_ms", p5),
        ("runs_p50_ms", p50),
        ("runs_p95_ms", p95),
        ("runs_p99_ms", p99),
        ("runs_worst_ms", figures.worst.abs().ms().to_string()),
        ("worst_run", figures.worst_run.to_string()),
    ]
}

fn of_runs(odds: &Proportion, first: Option<u64>) -> Cells {
    let [low, high] = interval(odds);
    vec![
        ("runs_off", odds.seen().to_string()),
        ("runs_off_share", odds.share().map_or_else(String::new, |s| s.to_string())),
        ("runs_off_low", low),
        ("runs_off_high", high),
        ("first_run_off", first.map_or_else(String::new, |r| r.to_string())),
    ]
}

fn interval(odds: &Proportion) -> [String; 2] {
    odds.interval().map_or_else(Default::default, |ends| ends.map(|e| e.to_string()))
}
