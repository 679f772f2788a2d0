//! A resistor and a capacitor that land nearest the middle of the window.

use super::AdviseError;
use super::base::Base;
use super::component::{self, Level, PartAt, part_at};
use super::ground::{AtTempo, Ground};
use super::series::{E12, E24, values};
use super::window::Window;
use crate::patch::{Rc, StageKind, Tolerance};
use crate::time::{PS_PER_SECOND, Span};

/// A pair, with what its parts and the next input do to it.
#[derive(Clone, Debug, PartialEq)]
pub struct RcPair {
    /// The resistor, in ohms, of E24 and 5 %.
    pub ohms: f64,
    /// The capacitor, in farads, of E12 and 10 %.
    pub farads: f64,
    /// The window that was aimed at, and whether it is the sure one.
    pub window: Window,
    /// Whether that window holds over all tolerances, and not in the typical run alone.
    pub sure: bool,
    /// The delay that was aimed at: the middle of the window by ratio.
    pub aimed: Span,
    /// The usual delay, `RC·ln 2`.
    pub usual: Span,
    /// The delay over all tolerances and thresholds.
    pub delay: Window,
    /// How it does at each tempo.
    pub at: Vec<PartAt>,
}

/// Volts of a pulse (common practice, no source).
const HIGH: f64 = 5.0;
/// Where a 5 V logic input may switch: 30 to 70 % of its supply, as data sheets of 4000-series logic
/// have it (CD4001B at 5 V: low up to 1.5 V, high from 3.5 V).
pub(super) const THRESHOLD: Tolerance<f64> = Tolerance { min: 1.5, typ: 2.5, max: 3.5 };
/// Powers of ten between which parts are looked for: 1 kΩ to 1 MΩ, 100 pF to 10 µF (common practice, no source).
const OHMS: (i32, i32) = (3, 6);
const FARADS: (i32, i32) = (-10, -5);
/// How many pairs are tried before none will do.
const MOST_TRIED: usize = 6;

/// A stage of a resistor and a capacitor.
pub(super) fn stage(ohms: f64, farads: f64) -> StageKind {
    let within = |value: f64, part: f64| Tolerance { min: value * (1.0 - part), typ: value, max: value * (1.0 + part) };
    StageKind::Rc(Rc {
        r: within(ohms, 0.05),
        c: within(farads, 0.10),
        high: HIGH,
        low: 0.0,
        source: 0.0,
        load: f64::INFINITY,
        discharge: f64::INFINITY,
        threshold_rise: THRESHOLD,
        threshold_fall: THRESHOLD,
    })
}

/// How often the box or the rig is played for all pairs that may be tried at one tempo.
pub(super) fn plays() -> u128 {
    MOST_TRIED as u128 * component::plays(&stage(1e4, 1e-8))
}

/// The pair nearest the middle of the window that all tempos share; `None` without such a window, and where no pair near
/// it lets the pulses through.
///
/// # Errors
/// If the rig cannot be played.
pub(super) fn propose(
    ground: &Ground<'_>,
    bases: &[Base],
    tempos: &[AtTempo],
    sure: &[Window],
) -> Result<Option<RcPair>, AdviseError> {
    let passes = super::in_all(tempos.iter().map(|t| &t.passes));
    let widest = |windows: &[Window]| windows.iter().copied().max_by_key(|w| w.most.0 / w.least.0.max(1));
    let found = widest(sure).map(|w| (w, true)).or_else(|| widest(&passes).map(|w| (w, false)));
    let Some((window, is_sure)) = found else { return Ok(None) };
    let aimed = window.middle();
    let seconds = aimed.0 as f64 / PS_PER_SECOND as f64;
    let mut pairs: Vec<(f64, f64, f64, f64)> = Vec::new();
    for ohms in values(&E24, OHMS.0, OHMS.1) {
        for farads in values(&E12, FARADS.0, FARADS.1) {
            let off = libm::log(ohms * farads * std::f64::consts::LN_2 / seconds).abs();
            // Of pairs alike the one with a resistor near 10 kΩ: it loads nobody and is not moved by an input's leakage.
            pairs.push((off, libm::log(ohms / 10e3).abs(), ohms, farads));
        }
    }
    // A thousandth of per cent apart is alike.
    pairs.sort_by(|a, b| {
        ((a.0 * 1e5).round(), a.1).partial_cmp(&((b.0 * 1e5).round(), b.1)).unwrap_or(std::cmp::Ordering::Equal)
    });
    for &(_, _, ohms, farads) in pairs.iter().take(MOST_TRIED) {
        let kind = stage(ohms, farads);
        let at = bases.iter().zip(tempos).map(|(base, t)| part_at(ground, base, &kind, t));
        let at: Vec<_> = at.collect::<Result<_, _>>()?;
        let delays: Vec<Window> = at.iter().filter_map(|a| a.delay).collect();
        if delays.len() < at.len() || at.iter().any(|a| a.level == Level::Fails) {
            continue;
        }
        let ends = delays.iter().map(|d| d.least).min().zip(delays.iter().map(|d| d.most).max());
        let Some((least, most)) = ends else { return Ok(None) };
        return Ok(Some(RcPair {
            ohms,
            farads,
            window,
            sure: is_sure,
            aimed,
            usual: Span((ohms * farads * std::f64::consts::LN_2 * PS_PER_SECOND as f64).round() as i64),
            delay: Window { least, most },
            at,
        }));
    }
    Ok(None)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_threshold_alone_spreads_an_edge_by_85_hundredths_of_rc() {
        // ln(1/(1 − 0.7)) − ln(1/(1 − 0.3)) = 0.847298 (closed form).
        let share = |volts: f64| -libm::log(1.0 - volts / HIGH);
        assert!((share(THRESHOLD.max) - share(THRESHOLD.min) - 0.847_298).abs() < 1e-6);
        assert!((share(THRESHOLD.typ) - std::f64::consts::LN_2).abs() < 1e-12);
    }
}
