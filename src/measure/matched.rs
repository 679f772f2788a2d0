use std::io;

use super::chain::{Chain, Path, Taps};
use super::cut::Stretch;
use super::recording::File;
use super::template::Template;

/// Deviations of the noise that a missed hit stands out by at least, and its least part of a typical hit's amplitude.
const DEVIATIONS: f64 = 7.0;
const PART: f64 = 0.12;
/// How much power rises at a missed hit, 2 dB, over which past, and in which time after it; seconds.
const RISE: f64 = 1.585;
const PAST: f64 = 0.02;
const AFTER: f64 = 0.003;
const WINDOW: f64 = 0.001;
/// Candidates closer than this are one, in seconds.
const APART: f64 = 0.0025;

/// A place at which a template fits well, and how large it would be there.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Candidate {
    pub(super) place: usize,
    pub(super) amplitude: f64,
}

/// The template as a filter behind those of the channel, whose output at a place is the amplitude of a hit there.
pub(super) fn filter(stretch: &Stretch, template: &Template, paths: &[Path]) -> Chain {
    let samples = template.samples(stretch);
    let reach = stretch.size() - 1;
    let mut taps = vec![0.0; 2 * reach + 1];
    for (at, (sample, weight)) in samples.iter().zip(&stretch.weights).enumerate() {
        // The sample `at − before` after the place is reached by the tap that looks so far ahead.
        taps[reach + stretch.before - at] = sample * weight;
    }
    let taps = Taps(taps);
    let behind: Vec<Path> =
        paths.iter().map(|path| Path { channel: path.channel, taps: path.taps.then(&taps) }).collect();
    Chain::new(&behind, 4 * stretch.size())
}

/// All places at which a template stands out, first to last. `noise` is the power of the channel's noise a sample.
pub(super) fn candidates(
    stretch: &Stretch,
    file: &File,
    (chain, template): (&Chain, &Template),
    noise: f64,
    usual: f64,
) -> io::Result<Vec<Candidate>> {
    let samples = template.samples(stretch);
    let weighted = samples.iter().zip(&stretch.weights).map(|(sample, weight)| (sample * weight).powi(2)).sum::<f64>();
    let least = (DEVIATIONS * (noise * weighted).sqrt()).max(PART * usual);
    let apart = (APART * file.recording.rate()) as usize;
    let mut found: Vec<Candidate> = Vec::new();
    chain.all(file, |from, block| {
        for (at, amplitude) in block.iter().copied().enumerate().filter(|(_, amplitude)| *amplitude >= least) {
            let new = Candidate { place: from + at, amplitude };
            match found.last_mut() {
                Some(last) if new.place - last.place < apart => {
                    if amplitude > last.amplitude {
                        *last = new;
                    }
                }
                _ => found.push(new),
            }
        }
    })?;
    Ok(found)
}

/// Whether the power of the whitened channel rises at a place.
pub(super) fn rises(file: &File, white: &Chain, place: usize) -> io::Result<bool> {
    let rate = file.recording.rate();
    let [window, past, after] = [WINDOW, PAST, AFTER].map(|time| (time * rate) as usize);
    let samples = white.samples(file, place as isize - past as isize, past + after)?;
    let step = (window / 4).max(1);
    let power = |at: usize| samples[at..at + window].iter().map(|sample| sample * sample).sum::<f64>();
    let loudest = |range: core::ops::Range<usize>| range.step_by(step).map(power).fold(0.0, f64::max);
    Ok(loudest(past.saturating_sub(window / 2)..past + after - window) >= RISE * loudest(0..past - 3 * window / 2))
}
