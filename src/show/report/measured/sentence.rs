//! What is said of one box first, in one sentence.

use super::Measured;
use super::figures::{ms, percent};
use crate::measure::{Finding, Kind, Lattice, Missing, Summary};

/// What a place of the grid is called, by how many a quarter note has.
pub(super) fn grid_name(places: f64) -> String {
    let known = [
        (1.0, "a quarter"),
        (2.0, "an eighth"),
        (3.0, "an eighth triplet"),
        (4.0, "a sixteenth"),
        (6.0, "a sixteenth triplet"),
        (8.0, "a thirty-second"),
    ];
    known
        .iter()
        .find(|(of, _)| *of == places)
        .map_or_else(|| "a place of the grid".to_owned(), |(_, name)| (*name).to_owned())
}

/// `wren comes 1.0 % of a sixteenth after the clock: 2.48 ms at 60, 1.12 ms at 133; it does not waver`.
pub(super) fn sentence(measured: &Measured<'_>, finding: &Finding) -> String {
    let (name, against) = (measured.name(finding), measured.against(finding));
    let grid = grid_name(measured.request.places);
    let tempos: Vec<(f64, Summary)> =
        finding.sessions.iter().filter_map(|session| Some((session.tempo, session.summary()?))).collect();
    let verdict = &finding.verdict;
    let (fixed, share) = (verdict.fixed.value, verdict.share.value);
    let said = match verdict.kind {
        Kind::Together => format!("{name} comes with {against}: {}", at_each(&tempos)),
        Kind::Fixed => {
            let mean = tempos.iter().map(|(_, of)| of.median).sum::<f64>() / tempos.len() as f64;
            format!("{name} comes {} ms {} {against} at each tempo", ms(mean), side(mean))
        }
        Kind::Share => {
            let part = percent(share.abs());
            format!("{name} comes {part} % of {grid} {} {against}: {}", side(share), at_each(&tempos))
        }
        Kind::Both => {
            let (time, part) = (ms(fixed), percent(share.abs()));
            let and = if (fixed < 0.0) == (share < 0.0) { "and" } else { "less" };
            format!("{name} comes {time} ms {and} {part} % of {grid} {} {against}: {}", side(fixed), at_each(&tempos))
        }
        Kind::Whole(whole) => {
            let times = whole.unsigned_abs();
            let and = if (fixed < 0.0) == (whole < 0) { "and" } else { "less" };
            let (time, side) = (ms(fixed), side(f64::from(whole)));
            format!("{name} comes {times} times {grid} {and} {time} ms {side} {against}: {}", at_each(&tempos))
        }
        Kind::Lattice(lattice) => waits(&name, &against, lattice, &tempos),
        Kind::NoLine => {
            format!("{name} comes neither a fixed time nor a share of {grid} after {against}: {}", at_each(&tempos))
        }
        Kind::CannotTell(missing) => format!(
            "{name} comes {} from {against}; whether that is a time or a share of {grid} cannot be told: {}",
            at_each(&tempos),
            wanted(missing)
        ),
    };
    let far = if verdict.unwrapped { "; at some tempos that is nearer to the next place of the grid" } else { "" };
    format!("{said}{far}; {}", waver(finding, &tempos))
}

fn side(late: f64) -> &'static str {
    if late < 0.0 { "before" } else { "after" }
}

fn at_each(tempos: &[(f64, Summary)]) -> String {
    let one = |(tempo, of): &(f64, Summary)| {
        let sign = if of.median < 0.0 { "−" } else { "" };
        format!("{sign}{} ms at {tempo}", ms(of.median))
    };
    tempos.iter().map(one).collect::<Vec<_>>().join(", ")
}

/// Frames that blocks of audio usually have, at usual rates, within a thousandth.
fn frames(length: f64) -> Option<String> {
    let rates = [(44.1, "44.1"), (48.0, "48"), (88.2, "88.2"), (96.0, "96")];
    rates.iter().find_map(|(khz, name)| {
        let frames = length * khz * 1e3;
        let whole = (32..=4_096)
            .find(|whole: &u32| whole.is_power_of_two() && (frames / f64::from(*whole) - 1.0).abs() < 1e-3)?;
        Some(format!(" ({whole} frames at {name} kHz)"))
    })
}

fn waits(name: &str, against: &str, lattice: Lattice, tempos: &[(f64, Summary)]) -> String {
    let low = tempos.iter().map(|(_, of)| of.range.0).fold(f64::INFINITY, f64::min);
    let high = tempos.iter().map(|(_, of)| of.range.1).fold(f64::NEG_INFINITY, f64::max);
    let length = ms(lattice.length);
    let what = match (lattice.blocks, frames(lattice.length)) {
        (0, None) => format!("for a loop that looks every {length} ms"),
        (0, Some(frames)) => format!("for a loop that looks every {length} ms, or for a block of audio{frames}"),
        (blocks, frames) => {
            let frames = frames.unwrap_or_default();
            format!("for a block of audio of {length} ms{frames}, and is heard {blocks} later")
        }
    };
    let sign = if low < 0.0 { "−" } else { "" };
    format!("{name} waits {what}: it comes {sign}{} to {} ms after {against}", ms(low), ms(high))
}

/// What to record to find out.
fn wanted(missing: Missing) -> &'static str {
    match missing {
        Missing::Tempo => "record a second tempo, half as fast again or more",
        Missing::Range => "record tempos further apart, 1.5 to 1 or more",
        Missing::Hits => "record more hits at each tempo, or more tempos",
        Missing::Onset => "record both struck by one wire, which says where each of them begins",
    }
}

fn waver(finding: &Finding, tempos: &[(f64, Summary)]) -> String {
    let wavering: Vec<f64> = tempos.iter().filter(|(_, of)| of.wavers).map(|(_, of)| of.waver).collect();
    let drifts = if finding.sessions.iter().any(crate::measure::Session::drifts) { ", and drifts" } else { "" };
    let Some(most) = wavering.iter().copied().reduce(f64::max) else {
        return if drifts.is_empty() { "it does not waver".into() } else { "it does not waver, but drifts".into() };
    };
    let by = if matches!(finding.verdict.kind, Kind::Lattice(_)) { "so it wavers by" } else { "it wavers by" };
    format!("{by} {} ms (SD){drifts}", ms(most))
}
