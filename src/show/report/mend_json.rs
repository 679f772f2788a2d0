use super::mend::{Mending, change, fault};
use super::to_decimals;
use crate::judge::mend::{Change, Fault, Kind, Proposal, Stopped};
use crate::time::Span;
use serde_json::{Value, json};
use std::io;

fn figure(span: Span) -> f64 {
    to_decimals(span.ms(), 9)
}

fn one(of: &Mending<'_>, n: usize, proposal: Option<&Proposal>) -> Value {
    let offer = &of.catalogue.offers[n];
    let offset = match (&offer.change, proposal) {
        (Change::Nudge { player }, Some(p)) => p.nudges.iter().find(|(who, _)| who == player).map(|(_, by)| *by),
        _ => None,
    };
    json!({
        "kind": offer.change.kind().word(),
        "what": change(of, &offer.change, offset),
        "touches": offer.change.touched(of.rig, &of.catalogue.parts),
        "cost": offer.cost,
    })
}

fn faults(of: &Mending<'_>, all: &[Fault]) -> Vec<String> {
    all.iter().map(|one| fault(of, one)).collect()
}

/// A mend as one JSON object.
#[must_use]
pub fn mend_json(of: &Mending<'_>) -> Value {
    let mended = of.mended;
    let proposals = mended.proposals.iter().take(of.show).map(|p| {
        let at = p.at.iter().map(|at| {
            json!({
                "tempo_bpm": at.tempo.bpm(),
                "between": at.widest.map(|(two, _)| two.map(|n| of.rig.player_name(n).to_owned())),
                "widest_ms": at.widest.map(|(_, gap)| figure(gap)),
                "room_ms": at.room.map(figure),
                "nearest_reset": at.margin.map(|(s, _)| of.rig.player_name(s).to_owned()),
                "margin_ms": at.margin.map(|(_, margin)| figure(margin)),
            })
        });
        json!({
            "changes": p.changes.iter().map(|&n| one(of, n, Some(p))).collect::<Vec<_>>(),
            "cost": p.cost,
            "slack_ms": p.slack.map(figure),
            "fix": {
                "name": p.fix.name,
                "set": p.fix.set.iter().map(|(path, value)| json!({ "path": path, "value": value })).collect::<Vec<_>>(),
                "one": p.fix.one,
            },
            "tempos": at.collect::<Vec<_>>(),
        })
    });
    let nearest = mended.nearest.as_ref().map(|(set, left)| {
        json!({
            "changes": set.iter().map(|&n| one(of, n, None)).collect::<Vec<_>>(),
            "in_the_way": faults(of, left),
        })
    });
    let levels = mended.levels.iter().map(|level| {
        json!({
            "changes": level.changes,
            // More than a JSON number holds for sure is a text.
            "sets": u64::try_from(level.sets).map_or_else(|_| json!(level.sets.to_string()), |n| json!(n)),
            "judged": level.judged,
            "passing": level.passing,
            "complete": level.complete,
        })
    });
    json!({
        "format": 1,
        "patch": of.name,
        "title": of.title,
        "max_gap_ms": figure(of.max_gap),
        "budget": of.budget,
        "stands": mended.now.is_empty(),
        "in_the_way": faults(of, &mended.now),
        "complete": mended.is_complete(),
        "stopped": mended.stopped.map(|why| match why {
            Stopped::Cancelled => "cancelled",
            Stopped::Limit => "limit",
            Stopped::TooMany => "too many sets",
        }),
        "offers": of.catalogue.offers.len(),
        "kinds": Kind::ALL.map(|kind| {
            json!({ "kind": kind.word(), "offers": of.catalogue.offers.iter().filter(|o| o.change.kind() == kind).count() })
        }),
        "found": mended.proposals.len(),
        "proposals": proposals.collect::<Vec<_>>(),
        "holds_bpm": of.holds.as_ref().map(|hold| hold.ranges.iter().map(|(a, b)| [a.bpm(), b.bpm()]).collect::<Vec<_>>()),
        "nearest": nearest,
        "levels": levels.collect::<Vec<_>>(),
        "cuts": {
            "beside": mended.cuts.beside,
            "too_many_faults": mended.cuts.too_many_faults,
            "larger": mended.cuts.larger,
            "dearer": mended.cuts.dearer,
        },
    })
}

/// A mend as CSV: a row for each proposal and tempo.
///
/// # Errors
/// What the writer says.
pub fn mend_csv(of: &Mending<'_>, out: impl io::Write) -> io::Result<()> {
    let mut csv = csv::Writer::from_writer(out);
    csv.write_record([
        "rank",
        "changes",
        "cost",
        "slack_ms",
        "tempo_bpm",
        "widest_ms",
        "room_ms",
        "margin_ms",
        "what",
    ])?;
    let text = |span: Option<Span>| span.map_or_else(String::new, |span| figure(span).to_string());
    for (n, p) in of.mended.proposals.iter().take(of.show).enumerate() {
        let what: Vec<String> =
            p.changes.iter().filter_map(|&n| one(of, n, Some(p))["what"].as_str().map(str::to_owned)).collect();
        for at in &p.at {
            csv.write_record([
                (n + 1).to_string(),
                p.changes.len().to_string(),
                p.cost.to_string(),
                text(p.slack),
                at.tempo.to_string().trim_end_matches(" bpm").to_owned(),
                text(at.widest.map(|(_, gap)| gap)),
                text(at.room),
                text(at.margin.map(|(_, margin)| margin)),
                what.join("; "),
            ])?;
        }
    }
    csv.flush()
}
