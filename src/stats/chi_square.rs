use core::f64::consts::PI;

/// How often χ² with so many degrees of freedom is as large as `x` or larger; 1 without any.
///
/// From one or two degrees upwards two at a time: the tail grows by `(x/2)^(k/2)·e^(−x/2)/Γ(k/2 + 1)`, which is integration by parts.
#[must_use]
pub fn chi_square_tail(x: f64, degrees: u32) -> f64 {
    let half = 0.5 * x.max(0.0);
    if degrees == 0 || half == 0.0 {
        return 1.0;
    }
    let fall = libm::exp(-half);
    let (mut tail, mut term, mut k) = match degrees % 2 {
        0 => (fall, fall * half, 2),
        _ => (libm::erfc(half.sqrt()), 2.0 * fall * (half / PI).sqrt(), 1),
    };
    while k < degrees {
        tail += term;
        k += 2;
        term *= half / (0.5 * f64::from(k));
    }
    tail.min(1.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The 95 % and 99 % points of a printed table of χ² (from memory), to its three places.
    #[test]
    fn points_are_those_of_the_table() {
        for (degrees, five, one) in [
            (1, 3.841, 6.635),
            (2, 5.991, 9.210),
            (3, 7.815, 11.345),
            (4, 9.488, 13.277),
            (5, 11.070, 15.086),
            (10, 18.307, 23.209),
        ] {
            // Half of the last place moves the tail by some 0.0001 at 5 %.
            assert!((chi_square_tail(five, degrees) - 0.05).abs() < 2e-4, "{degrees}");
            assert!((chi_square_tail(one, degrees) - 0.01).abs() < 5e-5, "{degrees}");
        }
        assert!((chi_square_tail(2.0, 2) - libm::exp(-1.0)).abs() < 1e-15);
        assert_eq!([chi_square_tail(0.0, 3), chi_square_tail(5.0, 0)], [1.0, 1.0]);
    }
}
