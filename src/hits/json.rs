use super::Hit;
use crate::patch::{Rig, tamed_json};
use crate::text::nine_places;
use crate::time::Tempo;
use std::io::{self, Write};

/// Writes a hit list as one JSON object, a hit a line: what the CSV has, with times and beats as numbers of as many
/// decimals.
///
/// # Errors
/// What the writer says.
pub fn write_json(
    patch: &str,
    variant: &str,
    tempo: Tempo,
    rig: &Rig,
    hits: &[Hit],
    mut out: impl Write,
) -> io::Result<()> {
    // Written by hand: a time with twelve decimals does not outlive an f64.
    let text = |t: &str| serde_json::to_string(t).map(|json| tamed_json(&json)).map_err(io::Error::from);
    writeln!(out, "{{\n  \"format\": 1,\n  \"patch\": {},\n  \"variant\": {},", text(patch)?, text(variant)?)?;
    write!(out, "  \"tempo_bpm\": {tempo},\n  \"hits\": [")?;
    for (n, hit) in hits.iter().enumerate() {
        let (beat, due) = (nine_places(hit.beat), nine_places(hit.due));
        write!(
            out,
            "{}\n    {{ \"time_s\": {}, \"beat\": {beat}, \"due_beat\": {due}, \"sequencer\": {}, \"step\": {}, \"velocity\": {} }}",
            if n == 0 { "" } else { "," },
            hit.at,
            text(rig.player_name(hit.sequencer))?,
            hit.step,
            hit.velocity
        )?;
    }
    writeln!(out, "{}]\n}}", if hits.is_empty() { "" } else { "\n  " })
}
