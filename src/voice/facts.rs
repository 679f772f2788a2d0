//! What can be measured of a master.

use super::k_energy;
use crate::dsp::{MASTER_RATE, Master};
use core::f64::consts::PI;
use dasp::envelope::{Detect, Detector};
use dasp::peak::full_wave;
use dasp::ring_buffer::Fixed;
use dasp::rms::Rms;
use dasp::window::{Hanning, Window};
use dasp::{Frame, Sample};

/// Measured facts of a voice, for people.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Facts {
    /// From the foot of the rise to the end of the tail, in seconds.
    pub length_s: f64,
    /// From 10 to 90 % of the peak, in milliseconds, as a follower reads it that rises at once with the waveform.
    pub attack_ms: f64,
    /// The largest sample, without sign.
    pub peak: f64,
    /// K-weighted energy in seconds at full scale: see [`k_energy`].
    pub k_energy: f64,
    /// The pitch of the body in hertz; `None` where the body is noise or too short to have one.
    pub pitch_hz: Option<f64>,
}

impl Facts {
    /// Measures a master.
    #[must_use]
    pub fn of(master: &Master) -> Self {
        let peak = levels(master).map(full_wave).fold(0.0, f64::max);
        Self {
            length_s: master.seconds(),
            attack_ms: attack(master, peak) * 1e3,
            peak,
            k_energy: k_energy(master),
            pitch_hz: pitch(master, peak),
        }
    }
}

/// Frequencies that are tried an octave, from 20 Hz to 18 kHz.
const STEPS_AN_OCTAVE: f64 = 24.0;
const BAND: [f64; 2] = [20.0, 18_000.0];

/// The frequency at which a master has most energy, in hertz, to within half a quarter-tone: a Fourier sum a frequency.
#[must_use]
pub fn strongest_hz(master: &Master) -> f64 {
    let count = libm::ceil(STEPS_AN_OCTAVE * libm::log2(BAND[1] / BAND[0])) as u32;
    let all = (0..=count).map(|n| BAND[0] * libm::exp2(f64::from(n) / STEPS_AN_OCTAVE));
    let energy = |hz: f64| {
        let angle = 2.0 * PI * hz / f64::from(MASTER_RATE);
        let turn = [libm::cos(angle), libm::sin(angle)];
        // A phasor as the two channels of a frame, turned on at each sample.
        let (mut at, mut sum) = ([1.0, 0.0], [0.0; 2]);
        for level in levels(master) {
            sum = sum.add_amp(at.scale_amp(level));
            at = [at[0] * turn[0] - at[1] * turn[1], at[0] * turn[1] + at[1] * turn[0]];
        }
        sum.mul_amp(sum).channels().sum::<f64>()
    };
    all.map(|hz| (energy(hz), hz)).fold((0.0, BAND[0]), |a, b| if b.0 > a.0 { b } else { a }).1
}

/// The samples of a master as doubles.
fn levels(master: &Master) -> impl Iterator<Item = f64> {
    master.samples.iter().map(|x| x.to_sample())
}

/// The size of a sample, whatever its sign.
struct Size;

impl Detect<f64> for Size {
    type Output = f64;

    fn detect(&mut self, sample: f64) -> f64 {
        full_wave(sample)
    }
}

/// Seconds from the first time at 10 % of the peak to the first at 90 %, straight lines between samples.
fn attack(master: &Master, peak: f64) -> f64 {
    // Rises in no time, and does not fall.
    let mut follower = Detector::new(Size, 0.0, f32::INFINITY);
    let mut before = 0.0;
    let (mut tenth, mut most) = (None, None);
    for (n, level) in levels(master).enumerate() {
        let now = follower.next(level) / peak;
        let crossing = |level: f64| n as f64 - (now - level) / (now - before);
        if tenth.is_none() && now >= 0.1 {
            tenth = Some(crossing(0.1));
        }
        if most.is_none() && now >= 0.9 {
            most = Some(crossing(0.9));
        }
        before = now;
    }
    most.zip(tenth).map_or(0.0, |(most, tenth)| (most - tenth) / f64::from(MASTER_RATE))
}

/// Samples of a master that become one for reading a pitch: 4 kHz.
const STEP: usize = 24;
/// The longest and the shortest period that is looked for, in those: 27 Hz to 1 kHz.
const PERIODS: core::ops::Range<usize> = 4..148;
/// How like its own shifted self a body must be to have a pitch; noise is nowhere near.
const LIKENESS: f64 = 0.8;

/// The pitch of the body, between 20 and 50 dB below the peak, by autocorrelation.
fn pitch(master: &Master, peak: f64) -> Option<f64> {
    // The root mean square of the 20 ms up to each sample, silence before the first.
    let mut rms = Rms::new(Fixed::from(vec![0.0; MASTER_RATE as usize / 50]));
    let loudness: Vec<f64> = levels(master).map(|x| rms.next(x) / peak).collect();
    let last_above = |part: f64| loudness.iter().rposition(|&level| level > part).unwrap_or(0);
    let body = master.samples.get(last_above(0.1)..last_above(0.003))?;
    // Means of steps have no gain at multiples of the new rate, which would fold to 0 Hz; twice is enough for noise.
    let once: Vec<f64> = body.chunks(4).map(mean).collect();
    let low: Vec<f64> = once.windows(2 * STEP / 4).step_by(STEP / 4).map(|w| w.iter().sum()).collect();
    let likeness: Vec<f64> = (0..=PERIODS.end).map(|lag| likeness(&low, lag)).collect::<Option<_>>()?;
    // The first top that is nearly as high as the highest: later ones are whole numbers of periods.
    let tops = || PERIODS.filter(|&lag| likeness[lag] >= likeness[lag - 1] && likeness[lag] > likeness[lag + 1]);
    let best = tops().map(|lag| likeness[lag]).fold(LIKENESS, f64::max);
    let top = tops().find(|&lag| likeness[lag] >= LIKENESS && likeness[lag] > 0.95 * best)?;
    Some(strongest(&low, 1.0 / top as f64) * f64::from(MASTER_RATE) / STEP as f64)
}

/// The frequency at which samples are strongest, within 6 % of `near`, both as parts of the sampling rate; read under
/// a Hann window, so that another tone does not pull it.
fn strongest(samples: &[f64], near: f64) -> f64 {
    // One term of the Fourier sum a sample, its real and its imaginary part as the two channels of a frame.
    let term = |n: usize, x: f64, frequency: f64| {
        let angle = 2.0 * PI * frequency * n as f64;
        let window: f64 = Hanning::window((n as f64 + 0.5) / samples.len() as f64);
        [libm::cos(angle), libm::sin(angle)].scale_amp(x * window)
    };
    let power = |frequency: f64| {
        let sum = samples.iter().enumerate().fold([0.0; 2], |sum, (n, &x)| sum.add_amp(term(n, x, frequency)));
        sum.mul_amp(sum).channels().sum::<f64>()
    };
    let steps = (-120..=120).map(|step| near * (1.0 + f64::from(step) / 2000.0));
    steps.map(|frequency| (power(frequency), frequency)).fold((0.0, near), |a, b| if b.0 > a.0 { b } else { a }).1
}

fn mean(samples: &[f32]) -> f64 {
    samples.iter().copied().map(f64::from).sum::<f64>() / samples.len() as f64
}

/// How like samples are to themselves `lag` later, from −1 to 1, whatever their decay; `None` where too few are left.
fn likeness(samples: &[f64], lag: usize) -> Option<f64> {
    let (early, late) = (samples.get(..samples.len().checked_sub(lag)?)?, samples.get(lag..)?);
    if early.len() < PERIODS.end {
        return None;
    }
    let (mut both, mut first, mut second) = (0.0, 0.0, 0.0);
    for (a, b) in early.iter().zip(late) {
        both += a * b;
        first += a * a;
        second += b * b;
    }
    let power = libm::sqrt(first * second);
    (power > 0.0).then(|| both / power)
}

#[cfg(test)]
mod tests {
    use super::*;
    use dasp::signal::{self, Signal};

    /// A master of so many samples of a signal.
    fn drawn(signal: impl Signal<Frame = f64>, length: usize) -> Master {
        Master { samples: signal.take(length).map(|x| x as f32).collect(), pre: 0 }
    }

    /// A tone of two that fall by a factor of e in so many seconds, the second an odd multiple higher and weaker.
    fn falling(hz: f64, seconds: f64) -> Master {
        let rate = f64::from(MASTER_RATE);
        let tone = signal::rate(rate).const_hz(hz).sine();
        let other = signal::rate(rate).const_hz(3.7 * hz).sine().scale_amp(0.2);
        let mut level = 1.0;
        let fall = signal::gen_mut(move || {
            level *= (-1.0 / (seconds * rate)).exp();
            level
        });
        drawn(tone.add_amp(other).mul_amp(fall), 60_000)
    }

    #[test]
    fn an_attack_is_the_time_from_a_tenth_to_nine_tenths_of_the_peak() {
        // Closed form: a line from 0 to 1 in 5 ms passes from 0.1 to 0.9 in 4 ms, however the sound goes on.
        let mut n = 0.0;
        let ramp = signal::gen_mut(move || {
            n += 1.0;
            n / 480.0
        });
        let samples = ramp.until_exhausted().take(480).chain([-0.3, 0.2, -0.95, 0.0]);
        let master = Master { samples: samples.map(|x| x as f32).collect(), pre: 0 };
        // Samples of 24 bits: a hundredth of a microsecond.
        assert!((Facts::of(&master).attack_ms - 4.0).abs() < 1e-5, "{:?}", Facts::of(&master));
        // The sign of the wave makes no odds.
        let upside_down = Master { samples: master.samples.iter().map(|x| -x).collect(), pre: 0 };
        assert_eq!(Facts::of(&upside_down).attack_ms, Facts::of(&master).attack_ms);
        assert_eq!(Facts::of(&upside_down).peak, 1.0);
    }

    #[test]
    fn the_strongest_frequency_is_that_of_the_strongest_tone() {
        for hz in [48.0, 331.0, 4_000.0] {
            // Half a step of an octave's 24.
            let found = strongest_hz(&falling(hz, 0.08));
            assert!((found / hz).log2().abs() <= 0.5 / 24.0 + 1e-9, "{hz}: {found}");
        }
    }

    #[test]
    fn the_pitch_is_that_of_the_tone_that_lasts_and_noise_has_none() {
        for hz in [48.0, 110.0, 331.0] {
            let pitch = Facts::of(&falling(hz, 0.08)).pitch_hz.expect("a tone");
            // The search goes in steps of a 2000th, and a falling tone is as wide as it is short.
            assert!((pitch / hz - 1.0).abs() < 2e-3, "{hz}: {pitch}");
        }
        assert_eq!(Facts::of(&drawn(signal::noise(1).scale_amp(0.5), 40_000)).pitch_hz, None);
    }
}
