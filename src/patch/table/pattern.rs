//! Regular expressions for decimals within bounds: a schema knows quantities as texts only.
//!
//! They are plain (ECMA-262 and everywhere else): no looking ahead, so that a range is two expressions, one for each end.

use crate::patch::model::{Bound, Dimension};

/// The end of a range: a value with its unit, and whether it is outside itself.
pub(super) type End<'a> = (&'a str, bool);

/// A bound as an end.
pub(super) fn end(bound: Bound) -> End<'static> {
    (bound.text, bound.open)
}

/// Blanks, as they are trimmed: those of ECMA-262, and one more.
pub(super) const BLANKS: &str = "[\\s\\u0085]*";
const ANY: &str = "[0-9]+(?:\\.[0-9]+)?";
const NOUGHT: &str = "0+(?:\\.0+)?";

/// The expressions for a quantity with one of the units of a dimension, none of them for an end that is open.
pub(super) fn quantity(dimension: Dimension, least: Option<End<'_>>, most: Option<End<'_>>) -> Vec<String> {
    of_units(dimension.units().spelled, least, most)
}

/// The expressions for a number of beats.
pub(super) fn beats(least: Bound) -> Vec<String> {
    of_units(&[("beats", 0), ("beat", 0)], Some(end(least)), Some(("144000000 beats", false)))
}

fn of_units(units: &[(&str, i32)], least: Option<End<'_>>, most: Option<End<'_>>) -> Vec<String> {
    let mut exponents: Vec<i32> = units.iter().map(|(_, exponent)| *exponent).collect();
    exponents.dedup();
    exponents.sort_unstable();
    exponents.dedup();
    let whole = |number: &dyn Fn(i32) -> String| {
        let one = |exponent: &i32| {
            let spelled: Vec<&str> = units.iter().filter(|(_, e)| e == exponent).map(|(unit, _)| *unit).collect();
            format!("(?:{}){BLANKS}(?:{})", number(*exponent), spelled.join("|"))
        };
        let all: Vec<String> = exponents.iter().map(one).collect();
        format!("^{BLANKS}(?:{}){BLANKS}$", all.join("|"))
    };
    fn apart<'a>(units: &[(&str, i32)], (text, open): End<'a>) -> (&'a str, i32, bool) {
        let (number, unit) = text.split_once(' ').unwrap_or((text, ""));
        let exponent = units.iter().find(|(spelled, _)| *spelled == unit).map_or(0, |(_, exponent)| *exponent);
        (number, exponent, open)
    }
    let mut all = Vec::new();
    if let Some((number, from, open)) = least.map(|end| apart(units, end)) {
        all.push(whole(&|to| from_on(&Decimal::new(number, from - to), open)));
    }
    if let Some((number, from, open)) = most.map(|end| apart(units, end)) {
        all.push(whole(&|to| up_to(&Decimal::new(number, from - to), open)));
    }
    if all.is_empty() {
        all.push(whole(&|_| format!("[-+\u{2212}]?{BLANKS}{ANY}")));
    }
    all
}

/// The size of a decimal, as digits before and after the point without noughts that say nothing.
struct Decimal {
    negative: bool,
    whole: String,
    part: String,
}

impl Decimal {
    /// A number as it is written, times a power of ten.
    fn new(written: &str, power: i32) -> Self {
        let (negative, size) = written.strip_prefix('-').map_or((false, written), |size| (true, size));
        let (whole, part) = size.split_once('.').unwrap_or((size, ""));
        let moved = power.unsigned_abs() as usize;
        let noughts = "0".repeat(moved);
        let digits = format!("{noughts}{whole}{part}{noughts}");
        // Where the point stands among them, with noughts enough on either side.
        let point = (moved + whole.len()).saturating_add_signed(power as isize);
        let (whole, part) = digits.split_at(point);
        let whole = whole.trim_start_matches('0');
        Self {
            negative,
            whole: if whole.is_empty() { "0" } else { whole }.to_owned(),
            part: part.trim_end_matches('0').to_owned(),
        }
    }

    fn is_nought(&self) -> bool {
        self.whole == "0" && self.part.is_empty()
    }
}

/// Decimals with their signs that are at least so large.
fn from_on(least: &Decimal, open: bool) -> String {
    let minus = format!("[-\u{2212}]{BLANKS}");
    if least.negative {
        return format!("\\+?{BLANKS}{ANY}|{minus}(?:{})", at_most(least, open));
    }
    let plus = format!("\\+?{BLANKS}(?:{})", at_least(least, open));
    if least.is_nought() && !open { format!("{plus}|{minus}{NOUGHT}") } else { plus }
}

/// Decimals with their signs that are at most so large, which is not negative.
fn up_to(most: &Decimal, open: bool) -> String {
    format!("\\+?{BLANKS}(?:{})|[-\u{2212}]{BLANKS}{ANY}", at_most(most, open))
}

/// Digits without a sign: no larger than another number's.
fn at_most(most: &Decimal, open: bool) -> String {
    let mut all = Vec::new();
    let wholes = smaller(&most.whole);
    if !wholes.is_empty() {
        all.push(format!("(?:{})(?:\\.[0-9]+)?", wholes.join("|")));
    }
    let (whole, part) = (&most.whole, &most.part);
    let mut parts: Vec<String> = Vec::new();
    for (n, digit) in part.char_indices() {
        let before = &part[..n];
        if n > 0 {
            parts.push(before.to_owned());
        }
        if let Some(below) = below(digit) {
            parts.push(format!("{before}[0-{below}][0-9]*"));
        }
    }
    match (part.is_empty(), open) {
        (true, true) => {}
        (true, false) => all.push(format!("{whole}(?:\\.0+)?")),
        (false, _) => {
            if !open {
                parts.push(format!("{part}0*"));
            }
            all.push(format!("{whole}(?:\\.(?:{}))?", parts.join("|")));
        }
    }
    format!("0*(?:{})", all.join("|"))
}

/// Digits without a sign: no smaller than another number's.
fn at_least(least: &Decimal, open: bool) -> String {
    let (whole, part) = (&least.whole, &least.part);
    let mut all = vec![format!("(?:{})(?:\\.[0-9]+)?", larger(whole).join("|"))];
    let mut parts: Vec<String> = Vec::new();
    for (n, digit) in part.char_indices() {
        if let Some(above) = above(digit) {
            parts.push(format!("{}[{above}-9][0-9]*", &part[..n]));
        }
    }
    all.push(match (part.is_empty(), open) {
        (true, false) => format!("{whole}(?:\\.[0-9]+)?"),
        (_, true) => {
            parts.push(format!("{part}0*[1-9][0-9]*"));
            format!("{whole}\\.(?:{})", parts.join("|"))
        }
        (false, false) => {
            parts.push(format!("{part}[0-9]*"));
            format!("{whole}\\.(?:{})", parts.join("|"))
        }
    });
    format!("0*(?:{})", all.join("|"))
}

/// Whole numbers below another, without noughts before them where they are as long.
fn smaller(whole: &str) -> Vec<String> {
    let length = whole.len();
    let mut all = Vec::new();
    if length > 1 {
        all.push(format!("[0-9]{{1,{}}}", length - 1));
    }
    for (n, digit) in whole.char_indices() {
        let first = if n == 0 && length > 1 { '1' } else { '0' };
        if let Some(below) = below(digit).filter(|below| *below >= first) {
            all.push(format!("{}[{first}-{below}][0-9]{{{}}}", &whole[..n], length - n - 1));
        }
    }
    all
}

/// Whole numbers above another.
fn larger(whole: &str) -> Vec<String> {
    let length = whole.len();
    let mut all = vec![format!("[1-9][0-9]{{{length},}}")];
    for (n, digit) in whole.char_indices() {
        if let Some(above) = above(digit) {
            all.push(format!("{}[{above}-9][0-9]{{{}}}", &whole[..n], length - n - 1));
        }
    }
    all
}

fn below(digit: char) -> Option<char> {
    (digit > '0').then(|| char::from(digit as u8 - 1))
}

fn above(digit: char) -> Option<char> {
    (digit < '9').then(|| char::from(digit as u8 + 1))
}

#[cfg(test)]
mod tests {
    use super::*;
    use num_rational::Ratio;
    use proptest::prelude::*;
    use regex::Regex;

    fn value(whole: &str, part: &str, power: i32) -> Ratio<i128> {
        let digits: i128 = format!("{whole}{part}").parse().expect("digits");
        let exponent = power - part.len() as i32;
        let ten = Ratio::from_integer(10_i128.pow(exponent.unsigned_abs()));
        if exponent < 0 { Ratio::from_integer(digits) / ten } else { Ratio::from_integer(digits) * ten }
    }

    proptest! {
        /// The oracle is exact arithmetic in fractions. Few different digits, so that numbers are often equal in part.
        #[test]
        fn a_decimal_matches_where_it_lies_within_the_bound(
            bound in ("[0-2]{1,3}", "[029]{0,3}"),
            number in ("[0-2]{1,4}", "[029]{0,4}"),
            (power, negative, below_nought, open) in (-3..=3_i32, any::<bool>(), any::<bool>(), any::<bool>()),
        ) {
            let text = |(whole, part): &(String, String)| match part.as_str() {
                "" => whole.clone(),
                part => format!("{whole}.{part}"),
            };
            let sign = |minus: bool| if minus { -1 } else { 1 };
            let least = value(&bound.0, &bound.1, power) * sign(below_nought);
            let size = value(&bound.0, &bound.1, power);
            let found = value(&number.0, &number.1, 0) * sign(negative);
            let written = format!("{}{}", if negative { "-" } else { "" }, text(&number));
            let holds = |pattern: String| Regex::new(&format!("^(?:{pattern})$")).expect("a pattern").is_match(&written);
            let minus = if below_nought { "-" } else { "" };
            // A bound below 0 that is 0 is none.
            prop_assume!(!below_nought || least != Ratio::from_integer(0));
            let from = Decimal::new(&format!("{minus}{}", text(&bound)), power);
            prop_assert_eq!(holds(from_on(&from, open)), found > least || (!open && found == least), "{} from {}", written, least);
            let to = Decimal::new(&text(&bound), power);
            prop_assume!(!open || size != Ratio::from_integer(0));
            prop_assert_eq!(holds(up_to(&to, open)), found < size || (!open && found == size), "{} to {}", written, size);
        }
    }
}
