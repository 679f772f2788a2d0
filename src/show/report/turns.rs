//! Who is at fault and what mends them, in words and for programs.

use super::advise::fit_phrase;
use super::advise_figures::delay_phrase;
use super::advise_json::fit_word;
use super::and;
use super::survey::{Surveyed, pairs, windows};
use super::{Align, Table, WIRING, words};
use crate::judge::Reason;
use crate::judge::advise::{Cure, Fit, Part, Turn};
use crate::text::counted;
use crate::time::Span;
use serde_json::{Value, json};
use std::fmt::Write;
use std::io;

/// The most components that are listed for an input.
const MOST_PARTS: usize = 6;

/// Whether a box is at fault in a rig that fails, or spoiled by another, or fine; nothing where the rig passes.
pub(super) fn blame_word(surveyed: &Surveyed<'_>, player: usize) -> Option<String> {
    let turns = surveyed.turns;
    if turns.turns.is_empty() {
        return None;
    }
    if turns.of(player).is_some() {
        return Some("at fault".to_owned());
    }
    let spoiled = turns.spoiled.iter().find(|(own, _)| *own == player);
    Some(spoiled.map_or_else(|| "fine".to_owned(), |(_, by)| format!("spoiled by {}", and(&names(surveyed, by)))))
}

fn names<'a>(surveyed: &Surveyed<'a>, players: &[usize]) -> Vec<&'a str> {
    players.iter().map(|&player| surveyed.rig.player_name(player)).collect()
}

/// What a delay does, and where: `heron needs 0.01 to 2 ms more on sequencer.heron.clock`.
fn needs(surveyed: &Surveyed<'_>, turn: &Turn) -> Option<String> {
    let Cure::Delay { on, windows: of, sure, .. } = &turn.cure else { return None };
    let (rig, name) = (surveyed.rig, surveyed.rig.player_name(turn.player));
    let (input, more) = (on.name(rig), windows(of));
    let risk = if *sure { "" } else { ", at risk" };
    Some(if on.sequencer == turn.player {
        format!("{name} needs {more} more on {input}{risk}")
    } else {
        let other = rig.player_name(on.sequencer);
        format!("{name} is met by {other}, which itself is fine, with {more} more on {input}{risk}")
    })
}

/// What is to be done, in order; nothing where nobody is at fault.
pub(super) fn turns_text(surveyed: &Surveyed<'_>, width: usize) -> String {
    let turns = &surveyed.turns.turns;
    if turns.is_empty() {
        return String::new();
    }
    let mut out = format!("\n{}\n", in_short(surveyed));
    let mut listed = false;
    for (n, turn) in turns.iter().enumerate() {
        let why = reason(surveyed, turn);
        let _ = writeln!(out, "\n{}. {}: at {}, {why}.", n + 1, surveyed.rig.player_name(turn.player), turn.tempo);
        match &turn.cure {
            Cure::Delay { parts, .. } => {
                let needs = needs(surveyed, turn).unwrap_or_default();
                let _ = writeln!(out, "   {}.", first_upper(&needs));
                listed |= !parts.is_empty();
                out.push_str(&parts_table(surveyed, parts, width));
            }
            Cure::None => {
                let _ = writeln!(out, "   {}", no_delay(&turn.reason));
            }
            Cure::Unknown => {
                let _ =
                    writeln!(out, "   Which delay mends that is too much to try here; ask for one input with --on.");
            }
        }
    }
    if turns.len() > 1 {
        match surveyed.turns.works {
            Some(true) => out.push_str("\nWith all of these delays, each in the middle of its window, everybody else is together at every tempo.\n"),
            Some(false) => out.push_str("\nWith all of these delays, each in the middle of its window, not everybody is together yet: ask again then.\n"),
            None => {}
        }
    }
    if listed {
        let _ = writeln!(out, "\n{WIRING}");
    }
    out
}

/// `Mend anvil first; then heron needs 0.01 to 2 ms more on sequencer.heron.clock.`
fn in_short(surveyed: &Surveyed<'_>) -> String {
    let turns = &surveyed.turns.turns;
    let first: Vec<usize> =
        turns.iter().filter(|turn| needs(surveyed, turn).is_none()).map(|turn| turn.player).collect();
    let then: Vec<String> = turns.iter().filter_map(|turn| needs(surveyed, turn)).collect();
    let mend = format!("mend {}", and(&names(surveyed, &first)));
    first_upper(&match (first.is_empty(), then.is_empty()) {
        (true, _) => format!("{}.", then.join("; then ")),
        (false, true) => format!("{mend}: no delay does it."),
        (false, false) => format!("{mend} first; then {}.", then.join("; then ")),
    })
}

fn reason(surveyed: &Surveyed<'_>, turn: &Turn) -> String {
    words::reason(surveyed.rig, &turn.reason, surveyed.max_gap)
}

fn first_upper(text: &str) -> String {
    // Names stay as they are written; a sentence that begins with one does, too.
    match text.strip_prefix("mend ") {
        Some(rest) => format!("Mend {rest}"),
        None => text.to_owned(),
    }
}

/// What else may mend what no delay does.
const fn no_delay(reason: &Reason) -> &'static str {
    match reason {
        Reason::GapTooLarge { .. } => {
            "No delay at any input mends that: less latency, an earlier phase or shift, or an offset may; `hitgap mend` looks for it."
        }
        _ => {
            "No delay at any input mends that: a reset, another clock or another setting may; `hitgap mend` looks for it."
        }
    }
}

fn parts_table(surveyed: &Surveyed<'_>, parts: &[Part], width: usize) -> String {
    let will: Vec<&Part> = parts.iter().filter(|part| part.fit != Fit::Never).collect();
    if parts.is_empty() {
        return String::new();
    }
    let from = surveyed.parts_from.map_or_else(String::new, |from| format!(" of {from}"));
    if will.is_empty() {
        return format!("   None of {}{from} fits there.\n", counted(parts.len(), "component"));
    }
    let mut table = Table::new(&[
        ("component", Align::Left),
        ("", Align::Left),
        ("its delay", Align::Right),
        ("slack", Align::Right),
        ("price", Align::Left),
    ]);
    for part in will.iter().take(MOST_PARTS) {
        let slack = part.room.map(|room| room.sooner.min(room.later));
        table.row([
            words::plain(&part.name),
            fit_phrase(part),
            part.delay.map_or_else(|| "no pulse".to_owned(), delay_phrase),
            slack.map_or_else(|| "—".to_owned(), |slack: Span| format!("{} µs", super::advise_figures::us(slack))),
            part.price.as_deref().map_or_else(|| "—".to_owned(), words::plain),
        ]);
    }
    let mut out = table.render_within(width);
    let more = will.len().saturating_sub(MOST_PARTS);
    let never = parts.len() - will.len();
    let rest = [(more, "more may do"), (never, "not at all")];
    let rest: Vec<String> = rest.iter().filter(|(n, _)| *n > 0).map(|(n, what)| format!("{n} {what}")).collect();
    if !rest.is_empty() || !from.is_empty() {
        let rest = if rest.is_empty() { String::new() } else { format!(": {}", rest.join(", ")) };
        let _ = writeln!(out, "  {}{from}{rest}", counted(parts.len(), "component"));
    }
    out
}

/// Who is at fault and what mends them, for programs.
pub(super) fn turns_json(surveyed: &Surveyed<'_>) -> Value {
    let rig = surveyed.rig;
    let us = |span: Span| span.0 as f64 / crate::time::PS_PER_US as f64;
    let part = |part: &Part| {
        json!({
            "name": part.name, "fit": fit_word(part.fit), "price": part.price,
            "delay_us": part.delay.map(|d| [us(d.least), us(d.most)]),
            "slack_us": part.room.map(|room| us(room.sooner.min(room.later))),
        })
    };
    let turn = |turn: &Turn| {
        let cure = match &turn.cure {
            Cure::Delay { on, windows, sure, parts } => json!({
                "on": on.name(rig), "windows": pairs(windows), "sure": sure, "components": parts.iter().map(part).collect::<Vec<_>>(),
            }),
            Cure::None | Cure::Unknown => Value::Null,
        };
        json!({
            "player": rig.player_name(turn.player), "tempo_bpm": turn.tempo.bpm(), "why": reason(surveyed, turn),
            "looked_at": turn.cure != Cure::Unknown, "delay": cure,
        })
    };
    surveyed.turns.turns.iter().map(turn).collect()
}

/// The same as rows of CSV: who is at fault, and each component.
///
/// # Errors
/// As of the writer.
pub(super) fn turns_csv<W: io::Write>(surveyed: &Surveyed<'_>, csv: &mut csv::Writer<W>) -> io::Result<()> {
    for (n, turn) in surveyed.turns.turns.iter().enumerate() {
        let (number, why) = ((n + 1).to_string(), reason(surveyed, turn));
        let who = surveyed.rig.player_name(turn.player);
        let Cure::Delay { on, windows, sure, parts } = &turn.cure else {
            csv.write_record([who, "", "", "", &why, "at fault", &number, "", "", ""])?;
            continue;
        };
        let (name, sure) = (on.name(surveyed.rig), if *sure { "sure" } else { "at-risk" });
        for window in windows {
            let [least, most] = [window.least, window.most].map(|end| end.ms().to_string());
            csv.write_record([name.as_str(), sure, &least, &most, &why, "at fault", &number, "", "", ""])?;
        }
        for part in parts {
            let price = part.price.as_deref().unwrap_or_default();
            csv.write_record([name.as_str(), "", "", "", "", "", &number, &part.name, fit_word(part.fit), price])?;
        }
    }
    Ok(())
}
