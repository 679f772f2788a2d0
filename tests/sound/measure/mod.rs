//! What recordings say, held against recordings that are made here: hits of the kit at times that are known, spoiled on purpose.
//! The times are the oracle. Nothing of the program's renderer has a part in it: hits are put between samples here.

mod chain;
mod gaps;
mod table;

use hitgap::dsp::{Master, StreamKey};
use hitgap::measure::Held;
use hitgap::patch::kit;
use hitgap::voice::{NoiseKey, master};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};
use std::f64::consts::PI;

/// Samples a second of all recordings: a master has twice as many.
pub(super) const RATE: f64 = 48_000.0;
/// Samples of a master to either side that one between them is made of.
const REACH: i64 = 32;

/// A channel while it is being made.
pub(super) struct Track(pub(super) Vec<f64>);

/// The kit's voice of this name.
pub(super) fn voice(name: &str) -> Master {
    let voice = kit().iter().find(|voice| voice.name == name).expect("a voice of the kit");
    let settings = voice.sound.settings().expect("the kit is drawn");
    master(settings, &NoiseKey::voice(1, name)).expect("the kit can be drawn")
}

/// A pulse of 5 ms with edges as steep as 22 kHz allow: the running sum of a windowed sinc, which by its symmetry is at half its
/// height half a sample of the master before its middle.
pub(super) fn pulse() -> Master {
    let tap = |x: f64| {
        let window = 0.42 + 0.5 * (PI * x / 64.0).cos() + 0.08 * (2.0 * PI * x / 64.0).cos();
        let band = 2.0 * 22_000.0 / 96_000.0;
        if x == 0.0 { band } else { (PI * band * x).sin() / (PI * x) * window }
    };
    let taps: Vec<f64> = (-64..=64).map(|n| tap(f64::from(n))).collect();
    let all: f64 = taps.iter().sum();
    let step = |at: i64| taps[..(at + 64).clamp(0, 129) as usize].iter().sum::<f64>() / all;
    // One sample more than the taps before it, so that the first rise is half a sample before sample 100.
    let samples = (0..900).map(|n| (step(n - 99) - step(n - 99 - 480)) as f32).collect();
    Master { samples, pre: 100 }
}

/// What [`pulse`] is early by, in seconds.
pub(super) const PULSE_EARLY: f64 = 0.5 / 96_000.0;

impl Track {
    pub(super) fn new(seconds: f64) -> Self {
        Self(vec![0.0; (seconds * RATE) as usize])
    }

    /// Adds a hit at a time. Its samples lie all at the same place between those of the master, so one set of weights does: a
    /// sinc under Blackman's window, whose error under 18 kHz is some −75 dB.
    pub(super) fn strike(&mut self, master: &Master, at: f64, gain: f64) {
        let first = ((at - master.pre as f64 / 96_000.0) * RATE).ceil().max(0.0) as usize;
        let place = (first as f64 / RATE - at) * 96_000.0 + master.pre as f64;
        let (whole, part) = (place.floor() as i64, place - place.floor());
        let weight = |n: i64| {
            let x = part - n as f64;
            let u = PI * x / REACH as f64;
            let window = 0.42 + 0.5 * u.cos() + 0.08 * (2.0 * u).cos();
            gain * if x == 0.0 { 1.0 } else { (PI * x).sin() / (PI * x) * window }
        };
        let weights: Vec<f64> = (-REACH + 1..=REACH).map(weight).collect();
        let count = (master.samples.len() + REACH as usize) / 2;
        for (n, out) in self.0.iter_mut().skip(first).take(count).enumerate() {
            let from = whole + 2 * n as i64 - REACH + 1;
            let skipped = (-from).max(0) as usize;
            let samples = &master.samples[(from.max(0) as usize).min(master.samples.len())..];
            let pairs = weights.iter().skip(skipped).zip(samples);
            *out += pairs.map(|(weight, sample)| weight * f64::from(*sample)).sum::<f64>();
        }
    }

    pub(super) fn peak(&self) -> f64 {
        self.0.iter().fold(0.0, |peak, x| peak.max(x.abs()))
    }

    /// Adds white noise so many decibels under a peak.
    pub(super) fn noise(&mut self, peak: f64, db: f64, bits: &mut ChaCha8Rng) {
        let rms = peak * 10.0_f64.powf(-db / 20.0);
        self.0.iter_mut().for_each(|x| *x += rms * normal(bits));
    }

    /// Adds another track, so many decibels weaker; a fifth of it comes a sample later.
    pub(super) fn bleed(&mut self, other: &Self, db: f64) {
        let gain = 10.0_f64.powf(-db / 20.0) * self.peak() / other.peak();
        for n in 1..self.0.len() {
            self.0[n] += gain * (0.8 * other.0[n] + 0.2 * other.0[n - 1]);
        }
    }

    /// Adds eighty reflections over 60 ms that die away, together 15 dB weaker than what they reflect.
    pub(super) fn room(&mut self, bits: &mut ChaCha8Rng) {
        let taps: Vec<(usize, f64)> = (0..80)
            .map(|n| {
                let time = 0.003 + 0.0007 * f64::from(n);
                ((time * RATE) as usize, normal(bits) * (-time / 0.02).exp())
            })
            .collect();
        let power: f64 = taps.iter().map(|tap| tap.1 * tap.1).sum();
        let gain = (10.0_f64.powf(-1.5) / power).sqrt();
        let dry = self.0.clone();
        for (late, weight) in taps {
            self.0.iter_mut().skip(late).zip(&dry).for_each(|(x, dry)| *x += gain * weight * dry);
        }
    }

    /// Adds hum of 50 Hz and two of its harmonics, and a level that never changes.
    pub(super) fn hum(&mut self, rms: f64, level: f64) {
        for (n, x) in self.0.iter_mut().enumerate() {
            let turn = 2.0 * PI * 50.0 * n as f64 / RATE;
            *x += level + rms * 1.2 * (turn.sin() + 0.5 * (3.0 * turn + 1.0).sin() + 0.3 * (5.0 * turn).sin());
        }
    }

    /// Cuts off what is higher than so many decibels under the peak.
    pub(super) fn clip(&mut self, db: f64) {
        let most = self.peak() * 10.0_f64.powf(-db / 20.0);
        self.0.iter_mut().for_each(|x| *x = x.clamp(-most, most));
    }
}

/// Tracks as a recorder hands them over.
pub(super) fn held(tracks: &[Track]) -> Held {
    let channels = tracks.iter().map(|track| track.0.iter().map(|x| *x as f32).collect());
    Held { rate: RATE, channels: channels.collect() }
}

/// The stream of random numbers of a purpose.
pub(super) fn bits(purpose: &str, number: u64) -> ChaCha8Rng {
    StreamKey::of(&[b"measure", purpose.as_bytes(), &number.to_le_bytes()]).stream()
}

pub(super) fn normal(bits: &mut ChaCha8Rng) -> f64 {
    StandardNormal.sample(bits)
}
