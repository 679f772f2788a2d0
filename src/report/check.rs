use super::{Align, Checked, Judged, Table, words};
use crate::gap::Gap;
use crate::time::{PS_PER_MS, Span};
use std::fmt::Write;

/// A check as people read it: variant by variant a table, then why something fails, then what the words rest on.
#[must_use]
pub fn check_table(checked: &Checked<'_>) -> String {
    let mut out = String::new();
    let title = checked.patch.title.as_deref().map_or_else(|| checked.name.clone(), words::plain);
    let _ = writeln!(out, "{title}\nmax gap {} ms\n", words::ms(checked.patch.max_gap));
    for same in checked.results.chunk_by(|a, b| a.variant.name == b.variant.name) {
        variant(&mut out, same);
    }
    let failing = checked.results.iter().filter(|r| !r.verdict.passes()).count();
    match (failing, checked.results.len()) {
        (0, 1) => out.push_str("It passes.\n"),
        (0, all) => _ = writeln!(out, "All {all} pass."),
        (some, all) => _ = writeln!(out, "{some} of {all} fail."),
    }
    out.push_str(&footnotes(checked));
    out
}

fn variant(out: &mut String, results: &[Judged<'_>]) {
    let Some(first) = results.first() else { return };
    let about = first.variant.about.as_deref().map_or_else(String::new, |a| format!(" — {}", words::plain(a)));
    let _ = writeln!(out, "{}{about}", first.variant.name);
    let mut table = Table::new(&[
        ("tempo", Align::Right),
        ("misses the one", Align::Left),
        ("largest gap", Align::Left),
        ("heard as", Align::Left),
        ("", Align::Left),
    ]);
    for judged in results {
        let rig = &judged.variant.rig;
        let passes = if judged.verdict.passes() { "passes" } else { "fails" };
        let mut lead = [judged.tempo.to_string(), words::one_phrase(rig, &judged.verdict.standings)];
        if judged.verdict.gaps.is_empty() {
            table.row([lead[0].clone(), lead[1].clone(), "—".into(), "—".into(), passes.into()]);
        }
        for (i, (gap, body)) in judged.verdict.gaps.iter().zip(&judged.body_db).enumerate() {
            let end = if i == 0 { passes } else { "" };
            table.row([
                std::mem::take(&mut lead[0]),
                std::mem::take(&mut lead[1]),
                words::gap_phrase(rig, gap),
                heard(gap, *body),
                end.into(),
            ]);
        }
    }
    out.push_str(&table.render());
    warnings(out, results);
    out.push('\n');
}

fn heard(gap: &Gap, body_db: Option<f64>) -> String {
    let Some(band) = gap.band() else { return "—".into() };
    let mut text = band.to_string();
    // A notch above 10 kHz is of no account for a drum; programs get it all the same.
    if let Some(notch) = gap.first_notch_hz().filter(|n| *n <= 10_000.0) {
        let _ = write!(text, ", first notch {notch:.0} Hz");
    }
    if let Some(body) = body_db.filter(|b| *b <= -0.05) {
        let _ = write!(text, ", body −{:.1} dB", -body);
    }
    text
}

/// Reasons that the table's own columns do not show, and warnings, each once.
fn warnings(out: &mut String, results: &[Judged<'_>]) {
    let mut said: Vec<String> = Vec::new();
    for judged in results {
        use crate::gap::Reason::{NeverPlays, PairsWithNothing};
        let rig = &judged.variant.rig;
        let silent = judged.verdict.reasons.iter().filter(|r| matches!(r, NeverPlays { .. } | PairsWithNothing { .. }));
        let lines = silent.map(|r| format!("fails: {}", words::reason(rig, r, Span::ZERO)));
        let warnings = judged.verdict.warnings.iter().map(|w| format!("warning: {}", words::warning(w)));
        for line in lines.chain(warnings) {
            if !said.contains(&line) {
                let _ = writeln!(out, "  {line}");
                said.push(line);
            }
        }
    }
}

/// Which published figure speaks of what, as far as this check needs it.
fn footnotes(checked: &Checked<'_>) -> String {
    let gaps = || checked.results.iter().flat_map(|r| &r.verdict.gaps).filter_map(|g| g.worst().map(|w| (g.like, w)));
    let mut out = String::new();
    if checked.patch.max_gap == Span::from_ms(2) {
        out.push_str("\n2 ms is the smallest published figure for telling two sounds from one (Watson 2004).\n");
    }
    let between = |w: Span, low: i64, high: i64| w.0 >= low * PS_PER_MS && w.0 < high * PS_PER_MS;
    if gaps().any(|(like, w)| !like && between(w, 2, 24)) {
        out.push_str("Unlike drums within a groove are noticed as apart only from about 19–24 ms (PsyArXiv jsg94, a preprint);\nplayed bare, side by side, they are told apart sooner.\n");
    }
    if gaps().any(|(like, w)| like && w > Span::ZERO && w.0 <= 25 * PS_PER_MS) {
        out.push_str("Two hits of one voice cancel at the first notch, 1/(2·gap); body is their energy from 35 to 120 Hz against\none exact double hit.\n");
    }
    out
}
