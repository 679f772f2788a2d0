use std::io;

use super::chain::Taps;
use super::recording::File;

/// Taps of what one channel leaks into another.
const TAPS: usize = 33;
/// How much louder, as power, the other channel is where the leak is measured; each relative to its own peak.
const LOUDER: f64 = 10.0;
/// How long a frame is, in seconds, and how many are needed at least; beyond the most nothing is gained.
const FRAME: f64 = 0.01;
const LEAST: usize = 8;
const MOST: usize = 300;
/// The energy of a frame under the loudest one that is sound still: 40 dB.
const AUDIBLE: f64 = 1e-4;
/// Rounds of the fit, and its ridge.
const ROUNDS: usize = 3;
const RIDGE: f64 = 1e-9;
/// The share of the power in those frames that a leak has to explain; less does more harm than good.
const EXPLAINED: f64 = 0.1;

/// What was found of a leak.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Bleed {
    /// There is none to speak of.
    None,
    /// The other channel is loud alone in too few frames.
    CannotTell,
    /// It comes through these taps.
    Found(Taps),
}

/// One channel and its peak.
#[derive(Clone, Copy, Debug)]
pub(super) struct Side {
    pub(super) channel: usize,
    pub(super) peak: f64,
}

/// A frame in which the other channel is loud alone.
struct Frame {
    own: Vec<f64>,
    /// With half the taps more to either side.
    other: Vec<f64>,
    /// How much louder, as power.
    louder: f64,
}

/// Looks for a leak from `other` into `own`, over all files.
pub(super) fn find(files: &[File], own: Side, other: Side) -> io::Result<Bleed> {
    if own.peak == 0.0 || other.peak == 0.0 {
        return Ok(Bleed::None);
    }
    // Where long tails leave no frame to the other channel alone, its quick changes may still stand out.
    let mut frames = frames(files, own, other, false)?;
    if frames.len() < LEAST {
        frames = self::frames(files, own, other, true)?;
    }
    Ok(if frames.len() < LEAST { Bleed::CannotTell } else { fitted(&frames) })
}

/// The frames in which the other channel is loudest against this one; of the changes from sample to sample, if so wanted.
fn frames(files: &[File], own: Side, other: Side, changes: bool) -> io::Result<Vec<Frame>> {
    let mut found: Vec<Frame> = Vec::new();
    let power = |samples: &[f64]| samples.iter().map(|x| x * x).sum::<f64>();
    let mut most = 0.0_f64;
    for file in files {
        let length = (FRAME * file.recording.rate()) as usize;
        let mut from = 0;
        while from + length <= file.frames() {
            let read = |channel: usize, from: isize, count: usize| {
                let mut samples = vec![0.0; count + usize::from(changes)];
                file.read(channel, from - isize::from(changes), &mut samples)?;
                io::Result::Ok(if changes { samples.windows(2).map(|two| two[1] - two[0]).collect() } else { samples })
            };
            let theirs: Vec<f64> = read(other.channel, from as isize - (TAPS / 2) as isize, length + TAPS - 1)?;
            let loud = power(&theirs[TAPS / 2..TAPS / 2 + length]);
            most = most.max(loud);
            if loud > AUDIBLE * most {
                let mine = read(own.channel, from as isize, length)?;
                let louder = loud / power(&mine).max(f64::MIN_POSITIVE) * (own.peak / other.peak).powi(2);
                found.push(Frame { own: mine, other: theirs, louder });
            }
            // What is clearest is kept, a list twice as long at most meanwhile.
            if found.len() > 2 * MOST {
                keep_clearest(&mut found, most);
            }
            from += length;
        }
    }
    keep_clearest(&mut found, most);
    Ok(found)
}

fn keep_clearest(frames: &mut Vec<Frame>, most: f64) {
    let audible = |frame: &Frame| {
        frame.other[TAPS / 2..TAPS / 2 + frame.own.len()].iter().map(|x| x * x).sum::<f64>() > AUDIBLE * most
    };
    frames.retain(|frame| frame.louder > LOUDER && audible(frame));
    frames.sort_by(|a, b| b.louder.total_cmp(&a.louder));
    frames.truncate(MOST);
}

/// The fit by least squares. Frames in which this channel has sound of its own stay loud behind it: they count the less.
fn fitted(frames: &[Frame]) -> Bleed {
    let mut weights = vec![1.0; frames.len()];
    let mut taps = Vec::new();
    for _ in 0..ROUNDS {
        let (square, across) = sums(frames, &weights);
        let Some(solution) = solve(&square, &across) else { return Bleed::CannotTell };
        taps = solution;
        for (weight, frame) in weights.iter_mut().zip(frames) {
            *weight = 1.0 / left(frame, &taps).max(f64::MIN_POSITIVE);
        }
    }
    let silent = vec![0.0; TAPS];
    // In the frames that count most: half of all.
    let mut order: Vec<usize> = (0..frames.len()).collect();
    order.sort_by(|a, b| weights[*b].total_cmp(&weights[*a]));
    order.truncate(frames.len().div_ceil(2));
    let all: f64 = order.iter().map(|n| left(&frames[*n], &silent)).sum();
    let rest: f64 = order.iter().map(|n| left(&frames[*n], &taps)).sum();
    if rest > (1.0 - EXPLAINED) * all {
        return Bleed::None;
    }
    // The sums run forwards through the other channel, taps backwards.
    taps.reverse();
    Bleed::Found(Taps(taps))
}

/// The energy that is left of a frame without the leak.
fn left(frame: &Frame, taps: &[f64]) -> f64 {
    let leak = frame.other.windows(TAPS).map(|past| past.iter().zip(taps).map(|(x, tap)| x * tap).sum::<f64>());
    frame.own.iter().zip(leak).map(|(own, leak)| (own - leak) * (own - leak)).sum()
}

/// The normal equations, each frame by its weight.
fn sums(frames: &[Frame], weights: &[f64]) -> (Vec<[f64; TAPS]>, [f64; TAPS]) {
    let (mut square, mut across) = (vec![[0.0; TAPS]; TAPS], [0.0; TAPS]);
    for (frame, weight) in frames.iter().zip(weights) {
        for (past, own) in frame.other.windows(TAPS).zip(&frame.own) {
            for ((row, place), value) in square.iter_mut().zip(&mut across).zip(past) {
                let value = value * weight;
                row.iter_mut().zip(past).for_each(|(place, factor)| *place += value * factor);
                *place += own * value;
            }
        }
    }
    // A little power on the diagonal: bands in which the other channel has nothing say nothing.
    let ridge = (0..TAPS).map(|n| square[n][n]).sum::<f64>() / TAPS as f64 * RIDGE;
    (0..TAPS).for_each(|n| square[n][n] += ridge);
    (square, across)
}

/// The solution of a symmetric positive definite system, by Cholesky's factors; none where it is not.
fn solve(square: &[[f64; TAPS]], right: &[f64; TAPS]) -> Option<Vec<f64>> {
    let mut lower = vec![[0.0; TAPS]; TAPS];
    for row in 0..TAPS {
        for column in 0..=row {
            let inner: f64 = (0..column).map(|n| lower[row][n] * lower[column][n]).sum();
            let rest = square[row][column] - inner;
            lower[row][column] = if row == column {
                if rest <= 0.0 {
                    return None;
                }
                rest.sqrt()
            } else {
                rest / lower[column][column]
            };
        }
    }
    let mut solution = vec![0.0; TAPS];
    for row in 0..TAPS {
        let inner: f64 = (0..row).map(|n| lower[row][n] * solution[n]).sum();
        solution[row] = (right[row] - inner) / lower[row][row];
    }
    for row in (0..TAPS).rev() {
        let inner: f64 = (row + 1..TAPS).map(|n| lower[n][row] * solution[n]).sum();
        solution[row] = (solution[row] - inner) / lower[row][row];
    }
    Some(solution)
}
