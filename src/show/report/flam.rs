use super::legend::legend;
use super::{Align, Table, to_decimals, words};
use crate::judge::{Band, Body, Colour, ORDER_HEARD};
use crate::time::{ExactPs, Span, Tempo};
use serde::Serialize;
use std::fmt::Write;
use std::io;

/// Two voices a time apart, at one tempo, and what that amounts to.
#[derive(Clone, Debug, Serialize)]
pub struct FlamRow {
    /// Quarter notes a minute.
    pub tempo_bpm: f64,
    /// What was asked for: a time or a phase.
    pub setting: String,
    /// The second voice's hit minus the first's.
    pub gap_ms: f64,
    /// The gap as a part of the period, in per cent.
    pub share_of_period_pct: f64,
    /// The period in milliseconds.
    pub period_ms: f64,
    /// The gap in samples, at the sample rate of the file.
    pub samples: f64,
    /// How it is heard.
    pub band: &'static str,
    /// Whether the order of the two is heard.
    pub order_heard: bool,
    /// Whether both are one voice.
    pub like: bool,
    /// The lowest frequency that two equal hits so far apart cancel; nothing for unlike voices and where they have no energy.
    pub first_notch_hz: Option<f64>,
    /// What two like hits lose between 35 and 120 Hz against one exact double hit; nothing where they have no energy there.
    pub body_db: Option<f64>,
    /// The file in which it can be heard.
    pub file: String,
    /// The exact gap.
    #[serde(skip)]
    pub gap: Span,
    /// The exact tempo.
    #[serde(skip)]
    pub tempo: Tempo,
}

impl FlamRow {
    /// Works out what a gap amounts to. `period` is in picoseconds; `body` is that of a like pair's voice.
    #[must_use]
    pub fn new(
        (tempo, setting, gap): (Tempo, String, Span),
        period: ExactPs,
        sample_rate: u32,
        body: Option<&Body>,
        file: String,
    ) -> Self {
        let colour = body.map_or_else(Colour::default, |body| body.colour(gap));
        let period_ms = *period.numer() as f64 / *period.denom() as f64 / Span::from_ms(1).0 as f64;
        Self {
            tempo_bpm: tempo.bpm(),
            setting,
            gap_ms: gap.ms(),
            share_of_period_pct: to_decimals(100.0 * gap.ms() / period_ms, 9),
            period_ms: to_decimals(period_ms, 9),
            samples: to_decimals(gap.ms() / 1000.0 * f64::from(sample_rate), 9),
            band: Band::of(gap).key(),
            order_heard: gap.abs() >= ORDER_HEARD,
            like: body.is_some(),
            first_notch_hz: colour.first_notch_hz.map(|hz| to_decimals(hz, 9)),
            body_db: colour.body_db.map(|db| to_decimals(db, 3)),
            file,
            gap,
            tempo,
        }
    }
}

/// What each gap means, for people who hold it against a max gap, in a table of so many columns of a terminal.
#[must_use]
pub fn flam_table(voices: [&str; 2], period: &str, rows: &[FlamRow], max_gap: Span, width: usize) -> String {
    let mut out = String::new();
    let _ = writeln!(out, "{} and {}; the period is that of {period}\n", voices[0], voices[1]);
    let like = rows.iter().any(|r| r.like);
    let mut columns = vec![
        ("tempo", Align::Right),
        ("setting", Align::Right),
        ("gap in ms", Align::Right),
        ("% of period", Align::Right),
        ("samples", Align::Right),
        ("heard as", Align::Left),
    ];
    if like {
        columns.extend([("first notch", Align::Right), ("body", Align::Right)]);
    }
    let mut table = Table::new(&columns);
    for row in rows {
        let notch = row.first_notch_hz.map_or_else(|| "—".into(), |n| format!("{n:.0} Hz"));
        let body = row.body_db.map_or_else(|| "—".into(), |b| format!("{} dB", tidy(b, 1)));
        let order = if row.order_heard { ", order heard" } else { "" };
        let mut cells = vec![
            row.tempo.to_string(),
            row.setting.clone(),
            words::gap_ms(row.gap, max_gap),
            tidy(row.share_of_period_pct, 3),
            tidy(row.samples, 2),
            format!("{}{order}", Band::of(row.gap)),
        ];
        if like {
            cells.extend([notch, body]);
        }
        table.row(cells);
    }
    out.push_str(&table.render_within(width));
    let mut heard: Vec<String> = rows.iter().map(|row| Band::of(row.gap).to_string()).collect();
    // Here these have columns of their own.
    heard.extend(rows.iter().filter_map(|row| row.first_notch_hz.map(|_| "notch".to_owned())));
    heard.extend(rows.iter().filter_map(|row| row.body_db.map(|_| "body".to_owned())));
    out.push('\n');
    out.push_str(&legend(&heard));
    out
}

/// What each gap means, as one value of JSON, with the page's path where there is one.
#[must_use]
pub fn flam_json(voices: [&str; 2], rate: &str, rows: &[FlamRow], page: Option<&str>) -> serde_json::Value {
    let mut report = serde_json::json!({ "format": 1, "voices": voices, "rate": rate, "rows": rows });
    if let Some(page) = page {
        report["page"] = page.into();
    }
    report
}

/// A row a gap.
///
/// # Errors
/// As of the writer.
pub fn flam_csv(rows: &[FlamRow], out: &mut dyn io::Write) -> io::Result<()> {
    let mut csv = csv::Writer::from_writer(out);
    rows.iter().try_for_each(|row| csv.serialize(row))?;
    csv.flush()
}

/// A number with at most so many decimals, and no idle noughts.
fn tidy(number: f64, decimals: usize) -> String {
    let text = format!("{number:.decimals$}");
    let text = if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.') } else { &text };
    let text = if text == "-0" { "0" } else { text };
    text.replace('-', "−")
}
