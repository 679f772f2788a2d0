use super::breakdown;
use super::chart::gap_chart;
use super::{Align, Checked, Layout, Table, runs, summary, words};
use crate::judge::Judged;
use crate::judge::Reason::{NeverPlays, PairsWithNothing};
use crate::judge::{Band, Colour, Gap, Sure};
use crate::patch::{ResetMode, USUAL_MAX_GAP};
use crate::rig::stage::Tally;
use crate::time::{PS_PER_MS, Span};
use std::collections::HashSet;
use std::fmt::Write;

/// The most pairs that a tempo shows: the widest gaps.
const MOST_PAIRS: usize = 3;

/// How much is said, of a check or of results.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Detail {
    /// The verdict in one line.
    Quiet,
    /// The verdict, the grid, and what stands against what is not together.
    #[default]
    Usual,
    /// All of that, and every figure, variant by variant.
    Full,
}

/// A check as people read it: the verdict first, then a grid of versions by tempos, then what stands against some of them.
#[must_use]
pub fn check_table(checked: &Checked<'_>, detail: Detail, layout: Layout) -> String {
    let mut out = format!("{}\n", summary::headline(checked));
    if detail == Detail::Quiet {
        return out;
    }
    out.push('\n');
    out.push_str(&summary::grid(checked, layout));
    if detail == Detail::Full {
        out.push_str(&full(checked));
        return out;
    }
    for same in checked.results.chunk_by(|a, b| a.variant.name == b.variant.name) {
        out.push_str(&version(checked, same));
    }
    let legend = summary::legend(checked, &out);
    out.push_str(&legend);
    out
}

/// What there is to say of a version besides its state; nothing of most that are together.
fn version(checked: &Checked<'_>, results: &[Judged<'_>]) -> String {
    let mut lines = String::new();
    summary::against(checked, results).iter().for_each(|line| {
        let _ = writeln!(lines, "  {line}");
    });
    lines.push_str(&asked(checked, results));
    match (lines.is_empty(), results.first()) {
        (false, Some(first)) => format!("{}\n{lines}\n", named(first)),
        _ => String::new(),
    }
}

/// A version's name and what it is.
fn named(judged: &Judged<'_>) -> String {
    let about = judged.variant.about.as_deref().map_or_else(String::new, |a| format!(" — {}", words::plain(a)));
    format!("{}{about}", judged.variant.name)
}

/// What is to be minded of a version whatever its state, and what was asked for besides the verdict.
fn asked(checked: &Checked<'_>, results: &[Judged<'_>]) -> String {
    let mut lines = String::new();
    remarks(&mut lines, checked, results, false);
    held_up(&mut lines, results);
    sureness(results, checked.patch.skew).iter().for_each(|line| {
        let _ = writeln!(lines, "  {line}");
    });
    for judged in results {
        lines.push_str(&breakdown::block(judged));
        lines.push_str(&runs::block(checked, judged));
    }
    // Blocks begin with a line that parts them from what is above.
    if lines.starts_with('\n') { lines.split_off(1) } else { lines }
}

/// Variant by variant a table, then why something fails, then what the words rest on.
fn full(checked: &Checked<'_>) -> String {
    let mut out = String::new();
    for same in checked.results.chunk_by(|a, b| a.variant.name == b.variant.name) {
        variant(&mut out, checked, same);
    }
    out.push_str(&gap_chart(checked));
    out.push_str(&closing(checked));
    out.push_str(&footnotes(checked));
    out
}

/// Which variants pass, in a sentence each.
fn closing(checked: &Checked<'_>) -> String {
    let mut out = String::new();
    let limit = words::exact_ms(checked.patch.max_gap);
    for same in checked.results.chunk_by(|a, b| a.variant.name == b.variant.name) {
        let name = &same[0].variant.name;
        let (good, bad): (Vec<_>, Vec<_>) = same.iter().partition(|r| r.passes());
        let tempos = |list: &[&Judged<'_>]| list.iter().map(|r| r.tempo.to_string()).collect::<Vec<_>>().join(", ");
        let _ = match (good.len(), bad.len()) {
            (_, 0) => {
                let runs = if same[0].runs.is_some() { ", in every run" } else { "" };
                writeln!(
                    out,
                    "{name} passes at every tempo{runs}: all agree on the one, and no gap is over {limit} ms."
                )
            }
            (0, _) => writeln!(out, "{name} fails at every tempo."),
            _ => writeln!(out, "{name} fails at {} and passes at {}.", tempos(&bad), tempos(&good)),
        };
    }
    out
}

fn variant(out: &mut String, checked: &Checked<'_>, results: &[Judged<'_>]) {
    let Some(first) = results.first() else { return };
    let _ = writeln!(out, "{}", named(first));
    let mut table = Table::new(&[
        ("tempo", Align::Right),
        ("", Align::Left),
        ("misses the one", Align::Left),
        ("gap", Align::Left),
        ("heard as", Align::Left),
    ]);
    for judged in results {
        rows(&mut table, judged, checked.patch.max_gap);
    }
    out.push_str(&table.render());
    remarks(out, checked, results, true);
    held_up(out, results);
    sureness(results, checked.patch.skew).iter().for_each(|line| {
        let _ = writeln!(out, "  {line}");
    });
    for judged in results {
        out.push_str(&breakdown::block(judged));
        out.push_str(&runs::block(checked, judged));
    }
    out.push('\n');
}

/// A tempo's rows: its widest gaps, and how many more there are.
fn rows(table: &mut Table, judged: &Judged<'_>, max_gap: Span) {
    let rig = &judged.variant.rig;
    let passes = if judged.passes() { "passes" } else { "fails" };
    let head = [judged.tempo.to_string(), passes.into(), words::one_phrase_short(rig, &judged.verdict.standings)];
    let mut pairs: Vec<(&Gap, Colour)> =
        judged.verdict.gaps.iter().zip(judged.colours.iter().copied()).filter(|(g, _)| g.stats.is_some()).collect();
    pairs.sort_by_key(|(g, _)| std::cmp::Reverse(g.worst()));
    if pairs.len() > 1 && pairs.iter().all(|(g, _)| g.worst() == Some(Span::ZERO)) {
        let [tempo, passes, one] = head;
        table.row([tempo, passes, one, "all together".into(), Band::OneHit.to_string()]);
        return;
    }
    let shown = if pairs.len() > MOST_PAIRS { MOST_PAIRS - 1 } else { pairs.len() };
    let mut cells: Vec<[String; 2]> = pairs[..shown]
        .iter()
        .map(|(gap, colour)| [words::gap_phrase(rig, gap, max_gap), heard(gap, *colour)])
        .collect();
    if let Some((next, _)) = pairs.get(shown) {
        let more = pairs.len() - shown;
        let most = next.worst().map_or_else(String::new, |gap| words::gap_ms(gap, max_gap));
        cells.push([
            format!("{more} more pairs, at most {most} ms"),
            next.band().map_or_else(String::new, |b| b.to_string()),
        ]);
    }
    if cells.is_empty() {
        cells.push(["nothing meets".into(), "—".into()]);
    }
    let mut head = head.into_iter();
    for [gap, heard] in cells {
        let mut next = || head.next().unwrap_or_default();
        table.row([next(), next(), next(), gap, heard]);
    }
}

pub(super) fn heard(gap: &Gap, colour: Colour) -> String {
    let Some(band) = gap.band() else { return "—".into() };
    let mut text = band.to_string();
    if let Some(notch) = told_notch(colour) {
        let _ = write!(text, ", notch {notch:.0} Hz");
    }
    if let Some(body) = told_body(colour) {
        let _ = write!(text, ", body −{:.1} dB", -body);
    }
    text
}

/// A notch that people are told of: above 10 kHz it is of no account for a drum; programs get it all the same.
fn told_notch(colour: Colour) -> Option<f64> {
    colour.first_notch_hz.filter(|n| *n <= 10_000.0)
}

/// A loss of body that people are told of: one that is not nothing when it is rounded.
fn told_body(colour: Colour) -> Option<f64> {
    colour.body_db.filter(|b| *b <= -0.05)
}

/// Warnings, each once; with `why`, reasons too that the table's own columns do not show.
fn remarks(out: &mut String, checked: &Checked<'_>, results: &[Judged<'_>], why: bool) {
    let mut said: HashSet<String> = HashSet::new();
    for judged in results {
        let rig = &judged.variant.rig;
        let silent =
            judged.verdict.reasons.iter().filter(|r| why && matches!(r, NeverPlays { .. } | PairsWithNothing { .. }));
        let lines = silent.map(|r| format!("fails: {}", words::reason(rig, r, Span::ZERO)));
        let warnings = super::warnings(judged, checked.patch.max_wobble).into_iter().map(|w| format!("mind: {w}"));
        let lossy = judged.verdict.passages.iter().filter(|p| p.tally != Tally::default());
        let passages = lossy.map(|p| format!("mind: at {}, {}", judged.tempo, words::passage(rig, p)));
        let losses =
            judged.verdict.standings.iter().enumerate().flat_map(|(i, s)| words::losses(rig.player_name(i), s));
        let losses = losses.map(|l| format!("mind: at {}, {l}", judged.tempo));
        let standings = judged.verdict.standings.iter().enumerate();
        let off = standings.flat_map(|(n, s)| words::off_and_back(rig, n, s)).map(|line| format!("off:  {line}"));
        for line in lines.chain(off).chain(warnings).chain(passages).chain(losses) {
            if !said.contains(&line) {
                let _ = writeln!(out, "  {line}");
                said.insert(line);
            }
        }
    }
}

/// By how much slow edges hold pulses up: the first, and one when the charge has settled.
fn held_up(out: &mut String, results: &[Judged<'_>]) {
    let mut said: Vec<(String, Vec<String>)> = Vec::new();
    for judged in results {
        for passage in &judged.verdict.passages {
            let Some(held) = passage.held_up else { continue };
            let (name, [first, last]) =
                (&judged.variant.rig.stages[passage.stage].name, [held.first, held.last].map(words::ms));
            let line = if first == last {
                format!("{name} holds pulses up by {first} ms")
            } else {
                format!("{name} holds the first pulse up by {first} ms, and by {last} ms when its charge has settled")
            };
            match said.iter_mut().find(|(said, _)| *said == line) {
                Some((_, tempos)) => tempos.push(judged.tempo.to_string()),
                None => said.push((line, vec![judged.tempo.to_string()])),
            }
        }
    }
    for (line, tempos) in said {
        let at = if tempos.len() == results.len() { String::new() } else { format!("at {}, ", tempos.join(", ")) };
        let _ = writeln!(out, "  note: {at}{line}");
    }
}

/// For each sequencer with a reset how sure it is, where that is little: over the tempos of a variant the smallest margin.
fn sureness(results: &[Judged<'_>], skew: Span) -> Vec<String> {
    let Some(first) = results.first() else { return Vec::new() };
    let names = first.variant.rig.sequencers.iter().map(|s| &s.name);
    let said = names.enumerate().filter_map(|(i, name)| {
        let all: Vec<Sure> = results.iter().filter_map(|r| r.sure.get(i).copied().flatten()).collect();
        let it = &first.variant.rig.sequencers[i];
        let obeys = it.reset.as_ref().is_some_and(|reset| reset.mode != ResetMode::Ignored);
        if all.is_empty() && obeys && it.poll.is_some() {
            return Some(format!(
                "mind: {name} looks at its inputs now and then, and how sure its resets are is not known: `--runs 10000` counts"
            ));
        }
        let risk: usize = all.iter().map(|s| s.at_risk).sum();
        let margin = all.iter().filter_map(|s| s.margin).min();
        if all.iter().any(|s| !s.bounded) {
            return Some(format!(
                "mind: {name}'s resets are at risk: nothing bounds how its inputs move against each other"
            ));
        }
        let margin = margin?;
        let by = words::ms_by(margin, &[words::Bound::least(skew), words::Bound::least(MUCH)]);
        match (risk, margin <= Span::ZERO) {
            (0, _) if margin < MUCH => {
                Some(format!("mind: {name} decides by {by} ms: more on the way than that changes the step"))
            }
            (0, _) => None,
            (_, true) => Some(format!(
                "mind: {name} is at risk: edges meet at its inputs, and which counts first is a matter of chance"
            )),
            (_, false) => Some(format!("mind: {name} is at risk: it decides by {by} ms only")),
        }
    });
    said.collect()
}

/// A margin that nobody has to think of.
const MUCH: Span = Span(PS_PER_MS / 2);

/// What the words mean, and which published figure speaks of what, as far as this check needs it.
fn footnotes(checked: &Checked<'_>) -> String {
    let gaps = || checked.results.iter().flat_map(|r| &r.verdict.gaps).filter_map(|g| g.worst().map(|w| (g.like, w)));
    let mut out = String::from("\n");
    let mut bands: Vec<_> = gaps().map(|(_, w)| Band::of(w)).collect();
    bands.sort_unstable();
    bands.dedup();
    for band in bands {
        let _ = writeln!(out, "  {:<9} {}", format!("{band}:"), band.heard());
    }
    let between = |w: Span, low: i64, high: i64| w.0 >= low * PS_PER_MS && w.0 < high * PS_PER_MS;
    let mut colours = checked.results.iter().flat_map(|r| &r.colours).copied();
    if colours.clone().any(|c| told_notch(c).is_some()) {
        out.push_str("  notch:    the lowest pitch that two hits of one voice cancel, 1/(2·gap)\n");
    }
    if colours.any(|c| told_body(c).is_some()) {
        out.push_str(
            "  body:     their energy from 35 to 120 Hz against one exact double hit, before levels are matched\n",
        );
    }
    if let Some(from) = &checked.max_gap_from {
        let _ = writeln!(out, "\n{from}");
    } else if checked.patch.max_gap == USUAL_MAX_GAP {
        out.push_str(
            "\nThe max gap of 2 ms is the smallest published figure for telling two sounds from one (Watson 2004).\n",
        );
    }
    if gaps().any(|(like, w)| !like && between(w, 2, 24)) {
        out.push_str("Within a groove, unlike drums are noticed as apart only from about 19–24 ms (PsyArXiv jsg94, a preprint):\nwhether a gap between the two figures matters is for your ears. `hitgap compare` makes the files.\n");
    }
    out
}
