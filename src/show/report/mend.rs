//! What has to be done so that everybody is together, as people read it.

use super::advise::WIRING;
use super::mend_words::{change_of, fault_of, hint, plural, prices};
use super::{Align, Table, exact_ms, gap_ms, ms, words};
use crate::judge::Input;
use crate::judge::advise::Hold;
use crate::judge::mend::{AtTempo, Catalogue, Change, Cost, Fault, Kind, Mended, Proposal, Stopped};
use crate::patch::{Rig, fix_lines};
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
    match &of.mended.nearest {
        Some((set, faults)) => {
            let _ = write!(out, "\n{}", nearest(of, set, faults));
        }
        None if all.is_empty() && !of.mended.now.is_empty() && of.mended.judged() > 0 => {
            let _ = write!(out, "\nNothing that was tried takes any of it away:\n{}", listed(of, &of.mended.now));
        }
        None => {}
    }
    if !of.mended.hints.is_empty() {
        let said: Vec<String> = of.mended.hints.iter().map(|one| format!("{}.\n", hint(of.rig, one))).collect();
        let _ = write!(out, "\n{}", said.concat());
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
    let stopped = if mended.stopped.is_some() { "stopped before it was done; " } else { "" };
    let Some(best) = mended.proposals.first() else {
        let most = plural(of.budget, "change");
        let (judged, sets) = (mended.judged(), if mended.judged() == 1 { "set" } else { "sets" });
        let none = match mended.is_complete() {
            true => format!("no set of up to {most} puts everybody together"),
            false => format!("none of the {judged} {sets} that were judged puts everybody together"),
        };
        return format!("{stopped}{none}.\nAs it is, {wrong}.");
    };
    let done = done(of, best);
    let count = match done.len() {
        1 => "one change is enough".to_owned(),
        n => format!("{} changes are enough", number(n)),
    };
    let unsure = if mended.is_complete() { "" } else { " (there may be less to do)" };
    format!("{stopped}{count}: {}{unsure}.\nAs it is, {wrong}.", done.join(", then "))
}

/// The best proposal in full: what to do in order, what it costs, and what is left at each tempo.
fn whole(of: &Mending<'_>, best: &Proposal, width: usize) -> String {
    let mut out = String::from("What to do:\n");
    for (n, done) in done(of, best).iter().enumerate() {
        let _ = writeln!(out, "  {}. {done}", n + 1);
    }
    let cost = cost(of, best);
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
        ("left, at worst", Align::Right),
        ("to another step, at worst", Align::Left),
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

/// What a proposal costs, and what its parts cost in the words of their list.
fn cost(of: &Mending<'_>, best: &Proposal) -> String {
    if best.cost == Cost::NOTHING {
        return "It costs nothing".to_owned();
    }
    let prices = prices(of.catalogue, &best.changes);
    let prices = if prices.is_empty() { String::new() } else { format!(" ({})", prices.join(", ")) };
    format!("Cost: {}{prices}", best.cost)
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
    format!("Nearest comes: {}.\nIn its way:\n{}", done.join(", then "), listed(of, faults))
}

/// Faults, a line each.
fn listed(of: &Mending<'_>, faults: &[Fault]) -> String {
    let mut out = String::new();
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
        let left = if level.complete { "none is left" } else { "not all looked at" };
        let _ = writeln!(
            out,
            "  sets of {}: {}; {} were tried one by one and {} pass; {left}",
            level.changes, level.sets, level.judged, level.passing
        );
    }
    let cuts = mended.cuts;
    let reasons = [
        (cuts.beside, "they change nothing that has to do with what is wrong"),
        (cuts.too_many_faults, "more is wrong than so few changes can reach"),
        (cuts.larger, "a part of them passes already"),
        (cuts.dearer, "they cost no less than what was found"),
    ];
    let told: Vec<String> = reasons.iter().filter(|(n, _)| *n > 0).map(|(_, why)| (*why).to_owned()).collect();
    if !told.is_empty() {
        let _ = writeln!(out, "The others need not be tried: {}.", told.join(", or "));
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

/// What stands in the way, as a sentence without its full stop.
#[must_use]
pub(super) fn fault(of: &Mending<'_>, fault: &Fault) -> String {
    fault_of(of.rig, of.max_gap, fault)
}

fn number(n: usize) -> String {
    ["no", "one", "two", "three", "four"].get(n).map_or_else(|| n.to_string(), |word| (*word).to_owned())
}
