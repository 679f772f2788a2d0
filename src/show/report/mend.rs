//! What has to be done so that everybody is together, as people read it.

use super::advise::WIRING;
use super::{Align, Table, exact_ms, gap_ms, ms, words};
use crate::judge::advise::Hold;
use crate::judge::mend::{
    AtTempo, BoxFault, Catalogue, Change, Dial, Fault, Kind, Mended, Place, Proposal, Stopped, names, share_text,
};
use crate::judge::{Input, Target};
use crate::patch::{Rig, fix_lines, show_span_whole};
use crate::time::{Span, Tempo};
use std::fmt::Write;

/// What is to be shown of a mend.
#[derive(Clone, Debug)]
pub struct Mending<'a> {
    /// The patch as it was named on the command line.
    pub name: String,
    /// Whose threshold the max gap is, in a sentence; `None` where it is not from an ear file.
    pub max_gap_from: Option<String>,
    /// What the patch calls itself, if it does.
    pub title: Option<&'a str>,
    /// The rig as it is written.
    pub rig: &'a Rig,
    /// The largest gap that is still acceptable.
    pub max_gap: Span,
    /// What could be done.
    pub catalogue: &'a Catalogue,
    /// The most changes that were allowed.
    pub budget: usize,
    /// What was found.
    pub mended: &'a Mended,
    /// How many proposals are told.
    pub show: usize,
    /// Over which tempos the first of them passes, where that was looked at.
    pub holds: Option<Hold>,
}

/// A mend as people read it, in a table of so many columns of a terminal.
#[must_use]
pub fn mend_table(of: &Mending<'_>, width: usize) -> String {
    let title = of.title.map_or_else(|| words::plain(&of.name), words::plain);
    let mut out = format!("{title}: {}\n", answer(of));
    let all = &of.mended.proposals;
    if let Some(best) = all.first() {
        let _ = write!(out, "\n{}", whole(of, best, width));
        let others: Vec<&Proposal> = all.iter().skip(1).take(of.show.saturating_sub(1)).collect();
        if !others.is_empty() {
            out.push_str("\nOr:\n");
            let mut table = Table::new(&[
                ("", Align::Right),
                ("instead", Align::Left),
                ("cost", Align::Right),
                ("to spare", Align::Right),
            ]);
            for (n, other) in others.iter().enumerate() {
                let done = done(of, other).join("; ");
                let spare = other.slack.map_or_else(|| "—".to_owned(), |slack| format!("{} ms", ms(slack)));
                table.row([(n + 2).to_string(), done, other.cost.to_string(), spare]);
            }
            out.push_str(&table.render_within(width));
            let untold = all.len() - 1 - others.len();
            if untold > 0 {
                let _ = writeln!(out, "  and {untold} more: --show {} lists them", all.len());
            }
        }
        if let Ok(lines) = fix_lines(&best.fix) {
            let _ = write!(out, "\nThe first as a fix, which --write adds to the patch:\n\n");
            lines.lines().for_each(|line| {
                let _ = writeln!(out, "  {line}");
            });
        }
    }
    if let Some((set, faults)) = &of.mended.nearest {
        let _ = write!(out, "\n{}", nearest(of, set, faults));
    }
    let _ = write!(out, "\n{}", searched(of));
    let wired = |n: &usize| matches!(of.catalogue.offers[*n].change.kind(), Kind::Part | Kind::Cable);
    if all.iter().take(of.show).flat_map(|p| &p.changes).any(wired) {
        let _ = writeln!(out, "{WIRING}");
    }
    if let Some(from) = &of.max_gap_from {
        let _ = writeln!(out, "{from}");
    }
    out
}

/// The answer in a sentence.
fn answer(of: &Mending<'_>) -> String {
    let mended = of.mended;
    if mended.now.is_empty() {
        let limit = exact_ms(of.max_gap);
        return format!("nothing need be done. Everybody is on the one at every tempo, and no gap is over {limit} ms.");
    }
    let wrong = mended.now.first().map_or_else(String::new, |now| fault(of, now));
    let Some(best) = mended.proposals.first() else {
        let left = if mended.is_complete() { "" } else { " of those that were looked at" };
        let most = plural(of.budget, "change");
        return format!("no set of up to {most}{left} puts everybody together.\nAs it is, {wrong}.");
    };
    let done = done(of, best);
    let count = match done.len() {
        1 => "one change is enough".to_owned(),
        n => format!("{} changes are enough", number(n)),
    };
    let unsure = if mended.is_complete() { "" } else { " (the search was not ended: there may be less to do)" };
    format!("{count}: {}{unsure}.\nAs it is, {wrong}.", done.join(", then "))
}

/// The best proposal in full: what to do in order, what it costs, and what is left at each tempo.
fn whole(of: &Mending<'_>, best: &Proposal, width: usize) -> String {
    let mut out = String::from("What to do:\n");
    for (n, done) in done(of, best).iter().enumerate() {
        let _ = writeln!(out, "  {}. {done}", n + 1);
    }
    let cost = if best.cost == 0 { "It costs nothing".to_owned() } else { format!("Cost: {}", best.cost) };
    let spare = best.slack.map_or_else(String::new, |slack| {
        format!(
            "; the tightest decision may still move by {} ms, over all tolerances and with the skew kept",
            ms(slack)
        )
    });
    let _ = writeln!(out, "{cost}{spare}.\n\nWhat is left:");
    let mut table = Table::new(&[
        ("tempo", Align::Right),
        ("furthest apart", Align::Left),
        ("left of the max gap", Align::Right),
        ("nearest to another step", Align::Left),
    ]);
    let cells = |at: &AtTempo| {
        let widest = at.widest.map_or_else(
            || "nobody to be apart from".to_owned(),
            |([a, b], gap)| match gap {
                Span::ZERO => "all together".to_owned(),
                gap => {
                    format!("{} and {}, {} ms", of.rig.player_name(a), of.rig.player_name(b), gap_ms(gap, of.max_gap))
                }
            },
        );
        let room = at.room.map_or_else(|| "—".to_owned(), |room| format!("{} ms", ms(room)));
        let margin = at.margin.map_or_else(
            || "—".to_owned(),
            |(s, margin)| format!("{}'s reset, {} ms", of.rig.player_name(s), ms(margin)),
        );
        [widest, room, margin]
    };
    for alike in best.at.chunk_by(|a, b| cells(a) == cells(b)) {
        let tempos: Vec<String> = alike.iter().map(|at| at.tempo.to_string()).collect();
        let tempos = match &tempos[..] {
            all if all.len() == best.at.len() && all.len() > 1 => "every".to_owned(),
            all => all.join(", ").replace(" bpm,", ","),
        };
        table.row(std::iter::once(tempos).chain(cells(&alike[0])));
    }
    out.push_str(&table.render_within(width));
    if let Some(hold) = &of.holds {
        let _ = writeln!(out, "\n{}", ranges(hold));
    }
    out
}

/// Over which tempos a proposal passes.
fn ranges(hold: &Hold) -> String {
    let (low, high) = hold.between;
    let range = |&(from, to): &(Tempo, Tempo)| match (from == low, to == high) {
        (true, true) => "at every tempo".to_owned(),
        (true, false) => format!("up to {to}"),
        (false, true) => format!("from {from} up"),
        (false, false) => format!("from {from} to {to}"),
    };
    let all: Vec<String> = hold.ranges.iter().map(range).collect();
    let exact = if hold.exact { "" } else { "; there was too much to try, so that a tempo may be missing" };
    format!("As things usually go it passes {} (looked at from {low} to {high}{exact}).", all.join(", and "))
}

/// What comes nearest where nothing passes.
fn nearest(of: &Mending<'_>, set: &[usize], faults: &[Fault]) -> String {
    let done: Vec<String> = set.iter().map(|&n| change(of, &of.catalogue.offers[n].change, None)).collect();
    let mut out = format!("Nearest comes: {}.\nIn its way:\n", done.join(", then "));
    const MOST: usize = 5;
    for one in faults.iter().take(MOST) {
        let _ = writeln!(out, "  - {}", fault(of, one));
    }
    if faults.len() > MOST {
        let _ = writeln!(out, "  - and {} more", faults.len() - MOST);
    }
    out
}

/// How much there was to search, and whether it was.
fn searched(of: &Mending<'_>) -> String {
    let (mended, catalogue) = (of.mended, of.catalogue);
    let mut out = format!("{} to choose from", plural(catalogue.offers.len(), "change"));
    if catalogue.kept > 0 {
        let _ = write!(out, " ({} left out by --keep)", catalogue.kept);
    }
    out.push_str(".\n");
    if mended.levels.is_empty() {
        return out;
    }
    for (output, input) in &catalogue.ungrouped {
        let what = if *input == Input::Clock { "clocks" } else { "resets" };
        let name = &of.rig.outputs[*output].name;
        let _ = writeln!(out, "  not among them: one part for some of the {what} on {name} and not for all (--groups)");
    }
    for level in &mended.levels {
        let left = if level.complete { "all accounted for" } else { "not all looked at" };
        let _ = writeln!(
            out,
            "  sets of {}: {}, {} judged, {} pass; {left}",
            level.changes, level.sets, level.judged, level.passing
        );
    }
    let cuts = mended.cuts;
    let reasons = [
        (cuts.beside, "at a change that leaves alone what is wrong"),
        (cuts.too_many_faults, "where more is wrong than the changes that remain can reach"),
        (cuts.larger, "at a set that holds a smaller one that passes"),
        (cuts.dearer, "at what costs no less than what was found"),
    ];
    let told: Vec<String> = reasons.iter().filter(|(n, _)| *n > 0).map(|(n, why)| format!("{n} times {why}")).collect();
    if !told.is_empty() {
        let _ = writeln!(out, "The rest is ruled out, cut off {}.", told.join(", "));
    }
    match mended.stopped {
        Some(Stopped::Cancelled) => out.push_str("Stopped before it was done: what was found so far.\n"),
        Some(Stopped::Limit) => out.push_str("Stopped where --limit said: what was found so far.\n"),
        Some(Stopped::TooMany) => out.push_str("There are more sets than can be kept in mind: --keep some paths.\n"),
        None => {}
    }
    if let Some((_, why)) = mended.unwritten.first() {
        let sets = plural(mended.unwritten.len(), "set");
        let _ = writeln!(out, "{sets} would do but for this: {}.", words::plain(why));
    }
    out
}

impl Mending<'_> {
    /// What one offer of a proposal does, as said to a colleague.
    #[must_use]
    pub fn done(&self, proposal: &Proposal, offer: usize) -> String {
        let does = &self.catalogue.offers[offer].change;
        let offset = match does {
            Change::Nudge { player } => proposal.nudges.iter().find(|(n, _)| n == player).map(|(_, by)| *by),
            _ => None,
        };
        change(self, does, offset)
    }
}

/// What a proposal does, each thing as said to a colleague.
fn done(of: &Mending<'_>, proposal: &Proposal) -> Vec<String> {
    proposal.changes.iter().map(|&n| of.done(proposal, n)).collect()
}

/// A change as said to a colleague; with the offset to be written, if it is a nudge.
#[must_use]
pub fn change(of: &Mending<'_>, change: &Change, offset: Option<Span>) -> String {
    change_of(of.rig, of.catalogue, change, offset)
}

/// The same, of a rig and of what could be done to it.
pub(super) fn change_of(rig: &Rig, catalogue: &Catalogue, change: &Change, offset: Option<Span>) -> String {
    let input = |target: &Target| {
        let input = if target.input == Input::Clock { "clock" } else { "reset" };
        format!("{}'s {input}", rig.sequencers[target.sequencer].name)
    };
    match change {
        Change::Nudge { player } => {
            let name = rig.player_name(*player);
            match offset {
                Some(offset) => format!("set the offset of {name} to {}", show_span_whole(offset)),
                None => format!("nudge {name}"),
            }
        }
        Change::Route { target, path } => {
            let way = names(rig, path);
            let behind = if way.len() > 1 { format!(", behind {}", way[1..].join(", ")) } else { String::new() };
            format!("plug {} into {}{behind}", input(target), way[0])
        }
        Change::Put { part, at } => {
            let part = &catalogue.parts[*part].name;
            match at {
                Place::Input(target) => format!("put {part} into the way to {}", input(target)),
                Place::Wire(wire) => format!("put {part} into the wire {}", rig.wires[*wire].name),
                Place::Output(output, which) => {
                    let what = if *which == Input::Clock { "clocks" } else { "resets" };
                    format!("put one {part} behind the output {}, for all {what} on it", rig.outputs[*output].name)
                }
                Place::Group(group) => {
                    let what = if group.input == Input::Clock { "clocks" } else { "resets" };
                    let of: Vec<&str> =
                        group.targets(rig).iter().map(|t| rig.sequencers[t.sequencer].name.as_str()).collect();
                    let output = &rig.outputs[group.output].name;
                    format!("put one {part} behind the output {output}, for the {what} of {}", and(&of))
                }
            }
        }
        Change::Turn { output, to } => {
            let name = &rig.outputs[*output].name;
            match to {
                Dial::Phase(share) => format!("turn the phase of {name} to {}", share_text(*share)),
                Dial::Shift(shift) => format!("turn the shift of {name} to {}", show_span_whole(*shift)),
                Dial::Width(width) => format!("turn the width of {name} to {}", show_span_whole(*width)),
            }
        }
        Change::Set { path, value } => {
            format!("set {} to {}", words::plain(path), words::plain(value.trim_matches('"')))
        }
    }
}

/// What stands in the way, as a sentence without its full stop.
#[must_use]
pub(super) fn fault(of: &Mending<'_>, fault: &Fault) -> String {
    fault_of(of.rig, of.max_gap, fault)
}

/// The same, of a rig and the largest gap that passes.
pub(super) fn fault_of(rig: &Rig, max_gap: Span, fault: &Fault) -> String {
    let name = |n: usize| rig.player_name(n);
    let limit = exact_ms(max_gap);
    match fault {
        Fault::Unplayable(why) => format!("it cannot be played: {}", words::plain(why)),
        Fault::Box { sequencer, tempo, what } => {
            let name = name(*sequencer);
            match what {
                BoxFault::NeverPlays => format!("{name} never plays at {tempo}"),
                BoxFault::MissesTheOne { pulses_late } => {
                    let scale = 1;
                    format!("{name} misses the one at {tempo}: {}", words::beats(rig, *sequencer, *pulses_late, scale))
                }
                BoxFault::AtRisk { margin: Some(margin) } => {
                    format!(
                        "{name}'s reset is at risk at {tempo}: {} ms from another step, over all tolerances",
                        ms(*margin)
                    )
                }
                BoxFault::AtRisk { margin: None } => {
                    format!("{name}'s reset is at risk at {tempo}, and nothing bounds by how much")
                }
            }
        }
        Fault::MeetsNobody { player, tempo } => {
            format!("no hit of {} has a due beat in common with another's at {tempo}", name(*player))
        }
        Fault::Apart { between: [a, b], tempo, gap, over } => {
            let (late, early) = if *gap > Span::ZERO { (b, a) } else { (a, b) };
            let size = gap_ms(gap.abs(), max_gap);
            let over = over.map_or_else(
                || "and nothing bounds what tolerances add".to_owned(),
                |over| format!("{} ms over the max gap of {limit} ms with what tolerances can add", ms(over)),
            );
            format!("{} is {size} ms after {} at {tempo}: {over}", name(*late), name(*early))
        }
        Fault::Knot { pairs } => {
            let pairs: Vec<String> = pairs.iter().map(|[a, b]| format!("{} and {}", name(*a), name(*b))).collect();
            format!("no nudges serve {} at once", pairs.join(", "))
        }
    }
}

/// Names as a sentence has them.
pub(super) fn and(names: &[&str]) -> String {
    match names {
        [] => String::new(),
        [one] => (*one).to_owned(),
        [all @ .., last] => format!("{} and {last}", all.join(", ")),
    }
}

pub(super) fn plural(n: usize, what: &str) -> String {
    if n == 1 { format!("1 {what}") } else { format!("{n} {what}s") }
}

fn number(n: usize) -> String {
    ["no", "one", "two", "three", "four"].get(n).map_or_else(|| n.to_string(), |word| (*word).to_owned())
}
