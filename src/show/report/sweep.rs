use super::check::heard;
use super::legend::legend;
use super::{Align, Table, words};
use crate::judge::Judged;
use crate::judge::sweep::Value;
use crate::judge::{Band, Gap};
use crate::time::Span;
use std::fmt::Write;
use std::io;

/// One cell of a grid, judged.
#[derive(Clone, Debug)]
pub struct SweepCell<'a> {
    /// Its number, from 1 on, as it is announced.
    pub number: usize,
    /// The setting.
    pub value: Value,
    /// What is to be said of it.
    pub judged: &'a Judged<'a>,
    /// Its sound; `None` for one that was left out.
    pub file: Option<String>,
}

/// A grid as people read it: a table a tempo, of so many columns of a terminal.
#[must_use]
pub fn sweep_table(title: &str, knob: &str, cells: &[SweepCell<'_>], max_gap: Span, width: usize) -> String {
    let mut all = Vec::new();
    let mut out = format!("{}: {}\n", words::plain(title), words::plain(knob));
    for same in cells.chunk_by(|a, b| a.judged.tempo == b.judged.tempo) {
        let Some(first) = same.first() else { continue };
        let _ = writeln!(out, "\nat {}", first.judged.tempo);
        let mut table = Table::new(&[
            ("", Align::Right),
            ("setting", Align::Right),
            ("", Align::Left),
            ("misses the one", Align::Left),
            ("gap", Align::Left),
            ("heard as", Align::Left),
        ]);
        for cell in same {
            let (judged, rig) = (cell.judged, &cell.judged.variant.rig);
            let worst = judged.verdict.worst_gap();
            let place = worst.and_then(|w| judged.verdict.gaps.iter().position(|g| g.between == w.between));
            let colour = place.and_then(|n| judged.colours.get(n).copied()).unwrap_or_default();
            let heard = worst.map_or_else(|| "—".to_owned(), |g| heard(g, colour));
            all.push(heard.clone());
            table.row([
                cell.number.to_string(),
                cell.value.words(),
                if judged.passes() { "passes" } else { "fails" }.to_owned(),
                words::one_phrase_short(rig, &judged.verdict.standings),
                worst.map_or_else(|| "nothing meets".to_owned(), |g| words::gap_phrase(rig, g, max_gap)),
                heard,
            ]);
        }
        out.push_str(&table.render_within(width));
    }
    let words = legend(&all);
    if words.is_empty() { out } else { format!("{out}\n{words}") }
}

/// A grid for programs: a row a cell.
///
/// # Errors
/// Where the writer fails.
pub fn sweep_csv(cells: &[SweepCell<'_>], to: impl io::Write) -> io::Result<()> {
    let mut csv = csv::Writer::from_writer(to);
    csv.write_record([
        "cell",
        "tempo_bpm",
        "setting",
        "passes",
        "misses_the_one",
        "first",
        "second",
        "worst_gap_ms",
        "band",
        "file",
    ])?;
    for cell in cells {
        let (judged, rig) = (cell.judged, &cell.judged.variant.rig);
        let worst = judged.verdict.worst_gap();
        let name = |side: usize| worst.map_or("", |g| rig.player_name(g.between[side]));
        let gap = worst.and_then(crate::judge::Gap::worst_signed).map_or_else(String::new, words::exact_ms);
        let off = judged.verdict.standings.iter().enumerate().filter(|(_, s)| !s.right);
        let off: Vec<&str> = off.map(|(n, _)| rig.player_name(n)).collect();
        csv.write_record([
            cell.number.to_string().as_str(),
            &judged.tempo.to_string(),
            &cell.value.name(),
            if judged.passes() { "true" } else { "false" },
            &off.join(" "),
            name(0),
            name(1),
            &gap,
            worst.and_then(crate::judge::Gap::band).map_or("", crate::judge::Band::key),
            cell.file.as_deref().unwrap_or(""),
        ])?;
    }
    csv.flush()
}

/// A grid as one value of JSON: of a patch's variant, what is turned, and the page's path where there is one.
#[must_use]
pub fn sweep_json(
    (patch, variant, on): (&str, &str, &str),
    cells: &[SweepCell<'_>],
    page: Option<&str>,
) -> serde_json::Value {
    let cells: Vec<_> = cells.iter().map(json).collect();
    let mut report = serde_json::json!({ "format": 1, "patch": patch, "variant": variant, "on": on, "cells": cells });
    if let Some(page) = page {
        report["page"] = page.into();
    }
    report
}

fn json(row: &SweepCell<'_>) -> serde_json::Value {
    let worst = row.judged.verdict.worst_gap();
    serde_json::json!({
        "cell": row.number, "tempo_bpm": row.judged.tempo.bpm(), "setting": row.value.name(), "passes": row.judged.passes(),
        "worst_gap_ms": worst.and_then(Gap::worst_signed).map(Span::ms),
        "band": worst.and_then(Gap::band).map(Band::key), "file": row.file,
    })
}
