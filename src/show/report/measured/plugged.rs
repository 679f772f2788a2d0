//! What was measured, put into a patch: a fix that makes each of its boxes as late as it was heard.

use super::Measured;
use super::delay::{Delay, Part};
use super::written::{Origin, WrittenPatch, note, provenance, quoted};
use crate::patch::{EditError, NewFix, Patch, Sequencer, Source, Timing, with_fix};
use crate::time::Beat;
use std::fmt::Write;

/// The fix under which a patch keeps what was measured of its boxes.
const FIX: &str = "measured";

/// Adds to the text of a patch a fix with every box as it was measured, and what makes it so as components. Whatever the patch
/// says of the way from the clock's output to the ear, the fix says anew: all of it is in what was recorded.
///
/// # Errors
/// If the text is written so that no fix can be added.
pub fn plugged_patch(
    measured: &Measured<'_>,
    origin: &Origin,
    patch: &Patch,
    source: &str,
) -> Result<WrittenPatch, EditError> {
    let rig = &patch.original.rig;
    let mut left_out = Vec::new();
    let mut fix = NewFix { name: FIX.to_owned(), ..NewFix::default() };
    let mut components = String::new();
    let mut names = Vec::new();
    for finding in &measured.findings.findings {
        let name = measured.name(finding);
        let mut leave = |why: &str| left_out.push(format!("{name} is not written: {why}"));
        let Some(sequencer) = rig.sequencers.iter().find(|of| of.name == name) else {
            leave("the patch has no sequencer of that name");
            continue;
        };
        let Source::Output(output) = rig.beyond_wires(sequencer.clock.source) else {
            leave("its clock comes from another sequencer in the patch");
            continue;
        };
        let output = &rig.outputs[output];
        let pulses = &measured.channels[finding.against];
        if rig.outputs.iter().any(|other| other.name == *pulses && other.name != output.name) {
            leave(&format!("it hangs on `{}` in the patch, and the pulses are those of `{pulses}`", output.name));
            continue;
        }
        if rig.sequencers.iter().any(|other| other.name == *pulses) {
            leave("it was held against another box: record the clock's pulses");
            continue;
        }
        let Timing::Rate { period, phase, .. } = output.timing else {
            leave(&format!("`{}` of the patch has no rate", output.name));
            continue;
        };
        let delay = match Delay::of(finding, origin.accept) {
            Ok(delay) => delay,
            Err(why) => {
                leave(&why);
                continue;
            }
        };
        let called = |part: &Part| free(&format!("{name}-{}", part.name), patch);
        let mut clock = output.name.clone();
        if let Some(share) = delay.share() {
            // A share of a place of the grid, as one of this output's period, beside what its dial says.
            let number = |of: Beat| *of.numer() as f64 / *of.denom() as f64;
            let phase = number(phase) + share / (measured.request.places * number(period));
            clock = free(&format!("{name}-measured"), patch);
            let (of, on) = (*period.denom(), *period.numer());
            let rate = if on == 1 { format!("{of} per beat") } else { format!("{of} per {on} beats") };
            let table = format!("{{ rate = \"{rate}\", phase = \"{:.6} %\" }}", phase * 100.0);
            fix.set.push((format!("clock.{clock}"), table));
        }
        let parts = delay.parts();
        for part in &parts {
            let table = part.keys.trim_end().replace('\n', ", ");
            fix.set.push((format!("stage.{}", called(part)), format!("{{ {table} }}")));
            let note = quoted(&note(measured, finding));
            let _ = write!(components, "\n[component.{}]\n{}note = {note}\n", called(part), part.keys);
        }
        let set = |key: &str, value: String| (format!("sequencer.{name}.{key}"), value);
        fix.set.extend(ways(sequencer, &delay).into_iter().map(|(key, value)| set(key, value)));
        fix.set.push(set("clock", quoted(&clock)));
        let out: Vec<String> = parts.iter().map(|part| quoted(&called(part))).collect();
        if !out.is_empty() || !sequencer.out.is_empty() {
            fix.set.push(set("out", format!("[{}]", out.join(", "))));
        }
        names.push(name.clone());
    }
    if names.is_empty() {
        return Ok(WrittenPatch { text: None, left_out });
    }
    fix.about = Some(format!("{} as measured", names.join(" and ")));
    let mut text = with_fix(source, &fix)?.text;
    if !text.ends_with('\n') {
        text.push('\n');
    }
    text.push_str(&components);
    text.push('\n');
    for line in provenance(measured, origin) {
        let _ = writeln!(text, "# {line}");
    }
    Ok(WrittenPatch { text: Some(text), left_out })
}

/// What a sequencer adds by itself, as it was measured: all of it is in the stages.
fn ways(sequencer: &Sequencer, delay: &Delay) -> Vec<(&'static str, String)> {
    let mut set = Vec::new();
    if sequencer.latency.0 != 0 {
        set.push(("latency", "\"0 s\"".to_owned()));
    }
    match delay.offset() {
        Some(offset) => set.push(("offset", quoted(&offset))),
        None if sequencer.offset.0 != 0 => set.push(("offset", "\"0 s\"".to_owned())),
        None => {}
    }
    set
}

/// A name that no output, stage or component of the patch has.
fn free(name: &str, patch: &Patch) -> String {
    let rig = &patch.original.rig;
    let outputs = rig.outputs.iter().map(|of| &of.name);
    let stages = rig.stages.iter().map(|of| &of.name);
    let taken: Vec<&String> = outputs.chain(stages).chain(patch.components.iter().map(|of| &of.name)).collect();
    let is_free = |name: &String| !taken.iter().any(|other| other.eq_ignore_ascii_case(name));
    std::iter::once(name.to_owned())
        .chain((2..).map(|number| format!("{name}-{number}")))
        .find(is_free)
        .unwrap_or_else(|| name.to_owned())
}
