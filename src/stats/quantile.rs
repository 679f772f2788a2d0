/// The value below which a share of some sorted values lies, between neighbours by a straight line; NaN of none.
///
/// The seventh of the definitions that statistics programs use: the share of the way from the first value to the last.
#[must_use]
pub fn quantile(sorted: &[f64], share: f64) -> f64 {
    let Some(last) = sorted.len().checked_sub(1) else { return f64::NAN };
    let at = share * last as f64;
    let low = at as usize;
    let value = |n: usize| sorted[n.min(last)];
    value(low) + (at - low as f64) * (value(low + 1) - value(low))
}

/// The place, from 1, of a percentile among so many sorted values: the first up to which lie at least so many hundredths of
/// all (nearest rank).
#[must_use]
pub fn nearest_rank(count: u64, hundredths: u64) -> u64 {
    let rank = (u128::from(count) * u128::from(hundredths)).div_ceil(100).max(1);
    u64::try_from(rank).unwrap_or(u64::MAX)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_percentile_by_nearest_rank_is_one_of_the_values() {
        // By the definition: of five values the 5th, 30th, 40th, 50th and 100th percentiles are the 1st, 2nd, 2nd, 3rd, 5th.
        assert_eq!([5, 30, 40, 50, 100].map(|p| nearest_rank(5, p)), [1, 2, 2, 3, 5]);
        assert_eq!((nearest_rank(0, 50), nearest_rank(u64::MAX, 100)), (1, u64::MAX));
    }

    #[test]
    fn quantiles_lie_between_neighbours() {
        let list: Vec<f64> = (0..=40).map(f64::from).collect();
        assert_eq!((quantile(&list, 0.025), quantile(&list, 0.975)), (1.0, 39.0));
        assert_eq!(quantile(&[1.0, 3.0], 0.25), 1.5);
        assert_eq!((quantile(&[3.0], 0.5), quantile(&[3.0], 1.0)), (3.0, 3.0));
        assert!(quantile(&[], 0.5).is_nan());
    }
}
