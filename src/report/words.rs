//! Sentences and figures as people read them.

pub use crate::text::plain;

use crate::gap::{Gap, Reason, Standing, Warning};
use crate::patch::{ResetMode, Rig, Timing};
use crate::rig::{Passage, stage::Tally};
use crate::time::{Span, round_half_up};
use num_rational::Ratio;

/// A time in milliseconds with as many decimals as it deserves: 2400, 24, 7.5, 0.94, 0.04, 0.0013.
#[must_use]
pub fn ms(time: Span) -> String {
    let rounded = rounded(time);
    if rounded == Span::ZERO && time != Span::ZERO {
        return "under 0.0001".into();
    }
    exact_ms(rounded).replace('-', "−")
}

/// A time to as many decimals of a millisecond as it deserves.
fn rounded(time: Span) -> Span {
    let decimals = match time.abs().0 {
        s if s < Span::from_ms(1).0 / 100 => 4,
        s if s < Span::from_ms(100).0 => 2,
        s if s < Span::from_ms(1000).0 => 1,
        _ => 0,
    };
    let unit = 10_i128.pow(9 - decimals);
    let near = round_half_up(Ratio::new(i128::from(time.0), unit)) * unit;
    i64::try_from(near).map_or(time, Span)
}

/// A gap over a limit, in milliseconds, with so many decimals that it is seen to be over: `2.003`; from 0.1 µs down
/// `just over 2`.
fn over(gap: Span, limit: Span) -> String {
    if rounded(gap) > limit {
        return ms(gap);
    }
    // Cut off and not rounded: what is shown is no more than the gap.
    let finer = [1_000_000, 100_000].map(|unit| Span(gap.0 / unit * unit));
    let seen = finer.into_iter().find(|cut| *cut > limit);
    seen.map_or_else(|| format!("just over {}", exact_ms(limit)), exact_ms)
}

/// A time in milliseconds with every picosecond, and no idle noughts.
#[must_use]
pub fn exact_ms(time: Span) -> String {
    crate::hits::decimal(Ratio::new(i128::from(time.0), i128::from(Span::from_ms(1).0)))
}

/// `wren 22 ms after ox`, or `ox and wren together`.
#[must_use]
pub fn gap_phrase(rig: &Rig, gap: &Gap) -> String {
    let [first, second] = gap.between.map(|s| rig.player_name(s));
    match gap.worst_signed() {
        None => format!("{first} and {second} never meet"),
        Some(Span::ZERO) => format!("{first} and {second} together"),
        Some(g) if g > Span::ZERO => format!("{second} {} ms after {first}", ms(g)),
        Some(g) => format!("{first} {} ms after {second}", ms(g.abs())),
    }
}

/// An offset as people count it: `2 beats late (1 pulse, 2400 ms)`.
#[must_use]
pub fn beats_and_time(rig: &Rig, sequencer: usize, (late, scale): (i64, i64), off_by: Option<Span>) -> String {
    let time = off_by.map_or_else(String::new, |t| format!(", {} ms", ms(t.abs())));
    format!("{} ({}{time})", beats(rig, sequencer, late, scale), pulses(late, scale))
}

fn pulses(late: i64, scale: i64) -> String {
    let n = Ratio::new(i128::from(late.unsigned_abs()), i128::from(scale));
    let unit = if n <= Ratio::from_integer(1) { "pulse" } else { "pulses" };
    format!("{} {unit}", crate::hits::decimal(n))
}

/// An offset in beats, or in pulses where a clock has no period: `2 beats late`.
fn beats(rig: &Rig, sequencer: usize, late: i64, scale: i64) -> String {
    let side = if late < 0 { "early" } else { "late" };
    let output = rig.origin(&rig.sequencers[sequencer].clock);
    let turned = rig.course.turns.iter().any(|turn| turn.output == output);
    let Timing::Rate { period, .. } = &rig.outputs[output].timing else {
        return format!("{} {side}", pulses(late, scale));
    };
    if turned {
        // Its pulses are not all equally far apart.
        return format!("{} {side}", pulses(late, scale));
    }
    let beats = *period * i128::from(late.unsigned_abs()) / i128::from(scale);
    let unit = if beats <= Ratio::from_integer(1) { "beat" } else { "beats" };
    format!("{} {unit} {side}", crate::hits::decimal(beats))
}

/// Who misses the one and by how much: `wren 2 beats late (1 pulse, 2400 ms)`, or `nobody`.
#[must_use]
pub fn one_phrase(rig: &Rig, standings: &[Standing]) -> String {
    off(standings, |i, late, s| format!("{} {}", rig.player_name(i), beats_and_time(rig, i, (late, s.scale), s.off_by)))
}

/// The same in fewer words: `wren, 2 beats late`, or `nobody`.
#[must_use]
pub fn one_phrase_short(rig: &Rig, standings: &[Standing]) -> String {
    off(standings, |i, late, s| format!("{}, {}", rig.player_name(i), beats(rig, i, late, s.scale)))
}

fn off(standings: &[Standing], phrase: impl Fn(usize, i64, &Standing) -> String) -> String {
    let wrong = standings.iter().enumerate().filter(|(_, s)| !s.right);
    let said: Vec<String> = wrong.filter_map(|(i, s)| Some(phrase(i, s.late_worst?, s))).collect();
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
    let beat = |beat| crate::hits::decimal(beat);
    let Some(it) = rig.sequencers.get(sequencer) else { return Vec::new() };
    let mut all: Vec<String> = Vec::new();
    for off in standing.off.iter().take(MOST) {
        let side = if off.pulses_late < 0 { "early" } else { "late" };
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
            let (size, limit) = (over(gap.abs(), max_gap), exact_ms(max_gap));
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_time_has_as_many_decimals_as_it_deserves() {
        let shown = |ps| ms(Span(ps));
        let cases = [
            (2_400_000_000_000, "2400"),
            (24_000_000_000, "24"),
            (7_500_000_000, "7.5"),
            (937_500_000, "0.94"),
            (40_000_000, "0.04"),
            (1_300_000, "0.0013"),
            (1, "under 0.0001"),
            (0, "0"),
            (-125_400_000_000, "−125.4"),
        ];
        for (ps, text) in cases {
            assert_eq!(shown(ps), text);
        }
    }

    #[test]
    fn a_gap_over_the_limit_is_seen_to_be() {
        let limit = Span::from_ms(2);
        let cases = [
            (2_500_000_000, "2.5"),
            (2_006_000_000, "2.01"),
            (2_003_417_852, "2.003"),
            (2_000_417_852, "2.0004"),
            (2_000_000_001, "just over 2"),
        ];
        for (ps, text) in cases {
            assert_eq!(over(Span(ps), limit), text);
        }
        assert_eq!(over(Span(200_030_000_000), Span::from_ms(200)), "200.03");
    }
}
