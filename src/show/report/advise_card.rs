use super::{Advised, Align, Table, words};
use crate::judge::Input;
use crate::judge::advise::{Card, Pick};
use std::fmt::Write;

/// A card to tape to a rig.
#[must_use]
pub fn advise_card(advised: &Advised<'_>, card: &Card) -> String {
    let advice = advised.advice;
    let title = advised.title.map_or_else(|| words::plain(&advised.name), words::plain);
    let name = &advised.rig.sequencers[advice.target.sequencer].name;
    let input = if advice.target.input == Input::Clock { "clock" } else { "reset" };
    let dial = advice.dial.as_ref().map_or_else(String::new, |(steps, _)| format!(", dial of {steps}"));
    let mut out = format!("{title}: {name}'s {input}{dial}\n\n");
    let titled = card.rows.iter().any(|r| !r.song.title.is_empty());
    let mut columns = Vec::new();
    if titled {
        columns.push(("song", Align::Left));
    }
    columns.extend([("tempo", Align::Right), ("set", Align::Right), ("", Align::Left)]);
    let mut table = Table::new(&columns);
    for row in &card.rows {
        let (set, also) = match row.pick {
            Some(pick) => picked(pick),
            None => ("—".to_owned(), "nothing does it for sure".to_owned()),
        };
        let title = titled.then(|| words::plain(&row.song.title));
        table.row(title.into_iter().chain([row.song.tempo.to_string(), set, also]));
    }
    out.push_str(&table.render());
    let all = match card.all {
        Some(Pick::Step { step, .. }) => format!("Step {step} serves all."),
        Some(Pick::Delay(delay)) => format!("{} ms serves all.", words::ms(delay)),
        None => "No one setting serves all.".to_owned(),
    };
    let _ = writeln!(out, "\n{all}");
    if let Some(from) = &advised.max_gap_from {
        let _ = writeln!(out, "\n{from}");
    }
    out
}

fn picked(pick: Pick) -> (String, String) {
    match pick {
        Pick::Delay(delay) => (format!("{} ms", words::ms(delay)), String::new()),
        Pick::Step { step, from, to, delay } => {
            let gives = delay.map_or_else(String::new, |d| format!("{} ms", words::ms(d)));
            let also = if from == to { String::new() } else { format!(", {from} to {to} will do") };
            (step.to_string(), format!("{gives}{also}"))
        }
    }
}
