//! What can be measured of a master.

use super::{Master, k_energy};
use core::f64::consts::PI;

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
        let peak = master.samples.iter().map(|x| f64::from(x.abs())).fold(0.0, f64::max);
        Self {
            length_s: master.seconds(),
            attack_ms: attack(master, peak) * 1e3,
            peak,
            k_energy: k_energy(master),
            pitch_hz: pitch(master, peak),
        }
    }
}

/// Seconds from the first time at 10 % of the peak to the first at 90 %, straight lines between samples.
fn attack(master: &Master, peak: f64) -> f64 {
    let mut highest = 0.0_f32;
    let mut before = 0.0;
    let (mut tenth, mut most) = (None, None);
    for (n, &x) in master.samples.iter().enumerate() {
        highest = highest.max(x.abs());
        let now = f64::from(highest) / peak;
        let crossing = |level: f64| n as f64 - (now - level) / (now - before);
        if tenth.is_none() && now >= 0.1 {
            tenth = Some(crossing(0.1));
        }
        if most.is_none() && now >= 0.9 {
            most = Some(crossing(0.9));
        }
        before = now;
    }
    most.zip(tenth).map_or(0.0, |(most, tenth)| (most - tenth) / f64::from(master.rate))
}

/// Samples of a master that become one for reading a pitch: 4 kHz.
const STEP: usize = 24;
/// The longest and the shortest period that is looked for, in those: 27 Hz to 1 kHz.
const PERIODS: core::ops::Range<usize> = 4..148;
/// How like its own shifted self a body must be to have a pitch; noise is nowhere near.
const LIKENESS: f64 = 0.8;

/// The pitch of the body, between 20 and 50 dB below the peak, by autocorrelation.
fn pitch(master: &Master, peak: f64) -> Option<f64> {
    let levels: Vec<f64> = levels(&master.samples, master.rate as usize / 50).map(|level| level / peak).collect();
    let last_above = |part: f64| levels.iter().rposition(|&level| level > part).unwrap_or(0);
    let body = master.samples.get(last_above(0.1)..last_above(0.003))?;
    // Means of steps have no gain at multiples of the new rate, which would fold to 0 Hz; twice is enough for noise.
    let once: Vec<f64> = body.chunks(4).map(mean).collect();
    let low: Vec<f64> = once.windows(2 * STEP / 4).step_by(STEP / 4).map(|w| w.iter().sum()).collect();
    let likeness: Vec<f64> = (0..=PERIODS.end).map(|lag| likeness(&low, lag)).collect::<Option<_>>()?;
    // The first top that is nearly as high as the highest: later ones are whole numbers of periods.
    let tops = || PERIODS.filter(|&lag| likeness[lag] >= likeness[lag - 1] && likeness[lag] > likeness[lag + 1]);
    let best = tops().map(|lag| likeness[lag]).fold(LIKENESS, f64::max);
    let top = tops().find(|&lag| likeness[lag] >= LIKENESS && likeness[lag] > 0.95 * best)?;
    Some(strongest(&low, 1.0 / top as f64) * f64::from(master.rate) / STEP as f64)
}

/// The root mean square of the `window` samples up to each, silence before the first.
fn levels(samples: &[f32], window: usize) -> impl Iterator<Item = f64> {
    let squares = samples.iter().map(|&x| f64::from(x) * f64::from(x));
    let gone = std::iter::repeat_n(0.0, window).chain(squares.clone());
    squares.zip(gone).scan(0.0, move |sum, (new, old)| {
        // What is taken away again may leave less than nothing by rounding.
        *sum = f64::max(*sum + new - old, 0.0);
        Some(libm::sqrt(*sum / window as f64))
    })
}

/// The frequency at which samples are strongest, within 6 % of `near`, both as parts of the sampling rate; read under
/// a Hann window, so that another tone does not pull it.
fn strongest(samples: &[f64], near: f64) -> f64 {
    let power = |frequency: f64| {
        let (mut re, mut im) = (0.0, 0.0);
        for (n, x) in samples.iter().enumerate() {
            let window = 0.5 - 0.5 * libm::cos(2.0 * PI * (n as f64 + 0.5) / samples.len() as f64);
            let angle = 2.0 * PI * frequency * n as f64;
            re += x * window * libm::cos(angle);
            im += x * window * libm::sin(angle);
        }
        re * re + im * im
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
