//! Measured figures, with as many decimals as they deserve.

/// Seconds as milliseconds without a sign: 2.48, 0.094, 105.2.
pub(super) fn ms(seconds: f64) -> String {
    let ms = (seconds * 1e3).abs();
    let decimals = match ms {
        _ if ms >= 99.95 => 1,
        _ if ms >= 0.0995 => 2,
        _ => 3,
    };
    format!("{ms:.decimals$}")
}

/// Seconds as milliseconds with a minus where they are less than nothing.
pub(super) fn signed_ms(seconds: f64) -> String {
    let ms = ms(seconds);
    if seconds < 0.0 && ms.bytes().any(|digit| (b'1'..=b'9').contains(&digit)) { format!("−{ms}") } else { ms }
}

/// A share as hundredths: 1.0, 0.25, 0.0012.
pub(super) fn percent(share: f64) -> String {
    let percent = share * 100.0;
    let decimals = match percent.abs() {
        size if size >= 0.95 => 1,
        size if size >= 0.095 => 2,
        _ => 4,
    };
    let text = format!("{percent:.decimals$}");
    let zero = text.bytes().all(|byte| !(b'1'..=b'9').contains(&byte));
    if zero { text.replace('-', "") } else { text.replace('-', "−") }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn figures_have_as_many_decimals_as_they_deserve() {
        assert_eq!([0.002_482, 0.000_094, 0.1052, 0.0].map(ms), ["2.48", "0.094", "105.2", "0.000"]);
        assert_eq!([-0.002_482, -1e-9, 0.0004].map(signed_ms), ["−2.48", "0.000", "0.40"]);
        assert_eq!([0.01, -0.0025, 0.000_012, -1e-9].map(percent), ["1.0", "−0.25", "0.0012", "0.0000"]);
    }
}
