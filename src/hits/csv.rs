use super::Hit;
use super::number::BEAT_PLACES;
use crate::patch::Rig;
use crate::text;
use crate::time::{Beat, round_half_up};
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
            &decimal(hit.beat),
            &decimal(hit.due),
            rig.player_name(hit.sequencer),
            &hit.step.to_string(),
            &hit.velocity.to_string(),
        ])?;
    }
    csv.flush()
}

/// A beat as a decimal of at most 9 places, rounded half up, without trailing noughts.
#[must_use]
pub fn decimal(beat: Beat) -> String {
    text::decimal(round_half_up(beat * 10_i128.pow(BEAT_PLACES)), BEAT_PLACES)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn beats_are_decimals_of_at_most_nine_places() {
        let shown = |n, d| decimal(Beat::new(n, d));
        assert_eq!([shown(4, 1), shown(1, 4), shown(2, 3), shown(-1, 3)], ["4", "0.25", "0.666666667", "-0.333333333"]);
    }
}
