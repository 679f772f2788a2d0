//! What recordings say: a sentence a box, its tempos as a table, what to mind.

mod delay;
mod figures;
mod json;
mod plan;
mod plugged;
mod sentence;
mod written;

pub use json::{measured_csv, measured_json, measured_take};
pub use plan::measure_plan;
pub use plugged::plugged_patch;
pub use written::{Origin, WrittenPatch, measured_names, measured_patch};

use super::words::plain;
use super::{Align, Table};
use crate::measure::{Finding, Findings, Note, Request, Session};
use crate::text::counted;
use figures::{ms, percent, signed_ms};
use sentence::{grid_name, sentence};
use std::fmt::Write;

/// An onset that is less sure than this, in seconds, is a soft one.
const SOFT: f64 = 0.25e-3;

/// What was measured, with the names of what was recorded.
#[derive(Clone, Debug)]
pub struct Measured<'a> {
    /// The names of the channels.
    pub channels: Vec<String>,
    /// The recordings as they were named.
    pub files: Vec<String>,
    /// What was asked.
    pub request: &'a Request,
    /// What was found.
    pub findings: Findings,
}

impl Measured<'_> {
    /// Who is meant: the channel, and which of its sounds where it has several.
    #[must_use]
    pub fn name(&self, finding: &Finding) -> String {
        let channel = plain(&self.channels[finding.channel]);
        finding.sound.map_or_else(|| channel.clone(), |sound| format!("{channel}'s sound {}", sound + 1))
    }

    /// What the hits are held against: a channel of pulses that is called `clock` is the clock.
    #[must_use]
    pub fn against(&self, finding: &Finding) -> String {
        let name = plain(&self.channels[finding.against]);
        if name == "clock" { "the clock".into() } else { name }
    }
}

/// What is said of one box first, without its full stop.
#[must_use]
pub fn measured_sentence(measured: &Measured<'_>, finding: &Finding) -> String {
    sentence(measured, finding)
}

/// All of it as people read it, in so many columns of a terminal.
#[must_use]
pub fn measured_table(measured: &Measured<'_>, width: usize) -> String {
    let mut out = String::new();
    for finding in &measured.findings.findings {
        let _ = writeln!(out, "{}", sentence(measured, finding));
    }
    for channel in &measured.findings.silent {
        let _ = writeln!(out, "On `{}` nothing is heard three times alike.", plain(&measured.channels[*channel]));
    }
    for finding in &measured.findings.findings {
        let (name, against) = (measured.name(finding), measured.against(finding));
        let _ = writeln!(out, "\n{name} against {against}");
        out.push_str(&tempos(finding).render_within(width));
        let verdict = &finding.verdict;
        let (fixed, share) = (verdict.fixed.interval(), verdict.share.interval());
        let _ = writeln!(
            out,
            "  a fixed {} to {} ms and {} to {} % of {} (95 %)",
            signed_ms(fixed.0),
            signed_ms(fixed.1),
            percent(share.0),
            percent(share.1),
            grid_name(measured.request.places)
        );
    }
    let clock: Vec<String> = measured.findings.ppm.iter().flatten().map(|(ppm, _)| format!("{ppm:.2}")).collect();
    if !clock.is_empty() {
        let _ = writeln!(
            out,
            "\nThe recorder counts {} millionths of a second too many a second, or the clock is as much too slow: taken out of \
             all gaps.",
            clock.join(", ").replace('-', "−")
        );
    }
    for note in measured_notes(measured) {
        let _ = writeln!(out, "note: {note}");
    }
    out
}

/// What a table of tempos has in its columns.
pub const MEASURED_COLUMNS: [&str; 8] = ["tempo", "hits", "gap ms", "± µs", "from", "to", "waver µs", "drift µs/min"];

fn tempos(finding: &Finding) -> Table {
    let mut table = Table::new(&MEASURED_COLUMNS.map(|column| (column, Align::Right)));
    for row in measured_rows(finding) {
        table.row(row);
    }
    table
}

/// A row a tempo, with a cell for each of [`MEASURED_COLUMNS`].
#[must_use]
pub fn measured_rows(finding: &Finding) -> Vec<Vec<String>> {
    let row = |session: &Session| {
        let Some(of) = session.summary() else {
            return vec![session.tempo.to_string(), "0".into()];
        };
        let drift = if session.drifts() { format!("{:.1}", of.drift.0 * 60e6) } else { "none".into() };
        vec![
            session.tempo.to_string(),
            of.count.to_string(),
            signed_ms(of.median),
            format!("{:.2}", of.error * 1.96e6),
            signed_ms(of.range.0),
            signed_ms(of.range.1),
            if of.wavers { format!("{:.1}", of.waver * 1e6) } else { "none".into() },
            drift.replace('-', "−"),
        ]
    };
    finding.sessions.iter().map(row).collect()
}

/// What to mind, a sentence each without its full stop.
#[must_use]
pub fn measured_notes(measured: &Measured<'_>) -> Vec<String> {
    let name = |channel: usize| format!("`{}`", plain(&measured.channels[channel]));
    let mut notes: Vec<String> = measured
        .findings
        .findings
        .iter()
        .map(|finding| {
            let who = measured.name(finding);
            let most = ms(finding.onset * 1.96);
            match finding.zero {
                Some(zero) => format!(
                    "what one wire strikes comes {} ms apart on {who} and {}: taken off all gaps, to ± {most} ms",
                    signed_ms(zero.value),
                    measured.against(finding)
                ),
                None if measured.request.zero => format!(
                    "the zero recording has no three hits of {who} beside {}: where it begins is left unsure, to ± {most} ms",
                    measured.against(finding)
                ),
                None if finding.onset > SOFT => format!(
                    "{who} begins softly: where it begins is known to ± {most} ms alone, and only the time is unsure by that, not the \
                     share; choose a sound with a sharp attack, or record a zero"
                ),
                None => format!(
                    "{who} is timed where its wave first passes a tenth of its peak; another rule moves all its gaps together by up \
                     to {most} ms"
                ),
            }
        })
        .collect();
    for (channel, note) in &measured.findings.notes {
        let own = name(*channel);
        notes.push(match note {
            Note::BleedTaken { from } => format!("what leaks from {} into {own} is taken out", name(*from)),
            Note::BleedUnknown { from } => format!(
                "whether {} leaks into {own} cannot be told, since it is never loud alone: record a bar of it alone too",
                name(*from)
            ),
            Note::ClassLeaked { from, hits } => {
                format!("{} on {own} are those of {}, leaked: left out", counted(*hits, "hit"), name(*from))
            }
            Note::Clipped { samples } => {
                format!("{own} is clipped at {}: its hits are placed up to twice as badly as it says", counted(*samples, "sample"))
            }
            Note::Unlike { hits } => format!("{} on {own} are like no others: left out", counted(*hits, "hit")),
            Note::Loose => format!(
                "no two hits on {own} have one wave: they are aligned by their envelopes, to some 10 µs, and where strokes differ \
                 in kind that is too good to be true"
            ),
        });
    }
    notes
}
