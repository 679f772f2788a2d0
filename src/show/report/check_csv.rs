use super::{Checked, runs_csv};
use crate::judge::Judged;
use crate::judge::{Gap, Standing, Stats};
use crate::time::Span;
use std::io::{self, Write};

const COLUMNS: [&str; 19] = [
    "variant",
    "tempo_bpm",
    "passes",
    "row",
    "first",
    "second",
    "pulses",
    "hits",
    "pulses_late_worst",
    "off_by_ms",
    "paired",
    "first_unpaired",
    "second_unpaired",
    "min_ms",
    "median_ms",
    "max_ms",
    "worst_ms",
    "band",
    "reasons",
];

/// Writes a check as CSV: for each variant and tempo a row `all` with the verdict and its reasons, a row `sequencer` for
/// each sequencer and each take, and a row `gap` for each pair; with runs also what they came to, and a row `spread` for three sequencers
/// or more. What a row does not speak of is empty.
///
/// # Errors
/// What the writer says.
pub fn check_csv(checked: &Checked<'_>, out: impl Write) -> io::Result<()> {
    let mut csv = csv::Writer::from_writer(out);
    // A reader of a check without runs meets no column that is always empty.
    let with_runs = checked.results.iter().any(|r| r.runs.is_some());
    let columns: Vec<&str> = COLUMNS.iter().chain(runs_csv::COLUMNS.iter().filter(|_| with_runs)).copied().collect();
    csv.write_record(&columns)?;
    let mut write = |judged: &Judged<'_>, cells: Vec<(&'static str, String)>| {
        let lead = [
            ("variant", judged.variant.name.clone()),
            ("tempo_bpm", judged.tempo.to_string()),
            ("passes", judged.passes().to_string()),
        ];
        let cell = |column: &&str| {
            let found = lead.iter().chain(&cells).find(|(name, _)| name == column);
            found.map_or_else(String::new, |(_, value)| value.clone())
        };
        csv.write_record(columns.iter().map(cell))
    };
    for judged in &checked.results {
        let rig = &judged.variant.rig;
        let reasons = super::reasons(judged, checked.patch.max_gap).join("; ");
        let runs = judged.runs.as_ref();
        let mut all = vec![("row", "all".into()), ("reasons", reasons)];
        all.extend(runs.into_iter().flat_map(runs_csv::all));
        write(judged, all)?;
        for (index, standing) in judged.verdict.standings.iter().enumerate() {
            let mut cells = sequencer(rig.player_name(index), standing);
            // Takes have no one that chance could make them miss.
            let missing = runs.and_then(|r| r.sequencers.get(index));
            cells.extend(missing.into_iter().flat_map(runs_csv::sequencer));
            write(judged, cells)?;
        }
        for (index, gap) in judged.verdict.gaps.iter().enumerate() {
            let mut cells = pair(gap.between.map(|s| rig.player_name(s)), gap);
            cells.extend(runs.and_then(|r| r.gaps[index].1).iter().flat_map(runs_csv::figures));
            write(judged, cells)?;
        }
        if let Some(spread) = runs.and_then(|r| r.spread) {
            let mut cells = vec![("row", "spread".into())];
            cells.extend(runs_csv::figures(&spread));
            write(judged, cells)?;
        }
    }
    csv.flush()
}

fn text<T: ToString>(value: Option<T>) -> String {
    value.map_or_else(String::new, |v| v.to_string())
}

fn sequencer(name: &str, s: &Standing) -> Vec<(&'static str, String)> {
    vec![
        ("row", "sequencer".into()),
        ("first", name.to_owned()),
        ("pulses", s.pulses.to_string()),
        ("hits", s.hits.to_string()),
        ("pulses_late_worst", text(s.late_worst.map(|l| l as f64 / s.scale as f64))),
        ("off_by_ms", text(s.off_by.map(Span::ms))),
    ]
}

fn pair([first, second]: [&str; 2], gap: &Gap) -> Vec<(&'static str, String)> {
    vec![
        ("row", "gap".into()),
        ("first", first.to_owned()),
        ("second", second.to_owned()),
        ("paired", gap.paired.to_string()),
        ("first_unpaired", gap.unpaired[0].to_string()),
        ("second_unpaired", gap.unpaired[1].to_string()),
        ("min_ms", text(gap.stats.map(|s| s.min.ms()))),
        ("median_ms", text(gap.stats.map(Stats::median_ms))),
        ("max_ms", text(gap.stats.map(|s| s.max.ms()))),
        ("worst_ms", text(gap.worst().map(Span::ms))),
        ("band", gap.band().map_or_else(String::new, |b| b.key().to_owned())),
    ]
}
