//! Figures and phrases of advice, each rounded to the side that keeps what is said true.

use crate::judge::advise::{ShareWindow, Window};
use crate::patch::Share;
use crate::time::{PS_PER_US, Span, round_half_up};
use num_rational::Ratio;

/// Settings as ranges: `1–3, 7`; `none`.
pub(super) fn steps_phrase(steps: &[u32]) -> String {
    let mut runs: Vec<(u32, u32)> = Vec::new();
    for &step in steps {
        match runs.last_mut() {
            Some(run) if run.1 + 1 == step => run.1 = step,
            _ => runs.push((step, step)),
        }
    }
    let said: Vec<String> = runs.iter().map(|(a, b)| if a == b { a.to_string() } else { format!("{a}–{b}") }).collect();
    if said.is_empty() { "none".to_owned() } else { said.join(", ") }
}

pub(super) fn share_phrase(share: ShareWindow) -> String {
    format!("{} to {} %", percent(share.least, Round::Up), percent(share.most, Round::Down))
}

/// A delay, or its range.
pub(super) fn delay_phrase(delay: Window) -> String {
    if delay.least == delay.most {
        return format!("{} µs", us(delay.least));
    }
    format!("{} to {} µs", us(delay.least), us(delay.most))
}

/// How a figure is rounded: an end of a window never outwards.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Round {
    Up,
    Down,
    Near,
}

/// A fraction as a decimal of so many places.
fn decimal(value: Ratio<i128>, places: u32, round: Round) -> String {
    let one = 10_i128.pow(places);
    let scaled = value * one;
    let whole = match round {
        Round::Up => scaled.ceil().to_integer(),
        Round::Down => scaled.floor().to_integer(),
        Round::Near => round_half_up(scaled),
    };
    let text = crate::text::nine_places(Ratio::new(whole, one));
    text.replace('-', "−")
}

pub(super) fn percent(share: Share, round: Round) -> String {
    let places = if share < Ratio::new(1, 1000) { 4 } else { 3 };
    decimal(share * 100, places, round)
}

pub(super) fn whole_percent(share: Share) -> String {
    decimal(share * 100, 0, Round::Near)
}

/// The ends of a window in milliseconds, to a tenth of a microsecond, inwards; in full where nothing would be left of it.
pub(super) fn ends_in_ms(window: Window) -> [String; 2] {
    const TENTH: i64 = PS_PER_US / 10;
    let up = window.least.0.div_euclid(TENTH) + i64::from(window.least.0.rem_euclid(TENTH) > 0);
    let (least, most) = (up * TENTH, window.most.0.div_euclid(TENTH) * TENTH);
    let shown = if least <= most { [least, most] } else { [window.least.0, window.most.0] };
    shown.map(|ps| super::words::exact_ms(Span(ps)))
}

/// In microseconds, with as many decimals as it deserves.
pub(super) fn us(time: Span) -> String {
    let places = match time.abs().0 {
        ps if ps < PS_PER_US => 3,
        ps if ps < 100 * PS_PER_US => 1,
        _ => 0,
    };
    decimal(Ratio::new(i128::from(time.0), i128::from(PS_PER_US)), places, Round::Near)
}

pub(super) fn ohms(ohms: f64) -> String {
    scaled(ohms, &[(1e6, "MΩ"), (1e3, "kΩ"), (1.0, "Ω")])
}

pub(super) fn farads(farads: f64) -> String {
    scaled(farads, &[(1e-6, "µF"), (1e-9, "nF"), (1e-12, "pF")])
}

pub(super) fn scaled(value: f64, units: &[(f64, &str)]) -> String {
    // A rounding error under the unit is the unit.
    let (scale, unit) =
        units.iter().find(|(s, _)| value >= s * 0.999_999).or(units.last()).copied().unwrap_or((1.0, ""));
    let text = format!("{:.2}", value / scale);
    format!("{} {unit}", text.trim_end_matches('0').trim_end_matches('.'))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ends_of_windows_stay_within_them() {
        let ends = |least, most| ends_in_ms(Window { least: Span(least), most: Span(most) });
        assert_eq!(ends(1, 2_000_000_000), ["0.0001", "2"]);
        assert_eq!(ends(0, 1_999_999_999), ["0", "1.9999"]);
        assert_eq!(ends(100_000, 100_000), ["0.0001", "0.0001"]);
        // Between two tenths of a microsecond there is no shorter figure that is true.
        assert_eq!(ends(100_001, 199_999), ["0.000100001", "0.000199999"]);
    }
}
