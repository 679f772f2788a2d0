//! Where others stand in the way of what a delay could do.

use super::advise::needs_nothing;
use super::advise_figures::ends_in_ms;
use super::{Advised, words};
use crate::judge::advise::{Advice, Aside};
use std::fmt::Write;

/// What this input itself needs, and who must be mended first.
pub(super) fn needs_first(advised: &Advised<'_>, aside: &Aside, advice: &Advice) -> String {
    let rig = advised.rig;
    let on = advised.advice.target.name(rig);
    let needs = if needs_nothing(advice) {
        format!("{on} needs nothing")
    } else {
        let each = advice.sure.iter().map(|w| {
            let [least, most] = ends_in_ms(*w);
            format!("{least} to {most} ms")
        });
        format!("{on} needs {}", each.collect::<Vec<_>>().join(", or "))
    };
    let names: Vec<&str> = aside.players.iter().map(|(player, ..)| rig.player_name(*player)).collect();
    let (stand, them) = if names.len() == 1 { ("stands", "it") } else { ("stand", "them") };
    format!("{needs}; {} {stand} in the way: mend {them} first.", and(&names))
}

/// Who stands in the way, and what they do.
pub(super) fn in_the_way(advised: &Advised<'_>, aside: &Aside, advice: &Advice) -> String {
    let (rig, limit) = (advised.rig, advised.advice.aim.max_gap);
    let mut out = format!("{}\n", needs_first(advised, aside, advice));
    let names: Vec<&str> = aside.players.iter().map(|(player, ..)| rig.player_name(*player)).collect();
    for (_, tempo, reason) in &aside.players {
        let _ = writeln!(out, "Whatever is done here, at {tempo}, {}.", words::reason(rig, reason, limit));
    }
    let _ = writeln!(out, "What follows is as if {} were not there.", and(&names));
    out
}

/// `a, b and c`.
pub(in crate::show) fn and(names: &[&str]) -> String {
    match names {
        [] => String::new(),
        [one] => (*one).to_owned(),
        [most @ .., last] => format!("{} and {last}", most.join(", ")),
    }
}
