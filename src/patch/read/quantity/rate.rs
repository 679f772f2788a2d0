//! How often an output pulses, in beats.

use super::QuantityError;
use super::rate_meant::{LARGEST_RATE, rate_meant};
use crate::patch::check::show::shown;
use crate::patch::decimal::Decimal;
use crate::patch::model::Meter;
use crate::time::Beat;
use num_rational::Ratio;

/// What a rate looks like, for messages.
const RATE: &str = "a rate such as \"4 per beat\" or \"1 per 8 beats\"";

/// The period in beats of a rate: `M/N` for `"N per M beats"`; `"4 per beat"` is a quarter of a beat.
///
/// # Errors
/// If it is not of that form, or a number is not whole and within 1 to 10,000.
pub fn rate(text: &str) -> Result<Beat, QuantityError> {
    let fail = |message: String, write: Option<String>| QuantityError::new(message, write, RATE);
    let words: Vec<&str> = text.split_whitespace().take(5).collect();
    let (n, m) = match words[..] {
        [n, "per", "beat" | "beats"] => (n, "1"),
        [n, "per", m, "beat" | "beats"] => (n, m),
        [n] if !n.is_empty() && n.len() <= 5 && n.bytes().all(|b| b.is_ascii_digit()) => {
            return Err(fail(format!("`{n}` is not a rate"), Some(format!("{n} per beat"))));
        }
        _ => {
            // Without a patch there is no meter: a bar is the usual one.
            let meant = rate_meant(text, Meter::USUAL.bar());
            return Err(fail(format!("`{}` is not a rate", shown(text)), meant));
        }
    };
    let number = |word: &str| -> Result<Decimal, QuantityError> {
        match Decimal::split(word, RATE)? {
            (number, "") => Ok(number),
            _ => Err(fail(format!("`{}` is not a number", shown(word)), None)),
        }
    };
    let (rate_n, rate_m) = (number(n)?, number(m)?);
    for (word, number) in [(n, rate_n), (m, rate_m)] {
        let value = number.ratio();
        if value <= Ratio::from_integer(0) || value > Ratio::from_integer(LARGEST_RATE) {
            return Err(fail(
                format!("`{}` in a rate is out of bounds: 1 to {LARGEST_RATE}, whole numbers", shown(word)),
                None,
            ));
        }
    }
    // Both are at most 10,000 with at most 18 decimals: the quotient is looked at only where it is short.
    if rate_n.decimals + rate_m.decimals > 8 {
        return Err(fail(format!("`{}` is not a whole number", shown(if rate_n.decimals > 0 { n } else { m })), None));
    }
    let period = rate_m.ratio() / rate_n.ratio();
    let (over, under) = (*period.numer(), *period.denom());
    if rate_n.decimals + rate_m.decimals == 0 {
        return Ok(period);
    }
    let fits = over <= LARGEST_RATE && under <= LARGEST_RATE;
    let write = fits.then(|| match over {
        1 => format!("{under} per beat"),
        _ => format!("{under} per {over} beats"),
    });
    Err(fail(format!("`{}` is not a whole number", shown(if rate_n.decimals > 0 { n } else { m })), write))
}
