//! What recordings say, for programs: times in seconds, shares as parts of a place of the grid.

use super::Measured;
use crate::measure::{Estimate, Finding, Kind, Missing, Note};
use crate::show::report::to_decimals;
use serde_json::{Value, json};
use std::io;

/// Decimals of seconds, down to the nanosecond, and of shares.
const FINE: i32 = 9;

/// All of it as one value of JSON.
#[must_use]
pub fn measured_json(measured: &Measured<'_>) -> Value {
    let findings: Vec<Value> = measured.findings.findings.iter().map(|finding| one(measured, finding)).collect();
    let ppm = |ppm: &Option<(f64, f64)>| {
        ppm.map_or(Value::Null, |(ppm, error)| json!({ "ppm": to_decimals(ppm, 4), "error": to_decimals(error, 4) }))
    };
    let notes: Vec<Value> = measured.findings.notes.iter().map(|(channel, of)| note(measured, *channel, of)).collect();
    let silent: Vec<&String> = measured.findings.silent.iter().map(|channel| &measured.channels[*channel]).collect();
    json!({
        "format": 1,
        "files": measured.files,
        "tempos": measured.request.tempos,
        "channels": measured.channels,
        "places_a_quarter": measured.request.places,
        "recorder": measured.findings.ppm.iter().map(ppm).collect::<Vec<_>>(),
        "findings": findings,
        "silent": silent,
        "notes": notes,
    })
}

fn seconds(time: f64) -> Value {
    json!(to_decimals(time, FINE))
}

fn estimate(of: Estimate) -> Value {
    let (low, high) = of.interval();
    json!({ "value": seconds(of.value), "error": seconds(of.error), "low": seconds(low), "high": seconds(high) })
}

fn one(measured: &Measured<'_>, finding: &Finding) -> Value {
    let tempos = finding.sessions.iter().enumerate().filter_map(|(file, session)| {
        let of = session.summary()?;
        let gaps: Vec<Value> = session
            .gaps
            .iter()
            .map(|gap| json!({ "place": gap.due, "at_s": seconds(gap.at), "gap_s": seconds(gap.gap), "error_s": seconds(gap.error) }))
            .collect();
        Some(json!({
            "file": measured.files[file], "tempo": session.tempo, "period_s": seconds(session.period),
            "median_s": seconds(of.median), "mean_s": seconds(of.mean), "mean_error_s": seconds(of.error),
            "waver_s": seconds(of.waver), "wavers": of.wavers,
            "drift": json!({ "s_per_s": of.drift.0, "error": of.drift.1, "drifts": session.drifts() }),
            "least_s": seconds(of.range.0), "largest_s": seconds(of.range.1), "gaps": gaps,
        }))
    });
    let verdict = &finding.verdict;
    json!({
        "name": measured.name(finding), "against": measured.channels[finding.against],
        "kind": kind(&verdict.kind),
        "fixed_s": estimate(verdict.fixed), "share": estimate(verdict.share),
        "chance": verdict.chance, "moved_to_a_line": verdict.unwrapped,
        "onset_uncertainty_s": seconds(finding.onset),
        "constant_s": estimate(verdict.constant),
        "zero_s": finding.zero.map(estimate),
        "tempos": tempos.collect::<Vec<_>>(),
    })
}

fn kind(kind: &Kind) -> Value {
    match kind {
        Kind::Together => json!({ "name": "together" }),
        Kind::Fixed => json!({ "name": "fixed" }),
        Kind::Share => json!({ "name": "share" }),
        Kind::Both => json!({ "name": "both" }),
        Kind::Whole(places) => json!({ "name": "whole-places", "places": places }),
        Kind::Lattice(of) => json!({
            "name": if of.blocks > 0 { "blocks" } else { "loop" },
            "length_s": seconds(of.length), "score": to_decimals(of.score, 4),
            "least_delay_s": [seconds(of.least.0), seconds(of.least.1)],
            "blocks": of.blocks,
        }),
        Kind::NoLine => json!({ "name": "no-line" }),
        Kind::CannotTell(missing) => {
            let record = match missing {
                Missing::Tempo => "a second tempo",
                Missing::Range => "tempos further apart",
                Missing::Hits => "more hits or tempos",
                Missing::Onset => "both struck by one wire",
            };
            json!({ "name": "cannot-tell", "record": record })
        }
    }
}

fn note(measured: &Measured<'_>, channel: usize, note: &Note) -> Value {
    let name = |channel: usize| &measured.channels[channel];
    let own = name(channel);
    match note {
        Note::BleedTaken { from } => json!({ "channel": own, "note": "leak-taken-out", "from": name(*from) }),
        Note::BleedUnknown { from } => json!({ "channel": own, "note": "leak-unknown", "from": name(*from) }),
        Note::ClassLeaked { from, hits } => {
            json!({ "channel": own, "note": "hits-leaked", "from": name(*from), "hits": hits })
        }
        Note::Clipped { samples } => json!({ "channel": own, "note": "clipped", "samples": samples }),
        Note::Unlike { hits } => json!({ "channel": own, "note": "unlike", "hits": hits }),
        Note::Loose => json!({ "channel": own, "note": "aligned-by-envelope" }),
    }
}

/// The hits of one recording as a take that `[hits.NAME]` of a patch reads: seconds from the first pulse, or from the first hit of
/// the box that others are held against.
///
/// # Errors
/// As of the writer.
pub fn measured_take(measured: &Measured<'_>, file: usize, out: &mut dyn io::Write) -> io::Result<()> {
    let mut csv = csv::Writer::from_writer(out);
    csv.write_record(["time_s", "due_beat", "sequencer"])?;
    let mut rows: Vec<(f64, f64, String)> = Vec::new();
    for finding in &measured.findings.findings {
        let session = &finding.sessions[file];
        rows.extend(session.gaps.iter().map(|gap| {
            let due = gap.due as f64;
            (due * session.period + gap.gap, due / measured.request.places, measured.name(finding))
        }));
    }
    rows.sort_by(|a, b| a.0.total_cmp(&b.0));
    for (time, due, name) in rows {
        csv.write_record([format!("{time:.9}"), format!("{due:.9}"), name])?;
    }
    csv.flush()
}

/// A row a gap.
///
/// # Errors
/// As of the writer.
pub fn measured_csv(measured: &Measured<'_>, out: &mut dyn io::Write) -> io::Result<()> {
    let mut csv = csv::Writer::from_writer(out);
    csv.write_record(["file", "tempo", "name", "against", "place", "at_s", "gap_s", "error_s"])?;
    for finding in &measured.findings.findings {
        let (name, against) = (measured.name(finding), measured.channels[finding.against].clone());
        for (session, file) in finding.sessions.iter().zip(&measured.files) {
            for gap in &session.gaps {
                let figures = [gap.at, gap.gap, gap.error].map(|time| format!("{time:.9}"));
                let head =
                    [file.clone(), session.tempo.to_string(), name.clone(), against.clone(), gap.due.to_string()];
                csv.write_record(head.iter().chain(&figures))?;
            }
        }
    }
    csv.flush()
}
