//! What many runs came to, in words.

use super::{Align, Checked, Table, words};
use crate::judge::Judged;
use crate::judge::runs::{Chances, Figures, Missing, Proportion};
use crate::patch::ResetMode;
use crate::time::Span;
use std::fmt::Write;

/// The most pairs that are shown: those that go furthest.
const MOST_PAIRS: usize = 8;

/// Why runs do not pass.
pub(super) fn reasons(judged: &Judged<'_>) -> Vec<String> {
    let Some(chances) = &judged.runs else { return Vec::new() };
    let mut said = Vec::new();
    if let Some(first) = chances.first_failing {
        let (count, runs) = (chances.failing.seen(), chances.trials.runs);
        said.push(format!("{count} of {runs} runs fail, the first of them run {first}"));
    }
    for (pair, sd) in chances.wobbling() {
        let limit = words::exact_ms(chances.trials.max_wobble.unwrap_or(Span::ZERO));
        let (size, [a, b]) = (sd_ms(chances, sd), pair.map(|s| judged.variant.rig.player_name(s)));
        said.push(format!("the gap of {a} and {b} wobbles: SD {size} ms, over the max wobble of {limit} ms"));
    }
    said
}

/// An SD in milliseconds, to be read beside the max wobble.
fn sd_ms(chances: &Chances, sd: Span) -> String {
    let bounds: Vec<_> = chances.trials.max_wobble.map(words::Bound::most).into_iter().collect();
    words::ms_by(sd, &bounds)
}

/// What a check without runs leaves open.
pub(super) fn warnings(judged: &Judged<'_>, max_wobble: Option<Span>) -> Vec<String> {
    if judged.runs.is_some() {
        return Vec::new();
    }
    let mut said = Vec::new();
    if !judged.drawn.is_empty() {
        let list = judged.drawn.join(", ");
        said.push(format!(
            "this is the typical run, and {list} left to chance: `--runs 10000` says what else may happen",
            list = if judged.drawn.len() == 1 { format!("{list} is") } else { format!("{list} are") }
        ));
        if let Some(most) = max_wobble {
            said.push(format!(
                "the max wobble of {} ms is judged over runs, and none were asked for",
                words::exact_ms(most)
            ));
        }
    }
    said
}

/// The runs of one tempo, as lines; nothing where there were none.
pub(super) fn block(checked: &Checked<'_>, judged: &Judged<'_>) -> String {
    let Some(chances) = &judged.runs else { return String::new() };
    let (tempo, runs, seed) = (judged.tempo, chances.trials.runs, chances.trials.seed);
    let mut out = format!("\n  at {tempo}, {runs} {} of seed {seed}: ", if runs == 1 { "run" } else { "runs" });
    if chances.drawn.is_empty() {
        out.push_str(
            "nothing is left to chance, and every run is the one above; tolerances and jitter would be drawn\n",
        );
        return out;
    }
    let verdict = match (chances.failing.seen(), chances.passes()) {
        (0, true) => "all pass".to_owned(),
        (0, false) => "all pass, but for the wobble".to_owned(),
        (n, _) if n == runs => "all fail".to_owned(),
        _ => format!("{} of runs fail{}", share(&chances.failing), interval(&chances.failing)),
    };
    let _ = writeln!(out, "{verdict}");
    for line in sequencers(judged, chances) {
        let _ = writeln!(out, "    {line}");
    }
    out.push_str(&table(judged, chances));
    for reason in reasons(judged).into_iter().filter(|r| r.contains("wobble")) {
        let _ = writeln!(out, "    fails: {reason}");
    }
    let fix = match judged.variant.name.as_str() {
        "original" => String::new(),
        name => format!(" --fix {name}"),
    };
    let seed = if seed == 1 { String::new() } else { format!(" --seed {seed}") };
    let (patch, run) = (quoted(&words::plain(&checked.name)), chances.worst_run);
    let bars = checked.bars.map_or_else(String::new, |bars| format!(" --bars {bars}"));
    let _ = writeln!(
        out,
        "    the worst is run {run}; hear it: hitgap render {patch}{fix} --tempo {tempo}{bars} --run {run}{seed}"
    );
    out
}

/// Who is off how often.
fn sequencers(judged: &Judged<'_>, chances: &Chances) -> Vec<String> {
    let rig = &judged.variant.rig;
    let (off, right): (Vec<_>, Vec<_>) = chances.sequencers.iter().enumerate().partition(|(_, m)| m.runs.seen() > 0);
    let off_by = |(index, missing): (usize, &Missing)| {
        let sequencer = &rig.sequencers[index];
        let obeys = sequencer.reset.as_ref().is_some_and(|r| r.mode != ResetMode::Ignored);
        let what = if obeys { "resets" } else { "stretches between ones" };
        let resets = missing.resets.share().map_or_else(String::new, |_| {
            format!(", in {} of {what}{}", share(&missing.resets), interval(&missing.resets))
        });
        let first = missing.first.map_or_else(String::new, |run| format!("; the first is run {run}"));
        let (runs, between) = (share(&missing.runs), interval(&missing.runs));
        format!("{} is off in {runs} of runs{between}{resets}{first}", sequencer.name)
    };
    let mut said: Vec<String> = off.into_iter().map(off_by).collect();
    if let Some((_, some)) = right.first() {
        let most = some.runs.interval().map_or(1.0, |i| i[1]);
        let names: Vec<&str> = right.iter().map(|(i, _)| rig.sequencers[*i].name.as_str()).collect();
        let (who, verb) = match names.len() {
            1 => (names[0].to_owned(), "is"),
            n if n == rig.sequencers.len() => ("everybody".to_owned(), "is"),
            _ => (names.join(", "), "are"),
        };
        let always = format!("{who} {verb} on the one in every run (95 %: off in at most {} % of runs)", percent(most));
        said.push(always);
    }
    said
}

/// How far apart hits lie.
fn table(judged: &Judged<'_>, chances: &Chances) -> String {
    let rig = &judged.variant.rig;
    let mut pairs: Vec<([usize; 2], Figures)> = chances.gaps.iter().filter_map(|(p, f)| Some((*p, (*f)?))).collect();
    pairs.sort_by_key(|(_, f)| std::cmp::Reverse(f.worst.abs()));
    if pairs.is_empty() {
        return String::new();
    }
    let mut table = Table::new(&[
        ("  ms", Align::Left),
        ("5 %", Align::Right),
        ("50 %", Align::Right),
        ("95 %", Align::Right),
        ("99 %", Align::Right),
        ("worst", Align::Right),
        ("in run", Align::Right),
        ("SD", Align::Right),
    ]);
    let gap = |gap: Span| words::gap_ms(gap, chances.trials.max_gap);
    let mut row = |name: String, f: &Figures| {
        let [a, b, c, d] = f.percentiles.map(gap);
        table.row([format!("  {name}"), a, b, c, d, gap(f.worst), f.worst_run.to_string(), sd_ms(chances, f.sd)]);
    };
    for (pair, figures) in pairs.iter().take(MOST_PAIRS) {
        let [a, b] = pair.map(|s| rig.player_name(s));
        row(format!("{b} after {a}"), figures);
    }
    if let Some(spread) = &chances.spread {
        row("first to last of a beat".into(), spread);
    }
    let mut out = table.render();
    if let Some((_, next)) = pairs.get(MOST_PAIRS) {
        let _ = writeln!(out, "    {} more pairs, at most {} ms", pairs.len() - MOST_PAIRS, gap(next.worst.abs()));
    }
    out
}

/// ` (95 %: 7.6–8.7)`.
fn interval(odds: &Proportion) -> String {
    odds.interval().map_or_else(String::new, |[a, b]| format!(" (95 %: {}–{})", percent(a), percent(b)))
}

fn share(odds: &Proportion) -> String {
    format!("{} %", percent(odds.share().unwrap_or(0.0)))
}

/// A share of 1 in hundredths, with as many decimals as it deserves; never 0 or 100 unless it is.
fn percent(share: f64) -> String {
    let hundredths = 100.0 * share;
    let decimals = match hundredths {
        h if h >= 1.0 => 1,
        h if h >= 0.1 => 2,
        _ => 3,
    };
    let text = format!("{hundredths:.decimals$}");
    let short = text.trim_end_matches('0').trim_end_matches('.');
    match short {
        "100" if share < 1.0 => "over 99.9".into(),
        "0" if share > 0.0 => "under 0.001".into(),
        _ => short.into(),
    }
}

/// A word of a command line, in quotes where a shell would take it apart.
fn quoted(word: &str) -> String {
    if word.chars().all(|c| c.is_alphanumeric() || "/._-+".contains(c)) && !word.is_empty() {
        word.to_owned()
    } else {
        format!("'{}'", word.replace('\'', "'\\''"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_share_has_as_many_decimals_as_it_deserves() {
        let cases = [
            (0.081, "8.1"),
            (0.08, "8"),
            (0.5, "50"),
            (0.0123, "1.2"),
            (0.00384, "0.38"),
            (0.000_384, "0.038"),
            (0.000_004, "under 0.001"),
            (0.999_99, "over 99.9"),
            (0.0, "0"),
            (1.0, "100"),
        ];
        for (share, text) in cases {
            assert_eq!(percent(share), text);
        }
    }

    #[test]
    fn a_name_that_a_shell_would_take_apart_is_quoted() {
        assert_eq!(quoted("patches/late-bell.toml"), "patches/late-bell.toml");
        assert_eq!(quoted("my patch's.toml"), "'my patch'\\''s.toml'");
    }
}
