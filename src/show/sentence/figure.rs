//! Values as people read them.

use crate::patch::{Worth, quantity};
use crate::time::{Beat, ExactPs, Tempo};
use num_rational::Ratio;

/// Units as they are written in a patch, and as people read them.
const UNITS: [(&str, &str); 6] =
    [("us", "µs"), ("ohm", "Ω"), ("kohm", "kΩ"), ("Mohm", "MΩ"), ("uF", "µF"), ("pct", "%")];

/// A quantity with its unit as people read it; any other text as it is.
pub(super) fn quantity_text(text: &str) -> String {
    let text = text.trim();
    let unit = text.trim_start_matches(|c: char| c.is_ascii_digit() || matches!(c, '.' | '-' | '+' | ' '));
    let number = text.strip_suffix(unit).map(str::trim_end).filter(|number| !number.is_empty());
    match (number, UNITS.iter().find(|(written, _)| *written == unit)) {
        (Some(number), Some((_, read))) => format!("{number} {read}"),
        (Some(number), None) if unit == "C" => format!("{number} °C"),
        _ => text.to_owned(),
    }
}

/// Whether a text begins with a minus, and the text without it.
pub(super) fn sign(text: &str) -> (bool, &str) {
    match text.trim().strip_prefix('-') {
        Some(rest) => (true, rest.trim_start()),
        None => (false, text.trim().trim_start_matches('+')),
    }
}

/// Texts in a row: `a, b and c`.
pub(super) fn listed(all: &[String]) -> String {
    match all.split_last() {
        None => "none".to_owned(),
        Some((last, [])) => last.clone(),
        Some((last, rest)) => format!("{} and {last}", rest.join(", ")),
    }
}

/// A time in the largest unit that leaves a whole part, with at most three decimals.
pub(super) fn time(time: ExactPs) -> String {
    let units = [("s", 1_000_000_000_000_i128), ("ms", 1_000_000_000), ("µs", 1_000_000), ("ns", 1_000)];
    let size = Ratio::new(time.numer().abs(), *time.denom());
    let (unit, per) = units.into_iter().find(|(_, per)| size >= Ratio::from_integer(*per)).unwrap_or(("ps", 1));
    let unit = if time == ExactPs::from_integer(0) { "s" } else { unit };
    let thousandths = crate::time::round_half_up(time * Ratio::new(1000, per));
    let text = format!(
        "{}{}.{:03}",
        if thousandths < 0 { "-" } else { "" },
        thousandths.abs() / 1000,
        thousandths.abs() % 1000
    );
    format!("{} {unit}", text.trim_end_matches('0').trim_end_matches('.'))
}

/// What a share of so many beats is at a tempo.
pub(super) fn share_time(text: &str, of: Beat, tempo: Tempo) -> Option<String> {
    text.trim_end().ends_with(['%', 't']).then_some(())?;
    let share = quantity::share(text).ok()?;
    let share = if share < Ratio::from_integer(0) { -share } else { share };
    // Past any use, and past what can be multiplied.
    (share <= Ratio::from_integer(10_000)).then(|| time(tempo.exact(of) * share))
}

/// How long so many beats last at a tempo.
pub(super) fn beats_time(text: &str, tempo: Tempo) -> Option<String> {
    let number = text.trim().strip_suffix("beats").or_else(|| text.trim().strip_suffix("beat"))?.trim();
    let beats = number.parse::<f64>().ok().filter(|beats| (0.0..1e6).contains(beats))?;
    let millionths = (beats * 1e6).round() as i128;
    Some(time(tempo.exact(Beat::new(millionths, 1_000_000))))
}

/// Any value in a line.
pub(super) fn plain(value: &Worth) -> String {
    match value {
        Worth::Text(text) => quantity_text(text),
        Worth::Bool(yes) => if *yes { "yes" } else { "no" }.to_owned(),
        Worth::Whole(n) => n.to_string(),
        Worth::Number(n) => n.to_string(),
        Worth::List(list) => listed(&list.iter().map(plain).collect::<Vec<_>>()),
        Worth::Table(_) => limits(value).unwrap_or_else(|| value.written()),
    }
}

/// A value with its limits.
fn limits(value: &Worth) -> Option<String> {
    let part = |key: &str| match value.get(key) {
        Some(Worth::Text(text)) => Some(quantity_text(text)),
        _ => None,
    };
    let usual = part("typ");
    match (part("min"), part("max"), part("value"), part("tolerance")) {
        (.., Some(value), Some(tolerance)) => Some(format!("{value} ± {tolerance}")),
        (min, Some(max), ..) => Some(match (usual, min) {
            (Some(usual), Some(min)) => format!("{usual}, from {min} to {max}"),
            (Some(usual), None) => format!("{usual}, at most {max}"),
            (None, Some(min)) => format!("{min} to {max}"),
            (None, None) => format!("at most {max}"),
        }),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_share_is_a_time_at_a_tempo() {
        let tempo: Tempo = "120".parse().expect("a tempo");
        // A beat lasts half a second.
        assert_eq!(share_time("1 %", Beat::from_integer(2), tempo).as_deref(), Some("10 ms"));
        assert_eq!(share_time("-2.5 %", Beat::new(1, 4), tempo).as_deref(), Some("3.125 ms"));
        assert_eq!(share_time("5 ms", Beat::from_integer(2), tempo), None);
        assert_eq!(beats_time("6.5 beats", tempo).as_deref(), Some("3.25 s"));
        assert_eq!(quantity_text("40us"), "40 µs");
        assert_eq!(quantity_text("-12 ms"), "-12 ms");
        assert_eq!(quantity_text("20 C"), "20 °C");
    }
}
