use super::{Align, Judged, Table, words};
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
        let rows: Vec<&Compared<'_>> = compared.iter().filter(|c| c.after.variant.name == fix).collect();
        let about = rows.first().and_then(|c| c.after.variant.about.as_deref());
        let about = about.map_or_else(String::new, |a| format!(" — {}", words::plain(a)));
        let _ = writeln!(out, "original against {fix}{about}");
        let mut table = Table::new(&[
            ("tempo", Align::Right),
            ("misses the one", Align::Left),
            ("gap before", Align::Left),
            ("gap after", Align::Left),
            ("heard as", Align::Left),
        ]);
        for c in rows {
            let off = [&c.before, &c.after].map(|j| words::one_phrase_short(&j.variant.rig, &j.verdict.standings));
            let one = if off[0] == off[1] { off[0].clone() } else { format!("{} → {}", off[0], off[1]) };
            table.row([c.before.tempo.to_string(), one, worst(&c.before), worst(&c.after), heard(&c.after)]);
        }
        out.push_str(&table.render());
        out.push('\n');
    }
    out.truncate(out.trim_end().len());
    out.push('\n');
    out
}

fn worst(judged: &Judged<'_>) -> String {
    let gap = judged.verdict.worst_gap();
    gap.map_or_else(|| "nothing meets".into(), |g| words::gap_phrase(&judged.variant.rig, g))
}

fn heard(judged: &Judged<'_>) -> String {
    judged.verdict.worst_gap().and_then(crate::gap::Gap::band).map_or_else(|| "—".into(), |b| b.to_string())
}
