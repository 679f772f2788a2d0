/// The value below which a share of some sorted values lies, between neighbours by a straight line; NaN of none.
#[must_use]
pub fn quantile(sorted: &[f64], share: f64) -> f64 {
    let Some(last) = sorted.len().checked_sub(1) else { return f64::NAN };
    let at = share * last as f64;
    let low = at as usize;
    let value = |n: usize| sorted[n.min(last)];
    value(low) + (at - low as f64) * (value(low + 1) - value(low))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quantiles_lie_between_neighbours() {
        let list: Vec<f64> = (0..=40).map(f64::from).collect();
        assert_eq!((quantile(&list, 0.025), quantile(&list, 0.975)), (1.0, 39.0));
        assert_eq!(quantile(&[1.0, 3.0], 0.25), 1.5);
        assert_eq!((quantile(&[3.0], 0.5), quantile(&[3.0], 1.0)), (3.0, 3.0));
        assert!(quantile(&[], 0.5).is_nan());
    }
}
