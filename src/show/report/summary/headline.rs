use super::first::furthest_first;
use crate::judge::Reason::{GapTooLarge, MissesTheOne, NeverPlays, PairsWithNothing};
use crate::judge::{Judged, State};
use crate::show::report::{Checked, words};
use crate::time::{Span, Tempo};

/// The verdict on all versions in one sentence a version, those that hold first.
#[must_use]
pub(in crate::show::report) fn headline(checked: &Checked<'_>) -> String {
    let title = checked.patch.title.as_deref().map_or_else(|| words::plain(&checked.name), words::plain);
    let versions = checked.results.chunk_by(|a, b| a.variant.name == b.variant.name);
    let versions: Vec<Vec<&Judged<'_>>> = versions.map(|version| version.iter().collect()).collect();
    format!("{title}: {}.", verdict_sentence(&versions, checked.patch.max_gap))
}

/// The verdict on versions, each over its tempos: those that hold first, the original last, without a full stop. Names of fixes stand
/// between backticks.
#[must_use]
pub fn verdict_sentence(versions: &[Vec<&Judged<'_>>], max_gap: Span) -> String {
    /// The most versions of one kind that are told one by one.
    const MOST: usize = 3;
    let mut versions: Vec<&[&Judged<'_>]> = versions.iter().map(Vec::as_slice).collect();
    let worst = |version: &[&Judged<'_>]| version.iter().map(|judged| judged.state()).min().unwrap_or(State::Together);
    // A stable sort: within a state fixes stand in the order of the patch, behind them the original.
    versions.sort_by_key(|version| (std::cmp::Reverse(worst(version)), is_original(version)));
    let mut said = Vec::new();
    for same in versions.chunk_by(|a, b| worst(a) == worst(b)) {
        if same.len() <= MOST {
            said.extend(same.iter().map(|version| sentence(version, max_gap)));
            continue;
        }
        let names = same[..MOST].iter().map(|version| called(version)).collect::<Vec<_>>().join(", ");
        let more = same.len() - MOST;
        said.push(match worst(same[0]) {
            State::Together => {
                let runs = same.iter().map(|version| in_which_runs(version)).max().unwrap_or_default();
                format!("{names} and {more} more hold at {}{runs}", everywhere(same[0].len(), same[0][0].tempo))
            }
            State::Apart => format!("{names} and {more} more are on the one, but fall apart somewhere"),
            State::Off => format!("{names} and {more} more are off the one somewhere"),
        });
    }
    said.join("; ")
}

fn is_original(version: &[&Judged<'_>]) -> bool {
    version[0].variant.name == "original"
}

fn called(version: &[&Judged<'_>]) -> String {
    if is_original(version) { "the original".into() } else { format!("`{}`", version[0].variant.name) }
}

/// One version over all its tempos, without a full stop.
fn sentence(version: &[&Judged<'_>], max_gap: Span) -> String {
    let name = called(version);
    let of = |state| version.iter().copied().filter(|judged| judged.state() == state).collect::<Vec<_>>();
    let (off, apart, together) = (of(State::Off), of(State::Apart), of(State::Together));
    if together.len() == version.len() {
        return format!("{name} holds at {}{}", everywhere(version.len(), version[0].tempo), in_which_runs(version));
    }
    let alone = |list: &[&Judged<'_>]| list.len() == version.len();
    let at = |list: &[&Judged<'_>]| {
        if alone(list) { String::new() } else { format!(" at {}", tempos(list, version.len())) }
    };
    let mut parts = Vec::new();
    if !off.is_empty() {
        let by = alike(off.iter().map(|judged| who_is_off(judged)));
        let only_by_chance = off.iter().all(|judged| judged.verdict.state() != State::Off);
        parts.push(match by {
            None if only_by_chance => format!("off the one in some runs{}", at(&off)),
            Some(by) => format!("off the one{}: {by}", at(&off)),
            None => format!("off the one{}", at(&off)),
        });
    }
    if !apart.is_empty() {
        parts.push(format!("apart {}{}", apart_by(&apart, max_gap), at(&apart)));
    }
    if !together.is_empty() {
        parts.push(format!("together{}", at(&together)));
    }
    let but = if off.is_empty() { "on the one, but " } else { "" };
    format!("{name} is {but}{}", parts.join(", "))
}

/// Of which runs a version that holds does so; of more than one version, whatever says more is said.
fn in_which_runs(version: &[&Judged<'_>]) -> &'static str {
    let chance = version.iter().any(|judged| !judged.drawn.is_empty());
    match (version[0].runs.is_some(), chance) {
        (true, _) => ", in every run",
        (false, true) => " in the typical run",
        (false, false) => "",
    }
}

/// What all are, where all are one.
fn alike(mut texts: impl Iterator<Item = Option<String>>) -> Option<String> {
    let first = texts.next()??;
    texts.all(|text| text.as_deref() == Some(&first)).then_some(first)
}

/// `50, 80`, or `7 of 12 tempos` where they are many.
fn tempos(list: &[&Judged<'_>], of: usize) -> String {
    const MOST: usize = 4;
    if list.len() > MOST {
        return format!("{} of {of} tempos", list.len());
    }
    list.iter().map(|judged| judged.tempo.to_string()).collect::<Vec<_>>().join(", ")
}

/// `every tempo`, or the only one.
pub(super) fn everywhere(tempos: usize, first: Tempo) -> String {
    if tempos == 1 { first.to_string() } else { "every tempo".into() }
}

/// The widest gaps of some cells, from the least to the largest: `by 7.5 to 24 ms`.
fn apart_by(cells: &[&Judged<'_>], max_gap: Span) -> String {
    let typical = cells.iter().filter(|judged| judged.verdict.state() == State::Apart);
    let widest = typical.filter_map(|judged| judged.verdict.worst_gap()?.worst());
    let (Some(least), Some(most)) = (widest.clone().min(), widest.max()) else { return "in some runs".into() };
    let [least, most] = [least, most].map(|gap| words::gap_ms(gap, max_gap));
    if least == most { format!("by {most} ms") } else { format!("by {least} to {most} ms") }
}

/// Who is off, the furthest first, and by how many beats: `wren is 2 beats late`; `None` where that is so in some runs only.
fn who_is_off(judged: &Judged<'_>) -> Option<String> {
    let rig = &judged.variant.rig;
    let each = furthest_first(judged).into_iter().filter_map(|reason| match *reason {
        MissesTheOne { sequencer, pulses_late, scale, .. } => {
            Some(format!("{} is {}", rig.player_name(sequencer), words::beats(rig, sequencer, pulses_late, scale)))
        }
        NeverPlays { sequencer } => Some(format!("{} never plays", rig.player_name(sequencer))),
        PairsWithNothing { sequencer } => Some(format!("{} meets nobody", rig.player_name(sequencer))),
        GapTooLarge { .. } => None,
    });
    let all: Vec<String> = each.collect();
    match all.split_first()? {
        (only, []) => Some(only.clone()),
        (first, more) => Some(format!("{first}, and {} more", more.len())),
    }
}
