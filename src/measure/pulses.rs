use std::io;

use super::recording::File;
use crate::dsp::{kaiser, sinc};

/// Where the level before and after an edge is taken, in seconds from it.
const BEFORE: [f64; 2] = [-0.003, -0.0003];
const AFTER: [f64; 2] = [0.0003, 0.001];
/// How often a second steps of level are looked for.
const LOOKS: f64 = 10_000.0;
/// The part of the largest step that is a pulse, and how soon no second pulse begins, in seconds.
const PART: f64 = 0.5;
const APART: f64 = 0.001;
/// Deviations of the noise that the step has at least.
const DEVIATIONS: f64 = 6.0;
/// Samples to either side that a value between samples is made of, and the shape of their window.
const REACH: isize = 32;
const BETA: f64 = 9.0;

/// A rise of a clock's level.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Edge {
    /// In samples from the recording's start.
    pub(super) place: f64,
    /// Its standard error, in samples.
    pub(super) error: f64,
}

/// All pulses of a channel: where its level is half way between what it was and what it becomes.
pub(super) fn pulses(file: &File, channel: usize, upwards: bool) -> io::Result<Vec<Edge>> {
    let rate = file.recording.rate();
    let sign = if upwards { 1.0 } else { -1.0 };
    let steps = Steps::of(file, channel, sign)?;
    let largest = steps.values.iter().copied().fold(0.0, f64::max);
    if largest == 0.0 {
        return Ok(Vec::new());
    }
    let apart = (APART * LOOKS) as usize;
    let mut edges = Vec::new();
    let mut at = 0;
    while at < steps.values.len() {
        if steps.values[at] < PART * largest {
            at += 1;
            continue;
        }
        let range = at..(at + apart).min(steps.values.len());
        let best = range.max_by(|a, b| steps.values[*a].total_cmp(&steps.values[*b])).unwrap_or(at);
        let near = best * steps.hop;
        edges.extend(edge(file, channel, sign, near as isize, rate)?);
        // Beyond this rise: until the step falls under its threshold again.
        at = best + 1;
        while at < steps.values.len() && steps.values[at] >= PART * largest {
            at += 1;
        }
        at = at.max(best + apart);
    }
    Ok(edges)
}

/// How much the level rises at each look, on the means of what is before and after.
struct Steps {
    hop: usize,
    values: Vec<f64>,
}

impl Steps {
    fn of(file: &File, channel: usize, sign: f64) -> io::Result<Self> {
        let rate = file.recording.rate();
        let hop = ((rate / LOOKS) as usize).max(1);
        let looks = |time: f64| ((time * rate / hop as f64).round() as usize).max(1);
        // Means over hops, then over so many hops before and after.
        let mut means = Vec::with_capacity(file.frames() / hop + 1);
        let block = hop * 4_096;
        let mut from = 0;
        while from < file.frames() {
            let mut samples = vec![0.0; block];
            file.read(channel, from as isize, &mut samples)?;
            means.extend(samples.chunks(hop).map(|chunk| sign * chunk.iter().sum::<f64>() / hop as f64));
            from += block;
        }
        let (before, skip, after) = (looks(0.001), looks(AFTER[0]), looks(AFTER[1] - AFTER[0]));
        let mean = |range: core::ops::Range<usize>| {
            let length = range.len() as f64;
            means[range].iter().sum::<f64>() / length
        };
        let value = |at: usize| {
            if at < before + 1 || at + skip + after > means.len() {
                return 0.0;
            }
            mean(at + skip..at + skip + after) - mean(at - 1 - before..at - 1)
        };
        Ok(Self { hop, values: (0..means.len()).map(value).collect() })
    }
}

/// The edge about a place that is right to about half a millisecond; none where it does not stand out from the noise.
fn edge(file: &File, channel: usize, sign: f64, near: isize, rate: f64) -> io::Result<Option<Edge>> {
    let margin = (0.005 * rate) as isize + REACH;
    let first = near - margin;
    let mut samples = vec![0.0; 2 * margin as usize];
    file.read(channel, first, &mut samples)?;
    samples.iter_mut().for_each(|sample| *sample *= sign);
    let mut centre = margin as f64;
    let mut found = None;
    // Where the level is measured hangs on where the edge is: twice round is enough.
    for _ in 0..3 {
        let span = |window: [f64; 2]| {
            let at = |time: f64| ((centre + time * rate).round() as usize).clamp(0, samples.len());
            &samples[at(window[0])..at(window[1]).max(at(window[0]) + 1)]
        };
        let (before, after) = (span(BEFORE), span(AFTER));
        let mean = |samples: &[f64]| samples.iter().sum::<f64>() / samples.len() as f64;
        let (low, high) = (mean(before), mean(after));
        let noise = scatter(before);
        let half = 0.5 * (low + high);
        if high - low <= DEVIATIONS * noise {
            return Ok(None);
        }
        let Some(place) = crossing(&samples, half, centre, rate) else { return Ok(None) };
        let slope = value(&samples, place + 0.25) - value(&samples, place - 0.25);
        centre = place;
        let sides = 0.25 * noise * noise * (1.0 / before.len() as f64 + 1.0 / after.len() as f64);
        let error = (noise * noise + sides).sqrt() / (2.0 * slope).abs().max(f64::MIN_POSITIVE);
        found = Some(Edge { place: first as f64 + place, error });
    }
    Ok(found)
}

/// The SD of some samples about their straight line.
fn scatter(samples: &[f64]) -> f64 {
    let count = samples.len() as f64;
    let mean = samples.iter().sum::<f64>() / count;
    let place = |at: usize| at as f64 - 0.5 * (count - 1.0);
    let square: f64 = (0..samples.len()).map(|at| place(at) * place(at)).sum();
    let slope = samples.iter().enumerate().map(|(at, sample)| place(at) * sample).sum::<f64>() / square.max(1.0);
    let left = samples.iter().enumerate().map(|(at, sample)| (sample - mean - slope * place(at)).powi(2)).sum::<f64>();
    (left / (count - 2.0).max(1.0)).sqrt()
}

/// Where the wave between samples rises through a level, nearest to a place.
fn crossing(samples: &[f64], level: f64, centre: f64, rate: f64) -> Option<f64> {
    let reach = (0.001 * rate) as isize;
    let middle = centre.round() as isize;
    let rises = |at: isize| {
        let at = at as usize;
        at + 1 < samples.len() && samples[at] < level && samples[at + 1] >= level
    };
    let at =
        (middle - reach..=middle + reach).filter(|at| *at >= 0 && rises(*at)).min_by_key(|at| (at - middle).abs())?;
    // Halving, with a straight line's guess where it lies inside.
    let (mut low, mut high) = (at as f64, at as f64 + 1.0);
    let (mut below, mut above) = (samples[at as usize] - level, samples[at as usize + 1] - level);
    for _ in 0..40 {
        let guess = low - below * (high - low) / (above - below);
        let guess = if guess > low && guess < high { guess } else { 0.5 * (low + high) };
        let now = value(samples, guess) - level;
        if now.abs() < 1e-12 || high - low < 1e-9 {
            return Some(guess);
        }
        // The end that stays is weighed less (Illinois), so that both close in.
        if now < 0.0 {
            (low, below) = (guess, now);
            above *= 0.5;
        } else {
            (high, above) = (guess, now);
            below *= 0.5;
        }
    }
    Some(0.5 * (low + high))
}

/// The wave at a place between its samples.
fn value(samples: &[f64], place: f64) -> f64 {
    let whole = place.floor() as isize;
    (whole - REACH + 1..=whole + REACH)
        .filter_map(|at| {
            let apart = place - at as f64;
            let sample = samples.get(usize::try_from(at).ok()?)?;
            Some(sample * sinc(apart) * kaiser(apart / (REACH as f64 + 1.0), BETA))
        })
        .sum()
}
