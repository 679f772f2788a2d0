use super::{Align, Judged, Table, words};
use crate::gap::Gap;
use crate::patch::Patch;
use std::fmt::Write;

/// The original and a fix at one tempo.
#[derive(Clone, Debug)]
pub struct Compared<'a> {
    /// The original.
    pub before: Judged<'a>,
    /// The fix.
    pub after: Judged<'a>,
}

/// What to listen for, fix by fix and tempo by tempo.
#[must_use]
pub fn compare_table(patch: &Patch, name: &str, compared: &[Compared<'_>]) -> String {
    let mut out = String::new();
    let _ = writeln!(out, "{}\n", patch.title.as_deref().map_or_else(|| name.to_owned(), words::plain));
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
        of_fix.iter().for_each(|c| rows(&mut table, c));
        out.push_str(&table.render());
        out.push('\n');
    }
    out.truncate(out.trim_end().len());
    out.push('\n');
    out
}

/// A tempo's rows: the pair with the widest gap before, and the one with the widest after where that is another. Each
/// row speaks of one pair, so that before and after can be held against each other.
fn rows(table: &mut Table, c: &Compared<'_>) {
    let off = [&c.before, &c.after].map(|j| words::one_phrase_short(&j.variant.rig, &j.verdict.standings));
    let one = if off[0] == off[1] { off[0].clone() } else { format!("{} → {}", off[0], off[1]) };
    let mut head = [c.before.tempo.to_string(), one].into_iter();
    let worst = |j: &Judged<'_>| {
        let worst = j.verdict.worst_gap()?;
        j.verdict.gaps.iter().position(|g| g.between == worst.between)
    };
    let after = |pair: usize| c.after.verdict.gaps.get(pair).and_then(Gap::worst);
    let mut pairs: Vec<usize> = worst(&c.before).into_iter().collect();
    let wider = |pair: &usize| pairs.first().is_none_or(|first| after(*pair) > after(*first));
    pairs.extend(worst(&c.after).filter(wider));
    if pairs.is_empty() {
        table.row([head.next().unwrap_or_default(), head.next().unwrap_or_default(), "nothing meets".into()]);
    }
    for pair in pairs {
        // A fix may add a sequencer's reset or clock, never a sequencer: pairs are the same in both.
        let gap = |j: &Judged<'_>| j.verdict.gaps.get(pair).map(|g| words::gap_phrase(&j.variant.rig, g));
        let heard = c.after.verdict.gaps.get(pair).and_then(Gap::band).map_or_else(|| "—".into(), |b| b.to_string());
        table.row([
            head.next().unwrap_or_default(),
            head.next().unwrap_or_default(),
            gap(&c.before).unwrap_or_default(),
            gap(&c.after).unwrap_or_default(),
            heard,
        ]);
    }
}
