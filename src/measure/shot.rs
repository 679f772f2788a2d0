use std::io;

use super::findings::{Finding, Findings};
use super::gaps::Session;
use super::recording::Recording;

/// What is looked at before and after, beside the gap itself, in seconds.
const BEFORE: f64 = 0.004;
const AFTER: f64 = 0.012;
/// The longest gap that is still shown whole, in seconds.
const LONGEST: f64 = 0.1;

/// A typical hit of one recording, as both channels recorded it.
#[derive(Clone, Debug, PartialEq)]
pub struct Shot {
    /// Quarter notes a minute.
    pub tempo: f64,
    /// Samples of the channel that hits are held against, and of their own.
    pub channels: [Vec<f32>; 2],
    /// Where the first sample lies against the place at which the hit is due, in seconds.
    pub from: f64,
    /// The gap, with what one wire's recording took off, in seconds.
    pub gap: f64,
}

/// The hit whose gap is nearest to the middle of all, of each recording that has any.
///
/// # Errors
/// What stands in the way of reading.
pub fn shots(recordings: &[&dyn Recording], findings: &Findings, finding: &Finding) -> io::Result<Vec<Shot>> {
    let zero = finding.zero.map_or(0.0, |zero| zero.value);
    let mut shots = Vec::new();
    for (number, session) in finding.sessions.iter().enumerate() {
        let Some((at, gap)) = typical(session) else { continue };
        let recording = recordings[number];
        let ppm = findings.ppm.get(number).copied().flatten().map_or(0.0, |(ppm, _)| ppm);
        // Back to the recorder's own seconds, and to the gap as it was recorded.
        let hit = (at + zero) * (1.0 + ppm * 1e-6);
        let gap = (gap + zero).clamp(-LONGEST, LONGEST);
        let due = hit - gap;
        let first = ((due.min(hit) - BEFORE) * findings.rate).floor().max(0.0) as usize;
        let last = ((due.max(hit) + AFTER) * findings.rate).ceil().max(0.0) as usize;
        let last = last.min(recording.frames());
        if first >= last {
            continue;
        }
        let read = |channel: usize| -> io::Result<Vec<f32>> {
            let mut samples = vec![0.0; last - first];
            recording.read(channel, first, &mut samples)?;
            Ok(samples)
        };
        let channels = [read(finding.against)?, read(finding.channel)?];
        shots.push(Shot { tempo: session.tempo, channels, from: first as f64 / findings.rate - due, gap });
    }
    Ok(shots)
}

/// When the most typical hit of a session sounds, in true seconds, and its gap.
fn typical(session: &Session) -> Option<(f64, f64)> {
    let middle = session.summary()?.median;
    let far = |gap: f64| (gap - middle).abs();
    let gap = session.gaps.iter().min_by(|a, b| far(a.gap).total_cmp(&far(b.gap)))?;
    Some((gap.at, gap.gap))
}
