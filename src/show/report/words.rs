//! Sentences and figures as people read them.

pub(super) use super::ms::{Bound, exact_ms, gap_ms, ms, ms_by};
pub use crate::text::plain;

use super::offset;
use crate::judge::{Gap, Reason, Standing, Warning};
use crate::patch::{ResetMode, Rig};
use crate::rig::{Passage, stage::Tally};
use crate::time::Span;

/// A figure with at most so many decimals, for programs: 185 and not 185.00000000000003.
#[must_use]
pub fn to_decimals(figure: f64, decimals: i32) -> f64 {
    let parts = 10_f64.powi(decimals);
    // Nothing has no sign.
    (figure * parts).round() / parts + 0.0
}

/// `wren 22 ms after ox`, or `ox and wren together`.
#[must_use]
pub fn gap_phrase(rig: &Rig, gap: &Gap, max_gap: Span) -> String {
    let [first, second] = gap.between.map(|s| rig.player_name(s));
    match gap.worst_signed() {
        None => format!("{first} and {second} never meet"),
        Some(Span::ZERO) => format!("{first} and {second} together"),
        Some(g) if g > Span::ZERO => format!("{second} {} ms after {first}", gap_ms(g, max_gap)),
        Some(g) => format!("{first} {} ms after {second}", gap_ms(g.abs(), max_gap)),
    }
}

/// An offset as people count it: `2 beats late (1 pulse, 2400 ms)`.
#[must_use]
pub fn beats_and_time(rig: &Rig, sequencer: usize, (late, scale): (i64, i64), off_by: Option<Span>) -> String {
    let time = off_by.map_or_else(String::new, |t| format!(", {} ms", ms(t.abs())));
    format!("{} ({}{time})", beats(rig, sequencer, late, scale), pulses(late, scale))
}

fn pulses(late: i64, scale: i64) -> String {
    offset::pulses(late, scale, "pulse")
}

/// An offset in beats, or in pulses where a clock has no period: `2 beats late`.
pub(super) fn beats(rig: &Rig, sequencer: usize, late: i64, scale: i64) -> String {
    offset::beats(rig, sequencer, late, scale)
        .unwrap_or_else(|| format!("{} {}", pulses(late, scale), offset::side(late)))
}

/// Who misses the one and by how much: `wren 2 beats late (1 pulse, 2400 ms)`, or `nobody`.
#[must_use]
pub fn one_phrase(rig: &Rig, standings: &[Standing]) -> String {
    off(standings, |i, late, s| format!("{} {}", rig.player_name(i), beats_and_time(rig, i, (late, s.scale), s.off_by)))
}

/// Who misses the one, in few words: `wren, 2 beats late`, or `nobody`.
#[must_use]
pub fn one_phrase_short(rig: &Rig, standings: &[Standing]) -> String {
    off(standings, |i, late, s| format!("{}, {}", rig.player_name(i), beats(rig, i, late, s.scale)))
}

fn off(standings: &[Standing], phrase: impl Fn(usize, i64, &Standing) -> String) -> String {
    // The furthest off first, as wherever not all can be named.
    let mut wrong: Vec<(usize, &Standing)> = standings.iter().enumerate().filter(|(_, s)| !s.right).collect();
    wrong.sort_by_key(|(_, s)| std::cmp::Reverse(s.off_by.map(Span::abs)));
    let said: Vec<String> = wrong.into_iter().filter_map(|(i, s)| Some(phrase(i, s.late_worst?, s))).collect();
    if said.is_empty() { "nobody".into() } else { said.join("; ") }
}

/// From which beat a sequencer is off and at which it is back, a sentence a stretch without its full stop; none where
/// nothing changes in the course of the piece. At most the first few are told.
pub(super) fn off_and_back(rig: &Rig, sequencer: usize, standing: &Standing) -> Vec<String> {
    const MOST: usize = 6;
    let course = &rig.course;
    if course.is_steady() {
        return Vec::new();
    }
    let beat = |beat| crate::text::nine_places(beat);
    let Some(it) = rig.sequencers.get(sequencer) else { return Vec::new() };
    let mut all: Vec<String> = Vec::new();
    for off in standing.off.iter().take(MOST) {
        let side = offset::side(off.pulses_late);
        let by = format!(
            "{} is off from beat {} on, {} {side}",
            it.name,
            beat(off.from),
            pulses(off.pulses_late, standing.scale)
        );
        let obeys = it.reset.as_ref().filter(|r| r.mode != ResetMode::Ignored);
        let sooner = match obeys.map(|reset| &rig.outputs[rig.origin(&reset.path)]) {
            None => "a reset would bring it back".to_owned(),
            Some(output) => format!("a pulse of `{}` would bring it back sooner", output.name),
        };
        all.push(match off.to {
            Some(to) if standing.off.iter().any(|next| next.from == to) => format!("{by}, until beat {}", beat(to)),
            Some(to) => format!("{by}, and back at beat {}: {sooner}", beat(to)),
            None => format!("{by}, and not back by the end: {}", sooner.replace(" sooner", "")),
        });
    }
    if standing.off.len() > MOST {
        all.push(format!("{} is off in {} more stretches", it.name, standing.off.len() - MOST));
    }
    all
}

/// Why something does not pass, as a sentence without its full stop.
#[must_use]
pub fn reason(rig: &Rig, reason: &Reason, max_gap: Span) -> String {
    let name = |s: usize| rig.player_name(s);
    match *reason {
        Reason::NeverPlays { sequencer } => format!("{} never plays", name(sequencer)),
        Reason::PairsWithNothing { sequencer } => {
            format!("no hit of {} has a due beat in common with another's: no gap of it can be judged", name(sequencer))
        }
        Reason::MissesTheOne { sequencer, pulses_late, scale, off_by } => {
            format!(
                "{} misses the one: {}",
                name(sequencer),
                beats_and_time(rig, sequencer, (pulses_late, scale), off_by)
            )
        }
        Reason::GapTooLarge { between: [a, b], gap } => {
            let (late, early) = if gap > Span::ZERO { (b, a) } else { (a, b) };
            let (size, limit) = (gap_ms(gap.abs(), max_gap), exact_ms(max_gap));
            format!("{} {size} ms after {}: over the max gap of {limit} ms", name(late), name(early))
        }
    }
}

/// What happened to pulses at a stage: `the stage slow lost 3 pulses and merged 1 pulse`.
#[must_use]
pub(super) fn passage(rig: &Rig, passage: &Passage) -> String {
    let Tally { lost, merged, added } = passage.tally;
    let said = [("lost", lost), ("merged", merged), ("added", added)];
    let said: Vec<String> =
        said.iter().filter(|(_, n)| *n > 0).map(|(what, n)| format!("{what} {}", count(*n, "pulse"))).collect();
    format!("the stage {} {}", rig.stages[passage.stage].name, said.join(" and "))
}

/// What a sequencer did not see, and which of its hits nobody heard.
#[must_use]
pub(super) fn losses(name: &str, standing: &Standing) -> Vec<String> {
    let mut said = Vec::new();
    if standing.unseen > 0 {
        said.push(format!("{name} did not see {}, too short for its inputs", count(standing.unseen, "pulse")));
    }
    if standing.lost > 0 {
        said.push(format!("{} of {name} got lost on the way to the ear", count(standing.lost, "hit")));
    }
    said
}

fn count(n: u64, what: &str) -> String {
    if n == 1 { format!("1 {what}") } else { format!("{n} {what}s") }
}

/// What should be known all the same, as a sentence without its full stop.
#[must_use]
pub fn warning(rig: &Rig, warning: &Warning) -> String {
    match *warning {
        Warning::AllOffAlike => "everybody misses the one alike: they agree with each other, not with the one".into(),
        Warning::Alone if rig.sequencers.is_empty() => "there is one take only: no gap can be looked at".into(),
        Warning::Alone => "there is one sequencer only: no gap can be looked at".into(),
        Warning::OffAlone => "it is off the one, and there is nobody for it to disagree with".into(),
        Warning::Outside { take, hits } => {
            let (name, are) = (rig.player_name(take), if hits == 1 { "hit is" } else { "hits are" });
            format!("{hits} {are} left out of {name}: due before the start, or at the end of the patch or later")
        }
        Warning::NoReset { sequencer } => {
            let name = &rig.sequencers[sequencer].name;
            format!("{name} has no reset: it is right only as long as it is switched on before the clock starts")
        }
    }
}
