use super::{Checked, Judged, words};
use crate::gap::{Gap, Standing, Stats};
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
/// each sequencer, and a row `gap` for each pair. What a row does not speak of is empty.
///
/// # Errors
/// What the writer says.
pub fn check_csv(checked: &Checked<'_>, out: impl Write) -> io::Result<()> {
    let mut csv = csv::Writer::from_writer(out);
    csv.write_record(COLUMNS)?;
    let mut write = |judged: &Judged<'_>, cells: Vec<(&str, String)>| {
        let lead = [
            ("variant", judged.variant.name.clone()),
            ("tempo_bpm", judged.tempo.to_string()),
            ("passes", judged.verdict.passes().to_string()),
        ];
        let cell = |column: &&str| {
            let found = lead.iter().chain(&cells).find(|(name, _)| name == column);
            found.map_or_else(String::new, |(_, value)| value.clone())
        };
        csv.write_record(COLUMNS.iter().map(cell))
    };
    for judged in &checked.results {
        let rig = &judged.variant.rig;
        let reasons = judged.verdict.reasons.iter().map(|r| words::reason(rig, r, checked.patch.max_gap));
        write(judged, vec![("row", "all".into()), ("reasons", reasons.collect::<Vec<_>>().join("; "))])?;
        for (index, standing) in judged.verdict.standings.iter().enumerate() {
            write(judged, sequencer(&rig.sequencers[index].name, standing))?;
        }
        for gap in &judged.verdict.gaps {
            write(judged, pair(gap.between.map(|s| rig.sequencers[s].name.as_str()), gap))?;
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
