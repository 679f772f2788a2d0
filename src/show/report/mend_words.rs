//! What is done and what stands in the way, as said to a colleague: of one rig and of an evening.

use super::{exact_ms, gap_ms, ms, words};
use crate::judge::mend::{BoxFault, Catalogue, Change, Cost, Dial, Fault, Hint, Place, names, share_text};
use crate::judge::{Input, Target};
use crate::patch::{Rig, show_span_whole};
use crate::time::Span;

/// A change as said to a colleague, of a rig and of what could be done to it; with the offset to be written, if it is a nudge.
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

/// What would help if its user allowed it, as a sentence without its full stop.
#[must_use]
pub(super) fn hint(rig: &Rig, hint: &Hint) -> String {
    match hint {
        Hint::Nudge { player, late } => {
            let name = rig.player_name(*player);
            let when = if *late < Span::ZERO { "early" } else { "late" };
            format!("{name} is {} ms {when}: `--nudge {name}` lets it be moved", ms(late.abs()))
        }
        Hint::Kept { player, by } => {
            format!("{} is at fault, and is kept as it is by `--keep {}`", rig.player_name(*player), words::plain(by))
        }
    }
}

/// The parts that are put in and have a price, each with that.
pub(super) fn prices(catalogue: &Catalogue, changes: &[usize]) -> Vec<String> {
    let of = |n: &usize| match &catalogue.offers[*n].change {
        Change::Put { part, .. } => {
            let part = &catalogue.parts[*part];
            // Where somebody says what it costs, the list has no say.
            let holds = |price: &&String| Cost::of_price(price).is_none_or(|cost| cost == catalogue.offers[*n].cost);
            part.price.as_ref().filter(holds).map(|price| format!("{}: {}", part.name, words::plain(price)))
        }
        _ => None,
    };
    changes.iter().filter_map(of).collect()
}

/// What stands in the way, as a sentence without its full stop, of a rig and the largest gap that passes.
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
