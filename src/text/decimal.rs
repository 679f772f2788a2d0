use num_rational::Ratio;

/// A fraction as a decimal of at most 9 places, rounded half up, without trailing noughts: `0.25`, `-0.333333333`.
#[must_use]
pub fn decimal(value: Ratio<i128>) -> String {
    const PLACES: i128 = 1_000_000_000;
    let scaled = value * PLACES;
    let (n, d) = (*scaled.numer(), *scaled.denom());
    // The remainder decides, so that nothing is doubled and runs over.
    let rounded = n.div_euclid(d) + i128::from(n.rem_euclid(d) >= d - n.rem_euclid(d));
    let sign = if rounded < 0 { "-" } else { "" };
    let (whole, part) = (rounded.abs() / PLACES, rounded.abs() % PLACES);
    if part == 0 {
        return format!("{sign}{whole}");
    }
    format!("{sign}{whole}.{}", format!("{part:09}").trim_end_matches('0'))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn fractions_are_decimals_of_at_most_nine_places() {
        let shown = |n, d| decimal(Ratio::new(n, d));
        assert_eq!([shown(4, 1), shown(1, 4), shown(2, 3), shown(-1, 3)], ["4", "0.25", "0.666666667", "-0.333333333"]);
        // Halves go up, whichever side of nothing they stand on.
        assert_eq!([shown(1, 2_000_000_000), shown(-1, 2_000_000_000)], ["0.000000001", "0"]);
    }
}
