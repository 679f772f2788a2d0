//! What to record of a rig so that `measure` can tell how late its boxes are.

use crate::patch::{Patch, Source, Timing};
use crate::rig::{RigError, play};
use crate::show::report::WIRING;
use crate::show::report::words::plain;
use crate::text::{counted, rounded};
use crate::time::{Beat, Tempo};
use std::fmt::Write;

/// Hits of each box at each tempo: from the rows of what kinds of delay need.
const HITS: f64 = 32.0;
/// The range of tempos that parts a time from a share.
const RANGE: f64 = 1.5;
/// A recording lasts no longer than this many bars, nor is it shorter than four.
const BARS: [f64; 2] = [4.0, 256.0];
/// What a tempo has behind its point: none is round, so that pulses do not fall on the same place of a loop again and again.
const OFF: f64 = 0.3;

/// A box in the plan.
struct Planned {
    name: String,
    output: String,
    /// Hits in a bar.
    hits: f64,
}

/// The plan for a patch, as people read it.
///
/// # Errors
/// If the patch cannot be played.
pub fn measure_plan(patch: &Patch) -> Result<String, RigError> {
    let rig = &patch.original.rig;
    let tempo = patch.tempos.first().copied();
    let performance = match tempo {
        Some(tempo) => play(rig, tempo)?,
        None => return Ok("The patch has no tempo.\n".to_owned()),
    };
    let bars = number(rig.end) / number(patch.meter.bar());
    let planned: Vec<Planned> = rig
        .sequencers
        .iter()
        .zip(&performance.tracks)
        .map(|(sequencer, track)| Planned {
            name: sequencer.name.clone(),
            output: match rig.beyond_wires(sequencer.clock.source) {
                Source::Output(output) => rig.outputs[output].name.clone(),
                _ => "the clock".to_owned(),
            },
            hits: track.sounds.len() as f64 / bars.max(1e-9),
        })
        .collect();
    let tempos = tempos(&patch.tempos);
    let sparse = planned.iter().map(|of| of.hits).filter(|hits| *hits > 0.0).fold(f64::INFINITY, f64::min);
    let long = if sparse.is_finite() { (HITS / sparse).ceil().clamp(BARS[0], BARS[1]) } else { BARS[0] };
    let mut out = String::new();
    for (number, group) in groups(&planned).iter().enumerate() {
        recording(&mut out, (number, patch), group, (&tempos, long));
    }
    for silent in planned.iter().filter(|of| of.hits == 0.0) {
        let _ = writeln!(out, "`{}` plays nothing in this patch: nothing of it can be measured.", plain(&silent.name));
    }
    let _ = writeln!(
        out,
        "\nA bar alone: before each recording let every box play a bar by itself, so that what leaks from its channel into the others can \
         be taken out.\nThe zero: to be rid of where each sound begins, trigger all boxes from one wire for {HITS} hits, record that on the \
         same channels, and give it as --zero.\nLevels: peaks at −12 to −6 dB, nothing clipped; no compressor, no noise gate, no effect. \
         WAV, 24 bits, 48 kHz; no lossy kind.\nPulses: straight from the output into the recorder's line input, turned down until it does not clip. {WIRING}",
    );
    Ok(out)
}

/// Boxes that hang on one output are recorded together, held against its pulses.
fn groups(planned: &[Planned]) -> Vec<(&str, Vec<&Planned>)> {
    let mut groups: Vec<(&str, Vec<&Planned>)> = Vec::new();
    for one in planned.iter().filter(|of| of.hits > 0.0) {
        match groups.iter_mut().find(|(output, _)| *output == one.output) {
            Some((_, all)) => all.push(one),
            None => groups.push((&one.output, vec![one])),
        }
    }
    groups
}

/// One set of recordings: the channels, the tempos, and the command.
fn recording(
    out: &mut String,
    (of, patch): (usize, &Patch),
    (output, boxes): &(&str, Vec<&Planned>),
    (tempos, bars): (&[f64], f64),
) {
    let names: Vec<String> = boxes.iter().map(|one| plain(&one.name)).collect();
    let _ = writeln!(
        out,
        "{}{} against the pulses of `{}`",
        if of > 0 { "\n" } else { "" },
        names.join(", "),
        plain(output)
    );
    let _ = writeln!(out, "  channel 1: the pulses of `{}`", plain(output));
    for (channel, one) in (2..).zip(boxes) {
        let heard = one.hits * bars;
        let _ = writeln!(
            out,
            "  channel {channel}: {}, some {} at each tempo",
            plain(&one.name),
            counted(heard as usize, "hit")
        );
    }
    for tempo in tempos {
        let seconds = bars * number(patch.meter.bar()) * 60.0 / tempo;
        let _ = writeln!(out, "  at {tempo}: {bars} bars, {} s", rounded(seconds, 0));
    }
    let file = |tempo: &f64| format!("at{tempo}.wav");
    let files: Vec<String> = tempos.iter().map(file).collect();
    let listed: Vec<String> = tempos.iter().map(f64::to_string).collect();
    let channels: Vec<String> = boxes.iter().map(|one| format!("hits:{}", one.name)).collect();
    let rig = &patch.original.rig;
    let rate = rig.outputs.iter().find(|of| of.name == *output).and_then(|of| match of.timing {
        Timing::Rate { period, .. } => Some(rate(period)),
        _ => None,
    });
    let grid = rate.map_or_else(String::new, |rate| format!(" --grid \"{rate}\""));
    let _ = writeln!(
        out,
        "  then: hitgap measure {} --tempo {} --channels pulse:{output},{}{grid}",
        files.join(" "),
        listed.join(","),
        channels.join(",")
    );
}

/// As a patch writes the rate of a period in beats.
fn rate(period: Beat) -> String {
    match (*period.denom(), *period.numer()) {
        (of, 1) => format!("{of} per beat"),
        (of, on) => format!("{of} per {on} beats"),
    }
}

/// Three tempos that part a time from a share, about those that are played and none of them round.
fn tempos(played: &[Tempo]) -> Vec<f64> {
    let ends = played.iter().map(|tempo| tempo.bpm()).fold((f64::MAX, f64::MIN), |e, t| (e.0.min(t), e.1.max(t)));
    // Three times the slowest where those that are played lie too close: a rig that plays at 120 alone is measured from 69 to 207.
    let played = ends.1 / ends.0;
    let wide = if played < RANGE { (2.0 * RANGE / played).sqrt() } else { 1.0 };
    let (low, high) = ((ends.0 / wide).max(20.0), (ends.1 * wide).min(400.0));
    let middle = (low * high).sqrt();
    [low, middle, high].map(|tempo| tempo.floor() + OFF).to_vec()
}

fn number(of: Beat) -> f64 {
    *of.numer() as f64 / *of.denom() as f64
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tempos_are_apart_and_not_round() {
        let of =
            |played: &[&str]| tempos(&played.iter().map(|tempo| tempo.parse().expect("a tempo")).collect::<Vec<_>>());
        for played in [&["120"][..], &["60", "160"], &["118", "122"]] {
            let chosen = of(played);
            assert!(chosen[2] / chosen[0] >= 1.5 && chosen.windows(2).all(|two| two[0] < two[1]), "{chosen:?}");
            assert!(chosen.iter().all(|tempo| tempo.fract() > 0.2), "{chosen:?}");
        }
    }
}
