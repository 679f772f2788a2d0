//! Recursive filters of second order.

use core::f64::consts::PI;

/// `(b0 + b1 z⁻¹ + b2 z⁻²) / (1 + a1 z⁻¹ + a2 z⁻²)`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Biquad {
    /// The factors of the input now, one and two samples ago.
    pub b: [f64; 3],
    /// The denominator after its leading 1.
    pub a: [f64; 2],
}

impl Biquad {
    /// A high-pass of quality `q` whose corner is exact, by the bilinear transform.
    #[must_use]
    pub fn high_pass(corner: f64, q: f64, rate: f64) -> Self {
        let k = libm::tan(PI * corner / rate);
        let norm = 1.0 + k / q + k * k;
        let b = 1.0 / norm;
        Self { b: [b, -2.0 * b, b], a: [2.0 * (k * k - 1.0) / norm, (1.0 - k / q + k * k) / norm] }
    }

    /// A low-pass of quality `q` whose corner is exact, by the bilinear transform.
    #[must_use]
    pub fn low_pass(corner: f64, q: f64, rate: f64) -> Self {
        let k = libm::tan(PI * corner / rate);
        let norm = 1.0 + k / q + k * k;
        let b = k * k / norm;
        Self { b: [b, 2.0 * b, b], a: [2.0 * (k * k - 1.0) / norm, (1.0 - k / q + k * k) / norm] }
    }

    /// The power gain at `part` of the sampling rate.
    #[must_use]
    pub fn power(&self, part: f64) -> f64 {
        let angle = 2.0 * PI * part;
        let square = |c: [f64; 3]| {
            let re = c[0] + c[1] * libm::cos(angle) + c[2] * libm::cos(2.0 * angle);
            let im = c[1] * libm::sin(angle) + c[2] * libm::sin(2.0 * angle);
            re * re + im * im
        };
        square(self.b) / square([1.0, self.a[0], self.a[1]])
    }
}

/// Filters in place through several sections, from rest; transposed direct form II. One pass, because each section waits
/// for its own last output and all can wait at once.
pub fn run<const SECTIONS: usize>(sections: &[Biquad; SECTIONS], samples: &mut [f64]) {
    let mut states = [[0.0; 2]; SECTIONS];
    for sample in samples {
        let mut x = *sample;
        for (Biquad { b, a }, state) in sections.iter().zip(&mut states) {
            let y = b[0] * x + state[0];
            state[0] = b[1] * x - a[0] * y + state[1];
            state[1] = b[2] * x - a[1] * y;
            x = y;
        }
        *sample = x;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_butterworth_pair_has_its_corner_3_db_down_and_falls_24_db_an_octave() {
        // |H|² = 1 / (1 + (fc/f)^8) of the analogue prototype, the frequency axis warped by tan(π f / rate).
        let (rate, corner) = (96_000.0, 6_500.0);
        let pair = [0.541_196_100_146_197, 1.306_562_964_876_377].map(|q| Biquad::high_pass(corner, q, rate));
        for f in [500.0, 3250.0, 6500.0, 13_000.0] {
            let warp = |f: f64| (PI * f / rate).tan();
            let expected = 1.0 / (1.0 + (warp(corner) / warp(f)).powi(8));
            let found = pair[0].power(f / rate) * pair[1].power(f / rate);
            // Near the double zero at 0 Hz the sum of the numerator cancels to about 1e-16 of 1, squared and doubled.
            assert!((found / expected - 1.0).abs() < 1e-6, "{f}: {found} {expected}");
        }
    }

    #[test]
    fn a_butterworth_low_pass_has_its_corner_3_db_down_and_falls_12_db_an_octave() {
        // |H|² = 1 / (1 + (f/fc)^4), the frequency axis warped as above.
        let (rate, corner) = (96_000.0, 6_000.0);
        let filter = Biquad::low_pass(corner, core::f64::consts::FRAC_1_SQRT_2, rate);
        for f in [100.0, 6000.0, 12_000.0, 20_000.0] {
            let warp = |f: f64| (PI * f / rate).tan();
            let expected = 1.0 / (1.0 + (warp(f) / warp(corner)).powi(4));
            assert!((filter.power(f / rate) / expected - 1.0).abs() < 1e-9, "{f}");
        }
    }

    #[test]
    fn the_filter_is_its_difference_equation() {
        // y[n] = b0 x[n] + b1 x[n−1] + b2 x[n−2] − a1 y[n−1] − a2 y[n−2], written out, one section after the other.
        let sections = [Biquad::high_pass(500.0, 0.6, 96_000.0), Biquad { b: [1.0, 0.5, 0.25], a: [-0.5, 0.2] }];
        let input: Vec<f64> = (0..300).map(|n| f64::from((n * 7919) % 1000) / 500.0 - 1.0).collect();
        let mut found = input.clone();
        run(&sections, &mut found);
        let direct = |section: &Biquad, x: &[f64]| {
            let mut y: Vec<f64> = Vec::new();
            for n in 0..x.len() {
                let past = |values: &[f64], back: usize| n.checked_sub(back).map_or(0.0, |n| values[n]);
                let feed: f64 = (0..3).map(|k| section.b[k] * past(x, k)).sum();
                y.push(feed - section.a[0] * past(&y, 1) - section.a[1] * past(&y, 2));
            }
            y
        };
        let expected = direct(&sections[1], &direct(&sections[0], &input));
        for (found, expected) in found.iter().zip(&expected) {
            assert!((found - expected).abs() < 1e-12);
        }
    }
}
