//! What changes cost: whole numbers and decimals, summed without any rounding.

use std::fmt;
use std::iter::Sum;

/// A cost, in thousandths of whatever prices are in.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Cost(pub(super) u64);

/// Decimals of a cost.
const DECIMALS: usize = 3;
const ONE: u64 = 1000;

impl Cost {
    /// Nothing.
    pub const NOTHING: Self = Self(0);

    /// A whole number.
    #[must_use]
    pub const fn whole(n: u32) -> Self {
        Self(n as u64 * ONE)
    }

    /// A number as people write it: `6`, `0.50` or `0,5`; at most three decimals, at most ten million.
    #[must_use]
    pub fn parse(text: &str) -> Option<Self> {
        let (whole, decimals) = text.split_once(['.', ',']).map_or((text, None), |(whole, rest)| (whole, Some(rest)));
        let digits = |text: &str| !text.is_empty() && text.bytes().all(|b| b.is_ascii_digit());
        let decimals = decimals.unwrap_or("0");
        if !digits(whole) || !digits(decimals) || whole.len() > 8 || decimals.len() > DECIMALS {
            return None;
        }
        let thousandths = format!("{decimals:0<DECIMALS$}").parse::<u64>().ok()?;
        Some(Self(whole.parse::<u64>().ok()? * ONE + thousandths)).filter(|cost| *cost <= Self::whole(10_000_000))
    }

    /// The number with which a price begins or ends: of `6`, `0.50 Euro` and `€ 12`. Nothing of what has no number there, and of what
    /// groups its digits, of which nobody knows what it is.
    #[must_use]
    pub fn of_price(price: &str) -> Option<Self> {
        let is_part = |c: char| c.is_ascii_digit() || c == '.' || c == ',';
        let price = price.trim();
        let first = price.find(|c| !is_part(c)).map_or(price, |end| &price[..end]);
        let last = price.rfind(|c| !is_part(c)).and_then(|end| price.get(end..)).map_or("", |rest| {
            let mut rest = rest.chars();
            rest.next();
            rest.as_str()
        });
        // Three digits after a comma are thousands more often than not.
        let plain = |text: &str| text.rsplit_once(',').is_none_or(|(_, rest)| rest.len() < 3);
        let read = |text: &str| Self::parse(text.trim_end_matches(['.', ','])).filter(|_| plain(text));
        read(first).or_else(|| read(last))
    }

    /// As a number; whole where it is.
    #[must_use]
    pub fn number(self) -> f64 {
        self.0 as f64 / ONE as f64
    }

    /// Whether it is a whole number, and which.
    #[must_use]
    pub const fn as_whole(self) -> Option<u64> {
        if self.0.is_multiple_of(ONE) { Some(self.0 / ONE) } else { None }
    }
}

impl Sum for Cost {
    fn sum<I: Iterator<Item = Self>>(all: I) -> Self {
        Self(all.map(|cost| cost.0).sum())
    }
}

impl fmt::Display for Cost {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.number())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_price_is_a_number_at_either_end() {
        let of = |price: &str| Cost::of_price(price).map(|cost| cost.to_string());
        let known = [
            ("6", "6"),
            ("0.50 Euro", "0.5"),
            ("\u{20ac} 12", "12"),
            ("12,50 \u{20ac}", "12.5"),
            ("\u{20ac}7", "7"),
            ("about 3.25", "3.25"),
            ("4.", "4"),
            ("0", "0"),
        ];
        for (price, cost) in known {
            assert_eq!(of(price).as_deref(), Some(cost), "{price}");
        }
        for none in ["", "free", "two 3 four", "1,200", "1.2.3", "12345678901", "x1x"] {
            assert_eq!(of(none), None, "{none}");
        }
    }

    /// Tenths have no exact form in binary; their sums here have.
    #[test]
    fn costs_are_summed_exactly() {
        let tenth = Cost::parse("0.1").expect("a number");
        assert_eq!((0..30).map(|_| tenth).sum::<Cost>(), Cost::whole(3));
        assert_eq!((tenth.as_whole(), Cost::whole(3).as_whole()), (None, Some(3)));
        assert!(Cost::parse("1.2345").is_none() && Cost::parse("-1").is_none() && Cost::parse("1e3").is_none());
    }
}
