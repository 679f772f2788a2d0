//! Which stages keep an edge for some time.

use crate::patch::model::{Retrigger, StageKind};
use crate::time::Span;

/// Whether nothing ever leaves a stage at the instant at which its cause came, whatever is drawn within its limits: what
/// the stages of the simulation say of themselves, held a little stricter.
pub(super) fn is_late(kind: &StageKind) -> bool {
    /// From one threshold to the other, in picoseconds, with room for rounding.
    const APART: f64 = 2.0;
    match kind {
        StageKind::Delay(delay) => {
            delay.rise.min > Span::ZERO && (delay.one_shot.is_some() || delay.fall.min > Span::ZERO)
        }
        StageKind::Logic(logic) => logic.delay.min > Span::ZERO,
        StageKind::Rc(rc) => {
            let series = rc.r.min + rc.source;
            let parallel = 1.0 / (1.0 / series + 1.0 / rc.load + 1.0 / rc.discharge);
            let (rise, fall) = (rc.threshold_rise, rc.threshold_fall);
            let gap = (rise.min - fall.min).min(rise.typ - fall.typ).min(rise.max - fall.max);
            // An exponential is steepest where it begins: at most its whole way in a time constant.
            rc.c.min * parallel * 1e12 * gap / (rc.high - rc.low) >= APART
        }
        StageKind::Envelope(envelope) => {
            // A curve to its peak aims half as far again, with a time constant of its time by ln 3 = 1.0986.
            let steepest = (envelope.attack.min.0 as f64 / (1.5 * 1.0987)).min(envelope.decay.min.0 as f64);
            let gap = envelope.threshold_rise - envelope.threshold_fall;
            envelope.retrigger != Retrigger::FromZero && steepest * gap / envelope.peak >= APART
        }
        StageKind::MidiCable(_) | StageKind::AudioBuffer(_) => true,
        // A look sees what comes at its own instant, the last of a row of looks too.
        StageKind::Poll(_)
        | StageKind::Divide(_)
        | StageKind::Multiply(_)
        | StageKind::Air(_)
        | StageKind::Strike(_)
        | StageKind::Jitter(_) => false,
    }
}
