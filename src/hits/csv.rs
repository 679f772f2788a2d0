use super::Hit;
use crate::patch::Rig;
use crate::text::nine_places;
use std::io::{self, Write};

/// Writes a hit list as CSV: `time_s,beat,due_beat,sequencer,step,velocity`.
///
/// Times are seconds with 12 decimals, beats decimals of at most 9 places, steps count from 1.
///
/// # Errors
/// What the writer says.
pub fn write_csv(rig: &Rig, hits: &[Hit], out: impl Write) -> io::Result<()> {
    let mut csv = csv::Writer::from_writer(out);
    csv.write_record(["time_s", "beat", "due_beat", "sequencer", "step", "velocity"])?;
    for hit in hits {
        csv.write_record([
            hit.at.to_string().as_str(),
            &nine_places(hit.beat),
            &nine_places(hit.due),
            rig.player_name(hit.sequencer),
            &hit.step.to_string(),
            &hit.velocity.to_string(),
        ])?;
    }
    csv.flush()
}
