use crate::patch::check::show::shown;
use crate::patch::read::quantity::QuantityError;
pub(super) use crate::text::Decimal;
use crate::text::{DecimalFault, MOST_DIGITS, Notation};

impl Decimal {
    /// Splits a text into a decimal and what follows it, the unit.
    ///
    /// A patch is written by hand, and `1e3 ms` in one is a slip more often than a wish, so there is no exponent.
    pub(super) fn split<'a>(text: &'a str, example: &'static str) -> Result<(Self, &'a str), QuantityError> {
        let text = text.trim();
        let (negative, rest) = match text.strip_prefix(['-', '\u{2212}']) {
            Some(rest) => (true, rest),
            None => (false, text.strip_prefix('+').unwrap_or(text)),
        };
        let rest = rest.trim_start();
        let end = rest.find(|c: char| !c.is_ascii_digit() && c != '.').unwrap_or(rest.len());
        let (number, unit) = (&rest[..end], rest[end..].trim_start());
        let fail = |message: String, write: Option<String>| Err(QuantityError::new(message, write, example));
        if number.is_empty() {
            return fail(format!("`{}` does not begin with a number", shown(text)), None);
        }
        if let Some(after) = unit.strip_prefix(',') {
            let write = after.starts_with(|c: char| c.is_ascii_digit()).then(|| text.replacen(',', ".", 1));
            return fail(format!("`{}` has a comma in its number", shown(text)), write.map(|w| shown(&w)));
        }
        if unit.starts_with(['e', 'E']) && unit[1..].starts_with(|c: char| c.is_ascii_digit() || "+-".contains(c)) {
            return fail(format!("`{}` has an exponent; numbers are written out", shown(text)), None);
        }
        match Self::read(number, Notation::Plain) {
            Ok(value) => Ok((if negative { value.below_zero() } else { value }, unit)),
            Err(DecimalFault::Malformed) => fail(format!("`{}` is not a plain decimal number", shown(number)), None),
            Err(DecimalFault::TooLarge | DecimalFault::TooFine) => fail(
                format!("`{}` has too many digits: at most {MOST_DIGITS} on each side of the point", shown(number)),
                None,
            ),
        }
    }
}
