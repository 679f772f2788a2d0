/// The share of a chi-squared distribution with so many degrees of freedom that lies beyond a value.
///
/// All of it where there is no degree: nothing was asked.
///
/// By the sums that end (Abramowitz and Stegun 26.4.4 and 26.4.5, from memory): from the normal tail for odd degrees, from the
/// exponential for even ones, a term for every two degrees.
#[must_use]
pub fn chi_square_tail(value: f64, degrees: u32) -> f64 {
    if value <= 0.0 || degrees == 0 {
        return 1.0;
    }
    let half = value / 2.0;
    let (mut tail, mut term, mut done) = if degrees.is_multiple_of(2) {
        let first = libm::exp(-half);
        (first, first * half, 2)
    } else {
        // The density of the normal distribution at √value, twice, times √value: the term of one degree.
        let root = libm::sqrt(value);
        (libm::erfc(libm::sqrt(half)), 2.0 * root * libm::exp(-half) / libm::sqrt(core::f64::consts::TAU), 1)
    };
    while done < degrees {
        tail += term;
        done += 2;
        term *= value / f64::from(done);
    }
    tail
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Upper 5 % and 1 % points as every table prints them (Abramowitz and Stegun, table 26.8; from memory), six digits: half of the last
    /// moves the tail by up to 0.00003 of it.
    #[test]
    fn tails_are_those_of_the_table() {
        for (degrees, five, one) in
            [(1, 3.84146, 6.63490), (2, 5.99146, 9.21034), (3, 7.81473, 11.3449), (10, 18.3070, 23.2093)]
        {
            assert!((chi_square_tail(five, degrees) / 0.05 - 1.0).abs() < 3e-5, "{degrees}");
            assert!((chi_square_tail(one, degrees) / 0.01 - 1.0).abs() < 4e-5, "{degrees}");
        }
        assert_eq!([chi_square_tail(0.0, 3), chi_square_tail(-1.0, 2), chi_square_tail(5.0, 0)], [1.0; 3]);
    }
}
