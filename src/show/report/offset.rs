use crate::patch::{Rig, Timing};
use num_rational::Ratio;

/// An offset in pulses, without a side: `1 pulse`, `1 1/2 pulses`. `noun` is what one of them is called.
pub(super) fn pulses(late: i64, scale: i64, noun: &str) -> String {
    counted(Ratio::new(i128::from(late.unsigned_abs()), i128::from(scale)), noun)
}

/// An offset in beats, with its side: `1/24 beat late`; `None` where a clock has no period, or another in the course of the piece.
pub(super) fn beats(rig: &Rig, sequencer: usize, late: i64, scale: i64) -> Option<String> {
    let output = rig.origin(&rig.sequencers[sequencer].clock);
    let turned = rig.course.turns.iter().any(|turn| turn.output == output);
    let Timing::Rate { period, .. } = &rig.outputs[output].timing else { return None };
    let beats = *period * Ratio::new(i128::from(late.unsigned_abs()), i128::from(scale));
    (!turned).then(|| format!("{} {}", counted(beats, "beat"), side(late)))
}

/// Which way an offset goes.
pub(super) const fn side(late: i64) -> &'static str {
    if late < 0 { "early" } else { "late" }
}

fn counted(number: Ratio<i128>, noun: &str) -> String {
    let plural = if number > Ratio::from_integer(1) { "s" } else { "" };
    format!("{} {noun}{plural}", fraction(number))
}

/// A number as people write parts of beats: `2`, `1/24`, `1 1/2`.
fn fraction(number: Ratio<i128>) -> String {
    let (whole, rest) = (number.trunc(), number.fract());
    match (*whole.numer(), *rest.numer()) {
        (whole, 0) => whole.to_string(),
        (0, _) => rest.to_string(),
        _ => format!("{whole} {rest}"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn parts_are_fractions_as_people_write_them() {
        let shown = |n, d| fraction(Ratio::new(n, d));
        assert_eq!([shown(2, 1), shown(1, 24), shown(3, 2), shown(0, 1)], ["2", "1/24", "1 1/2", "0"]);
        assert_eq!([pulses(-1, 1, "pulse"), pulses(3, 2, "pulse")], ["1 pulse", "1 1/2 pulses"]);
        assert_eq!([side(-1), side(1)], ["early", "late"]);
    }
}
