use super::ms::exact_ms;
use super::words::plain;
use crate::ear::MaxGap;
use crate::text::counted;

/// Which threshold a max gap is, in a sentence of two lines.
#[must_use]
pub fn max_gap_sentence(of: &MaxGap<'_>) -> String {
    let threshold = of.threshold;
    let [low, high] = threshold.between_ms;
    format!(
        "The max gap of {} ms is this listener's own threshold: {}, {} at {}, {:.2} % right, from {}\n\
         (95 % interval {low:.2} to {high:.2} ms; {}).",
        exact_ms(of.gap),
        threshold.task.title(),
        threshold.voices.iter().map(|v| plain(v)).collect::<Vec<_>>().join(" and "),
        threshold.tempo_bpm,
        100.0 * threshold.share,
        counted(threshold.trials as usize, "trial"),
        if of.other_sounds {
            "with other recordings under these names: `hitgap train --patch` trains this patch's own"
        } else if of.other_voices {
            "with other voices than this patch's: `hitgap train --patch` trains its own"
        } else {
            "other sounds and tasks have thresholds of their own"
        },
    )
}
