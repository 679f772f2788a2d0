use super::bound::CELL;
use super::cue::Cue;
use super::cues::Window;
use super::error::RenderError;
use super::kernel::correlate;
use super::mix::Mixer;
use super::program::{Program, Watch};
use crate::dsp::{kaiser, sinc};
use rayon::prelude::*;
use std::ops::Range;
use std::sync::LazyLock;

/// No file passes this true peak (EBU Tech 3343).
pub const CEILING_DBTP: f64 = -1.0;
/// What is kept in hand below the ceiling: fourfold oversampling reads a tone at half the sample rate up to 0.688 dB
/// low (BS.1770-5, Annex 2: `20 log cos(π f / 4)`, with `f` the part of the sample rate).
pub const IN_HAND_DB: f64 = 0.7;

/// Frames that are measured at a time.
const BLOCK: u64 = 4096;
/// Frames that are skipped or not together.
const STRETCH: usize = 64;
const TAPS: usize = 24;
/// Samples that a reading needs before and after its own.
const BEFORE: usize = TAPS / 2 - 1;
const AFTER: usize = TAPS / 2;

/// What a render's loudest moment is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Levels {
    /// The true peak, full scale 1, read at four times the sample rate.
    pub true_peak: f32,
}

impl Levels {
    /// The true peak in dBTP; −∞ for silence.
    #[must_use]
    pub fn dbtp(&self) -> f64 {
        20.0 * libm::log10(f64::from(self.true_peak))
    }

    /// The factor that keeps the file under [`CEILING_DBTP`], with [`IN_HAND_DB`] to spare: 1 unless it has to be less.
    #[must_use]
    pub fn safe_gain(&self) -> f64 {
        let most = libm::pow(10.0, (CEILING_DBTP - IN_HAND_DB) / 20.0);
        (most / f64::from(self.true_peak)).min(1.0)
    }
}

/// A meter of the peak between samples: a windowed sinc of 24 taps at the three quarters.
struct Meter {
    quarters: [[f32; TAPS]; 3],
    /// No reading is larger than the largest sample in its reach times this.
    bound: f32,
}

static METER: LazyLock<Meter> = LazyLock::new(|| {
    // β 7 gives 70 dB (Kaiser's formula: the documentation of `scipy.signal.kaiserord`) from 0.82 to 1.18 of half the sample rate.
    let quarter = |q: f64| {
        let taps: [f64; TAPS] = std::array::from_fn(|j| {
            let t = q / 4.0 - (j as f64 - BEFORE as f64);
            sinc(t) * kaiser(t / (TAPS / 2) as f64, 7.0)
        });
        let sum: f64 = taps.iter().sum();
        taps.map(|tap| (tap / sum) as f32)
    };
    let quarters = [quarter(1.0), quarter(2.0), quarter(3.0)];
    let size = |taps: &[f32; TAPS]| taps.iter().map(|tap| tap.abs()).sum::<f32>();
    // A little more, for the rounding of the readings.
    let bound = quarters.iter().map(size).fold(1.0, f32::max) * 1.001;
    Meter { quarters, bound }
});

impl Meter {
    /// The largest reading among `samples`, where the first [`BEFORE`] and last [`AFTER`] are only for context, if it
    /// is larger than `known`; else `known`.
    fn peak(&self, samples: &[f32], known: f32) -> f32 {
        let mut peak = known;
        let mut at = 0;
        while at + TAPS <= samples.len() {
            let until = (at + STRETCH + TAPS - 1).min(samples.len());
            let near = &samples[at..until];
            if largest(near) * self.bound > peak {
                peak = peak.max(largest(&near[BEFORE..near.len() - AFTER]));
                peak = self.quarters.iter().fold(peak, |peak, taps| peak.max(largest_between(near, taps)));
            }
            at += STRETCH;
        }
        peak
    }
}

fn largest(samples: &[f32]) -> f32 {
    let mut most = [0.0_f32; 8];
    let chunks = samples.chunks_exact(8);
    let rest = chunks.remainder().iter().fold(0.0_f32, |most, v| most.max(v.abs()));
    for chunk in chunks {
        for (most, v) in most.iter_mut().zip(chunk) {
            // `f32::max` would look for NaN, which costs more than the rest.
            let v = v.abs();
            *most = if v > *most { v } else { *most };
        }
    }
    most.into_iter().fold(rest, f32::max)
}

/// The largest size of the filter's output over all places where it fits.
fn largest_between(samples: &[f32], taps: &[f32; TAPS]) -> f32 {
    let mut out = [0.0_f32; STRETCH];
    let out = &mut out[..samples.len() + 1 - TAPS];
    correlate(taps, samples, out);
    largest(out)
}

impl Program<'_> {
    /// Measures the render at its own levels.
    ///
    /// # Errors
    /// If it is stopped.
    pub fn measure(&self, watch: Watch) -> Result<Levels, RenderError> {
        let blocks = self.frames().div_ceil(BLOCK) as usize;
        let (mut peak, mut from) = (0.0_f32, 0);
        // What is known to be reached lets most of the rest be skipped. It is renewed between waves of blocks only, so
        // that what is skipped never depends on which thread was quicker.
        let (mut wave, mut window) = (8, Window::new(self));
        while from < blocks {
            let until = (from + wave).min(blocks);
            let heard = (from as u64 * BLOCK) as i64 - TAPS as i64..(until as u64 * BLOCK) as i64 + TAPS as i64;
            let cues = window.over(&heard);
            let here = (from..until).into_par_iter().map_init(
                || Mixer::new(self),
                |mixer, block| {
                    watch.go_on()?;
                    let start = block as u64 * BLOCK;
                    let frames = start..(start + BLOCK).min(self.frames());
                    let peak = self.block_peak((mixer, cues), &frames, peak)?;
                    watch.done(frames.end - frames.start);
                    Ok(peak)
                },
            );
            peak = here.try_reduce(|| peak, |a, b| Ok(a.max(b)))?;
            (from, wave) = (until, 256);
        }
        Ok(Levels { true_peak: peak })
    }

    /// The peak of a block if it is above `known`; else `known`.
    fn block_peak(
        &self,
        (mixer, cues): (&mut Mixer, &[Cue]),
        frames: &Range<u64>,
        mut known: f32,
    ) -> Result<f32, RenderError> {
        let (start, end) = (frames.start as i64, frames.end as i64);
        let bounds = self.bounds(cues, start, (frames.end - frames.start).div_ceil(CELL as u64) as usize);
        let mut cell = 0;
        while cell < bounds.len() {
            let run = bounds[cell..].iter().take_while(|bound| **bound > known).count();
            if run > 0 {
                let (from, to) = (start + (cell * CELL) as i64, start + ((cell + run) * CELL) as i64);
                mixer.mix(cues, from - BEFORE as i64..to.min(end) + AFTER as i64);
                known = METER.peak(&mixer.left, known);
                if !self.centred {
                    known = METER.peak(&mixer.right, known);
                }
            }
            cell += run + 1;
        }
        Ok(known)
    }
}

#[cfg(test)]
mod tests {
    use super::super::bank::Bank;
    use super::*;
    use crate::dsp::Master;
    use crate::time::{Instant, Span};
    use std::f64::consts::TAU;

    fn dbtp(samples: &[f32]) -> f64 {
        Levels { true_peak: METER.peak(samples, 0.0) }.dbtp()
    }

    #[test]
    fn tones_read_as_the_broadcasters_document_says() {
        // EBU Tech 3341, cases 15 to 19: part of the sample rate, degrees, level, reading within +0.2/−0.4 dB.
        let cases = [
            (4.0, 0.0, 0.5, -6.0),
            (4.0, 45.0, 0.5, -6.0),
            (6.0, 60.0, 0.5, -6.0),
            (8.0, 67.5, 0.5, -6.0),
            (4.0, 45.0, 1.41, 3.0),
        ];
        for (part, degrees, level, expected) in cases {
            // Half a second with fades of 10 ms, at 48 kHz.
            let tone = |n: u32| {
                let fade = (f64::from(n.min(24_000 - n)) / 480.0).min(1.0);
                (level * fade * (TAU * (f64::from(n) / part + degrees / 360.0)).sin()) as f32
            };
            let read = dbtp(&(0..24_000).map(tone).collect::<Vec<_>>());
            assert!((expected - 0.4..expected + 0.2).contains(&read), "fs/{part}, {degrees}°: {read:.3} dBTP");
        }
    }

    #[test]
    fn a_meter_under_reads_by_less_than_is_kept_in_hand() {
        // Between its four readings a tone hides up to 20 log cos(π f / 4) (BS.1770-5, Annex 2): at 0.41 of the sample
        // rate, 18 kHz at 44.1, 0.46 dB; and it never reads more than is there, but for the filter's ripple.
        for f in [0.01, 0.1, 0.25, 0.333, 0.375, 0.408] {
            for phase in 0..16 {
                let tone = |n: i32| (TAU * (f * f64::from(n) + f64::from(phase) / 16.0)).sin() as f32;
                let read = dbtp(&(0..4_000).map(tone).collect::<Vec<_>>());
                let hidden = 20.0 * (TAU / 8.0 * f).cos().log10();
                assert!((hidden - 0.02..0.02).contains(&read), "{f}, {phase}/16: {read:.3} dBTP");
            }
        }
    }

    #[test]
    fn what_is_skipped_was_not_larger() {
        let mut noise = 1_u32;
        let samples: Vec<f32> = (0..10_000)
            .map(|n| {
                noise = noise.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                (noise as i32 as f32 / 2_147_483_648.0) * if n % 3_000 < 100 { 1.0 } else { 0.1 }
            })
            .collect();
        let all = METER.peak(&samples, 0.0);
        // Each reading by itself, without a known one that lets it be skipped.
        let each = samples.windows(TAPS).map(|near| METER.peak(near, 0.0)).fold(0.0, f32::max);
        assert_eq!(all, each);
        assert_eq!(METER.peak(&samples, all * 2.0), all * 2.0);
    }

    #[test]
    fn a_program_reads_as_if_nothing_had_been_skipped() {
        // Short low tones with a hiss, whose bounds are loose, at levels that rise and fall.
        let master = |hz: f64, tau: f64| {
            let mut noise = 1_u32;
            let samples = (0..9_600).map(|n| {
                noise = noise.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                let t = f64::from(n) / 96_000.0;
                ((-t / tau).exp() * (0.8 * (TAU * hz * t).sin() + 0.1 * f64::from(noise) / 4e9)) as f32
            });
            Master { samples: samples.collect(), pre: 0 }
        };
        for rate in [44_100, 96_000] {
            let bank = Bank::new(rate, vec![master(60.0, 0.03), master(9_000.0, 0.004)]).expect("a usual rate");
            let cues = (0..200_i64).map(|n| Cue {
                at: Instant(n * 77_654_321_123 / (1 + n % 3)),
                voice: (n % 2) as u32,
                left: 0.5 + 0.4 * (n as f32).sin(),
                right: 0.5 + 0.4 * (n as f32).cos(),
            });
            let program = Program::new(&bank, cues.collect(), Span::from_ms(5), Instant(0)).expect("sound");
            let mut mixer = Mixer::new(&program);
            let whole = -20..program.frames() as i64 + 20;
            mixer.mix(Window::new(&program).over(&whole), whole);
            let all = METER.peak(&mixer.right, METER.peak(&mixer.left, 0.0));
            assert_eq!(program.measure(Watch::nobody()).expect("nobody stops it").true_peak, all);
        }
    }
}
