//! What was measured, as a patch: the clock, each box as late as it was heard, and what makes it so as components for other
//! patches.

use super::Measured;
use super::delay::{Delay, Part};
use super::figures::{ms, percent, signed_ms};
use super::sentence::sentence;
use crate::measure::{Finding, Kind};
use crate::show::report::words::plain;
use crate::text::counted;
use std::fmt::Write;

/// Letters of a name that is made of a channel's, so that there is room for what is put behind it.
const LONGEST: usize = 40;
/// Names that no sequencer may have, and that of the output whose pulses all are held against.
const TAKEN: [&str; 3] = ["original", "matched", "grid"];

/// What is known of the recordings beside their sound.
#[derive(Clone, Debug)]
pub struct Origin {
    /// The rate of the grid, as a patch has it: `4 per beat`.
    pub rate: String,
    /// The SHA-256 of each recording, in their order.
    pub checksums: Vec<String>,
    /// Whether a delay is taken for what is likeliest where its kind cannot be told.
    pub accept: bool,
}

/// A patch of what was measured.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct WrittenPatch {
    /// Its text; nothing where no box could be written.
    pub text: Option<String>,
    /// Why boxes are not in it, a sentence each without its full stop.
    pub left_out: Vec<String>,
}

/// Writes what was measured as a patch: `check` of it says the gaps that were measured.
#[must_use]
pub fn measured_patch(measured: &Measured<'_>, origin: &Origin) -> WrittenPatch {
    let mut left_out = Vec::new();
    let mut boxes = Vec::new();
    let mut taken: Vec<String> = TAKEN.map(str::to_owned).to_vec();
    let against = measured.findings.findings.first().map_or(0, |finding| finding.against);
    let clock = name(&measured.channels.get(against).map_or_else(String::new, |name| plain(name)), &mut taken);
    for finding in &measured.findings.findings {
        match Delay::of(finding, origin.accept) {
            Ok(delay) => boxes.push((name(&measured.name(finding), &mut taken), finding, delay)),
            Err(why) => left_out.push(format!("{} is not written: {why}", measured.name(finding))),
        }
    }
    if boxes.is_empty() {
        return WrittenPatch { text: None, left_out };
    }
    let names: Vec<&str> = boxes.iter().map(|it| it.0.as_str()).collect();
    let mut text = String::new();
    let _ = writeln!(text, "title = {}", quoted(&format!("{} as measured", names.join(" and "))));
    let _ =
        writeln!(text, "# Written by hitgap measure; `hitgap check` on this file says the gaps that were measured.");
    for line in provenance(measured, origin) {
        let _ = writeln!(text, "# {line}");
    }
    let tempos: Vec<String> = measured.request.tempos.iter().map(f64::to_string).collect();
    let rate = quoted(&origin.rate);
    let _ = write!(text, "tempos = [{}]\n\n# The places that hits were held against.\n", tempos.join(", "));
    let _ = write!(
        text,
        "[clock.grid]\nrate = {rate}\n\n[sequencer.{clock}]\nclock = \"grid\"\nsteps = \"x\"\nvoice = \"click\"\n"
    );
    for (name, finding, delay) in &boxes {
        text.push('\n');
        for line in told(measured, finding) {
            let _ = writeln!(text, "# {line}");
        }
        if let Some(phase) = delay.phase() {
            let _ = write!(text, "[clock.{name}]\nrate = {rate}\nphase = \"{phase}\"\n\n");
        }
        let output = if delay.phase().is_some() { name.as_str() } else { "grid" };
        let _ = write!(text, "[sequencer.{name}]\nclock = \"{output}\"\nsteps = \"x\"\nvoice = \"click\"\n");
        if let Some(offset) = delay.offset() {
            let _ = writeln!(text, "offset = \"{offset}\"");
        }
        let parts = delay.parts();
        if parts.is_empty() {
            continue;
        }
        let called = |part: &Part| format!("{name}-{}", part.name);
        let out: Vec<String> = parts.iter().map(|part| format!("\"{}\"", called(part))).collect();
        let _ = writeln!(text, "out = [{}]", out.join(", "));
        for part in &parts {
            let _ = write!(text, "\n[stage.{}]\n{}", called(part), part.keys);
        }
        // The same for `advise` and `mend`, of this patch or, with --components, of another.
        for part in &parts {
            let note = quoted(&note(measured, finding));
            let _ = write!(text, "\n[component.{}]\n{}note = {note}\n", called(part), part.keys);
        }
    }
    WrittenPatch { text: Some(text), left_out }
}

/// A text as TOML has it; JSON escapes what TOML wants escaped.
pub(super) fn quoted(text: &str) -> String {
    serde_json::Value::from(text).to_string()
}

/// A name that a patch may have, made of a channel's; unlike all that are taken.
fn name(of: &str, taken: &mut Vec<String>) -> String {
    let plain = |c: char| if c.is_ascii_alphanumeric() || matches!(c, '-' | '_') { c } else { '-' };
    let text: String = of.chars().take(LONGEST).map(plain).collect();
    let text = text.trim_start_matches(['-', '_']);
    let text = if text.is_empty() { "box" } else { text };
    let free = |name: &str| !taken.iter().any(|other| other.eq_ignore_ascii_case(name));
    let name = std::iter::once(text.to_owned())
        .chain((2..).map(|number| format!("{text}-{number}")))
        .find(|name| free(name))
        .unwrap_or_default();
    taken.push(name.clone());
    name
}

/// What each finding is called where only some letters are allowed, as in names of files; no two are alike.
#[must_use]
pub fn measured_names(measured: &Measured<'_>) -> Vec<String> {
    let mut taken = Vec::new();
    measured.findings.findings.iter().map(|finding| name(&measured.name(finding), &mut taken)).collect()
}

/// Where all of it comes from, a line a recording.
pub(super) fn provenance(measured: &Measured<'_>, origin: &Origin) -> Vec<String> {
    let of = |(number, file): (usize, &String)| {
        let tempo =
            measured.request.tempos.get(number).map_or_else(|| "one wire".into(), |tempo| format!("at {tempo}"));
        let sum = origin.checksums.get(number).map_or("unknown", String::as_str);
        let ppm = measured.findings.ppm.get(number).copied().flatten();
        let ppm = ppm.map_or_else(String::new, |(ppm, _)| format!(", recorder {ppm:.2} ppm off"));
        format!("{}, {tempo}{ppm}, SHA-256 {sum}", plain(file))
    };
    measured.files.iter().enumerate().map(of).collect()
}

/// What was found of one box: its sentence, and its figures at each tempo.
fn told(measured: &Measured<'_>, finding: &Finding) -> Vec<String> {
    let mut lines = vec![sentence(measured, finding)];
    for session in &finding.sessions {
        let Some(of) = session.summary() else { continue };
        let (tempo, hits, error) = (session.tempo, counted(of.count, "hit"), of.error * 1.96e6);
        let waver = if of.wavers { format!(", SD {:.1} us", of.waver * 1e6) } else { String::new() };
        lines.push(format!("at {tempo}: {hits}, {} ms, ± {error:.2} us{waver}", signed_ms(of.mean)));
    }
    let most = ms(finding.onset * 1.96);
    lines.push(match finding.zero {
        Some(zero) => {
            format!("what one wire strikes comes {} ms apart, to ± {most} ms: taken off", signed_ms(zero.value))
        }
        None => format!("where its sound begins moves all of it by up to ± {most} ms"),
    });
    if let Kind::CannotTell(_) = finding.verdict.kind {
        lines.push("whether that is a time or a share cannot be told: taken as it lies".to_owned());
    }
    lines
}

/// Where a component comes from, in a line.
pub(super) fn note(measured: &Measured<'_>, finding: &Finding) -> String {
    let hits: usize = finding.sessions.iter().map(|session| session.gaps.len()).sum();
    let (fixed, share) = (finding.verdict.fixed.interval(), finding.verdict.share.interval());
    format!(
        "measured on {} in {}: fixed {} to {} ms, share {} to {} % (95 %)",
        counted(hits, "hit"),
        counted(finding.sessions.len(), "recording"),
        signed_ms(fixed.0),
        signed_ms(fixed.1),
        percent(share.0),
        percent(share.1)
    ) + if measured.request.first.is_none() { "; up to whole places of the grid" } else { "" }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn channels_get_names_that_a_patch_may_have() {
        let mut taken = vec!["original".to_owned()];
        let names = ["wren", "Wren", "the bell!", "-", "original"].map(|of| name(of, &mut taken));
        assert_eq!(names, ["wren", "Wren-2", "the-bell-", "box", "original-2"]);
    }
}
