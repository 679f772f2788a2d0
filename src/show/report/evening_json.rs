use super::evening::EveningReport;
use super::to_decimals;
use crate::judge::Band;
use crate::judge::mend::{SongMended, Stopped};
use crate::time::Span;
use serde_json::{Value, json};
use std::io;

fn figure(span: Span) -> f64 {
    to_decimals(span.ms(), 9)
}

/// The widest gap of a song with what is dialled.
fn widest(song: &SongMended) -> Option<([usize; 2], Span)> {
    let dialled = song.dialled.as_ref()?;
    dialled.proposal.at.iter().filter_map(|at| at.widest).max_by_key(|(_, gap)| *gap)
}

/// An evening as one JSON object.
#[must_use]
pub fn evening_json(of: &EveningReport<'_>) -> Value {
    let mended = of.mended;
    let rig = &of.evening.patch.original.rig;
    let songs = of.listed.iter().zip(&mended.songs).zip(of.lines()).zip(of.evening.songs).map(
        |(((listed, song), line), asked)| {
            let who = (0..rig.players()).filter(|n| asked.plays[*n]).map(|n| rig.player_name(n)).collect::<Vec<_>>();
            let gap = widest(song);
            let fix = song.dialled.as_ref().map(|dialled| {
                let set = dialled.proposal.fix.set.iter().map(|(path, value)| json!({ "path": path, "value": value }));
                json!({ "set": set.collect::<Vec<_>>(), "one": dialled.proposal.fix.one })
            });
            json!({
                "song": listed.title,
                "tempos_bpm": listed.tempos.iter().map(|tempo| tempo.bpm()).collect::<Vec<_>>(),
                "boxes": who,
                "fixes": listed.fixes,
                "tempo_map": listed.tempo_map,
                "stands": song.now.is_empty(),
                "as_it_is": line.now,
                "served": song.dialled.is_some(),
                "could_be_served": song.alone,
                "turns": line.turns,
                "fix": fix,
                "heard": line.heard,
                "between": gap.map(|(two, _)| two.map(|n| rig.player_name(n).to_owned())),
                "widest_ms": gap.map(|(_, gap)| figure(gap)),
                "band": gap.map(|(_, gap)| Band::of(gap).key()),
                "slack_ms": song.dialled.as_ref().and_then(|song| song.proposal.slack).map(figure),
            })
        },
    );
    json!({
        "format": 1,
        "patch": of.name,
        "title": of.title,
        "max_gap_ms": figure(of.evening.aim.max_gap),
        "budget": of.evening.budget,
        "wiring": of.wiring(),
        "wirings_alike": mended.alike,
        "wirings_tried": mended.tried,
        "turns": mended.turns,
        "exact": mended.exact,
        "stopped": mended.stopped.map(|why| match why {
            Stopped::Cancelled => "cancelled",
            Stopped::Limit => "limit",
            Stopped::TooMany => "too many sets",
        }),
        "in_the_way": of.listed.iter().zip(&mended.songs).filter(|(_, song)| song.dialled.is_none())
            .map(|(listed, _)| listed.title.as_str()).collect::<Vec<_>>(),
        "songs": songs.collect::<Vec<_>>(),
    })
}

/// An evening as CSV: a row a song.
///
/// # Errors
/// What the writer says.
pub fn evening_csv(of: &EveningReport<'_>, out: impl io::Write) -> io::Result<()> {
    let mut csv = csv::Writer::from_writer(out);
    csv.write_record([
        "place",
        "song",
        "tempo",
        "who",
        "wiring",
        "turns",
        "before_it",
        "heard",
        "widest_ms",
        "slack_ms",
        "as_it_is",
    ])?;
    let text = |span: Option<Span>| span.map_or_else(String::new, |span| figure(span).to_string());
    let wiring = of.wiring().join("; ");
    for (line, song) in of.lines().into_iter().zip(&of.mended.songs) {
        let slack = song.dialled.as_ref().and_then(|song| song.proposal.slack);
        csv.write_record([
            line.place.to_string(),
            line.song,
            line.tempo,
            line.who,
            wiring.clone(),
            line.turns.len().to_string(),
            line.turns.join("; "),
            line.heard,
            text(widest(song).map(|(_, gap)| gap)),
            text(slack),
            line.now,
        ])?;
    }
    csv.flush()
}
