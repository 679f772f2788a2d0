/// How often guessing with a chance of `1/m` gives `right` or more of `n` right answers.
///
/// Summed exactly but for rounding, each term from the one before.
#[must_use]
pub fn binomial_tail(right: u32, n: u32, m: u32) -> f64 {
    if right == 0 {
        return 1.0;
    }
    let p = 1.0 / f64::from(m.max(2));
    let ln_odds = libm::log(p / (1.0 - p));
    // By logarithms: (1 − p)ⁿ alone may be too small for a number.
    let mut ln = f64::from(n) * libm::log1p(-p);
    let mut sum = 0.0;
    for k in 0..=n {
        if k > 0 {
            ln += libm::log(f64::from(n - k + 1) / f64::from(k)) + ln_odds;
        }
        if k >= right {
            sum += libm::exp(ln);
        }
    }
    sum.min(1.0)
}

/// The fewest right answers of `n` between `m` alternatives that guessing reaches with less than 5 % (one-sided); `None`
/// where not even all would do.
#[must_use]
pub fn critical_value(n: u32, m: u32) -> Option<u32> {
    (0..=n).find(|k| binomial_tail(*k, n, m) < 0.05)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The usual table for two alternatives, n = 10 to 25; exact fractions redone.
    #[test]
    fn the_whole_row() {
        let row: Vec<u32> = (10..=25).filter_map(|n| critical_value(n, 2)).collect();
        assert_eq!(row, [9, 9, 10, 10, 11, 12, 12, 13, 13, 14, 15, 15, 16, 16, 17, 18]);
        assert_eq!((critical_value(4, 2), critical_value(5, 2)), (None, Some(5)));
    }

    /// Closed form; six places are given.
    #[test]
    fn tails_of_guessing() {
        let rows = [
            (9, 10, 2, 0.010_742),
            (12, 16, 2, 2517.0 / 65536.0),
            (17, 24, 2, 0.031_957),
            (8, 10, 3, 0.003_404),
            (12, 20, 3, 0.012_973),
            (0, 10, 2, 1.0),
        ];
        for (right, n, m, p) in rows {
            assert!((binomial_tail(right, n, m) - p).abs() < 6e-7, "{right} of {n}");
        }
        // Large numbers neither vanish nor overflow: by symmetry half and half of the middle.
        assert!((binomial_tail(1001, 2001, 2) - 0.5).abs() < 1e-9);
    }
}
