use super::Checked;
use crate::gap::Stats;
use crate::time::Span;
use std::io::{self, Write};

/// Writes a check as CSV: a row a variant, tempo and pair of sequencers. What does not exist is empty.
///
/// # Errors
/// What the writer says.
pub fn check_csv(checked: &Checked<'_>, out: impl Write) -> io::Result<()> {
    let mut csv = csv::Writer::from_writer(out);
    csv.write_record([
        "variant",
        "tempo_bpm",
        "passes",
        "first",
        "second",
        "first_pulses_late_worst",
        "second_pulses_late_worst",
        "paired",
        "first_unpaired",
        "second_unpaired",
        "min_ms",
        "median_ms",
        "max_ms",
        "worst_ms",
        "band",
    ])?;
    let number = |n: Option<f64>| n.map_or_else(String::new, |n| n.to_string());
    for judged in &checked.results {
        for gap in &judged.verdict.gaps {
            let names = gap.between.map(|s| judged.variant.rig.sequencers[s].name.clone());
            let late = gap.between.map(|s| judged.verdict.standings[s].late_worst);
            let late = late.map(|l| l.map_or_else(String::new, |l| l.to_string()));
            csv.write_record([
                judged.variant.name.clone(),
                judged.tempo.to_string(),
                judged.verdict.passes().to_string(),
                names[0].clone(),
                names[1].clone(),
                late[0].clone(),
                late[1].clone(),
                gap.paired.to_string(),
                gap.unpaired[0].to_string(),
                gap.unpaired[1].to_string(),
                number(gap.stats.map(|s| s.min.ms())),
                number(gap.stats.map(Stats::median_ms)),
                number(gap.stats.map(|s| s.max.ms())),
                number(gap.worst().map(Span::ms)),
                gap.band().map_or_else(String::new, |b| b.key().to_owned()),
            ])?;
        }
    }
    csv.flush()
}
