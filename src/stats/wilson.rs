/// The two-sided 95 % point of a normal distribution.
const Z: f64 = 1.959_964;

/// The Wilson 95 % interval of a share that was seen `share` of `trials` times; from nothing to all where there was no
/// trial.
///
/// Source: Wilson's score interval, `(p + z²/2n ± z·√(p(1 − p)/n + z²/4n²)) / (1 + z²/n)`, as at
/// rossmanchance.com/applets/CIformulas.htm and influentialpoints.com. `trials` need not be whole: where trials hang
/// together, fewer count.
#[must_use]
pub fn wilson(share: f64, trials: f64) -> [f64; 2] {
    if trials <= 0.0 {
        return [0.0, 1.0];
    }
    let zz = Z * Z / trials;
    let middle = share + zz / 2.0;
    let half = Z * (share * (1.0 - share) / trials + zz / (4.0 * trials)).sqrt();
    // At both ends the closed form is exact, and rounding is not.
    let low = if share <= 0.0 { 0.0 } else { (middle - half) / (1.0 + zz) };
    let high = if share >= 1.0 { 1.0 } else { (middle + half) / (1.0 + zz) };
    [low.max(0.0), high.min(1.0)]
}

#[cfg(test)]
mod tests {
    use super::super::normal_cdf;
    use super::*;

    #[test]
    fn the_two_sided_point_leaves_a_fortieth_on_either_side() {
        // Seven digits: the density there is 0.058, so that the share is right to 3e-8.
        assert!((normal_cdf(Z) - 0.975).abs() < 3e-8);
    }

    /// Closed form, as scipy's `proportion_confint` with the same z gives it to six places.
    #[test]
    fn intervals_are_those_of_the_table() {
        let rows = [
            (12, 16, 0.505_017, 0.898_179),
            (9, 10, 0.595_850, 0.982_124),
            (10, 10, 0.722_467, 1.0),
            (0, 10, 0.0, 0.277_533),
            (50, 100, 0.403_832, 0.596_168),
            (81, 263, 0.255_289, 0.366_210),
            (3000, 10_000, 0.291_097, 0.309_057),
        ];
        for (seen, trials, low, high) in rows {
            let n = f64::from(trials);
            let [l, h] = wilson(f64::from(seen) / n, n);
            // The table has six places.
            assert!((l - low).abs() < 6e-7 && (h - high).abs() < 6e-7, "{seen}/{trials}: {l} {h}");
        }
        assert_eq!(wilson(0.0, 0.0), [0.0, 1.0]);
    }
}
