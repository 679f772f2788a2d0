//! Where a sound begins.

use super::reader::Reader;
use super::wave::Wave;
use dasp::peak::full_wave;

/// The stretch whose largest sample an onset is measured by, in seconds.
const NEAR: f64 = 0.008;
/// An onset is where the sound first passes this part of that; how sure it is, by how far apart two others are passed.
const TENTH: f64 = 0.1;
const AROUND: [f64; 2] = [0.05, 0.2];
/// How near to where the search begins a sound may not be passing already, in seconds: it then began before.
const BEGUN: f64 = 0.001;
/// What no onset is surer than, in seconds.
const SUREST: f64 = 40e-6;
/// Places a sample that are looked at, up to a rate; above it fewer are as close.
const FINE: f64 = 16.0;
const FINE_TO: u32 = 96_000;
const COARSER: f64 = 4.0;

/// The instant of a recorded hit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Onset {
    /// Seconds from the file's first sample.
    pub at_s: f64,
    /// How uncertain it is, in seconds: half the way from 5 to 20 % of the sound's first largest, 40 µs at least; 0 of one that
    /// was given.
    pub within_s: f64,
    /// Whether the patch gives it.
    pub given: bool,
}

impl Onset {
    /// Finds the onset: the first place where the sound passes a tenth of its largest within 8 ms.
    ///
    /// Where it is to be looked for is said by the first sample over a tenth of the file's largest: the 8 ms after that give
    /// the largest, and the place may lie up to 8 ms before it.
    pub(super) fn find(wave: &Wave, reader: &Reader) -> Self {
        let rate = f64::from(wave.rate);
        let first = wave.samples.iter().position(|x| full_wave(*x) >= TENTH * wave.peak).unwrap_or(0) as f64;
        let steps = if wave.rate > FINE_TO { COARSER } else { FINE };
        let reach = libm::ceil(NEAR * rate);
        let from = (first - reach).max(-reader.reach());
        let size = |n: usize| full_wave(reader.at(from + n as f64 / steps));
        let ahead = ((first - from) * steps) as usize;
        let sizes: Vec<f64> = (0..=ahead + (reach * steps) as usize).map(size).collect();
        let largest = sizes[ahead..].iter().copied().fold(0.0, f64::max);
        let crossing = |part: f64| {
            let level = part * largest;
            let n = sizes.iter().position(|size| *size >= level).unwrap_or(ahead);
            // A straight line from the place before.
            let before = n.checked_sub(1).map_or(sizes[n], |n| sizes[n]);
            let back = if sizes[n] > before { (sizes[n] - level) / (sizes[n] - before) } else { 0.0 };
            (from + (n as f64 - back) / steps) / rate
        };
        let [early, late] = AROUND.map(crossing);
        // What is as loud 8 ms before has no beginning that could be seen.
        let begun = from > 0.0 && early - from / rate < BEGUN;
        let within_s = if begun { NEAR / 2.0 } else { SUREST.max((late - early) / 2.0) };
        Self { at_s: crossing(TENTH), within_s, given: false }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn found(rate: u32, sound: impl Fn(f64) -> f64, seconds: f64) -> Onset {
        let samples: Vec<f64> =
            (0..(seconds * f64::from(rate)) as u32).map(|n| sound(f64::from(n) / f64::from(rate))).collect();
        let peak = samples.iter().copied().map(f64::abs).fold(0.0, f64::max);
        let wave = Wave { rate, samples, peak, flaws: Vec::new() };
        Onset::find(&wave, &Reader::new(&wave.samples, rate))
    }

    /// A bell of a rise: the size passes a tenth, and any other part, where its closed form says.
    fn bump(middle: f64, width: f64) -> impl Fn(f64) -> f64 {
        move |t: f64| -(-((t - middle) / width).powi(2) / 2.0).exp()
    }

    #[test]
    fn an_onset_is_where_a_tenth_is_passed_whatever_the_rate_and_the_place_between_samples() {
        let width = 0.5e-3;
        let passes = |part: f64| -width * (-2.0 * part.ln()).sqrt();
        for rate in [22_050, 44_100, 48_000, 96_000, 192_000] {
            for middle in [0.0204, 0.020_411_3, 0.020_423_9] {
                let onset = found(rate, bump(middle, width), 0.06);
                // Between two of 16 places the bell bends by h²/8 of its second derivative: far less than 0.1 µs.
                assert!((onset.at_s - (middle + passes(0.1))).abs() < 0.1e-6, "{rate}: {onset:?}");
                assert!((onset.within_s - (passes(0.2) - passes(0.05)) / 2.0).abs() < 0.2e-6, "{onset:?}");
            }
        }
    }

    #[test]
    fn the_largest_is_that_of_the_first_8_ms_and_not_of_the_file() {
        // A click of a quarter, and 20 ms later the body: the onset is the click's, and by its own size.
        let sound = |t: f64| bump(0.0201, 0.3e-3)(t) / 4.0 + bump(0.045, 2e-3)(t);
        let onset = found(48_000, sound, 0.1);
        let meant = 0.0201 - 0.3e-3 * (-2.0 * 0.1_f64.ln()).sqrt();
        assert!((onset.at_s - meant).abs() < 0.1e-6, "{onset:?} {meant}");
        // A file that begins with its attack has its onset there, and none is surer than 40 µs.
        let at_once = found(48_000, |t| (-t / 0.02).exp() * (2.0 + (t * 3_000.0).cos()), 0.1);
        // Two samples are 42 us: a filtered edge rings a little before itself.
        assert!(at_once.at_s.abs() < 42e-6 && at_once.within_s >= SUREST, "{at_once:?}");
    }
}
