use super::check::heard;
use super::legend::{legend, state_key};
use super::{Align, Table, words};
use crate::judge::{Band, Gap, Judged};
use crate::patch::Patch;
use crate::time::Span;
use serde_json::{Value, json};
use std::fmt::Write;
use std::io;

/// The original and a fix at one tempo.
#[derive(Clone, Debug)]
pub struct Compared<'a> {
    /// The original.
    pub before: Judged<'a>,
    /// The fix.
    pub after: Judged<'a>,
}

/// What to listen for, fix by fix and tempo by tempo, in tables of so many columns of a terminal.
#[must_use]
pub fn compare_table(patch: &Patch, name: &str, compared: &[Compared<'_>], width: usize) -> String {
    let mut out = String::new();
    let mut heard = Vec::new();
    let _ = writeln!(out, "{}\n", patch.title.as_deref().map_or_else(|| words::plain(name), words::plain));
    let mut fixes: Vec<&str> = Vec::new();
    for c in compared {
        if !fixes.contains(&c.after.variant.name.as_str()) {
            fixes.push(&c.after.variant.name);
        }
    }
    for fix in fixes {
        let of_fix: Vec<&Compared<'_>> = compared.iter().filter(|c| c.after.variant.name == fix).collect();
        let about = of_fix.first().and_then(|c| c.after.variant.about.as_deref());
        let about = about.map_or_else(String::new, |a| format!(" — {}", words::plain(a)));
        let _ = writeln!(out, "original → {fix}{about}");
        let mut table = Table::new(&[
            ("tempo", Align::Right),
            ("misses the one", Align::Left),
            ("gap before", Align::Left),
            ("gap after", Align::Left),
            ("heard as", Align::Left),
        ]);
        of_fix.iter().for_each(|c| heard.extend(rows(&mut table, c, patch.max_gap)));
        out.push_str(&table.render_within(width));
        out.push('\n');
    }
    out.push_str(&legend(&heard));
    out.truncate(out.trim_end().len());
    out.push('\n');
    out
}

/// A tempo's rows: the pair with the widest gap before, and the one with the widest after where that is another. Each
/// row speaks of one pair, so that before and after can be held against each other. Gives back how they are heard.
fn rows(table: &mut Table, c: &Compared<'_>, max_gap: Span) -> Vec<String> {
    let off = [&c.before, &c.after].map(|j| words::one_phrase_short(&j.variant.rig, &j.verdict.standings));
    let one = if off[0] == off[1] { off[0].clone() } else { format!("{} → {}", off[0], off[1]) };
    let mut head = [c.before.tempo.to_string(), one].into_iter();
    let worst = |j: &Judged<'_>| j.verdict.worst_gap().map(|g| names(j, g));
    let after = |pair: &Names| find(&c.after, pair).and_then(|n| c.after.verdict.gaps[n].worst());
    let mut pairs: Vec<Names> = worst(&c.before).into_iter().collect();
    let wider = |pair: &Names| pairs.first().is_none_or(|first| after(pair) > after(first));
    pairs.extend(worst(&c.after).filter(wider));
    if pairs.is_empty() {
        table.row([head.next().unwrap_or_default(), head.next().unwrap_or_default(), "nothing meets".into()]);
    }
    let mut all = Vec::new();
    for pair in pairs {
        let gap = |j: &Judged<'_>| {
            find(j, &pair)
                .map_or_else(|| "—".into(), |n| words::gap_phrase(&j.variant.rig, &j.verdict.gaps[n], max_gap))
        };
        let heard =
            find(&c.after, &pair).map_or_else(|| "—".into(), |n| heard(&c.after.verdict.gaps[n], c.after.colours[n]));
        table.row([
            head.next().unwrap_or_default(),
            head.next().unwrap_or_default(),
            gap(&c.before),
            gap(&c.after),
            heard.clone(),
        ]);
        all.push(heard);
    }
    all
}

/// A comparison for programs: of the original and each version every tempo, in the order of the patch.
#[must_use]
pub fn compare_json(name: &str, patch: &Patch, compared: &[Compared<'_>]) -> Value {
    let mut versions: Vec<(&str, Option<&str>, Vec<Value>)> = Vec::new();
    for judged in each(compared) {
        let known = versions.iter().position(|(own, ..)| *own == judged.variant.name);
        let at = known.unwrap_or_else(|| {
            versions.push((&judged.variant.name, judged.variant.about.as_deref(), Vec::new()));
            versions.len() - 1
        });
        versions[at].2.push(figures(judged));
    }
    let versions = versions
        .into_iter()
        .map(|(version, about, tempos)| json!({ "version": version, "about": about, "tempos": tempos }));
    json!({ "format": 1, "patch": name, "max_gap_ms": patch.max_gap.ms(), "versions": versions.collect::<Vec<_>>() })
}

/// A comparison as CSV, a row a version and tempo.
///
/// # Errors
/// As of the writer.
pub fn compare_csv(compared: &[Compared<'_>], out: impl io::Write) -> io::Result<()> {
    let mut csv = csv::Writer::from_writer(out);
    let columns = ["tempo_bpm", "passes", "state", "worst_ms", "band"];
    csv.write_record(std::iter::once("version").chain(columns))?;
    for judged in each(compared) {
        let figures = figures(judged);
        let cell = |column: &str| match &figures[column] {
            Value::Null => String::new(),
            Value::String(text) => text.clone(),
            other => other.to_string(),
        };
        csv.write_record(std::iter::once(judged.variant.name.clone()).chain(columns.map(cell)))?;
    }
    csv.flush()
}

/// The original and each version, tempo by tempo, each once.
fn each<'c, 'v>(compared: &'c [Compared<'v>]) -> Vec<&'c Judged<'v>> {
    let mut all: Vec<&Judged<'_>> = Vec::new();
    for judged in compared.iter().flat_map(|c| [&c.before, &c.after]) {
        if !all.iter().any(|own| own.variant.name == judged.variant.name && own.tempo == judged.tempo) {
            all.push(judged);
        }
    }
    all
}

fn figures(judged: &Judged<'_>) -> Value {
    let worst = judged.verdict.worst_gap();
    json!({
        "tempo_bpm": judged.tempo.bpm(), "passes": judged.passes(), "state": state_key(judged.state()),
        "worst_ms": worst.and_then(Gap::worst_signed).map(Span::ms), "band": worst.and_then(Gap::band).map(Band::key),
    })
}

/// A pair by its names: a fix may add a sequencer, and then places differ.
type Names = [String; 2];

fn names(j: &Judged<'_>, gap: &Gap) -> Names {
    gap.between.map(|s| j.variant.rig.player_name(s).to_owned())
}

fn find(j: &Judged<'_>, pair: &Names) -> Option<usize> {
    j.verdict.gaps.iter().position(|g| names(j, g) == *pair)
}
