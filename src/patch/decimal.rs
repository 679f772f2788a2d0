use crate::patch::check::show::shown;
use crate::patch::read::quantity::QuantityError;
use num_rational::Ratio;

/// Most digits on either side of the point: 18 + 18 digits stay below 2^127 with room for the factor of a unit.
const MOST_DIGITS: usize = 18;

/// A decimal exactly as written: `digits · 10^−decimals`, and its sign.
///
/// There is no exponent, no `inf` and no `nan`: a patch is written by hand, and `1e3 ms` in one is a slip more often
/// than a wish. Digits are bounded so that everything after works in `i128` without a chance to overflow.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Decimal {
    pub(super) negative: bool,
    digits: i128,
    /// How many of the digits stand after the point, without trailing noughts.
    pub(super) decimals: u32,
}

impl Decimal {
    /// Splits a text into a decimal and what follows it, the unit.
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
        let (whole, part) = number.split_once('.').unwrap_or((number, ""));
        if whole.is_empty() || part.contains('.') || (number.contains('.') && part.is_empty()) {
            return fail(format!("`{}` is not a plain decimal number", shown(number)), None);
        }
        let (whole, part) = (whole.trim_start_matches('0'), part.trim_end_matches('0'));
        if whole.len() > MOST_DIGITS || part.len() > MOST_DIGITS {
            return fail(
                format!("`{}` has too many digits: at most {MOST_DIGITS} on each side of the point", shown(number)),
                None,
            );
        }
        let digits = whole.bytes().chain(part.bytes()).fold(0, |sum, b| sum * 10 + i128::from(b - b'0'));
        let decimals = u32::try_from(part.len()).unwrap_or(0);
        Ok((Self { negative: negative && digits != 0, digits, decimals }, unit))
    }

    /// The exact value.
    pub(super) fn ratio(self) -> Ratio<i128> {
        let signed = if self.negative { -self.digits } else { self.digits };
        Ratio::new(signed, 10_i128.pow(self.decimals))
    }

    /// The nearest `f64` to the value times a power of ten: the library's correctly rounded parsing of the decimal, so
    /// that `22 ms` is the same number as `0.022`.
    pub(super) fn float(self, exponent: i32) -> f64 {
        let sign = if self.negative { "-" } else { "" };
        let exponent = exponent - self.decimals.cast_signed();
        format!("{sign}{}e{exponent}", self.digits).parse().unwrap_or(0.0)
    }
}
