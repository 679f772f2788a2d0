//! Noise of its own for every hit, without drawing all of it at every hit.

use super::NoiseKey;
use super::drum::{Drum, Noise, TOP};
use super::envelope::fade;
use crate::dsp::Master;

/// Stretches of time, of equal energy each, into which the noise of a hit is cut.
const STRETCHES: usize = 6;
/// How often the noise of each stretch is drawn.
const DRAWS: usize = 8;
/// What a band's filters ring on after a stretch: 10 ms, in which the lowest band has fallen by 100 dB.
const RING: usize = 960;
/// The last part of that is faded out, so that nothing ends with an edge.
const FADE: usize = 480;

/// What hits that have each noise of its own are put together from.
///
/// White noise is as white when it is cut and every stretch of it comes from another draw, and a band of noise is the sum of
/// the bands of its stretches. So a hit that takes of each stretch any draw, upright or upside down, has noise like any
/// other, and 16⁶ = 17 million hits have each another. Two hits have a stretch in common now and then: their noise correlates
/// by ±0.14 (`1 / √(6 · 8)`, root of the mean square).
#[derive(Clone, Debug)]
pub struct Deck {
    /// What all hits have in common.
    pub steady: Master,
    /// For each stretch its draws.
    pub stretches: Vec<Vec<Master>>,
}

impl Deck {
    /// How many pieces every deck has: the steady one first, then draw by draw those of each stretch.
    pub const PIECES: usize = 1 + STRETCHES * DRAWS;

    /// The pieces that the hit of a key is the sum of, by their numbers, and whether each is turned upside down.
    pub fn hit(key: &NoiseKey) -> impl Iterator<Item = (usize, bool)> + use<> {
        let picks = key.bits().take(STRETCHES).enumerate().map(|(stretch, bits)| {
            let draw = bits as usize % DRAWS;
            (1 + stretch * DRAWS + draw, bits & 1 << 31 != 0)
        });
        std::iter::once((0, false)).chain(picks)
    }

    /// The pieces in the order of their numbers.
    pub fn pieces(self) -> impl Iterator<Item = Master> {
        std::iter::once(self.steady).chain(self.stretches.into_iter().flatten())
    }
}

impl Drum {
    /// Draws what hits with noise of their own are put together from; `None` for a drum without noise.
    ///
    /// Every draw of a stretch has the energy that the stretch has on average; and whatever is put together, it stays under
    /// the top that a hit drawn by itself keeps to.
    #[must_use]
    pub fn deck(&self, key: &NoiseKey) -> Option<Deck> {
        let noise = self.noise.as_ref()?;
        let mut white = key.white();
        let stretch = |(from, to): (usize, usize)| {
            (0..DRAWS).map(|_| self.draw(noise, (from, to), &mut white)).collect::<Vec<_>>()
        };
        let mut stretches: Vec<Vec<(usize, Vec<f64>)>> = cuts(&noise.levels).into_iter().map(stretch).collect();
        self.keep_below_the_top(&mut stretches);
        let piece = |(from, samples): (usize, Vec<f64>)| Master {
            pre: self.pre as i64 - from as i64,
            samples: samples.into_iter().map(|x| x as f32).collect(),
        };
        let stretches = stretches.into_iter().map(|draws| draws.into_iter().map(piece).collect()).collect();
        let mut steady = self.steady.clone();
        self.end(&mut steady);
        Some(Deck { steady: piece((0, steady)), stretches })
    }

    /// One draw of a stretch, and where in the master it begins.
    fn draw(
        &self,
        noise: &Noise,
        (from, to): (usize, usize),
        white: &mut impl Iterator<Item = f64>,
    ) -> (usize, Vec<f64>) {
        let lead = noise.band.lead();
        let begins = self.pre + from - lead;
        let length = (lead + to - from + RING).min(self.steady.len() - begins);
        let mut samples = vec![0.0; length];
        for ((out, level), x) in samples[lead..].iter_mut().zip(&noise.levels[from..to]).zip(white) {
            *out = level * x;
        }
        let mut samples = noise.band.filter(samples);
        let spread = noise.band.spread();
        let meant = noise.levels[from..to].iter().map(|level| level * level).sum::<f64>() * spread * spread;
        let drawn: f64 = samples.iter().map(|x| x * x).sum();
        let even = libm::sqrt(meant / drawn);
        samples.iter_mut().for_each(|x| *x *= even);
        let start = samples.len().saturating_sub(FADE);
        for (n, x) in samples[start..].iter_mut().enumerate() {
            *x *= fade((n + 1) as f64 / FADE as f64);
        }
        (begins, samples)
    }

    /// Turns draws down that could stand above the attack in some hit. Where the largest of each stretch would add up to too
    /// much, each keeps to its share: so any of them together keep below.
    fn keep_below_the_top(&self, stretches: &mut [Vec<(usize, Vec<f64>)>]) {
        let mut all = vec![0.0; self.steady.len()];
        let mut largest: Vec<(usize, Vec<f64>)> = Vec::new();
        for draws in stretches.iter() {
            let mut most = vec![0.0_f64; draws[0].1.len()];
            for (_, samples) in draws {
                most.iter_mut().zip(samples).for_each(|(most, x)| *most = most.max(x.abs()));
            }
            all[draws[0].0..].iter_mut().zip(&most).for_each(|(all, x)| *all += x);
            largest.push((draws[0].0, most));
        }
        for (draws, (begins, most)) in stretches.iter_mut().zip(&largest) {
            for (_, samples) in draws {
                let share = |(n, x): (usize, &f64)| {
                    let room = TOP - self.steady[begins + n].abs();
                    room / (x.abs() + all[begins + n] - most[n]).max(room)
                };
                let kept = samples.iter().enumerate().map(share).fold(1.0, f64::min);
                samples.iter_mut().for_each(|x| *x *= kept);
            }
        }
    }
}

/// Cuts levels into stretches of equal energy: from where to where each goes.
fn cuts(levels: &[f64]) -> Vec<(usize, usize)> {
    let energy: f64 = levels.iter().map(|x| x * x).sum();
    let (mut sum, mut from, mut all) = (0.0, 0, Vec::new());
    for (n, level) in levels.iter().enumerate() {
        sum += level * level;
        let left = STRETCHES - all.len() - 1;
        let full = sum >= energy * (all.len() + 1) as f64 / STRETCHES as f64;
        // One sample at least for each that follows.
        if left > 0 && (full || levels.len() - n - 1 == left) {
            all.push((from, n + 1));
            from = n + 1;
        }
    }
    all.push((from, levels.len()));
    all
}

#[cfg(test)]
mod tests {
    use super::super::{Model, Settings};
    use super::*;
    use std::collections::BTreeSet;

    /// A drum much like the one of that name in the built-in kit, in hertz, seconds and decibels.
    fn drum(name: &str) -> Drum {
        let (model, values) = match name {
            "snare" => (Model::Snare, vec![185.0, 0.038, 330.0, 0.022, -3.0, 4.0, 1200.0, 10_000.0, 0.005, -7.0, 0.06]),
            _ => (Model::Hat, vec![6500.0, 14_500.0, 0.003, -10.0, 0.025]),
        };
        Drum::new(&Settings { model, values }).expect("legal")
    }

    /// The master of a hit, as a renderer adds it up.
    fn put_together(drum: &Drum, deck: &Deck, key: &NoiseKey) -> Vec<f64> {
        let pieces: Vec<Master> = deck.clone().pieces().collect();
        assert_eq!(pieces.len(), Deck::PIECES);
        let (pre, post) = drum.reach();
        let mut sum = vec![0.0; pre + post];
        for (number, flipped) in Deck::hit(key) {
            let Master { pre: own, samples } = &pieces[number];
            let from = (pre as i64 - own) as usize;
            for (sum, x) in sum[from..].iter_mut().zip(samples) {
                *sum += if flipped { -f64::from(*x) } else { f64::from(*x) };
            }
        }
        sum
    }

    fn noise_of(drum: &Drum, deck: &Deck, n: u64) -> Vec<f64> {
        let hit = put_together(drum, deck, &NoiseKey::new(n, "hit"));
        let steady = &deck.steady.samples;
        hit.iter().zip(steady).map(|(hit, steady)| hit - f64::from(*steady)).collect()
    }

    fn dot(a: &[f64], b: &[f64]) -> f64 {
        a.iter().zip(b).map(|(a, b)| a * b).sum()
    }

    #[test]
    fn stretches_have_equal_energies_and_nothing_between_them() {
        let levels: Vec<f64> = (0..5000).map(|n| (-f64::from(n) / 700.0).exp()).collect();
        let all = cuts(&levels);
        assert_eq!(all.len(), STRETCHES);
        assert_eq!((all[0].0, all[STRETCHES - 1].1), (0, 5000));
        assert!(all.windows(2).all(|w| w[0].1 == w[1].0 && w[0].0 < w[0].1));
        let of = |&(from, to): &(usize, usize)| levels[from..to].iter().map(|x| x * x).sum::<f64>();
        let whole: f64 = levels.iter().map(|x| x * x).sum();
        assert!(all.iter().all(|s| (of(s) / whole * STRETCHES as f64 - 1.0).abs() < 0.02), "{all:?}");
        // As many samples as stretches, and all energy in the last of them.
        assert_eq!(cuts(&[0.0, 0.0, 0.0, 0.0, 0.0, 1.0]), [(0, 1), (1, 2), (2, 3), (3, 4), (4, 5), (5, 6)]);
    }

    /// Of 200 hits: as loud as a hit drawn by itself is meant to be, under its top, and two of them alike by chance only.
    #[test]
    fn hits_are_equally_loud_keep_below_the_top_and_are_strangers() {
        for name in ["snare", "hat"] {
            let drum = drum(name);
            let deck = drum.deck(&NoiseKey::new(1, "deck")).expect("noise");
            let alone = drum.master(&NoiseKey::new(1, "alone"));
            let energy = |x: &[f64]| 10.0 * dot(x, x).log10();
            let meant = energy(&alone.samples.iter().map(|x| f64::from(*x)).collect::<Vec<_>>());
            let (mut squares, mut levels) = (0.0, Vec::new());
            for n in 0..200 {
                let hit = put_together(&drum, &deck, &NoiseKey::new(n, "hit"));
                let top = hit.iter().fold(0.0, |top: f64, x| top.max(x.abs()));
                assert!(top <= TOP + 1e-6, "{name} {n}: {top}");
                levels.push(energy(&hit) - meant);
                let (a, b) = (noise_of(&drum, &deck, n), noise_of(&drum, &deck, n + 1000));
                squares += dot(&a, &b).powi(2) / dot(&a, &a) / dot(&b, &b);
            }
            let off = levels.iter().fold(0.0, |off: f64, x| off.max(x.abs()));
            assert!(off < 1.0, "{name}: {off} dB off");
            // 1 / √48, and the standard error of 200 draws.
            let likeness = (squares / 200.0).sqrt();
            assert!((0.10..0.19).contains(&likeness), "{name}: {likeness}");
        }
    }

    /// The band of noise that is put together is the band of noise that is drawn: energies in octaves, over 40 hits of each.
    #[test]
    fn the_spectrum_is_that_of_noise_drawn_in_one() {
        let (drum, octaves) = (drum("hat"), [2_000.0, 4_000.0, 8_000.0, 16_000.0]);
        let deck = drum.deck(&NoiseKey::new(5, "deck")).expect("noise");
        let steady: Vec<f64> = deck.steady.samples.iter().map(|x| f64::from(*x)).collect();
        // The power at a frequency, of the first 20 ms, by its Fourier sum, at a few frequencies an octave.
        let power = |x: &[f64], hz: f64| {
            let w = std::f64::consts::TAU * hz / 96_000.0;
            let (re, im) = x[..1920]
                .iter()
                .enumerate()
                .fold((0.0, 0.0), |(re, im), (n, x)| (re + x * (w * n as f64).cos(), im + x * (w * n as f64).sin()));
            re * re + im * im
        };
        let in_octave =
            |x: &[f64], low: f64| (0..16).map(|n| power(x, low * 2_f64.powf(f64::from(n) / 16.0))).sum::<f64>();
        let (mut one, mut other) = ([0.0; 3], [0.0; 3]);
        for n in 0..40 {
            let together = noise_of(&drum, &deck, n);
            let drawn = drum.master(&NoiseKey::new(n, "drawn")).samples;
            let drawn: Vec<f64> = drawn.iter().zip(&steady).map(|(x, steady)| f64::from(*x) - steady).collect();
            for (band, low) in octaves[..3].iter().enumerate() {
                one[band] += in_octave(&together, *low);
                other[band] += in_octave(&drawn, *low);
            }
        }
        for (band, (one, other)) in one.iter().zip(&other).enumerate() {
            let db = 10.0 * (one / other).log10();
            assert!(db.abs() < 1.5, "octave from {} Hz: {db} dB", octaves[band]);
        }
    }

    #[test]
    fn a_hit_is_its_keys_and_a_drum_without_noise_has_no_deck() {
        let picks = |n| Deck::hit(&NoiseKey::new(n, "hit")).collect::<Vec<_>>();
        assert_eq!(picks(1), picks(1));
        let all: BTreeSet<_> = (0..300).map(picks).collect();
        assert_eq!(all.len(), 300);
        // Every piece is used, and turned as often as not.
        let used: BTreeSet<_> = all.iter().flatten().copied().collect();
        assert_eq!(used.len(), 1 + 2 * STRETCHES * DRAWS);
        let click = Settings { model: Model::Click, values: Model::Click.params().iter().map(|p| p.min).collect() };
        assert!(Drum::new(&click).is_ok_and(|drum| drum.deck(&NoiseKey::new(1, "x")).is_none()));
    }
}
