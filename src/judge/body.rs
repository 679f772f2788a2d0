use crate::time::Span;
use rayon::prelude::*;
use std::f64::consts::{PI, TAU};

use super::first_notch_hz;

/// The spread of a voice's sound over frequency: what two of its hits take from each other when they are apart.
#[derive(Clone, Debug)]
pub struct Body {
    /// Frequency in hertz and energy there, a hertz apart, from 35 to 120 Hz.
    lines: Vec<(f64, f64)>,
    /// Of all energy, the part of the low end.
    low: f64,
    /// Of all energy, the part of each third of an octave, from [`LOWEST`] up.
    thirds: Vec<f64>,
}

/// What two like hits so far apart do to each other's sound, where the voice has energy.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Colour {
    /// The lowest frequency that they cancel, in hertz.
    pub first_notch_hz: Option<f64>,
    /// The energy from 35 to 120 Hz against that of one exact double hit, in decibels: 0 or less.
    pub body_db: Option<f64>,
}

/// The middle of the lowest third of an octave that is looked at, in hertz, and how many there are: to 20.5 kHz.
const LOWEST: f64 = 20.0;
const THIRDS: i32 = 31;
/// How sharp each of a band's four resonators is, so that all together let as much noise through as a third of an octave:
/// theirs is `f/(2Q) · 5π/16` wide, the third `f · (2^(1/6) − 2^(−1/6))` (closed form). An octave off, they are 42 dB down.
const SHARPNESS: f64 = 2.12;
/// A voice has energy where at least this part of all of it is, 40 dB down: within a third of an octave around a notch, or
/// from 35 to 120 Hz (chosen here, no source).
const SOME: f64 = 1e-4;

impl Body {
    /// Measures a voice's samples, `rate` a second: a Fourier sum a frequency, by turning a phasor.
    #[must_use]
    pub fn of(samples: &[f32], rate: u32) -> Self {
        let energy = |hz: f64| {
            let turn = TAU * hz / f64::from(rate);
            let (sin, cos) = turn.sin_cos();
            let (mut re, mut im) = (0.0, 0.0);
            let (mut x, mut y) = (1.0, 0.0);
            for &s in samples {
                re += f64::from(s) * x;
                im += f64::from(s) * y;
                (x, y) = (x * cos - y * sin, x * sin + y * cos);
            }
            re * re + im * im
        };
        let lines: Vec<(f64, f64)> =
            (35_u32..=120).into_par_iter().map(|hz| (f64::from(hz), energy(f64::from(hz)))).collect();
        let all: f64 = samples.iter().map(|s| f64::from(*s).powi(2)).sum();
        let part = |energy: f64| if all > 0.0 { energy / all } else { 0.0 };
        let third = |n: i32| part(band_energy(samples, LOWEST * (f64::from(n) / 3.0).exp2(), f64::from(rate)));
        let thirds = (0..THIRDS).into_par_iter().map(third).collect();
        // A line is a hertz wide, and stands for as much at the other sign of its frequency (Parseval).
        let low = lines.iter().map(|l| l.1).sum::<f64>() * 2.0 / f64::from(rate);
        Self { low: part(low), lines, thirds }
    }

    /// What two equal hits `gap` apart do to each other: nothing where the voice has no energy, and beyond the notch's reach,
    /// where they no longer add up to one sound.
    #[must_use]
    pub fn colour(&self, gap: Span) -> Colour {
        let notch = first_notch_hz(gap);
        Colour {
            first_notch_hz: notch.filter(|hz| self.sounds_at(*hz)),
            body_db: notch.filter(|_| self.low >= SOME).map(|_| self.two_hits_db(gap)),
        }
    }

    /// Whether the voice has energy around a frequency.
    fn sounds_at(&self, hz: f64) -> bool {
        let third = (3.0 * (hz / LOWEST).log2()).round();
        third >= 0.0 && self.thirds.get(third as usize).is_some_and(|part| *part >= SOME)
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

/// The energy that four resonators at a frequency, one after the other, let through, the ringing at the end included.
fn band_energy(samples: &[f32], hz: f64, rate: f64) -> f64 {
    let turn = TAU * hz / rate;
    let alpha = turn.sin() / (2.0 * SHARPNESS);
    let (gain, back) = (alpha / (1.0 + alpha), [-2.0 * turn.cos() / (1.0 + alpha), (1.0 - alpha) / (1.0 + alpha)]);
    // What went in and came out of each, one and two samples ago.
    let mut stages = [[0.0_f64; 4]; 4];
    let ringing = std::iter::repeat_n(0.0, (6.0 * rate / hz) as usize);
    let heard = samples.iter().map(|s| f64::from(*s)).chain(ringing).map(|x| {
        stages.iter_mut().fold(x, |x, [x1, x2, y1, y2]| {
            let y = gain * (x - *x2) - back[0] * *y1 - back[1] * *y2;
            (*x2, *x1, *y2, *y1) = (*x1, x, *y1, y);
            y
        })
    });
    heard.map(|y| y * y).sum()
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

    /// White noise has the same energy in every hertz: of 24 kHz, a third around 1 kHz has 232 Hz, and the low end 86 (closed
    /// form). A draw of two seconds strays by a tenth in the narrowest of these; a decibel is three times that.
    #[test]
    fn parts_are_those_of_white_noise() {
        let mut state = 1_u32;
        let mut draw = || {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            state as i32 as f32 / 2_147_483_648.0
        };
        let noise: Vec<f32> = (0..96_000).map(|_| draw()).collect();
        let body = Body::of(&noise, 48_000);
        let near = |found: f64, hz: f64| (10.0 * (found / (hz / 24_000.0)).log10()).abs() < 1.0;
        assert!(near(body.low, 86.0), "{}", body.low);
        for n in 12..22 {
            let hz = 0.2316 * LOWEST * (f64::from(n) / 3.0).exp2();
            assert!(near(body.thirds[n as usize], hz), "{hz} Hz: {}", body.thirds[n as usize]);
        }
        assert!(body.sounds_at(1_000.0) && body.sounds_at(17_000.0) && !body.sounds_at(25_000.0));
    }

    /// A voice from 6.5 kHz up has no body and no notch below its band; a low one no notch above its own; nobody has one at
    /// 25 kHz.
    #[test]
    fn what_a_voice_has_not_cannot_be_lost() {
        let sine = |hz: f64| -> Vec<f32> {
            // Under a Hann window, so that a tone does not leak all over.
            let window = |i: i32| 0.5 - 0.5 * (TAU * f64::from(i) / 48_000.0).cos();
            (0..48_000).map(|i| (window(i) * (TAU * hz * f64::from(i) / 48_000.0).sin()) as f32).collect()
        };
        let (low, high) = (Body::of(&sine(50.0), 48_000), Body::of(&sine(10_000.0), 48_000));
        let us = |n: i64| Span(n * 1_000_000);
        // 10 ms cancel 50 Hz, 50 us 10 kHz, 20 us 25 kHz.
        assert_eq!(low.colour(us(10_000)).first_notch_hz, Some(50.0));
        assert!(low.colour(us(10_000)).body_db.is_some_and(|db| db < -20.0));
        assert_eq!(low.colour(us(50)).first_notch_hz, None);
        assert!(low.colour(us(50)).body_db.is_some());
        assert_eq!(high.colour(us(50)), Colour { first_notch_hz: Some(10_000.0), body_db: None });
        assert_eq!(high.colour(us(10_000)), Colour::default());
        assert_eq!((low.colour(us(20)).first_notch_hz, high.colour(us(20)).first_notch_hz), (None, None));
        assert_eq!(low.colour(us(25_001)), Colour::default());
        assert_eq!(low.colour(Span::ZERO), Colour::default());
    }
}
