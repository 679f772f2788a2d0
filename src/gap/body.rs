use crate::time::Span;
use std::f64::consts::{PI, TAU};

/// How the low end of a voice is spread, from 35 to 120 Hz: what two of its hits take from each other when they are apart.
#[derive(Clone, Debug)]
pub struct Body {
    /// Frequency in hertz and energy there, a hertz apart.
    lines: Vec<(f64, f64)>,
}

impl Body {
    /// Of a voice's samples, `rate` a second: a Fourier sum a frequency, by turning a phasor.
    #[must_use]
    pub fn of(samples: &[f32], rate: u32) -> Self {
        let line = |hz: u32| {
            let turn = TAU * f64::from(hz) / f64::from(rate);
            let (sin, cos) = turn.sin_cos();
            let (mut re, mut im) = (0.0, 0.0);
            let (mut x, mut y) = (1.0, 0.0);
            for &s in samples {
                re += f64::from(s) * x;
                im += f64::from(s) * y;
                (x, y) = (x * cos - y * sin, x * sin + y * cos);
            }
            (f64::from(hz), re * re + im * im)
        };
        Self { lines: (35..=120).map(line).collect() }
    }

    /// The energy of two equal hits `gap` apart against that of two at once, in decibels: 0 or less.
    ///
    /// Two equal copies `d` apart keep `cos²(πfd)` of the energy at `f` (closed form).
    #[must_use]
    pub fn two_hits_db(&self, gap: Span) -> f64 {
        let d = gap.ms() / 1000.0;
        let (mut kept, mut all) = (0.0, 0.0);
        for &(hz, energy) in &self.lines {
            kept += energy * (PI * hz * d).cos().powi(2);
            all += energy;
        }
        if all > 0.0 { 10.0 * (kept / all).log10() } else { 0.0 }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A single sine of 50 Hz keeps cos²(π·50·d): at 5 ms half, −3.01 dB; at 2.5 ms −0.69 dB.
    #[test]
    fn a_steady_low_tone_follows_the_closed_form() {
        let tone: Vec<f32> = (0..96_000).map(|i| (TAU * 50.0 * f64::from(i) / 48_000.0).sin() as f32).collect();
        let body = Body::of(&tone, 48_000);
        assert!((body.two_hits_db(Span::from_ms(5)) + 3.0103).abs() < 0.01);
        assert!((body.two_hits_db(Span(2_500_000_000)) + 0.6877).abs() < 0.01);
        assert_eq!(body.two_hits_db(Span::ZERO), 0.0);
    }
}
