//! Decimals as people write and read them, exact: no float is on the way in.

use num_rational::Ratio;

/// Most digits on either side of the point: 18 + 18 digits stay below 2^127 with room for the factor of a unit.
pub const MOST_DIGITS: usize = 18;

/// A decimal exactly as written: a whole number of units of its last place.
///
/// It has no exponent, no `inf` and no `nan`. Digits are bounded by [`MOST_DIGITS`], so that what follows works in `i128`
/// without a chance to overflow. Noughts that say nothing are not kept: `0250.50` has the digits 2505 and one place.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Decimal {
    /// Below zero; never for nought.
    pub negative: bool,
    /// Its digits as one whole number, without sign and without the point.
    digits: i128,
    /// How many of the digits stand after the point, without trailing noughts.
    pub decimals: u32,
}

/// The notation in which a decimal is accepted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Notation {
    /// Digits, and where there is a point digits on both sides of it; no sign.
    Plain,
    /// As other programs write it: a sign is allowed, and so are `.5` and `5.`.
    Lenient,
}

/// The faults for which a text is no [`Decimal`].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DecimalFault {
    /// It is not written as a plain decimal.
    Malformed,
    /// It has more than [`MOST_DIGITS`] digits before the point.
    TooLarge,
    /// It has more than [`MOST_DIGITS`] digits after the point.
    TooFine,
}

impl Decimal {
    /// Reads a whole text as a decimal.
    ///
    /// # Errors
    /// If it is written otherwise, or has too many digits; where it has too many on both sides, those before the point count.
    pub fn read(text: &str, notation: Notation) -> Result<Self, DecimalFault> {
        let lenient = notation == Notation::Lenient;
        let (negative, number) = match text.strip_prefix('-') {
            Some(rest) if lenient => (true, rest),
            _ => (false, text.strip_prefix('+').filter(|_| lenient).unwrap_or(text)),
        };
        let (whole, part) = number.split_once('.').unwrap_or((number, ""));
        let plain = |s: &str| s.bytes().all(|b| b.is_ascii_digit());
        let open = whole.is_empty() || (part.is_empty() && number.contains('.'));
        let empty = whole.is_empty() && part.is_empty();
        if !plain(whole) || !plain(part) || empty || (open && !lenient) {
            return Err(DecimalFault::Malformed);
        }
        let (whole, part) = (whole.trim_start_matches('0'), part.trim_end_matches('0'));
        if whole.len() > MOST_DIGITS {
            return Err(DecimalFault::TooLarge);
        }
        if part.len() > MOST_DIGITS {
            return Err(DecimalFault::TooFine);
        }
        let digits = whole.bytes().chain(part.bytes()).fold(0_i128, |sum, b| sum * 10 + i128::from(b - b'0'));
        let decimals = u32::try_from(part.len()).unwrap_or(0);
        Ok(Self { negative: negative && digits != 0, digits, decimals })
    }

    /// The number of the same size below zero.
    #[must_use]
    pub const fn below_zero(self) -> Self {
        Self { negative: self.digits != 0, ..self }
    }

    /// The exact value.
    #[must_use]
    pub fn ratio(self) -> Ratio<i128> {
        Ratio::new(self.signed(), 10_i128.pow(self.decimals))
    }

    /// The value in units of 10^−`places`; `None` if it is no whole number of them, or too large for an `i128`.
    #[must_use]
    pub fn scaled(self, places: u32) -> Option<i128> {
        let up = places.checked_sub(self.decimals)?;
        10_i128.checked_pow(up).and_then(|up| self.signed().checked_mul(up))
    }

    /// The nearest `f64` to the value times a power of ten: the library's correctly rounded parsing of the decimal, so
    /// that `22 ms` is the same number as `0.022`.
    #[must_use]
    pub fn float(self, exponent: i32) -> f64 {
        let sign = if self.negative { "-" } else { "" };
        let exponent = exponent - self.decimals.cast_signed();
        format!("{sign}{}e{exponent}", self.digits).parse().unwrap_or(0.0)
    }

    /// Its digits with its sign.
    const fn signed(self) -> i128 {
        if self.negative { -self.digits } else { self.digits }
    }
}

/// Writes a whole number of units of 10^−`places` as a decimal without trailing noughts: 97500 thousandths are `97.5`.
#[must_use]
pub fn decimal(units: i128, places: u32) -> String {
    let sign = if units < 0 { "-" } else { "" };
    let one = 10_u128.pow(places);
    let (whole, part) = (units.unsigned_abs() / one, units.unsigned_abs() % one);
    let width = places as usize;
    without_noughts(&format!("{sign}{whole}.{part:0width$}")).to_owned()
}

/// Writes a fraction as a decimal of at most 9 places, rounded half up, without trailing noughts: `0.25`, `-0.333333333`.
#[must_use]
pub fn nine_places(value: Ratio<i128>) -> String {
    const PLACES: u32 = 9;
    let scaled = value * 10_i128.pow(PLACES);
    let (n, d) = (*scaled.numer(), *scaled.denom());
    // The remainder decides, so that nothing is doubled and runs over.
    decimal(n.div_euclid(d) + i128::from(n.rem_euclid(d) >= d - n.rem_euclid(d)), PLACES)
}

/// Writes a number rounded to at most so many decimals, without trailing noughts: `0.25`, `2`. Nought has no sign.
#[must_use]
pub fn rounded(value: f64, places: usize) -> String {
    let text = format!("{value:.places$}");
    match without_noughts(&text) {
        "-0" => "0".to_owned(),
        number => number.to_owned(),
    }
}

/// A written number without the noughts that end its decimals, nor the point if nothing is left after it. A whole number
/// keeps all its digits.
#[must_use]
pub fn without_noughts(number: &str) -> &str {
    if number.contains('.') { number.trim_end_matches('0').trim_end_matches('.') } else { number }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn read(text: &str, notation: Notation) -> Result<(i128, u32), DecimalFault> {
        Decimal::read(text, notation).map(|d| (d.signed(), d.decimals))
    }

    #[test]
    fn a_plain_decimal_has_digits_on_both_sides_of_its_point_and_no_sign() {
        use Notation::Plain;
        let rows = [("0", (0, 0)), ("12", (12, 0)), ("0012.500", (125, 1)), ("0.25", (25, 2)), ("100", (100, 0))];
        for (text, number) in rows {
            assert_eq!(read(text, Plain), Ok(number), "{text}");
        }
        for text in ["", ".", ".5", "5.", "-1", "+1", "1e3", "1,5", "0x1", "1.2.3", "nan", " 1", "١"] {
            assert_eq!(read(text, Plain), Err(DecimalFault::Malformed), "{text}");
        }
    }

    #[test]
    fn a_lenient_decimal_may_have_a_sign_and_an_open_end() {
        use Notation::Lenient;
        for (text, number) in [(".5", (5, 1)), ("5.", (5, 0)), ("+2", (2, 0)), ("-0.25", (-25, 2)), ("-0", (0, 0))] {
            assert_eq!(read(text, Lenient), Ok(number), "{text}");
        }
        for text in ["", ".", "-", "-.", "--1", "-+1", "−1", "1e3"] {
            assert_eq!(read(text, Lenient), Err(DecimalFault::Malformed), "{text}");
        }
    }

    #[test]
    fn only_digits_that_say_something_count_against_the_bound() {
        use Notation::Plain;
        let [most, more] = [MOST_DIGITS, MOST_DIGITS + 1].map(|n| "9".repeat(n));
        assert_eq!(read(&format!("000{most}.{most}000"), Plain), Ok((10_i128.pow(36) - 1, 18)));
        assert_eq!(read(&more, Plain), Err(DecimalFault::TooLarge));
        assert_eq!(read(&format!("0.{more}"), Plain), Err(DecimalFault::TooFine));
        assert_eq!(read(&format!("{more}.{more}"), Plain), Err(DecimalFault::TooLarge));
    }

    #[test]
    fn a_value_is_scaled_exactly_or_not_at_all() {
        let of = |text: &str| Decimal::read(text, Notation::Lenient).expect("a decimal");
        assert_eq!(
            [of("97.5").scaled(1), of("97.5").scaled(6), of("97.5").scaled(0)],
            [Some(975), Some(97_500_000), None]
        );
        assert_eq!(of(&"9".repeat(18)).scaled(30), None);
        assert_eq!(of("-0.25").ratio(), Ratio::new(-1, 4));
        // The nearest double, as the compiler has it: 22 times 0.001 is another.
        assert_eq!((of("22").float(-3), of("-0.1").float(0)), (0.022, -0.1));
        assert_eq!((of("0").below_zero().negative, of("3").below_zero().ratio()), (false, Ratio::from_integer(-3)));
    }

    #[test]
    fn fractions_are_decimals_of_at_most_nine_places() {
        let shown = |n, d| nine_places(Ratio::new(n, d));
        assert_eq!([shown(4, 1), shown(1, 4), shown(2, 3), shown(-1, 3)], ["4", "0.25", "0.666666667", "-0.333333333"]);
        // Halves go up, whichever side of nothing they stand on.
        assert_eq!([shown(1, 2_000_000_000), shown(-1, 2_000_000_000)], ["0.000000001", "0"]);
    }

    #[test]
    fn numbers_are_written_without_idle_noughts() {
        assert_eq!([decimal(97_500, 3), decimal(-5, 2), decimal(100, 0)], ["97.5", "-0.05", "100"]);
        assert_eq!(
            [rounded(0.25, 3), rounded(2.0, 2), rounded(100.0, 0), rounded(-1.5, 1)],
            ["0.25", "2", "100", "-1.5"]
        );
        assert_eq!([rounded(-0.0, 2), rounded(-0.004, 2), rounded(-0.006, 2)], ["0", "0", "-0.01"]);
        assert_eq!(["1.500", "2.", "200", "0.0"].map(without_noughts), ["1.5", "2", "200", "0"]);
    }

    proptest! {
        #[test]
        fn what_is_written_is_read_again(units in -(10_i128.pow(17))..10_i128.pow(17), places in 0_u32..18) {
            let read = Decimal::read(&decimal(units, places), Notation::Lenient).expect("a decimal");
            prop_assert_eq!(read.scaled(places), Some(units));
        }
    }
}
