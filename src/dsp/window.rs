use core::f64::consts::PI;

/// `sin(πx) / πx`
#[must_use]
pub fn sinc(x: f64) -> f64 {
    if x == 0.0 { 1.0 } else { libm::sin(PI * x) / (PI * x) }
}

/// Kaiser's window over −1 to 1, 0 outside.
#[must_use]
pub fn kaiser(x: f64, beta: f64) -> f64 {
    if x.abs() > 1.0 { 0.0 } else { bessel_i0(beta * libm::sqrt(1.0 - x * x)) / bessel_i0(beta) }
}

/// The shape of Kaiser's window for a depth of 50 dB or more: his formula, as in the documentation of `scipy.signal.kaiserord`,
/// which cites Oppenheim and Schafer, Discrete-Time Signal Processing, pp. 475-476.
#[must_use]
pub fn kaiser_beta(depth_db: f64) -> f64 {
    0.1102 * (depth_db - 8.7)
}

/// The modified Bessel function of order 0, by its series: all terms are positive, so nothing is lost.
#[must_use]
pub fn bessel_i0(x: f64) -> f64 {
    let quarter = x * x / 4.0;
    let (mut sum, mut term, mut k) = (1.0, 1.0, 1.0);
    while term > sum * 1e-17 {
        term *= quarter / (k * k);
        sum += term;
        k += 1.0;
    }
    sum
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_bessel_function_has_its_printed_values() {
        // `scipy.special.i0` of 1 (Abramowitz and Stegun, table 9.8) and of 5.
        assert!((bessel_i0(1.0) - 1.266_065_877_752_008_4).abs() < 1e-15);
        assert!((bessel_i0(5.0) - 27.239_871_823_604_442).abs() < 1e-13);
    }
}
