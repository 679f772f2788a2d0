//! Preferred values of resistors and capacitors, IEC 60063.
//!
//! The standard's own figures, as en.wikipedia.org/wiki/E_series_of_preferred_numbers lists them: E24 is not what rounding
//! 10^(n/24) gives (27, 30, 33, 36, 39, 43, 47 and 82 differ), and E12 is every other value of E24.

/// E12, for parts of 10 % (IEC 60063).
pub const E12: [u32; 12] = [10, 12, 15, 18, 22, 27, 33, 39, 47, 56, 68, 82];

/// E24, for parts of 5 % (IEC 60063).
pub const E24: [u32; 24] =
    [10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30, 33, 36, 39, 43, 47, 51, 56, 62, 68, 75, 82, 91];

/// The values of a series from one power of ten up to and with another, in that many tenths of a unit: `values(&E12, 0, 1)`
/// is 1, 1.2, … 8.2, 10.
#[must_use]
pub fn values(series: &[u32], from: i32, to: i32) -> Vec<f64> {
    let power = |p: i32| (0..p.abs()).fold(1.0, |x, _| if p < 0 { x / 10.0 } else { x * 10.0 });
    let decade = |p: i32| series.iter().map(move |&v| f64::from(v) / 10.0 * power(p));
    (from..to).flat_map(decade).chain(std::iter::once(power(to))).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_other_value_of_e24_is_e12_and_both_are_near_even_ratios() {
        let other: Vec<u32> = E24.iter().copied().step_by(2).collect();
        assert_eq!(other, E12);
        // The furthest from 10^(n/24) is 3.0, 4.4 % off (worked out): within what parts of 5 % are off themselves.
        for (n, &v) in E24.iter().enumerate() {
            let even = 10.0 * libm::pow(10.0, n as f64 / 24.0);
            assert!((f64::from(v) / even - 1.0).abs() < 0.05, "{v} at {n}");
        }
    }

    #[test]
    fn decades_end_with_a_power_of_ten() {
        let all = values(&E12, 0, 2);
        assert_eq!((all.len(), all[0], all[12], all[24]), (25, 1.0, 10.0, 100.0));
    }
}
