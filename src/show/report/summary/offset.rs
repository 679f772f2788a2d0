use crate::patch::{Rig, Timing};
use num_rational::Ratio;

/// An offset as people count it: in clock pulses without a side, and in beats, with it, where the clock has a period:
/// `1 clock pulse` and `1/24 beat late`.
pub(super) fn counted_off(rig: &Rig, sequencer: usize, late: i64, scale: i64) -> (String, Option<String>) {
    let side = if late < 0 { "early" } else { "late" };
    let size = Ratio::new(i128::from(late.unsigned_abs()), i128::from(scale));
    let pulses =
        format!("{} clock {}", fraction(size), if size <= Ratio::from_integer(1) { "pulse" } else { "pulses" });
    let output = rig.origin(&rig.sequencers[sequencer].clock);
    let turned = rig.course.turns.iter().any(|turn| turn.output == output);
    let beats = match &rig.outputs[output].timing {
        Timing::Rate { period, .. } if !turned => {
            let beats = *period * size;
            Some(format!(
                "{} {} {side}",
                fraction(beats),
                if beats <= Ratio::from_integer(1) { "beat" } else { "beats" }
            ))
        }
        _ => None,
    };
    (pulses, beats)
}

/// A number as people write parts of beats: `2`, `1/24`, `1 1/2`.
pub(super) fn fraction(number: Ratio<i128>) -> String {
    let (whole, rest) = (number.trunc(), number.fract());
    match (*whole.numer(), *rest.numer()) {
        (whole, 0) => whole.to_string(),
        (0, _) => rest.to_string(),
        _ => format!("{whole} {rest}"),
    }
}
