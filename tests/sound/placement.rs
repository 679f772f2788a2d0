//! Hits lie where their times say, between samples, and nothing but the hit comes out.

use crate::meter::{Draws, bytes, db, hiss, hit, kick, sampled};
use hitgap::sound::render::{Bank, Channels, Cue, Format, Gain, Master, Spec};
use hitgap::time::{Instant, Span};
use hitgap::voice::NoiseKey;
use proptest::prelude::*;
use realfft::RealFftPlanner;
use realfft::num_complex::Complex;
use std::f64::consts::{PI, TAU};

const LEAD_IN: Span = Span::from_ms(20);
const PS: f64 = 1e-12;

/// 3 kHz under a bell curve of 0.14 ms.
fn click() -> Master {
    sampled(0.003, 120, |t| (-0.5 * (t / 0.00014).powi(2)).exp() * (TAU * 3_000.0 * t).cos())
}

/// One hit's worth of everything up to 18 kHz: a band-limited impulse.
fn impulse() -> Master {
    // 17 kHz under a wide bell: a sinc that a Gaussian tapers, so that nothing is left above 18 kHz.
    sampled(0.02, 960, |t| {
        let x = TAU * 17_000.0 * t;
        let sinc = if x == 0.0 { 1.0 } else { x.sin() / x };
        sinc * (-0.5 * (t / 0.0013).powi(2)).exp()
    })
}

/// The samples of a mono render in floats, at the program's own levels.
fn floats(bank: &Bank, cues: Vec<Cue>, lead_in: Span) -> Vec<f64> {
    let spec = Spec { format: Format::Float32, channels: Channels::Mono, seed: 1 };
    let bytes = bytes(bank, cues, lead_in, spec, Gain::Fixed(1.0));
    let header = spec.header_bytes() as usize;
    bytes[header..].chunks_exact(4).map(|b| f64::from(f32::from_le_bytes([b[0], b[1], b[2], b[3]]))).collect()
}

/// The spectrum of a signal that is filled up with silence to `len`.
fn spectrum(signal: &[f64], len: usize) -> Vec<Complex<f64>> {
    assert!(signal.len() <= len, "{} samples do not fit {len}", signal.len());
    let fft = RealFftPlanner::new().plan_fft_forward(len);
    let mut input = signal.to_vec();
    input.resize(len, 0.0);
    let mut output = fft.make_output_vec();
    fft.process(&mut input, &mut output).expect("lengths fit");
    output
}

/// How much later than `expected` the second spectrum lies, in seconds: the energy-weighted slope, through 0 Hz, of
/// the cross-spectrum's phase over bins `from..to`.
fn excess(first: &[Complex<f64>], second: &[Complex<f64>], expected: f64, bin_hz: f64, (from, to): (f64, f64)) -> f64 {
    let (mut above, mut below) = (0.0, 0.0);
    for bin in (from / bin_hz).ceil() as usize..=(to / bin_hz).floor() as usize {
        let omega = TAU * bin as f64 * bin_hz;
        let cross = second[bin] * first[bin].conj() * Complex::from_polar(1.0, omega * expected);
        above -= cross.norm() * omega * cross.arg();
        below += cross.norm() * omega * omega;
    }
    above / below
}

/// The contract: 0.1 µs from 30 Hz to 16 kHz, and in each third-octave band within 60 dB of the strongest.
pub(crate) fn two_renders_differ_by_their_delay(name: &str, master: &Master, rate: u32) {
    let bank = Bank::new(rate, vec![master.clone()]).expect("a usual rate");
    let mut draws = Draws::new(u64::from(rate));
    let reference = floats(&bank, vec![hit(0)], LEAD_IN);
    let len = (reference.len() + rate as usize / 10).next_power_of_two();
    let bin_hz = f64::from(rate) / len as f64;
    let first = spectrum(&reference, len);
    // Third octaves around 1 kHz that lie within 30 Hz to 16 kHz and hold at least one bin.
    let edge = |k: i32| 1_000.0 * 2.0_f64.powf((f64::from(k) - 0.5) / 3.0);
    let bands = (-14..=12).map(|k| (edge(k).max(30.0), edge(k + 1).min(16_000.0)));
    let bands: Vec<_> = bands.filter(|(from, to)| (to / bin_hz).floor() >= (from / bin_hz).ceil()).collect();
    let energy = |(from, to): (f64, f64)| -> f64 {
        first[(from / bin_hz).ceil() as usize..=(to / bin_hz).floor() as usize].iter().map(Complex::norm_sqr).sum()
    };
    let strongest = bands.iter().map(|band| energy(*band)).fold(0.0, f64::max);
    for _ in 0..12 {
        let delay = (draws.next() * 50e9) as i64;
        let second = spectrum(&floats(&bank, vec![hit(delay)], LEAD_IN), len);
        let off = |band| excess(&first, &second, delay as f64 * PS, bin_hz, band).abs();
        let all = off((30.0, 16_000.0));
        assert!(all < 1e-7, "{name} at {rate} Hz, {delay} ps later: {all:e} s off");
        for band in bands.iter().filter(|band| energy(**band) > strongest * 1e-6) {
            let off = off(*band);
            assert!(off < 1e-7, "{name} at {rate} Hz, {delay} ps later, {band:?} Hz: {off:e} s off");
        }
    }
}

#[test]
fn a_delay_is_kept_to_a_tenth_of_a_microsecond() {
    for (name, master) in [("kick", kick()), ("hiss", hiss()), ("click", click()), ("impulse", impulse())] {
        for rate in [44_100, 48_000, 96_000, 192_000] {
            two_renders_differ_by_their_delay(name, &master, rate);
        }
    }
}

/// Every voice of the kit, with its noise.
fn kit_masters() -> impl Iterator<Item = (&'static str, Master)> {
    hitgap::patch::kit().iter().map(|voice| {
        let key = NoiseKey::voice(1, &voice.name);
        (voice.name.as_str(), voice.sound.master(&key).expect("the kit can be drawn"))
    })
}

#[test]
fn every_voice_of_the_kit_keeps_its_delay() {
    for (name, master) in kit_masters() {
        for rate in [44_100, 48_000, 96_000, 192_000] {
            two_renders_differ_by_their_delay(name, &master, rate);
        }
    }
}

#[test]
fn no_voice_of_the_kit_is_aliased() {
    // 44.1 kHz against 192 kHz, over four seconds: bins are a quarter of a hertz wide.
    for (name, master) in kit_masters() {
        let full = |rate: u32| {
            let bank = Bank::new(rate, vec![master.clone()]).expect("a usual rate");
            spectrum(&floats(&bank, vec![hit(123_456_789)], LEAD_IN), 4 * rate as usize)
        };
        let (coarse, fine) = (full(44_100), full(192_000));
        let peak = fine.iter().map(|x| x.norm()).fold(0.0, f64::max);
        let off = coarse.iter().zip(&fine).map(|(c, f)| (c * (192_000.0 / 44_100.0) - f).norm() / peak);
        let worst = off.fold(0.0, f64::max);
        assert!(db(worst) < -80.0, "{name}: {:.1} dB", db(worst));
    }
}

/// The other way to the same samples: the master read by a long windowed sinc in f64, with no table, no cached delays
/// and no cubic between them.
fn direct(master: &Master, at_ps: i64, lead_in: Span, rate: u32, frames: usize) -> Vec<f64> {
    // Cosine-sum window of four terms (Blackman-Harris, MATLAB's `blackmanharris`), 64 samples to either side: below −100 dB.
    const HALF: i64 = 64;
    let window =
        |x: f64| 0.35875 + 0.48829 * (PI * x).cos() + 0.14128 * (TAU * x).cos() + 0.01168 * (3.0 * PI * x).cos();
    let frame = |n: usize| {
        // Exact: master samples from the master's first, times 10¹² times the rate.
        let whole = 1_000_000_000_000 * i128::from(rate);
        let ps = i128::from(at_ps + lead_in.0) * i128::from(rate);
        let at = (n as i128 * 1_000_000_000_000 - ps) * 96_000 + i128::from(master.pre) * whole;
        let (sample, part) = (at.div_euclid(whole) as i64, at.rem_euclid(whole) as f64 / whole as f64);
        let near = sample - HALF + 1..=sample + HALF;
        let term = |i: i64| {
            let v = usize::try_from(i).ok().and_then(|i| master.samples.get(i)).copied().unwrap_or(0.0);
            let x = part - (i - sample) as f64;
            let sinc = if x == 0.0 { 1.0 } else { (PI * x).sin() / (PI * x) };
            f64::from(v) * sinc * window(x / HALF as f64)
        };
        near.map(term).sum()
    };
    (0..frames).map(frame).collect()
}

#[test]
fn every_sample_is_that_of_a_long_sinc() {
    let mut draws = Draws::new(3);
    for master in [kick(), hiss(), click(), impulse()] {
        let peak = master.samples.iter().fold(0.0_f32, |most, v| most.max(v.abs()));
        for rate in [44_100, 48_000, 88_200, 96_000, 176_400, 192_000, 384_000, 47_999] {
            let bank = Bank::new(rate, vec![master.clone()]).expect("a usual rate");
            let at = (draws.next() * 1e9) as i64;
            let render = floats(&bank, vec![hit(at)], LEAD_IN);
            let direct = direct(&master, at, LEAD_IN, rate, render.len());
            let worst = render.iter().zip(&direct).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
            // The residue of the cubic between cached delays, at 18 kHz and 44.1 kHz, is −96 dB.
            let residue = db(worst / f64::from(peak));
            assert!(residue < -92.0, "{rate} Hz: {residue:.1} dB");
        }
    }
}

#[test]
fn a_ramp_shows_a_shift_as_a_step() {
    // A steady ramp, read late by x, is low by x times its slope, at every sample alike. In its middle it is a straight
    // line for the windowed sinc too. Slope: 1 in 9,600 master samples, 10 a second.
    let samples = (0..9_600).map(|i| i as f32 / 9_600.0).collect();
    let bank = Bank::new(48_000, vec![Master { samples, pre: 0 }]).expect("a usual rate");
    for at in [0_i64, 1, 999_999, 10_416_667, 20_833_333, 3_141_592_653] {
        let render = floats(&bank, vec![hit(at)], Span::ZERO);
        for n in [1_200_usize, 1_777, 2_400, 3_600] {
            let expected = (n as f64 / 48_000.0 - at as f64 * PS) * 10.0;
            // 24-bit floats near 1 are 6e-8 apart, which here is 6 ns.
            assert!((render[n] - expected).abs() < 2e-7, "{at} ps, frame {n}: {} for {expected}", render[n]);
        }
    }
}

#[test]
fn ten_hours_on_nothing_has_drifted() {
    // The file begins shortly before a hit that falls 10 h after the clock's start, on the third of a sixteenth.
    let at = 36_000_000_000_000_000 + 41_666_666_667;
    let bank = Bank::new(44_100, vec![impulse()]).expect("a usual rate");
    let late = floats(&bank, vec![hit(at)], Span(-36_000_000_000_000_000));
    let early = floats(&bank, vec![hit(41_666_666_667)], Span::ZERO);
    assert_eq!(late, early);
}

#[test]
fn nothing_is_aliased_and_nothing_is_missing() {
    // A render against one at 192 kHz, over a second so that bins are 1 Hz wide at any rate.
    let fine = Bank::new(192_000, vec![impulse()]).expect("a usual rate");
    let fine = spectrum(&floats(&fine, vec![hit(123_456_789)], LEAD_IN), 192_000);
    for rate in [8_000, 11_025, 22_050, 32_000, 44_100, 48_000, 96_000] {
        let bank = Bank::new(rate, vec![impulse()]).expect("a usual rate");
        let coarse = spectrum(&floats(&bank, vec![hit(123_456_789)], LEAD_IN), rate as usize);
        let scale = 192_000.0 / f64::from(rate);
        let peak = fine.iter().map(|x| x.norm()).fold(0.0, f64::max);
        // Where the rate leaves no room for all that is in a master, the top is rounded off from 0.85 of half of it.
        let kept = if rate < 40_000 { 0.425 * f64::from(rate) } else { 0.5 * f64::from(rate) };
        let off = |bin: usize| (coarse[bin] * scale - fine[bin]).norm() / peak;
        let worst = (1..kept as usize).map(off).fold(0.0, f64::max);
        assert!(db(worst) < -80.0, "{rate} Hz: {:.1} dB", db(worst));
    }
}

#[test]
fn what_does_not_fit_a_low_rate_is_gone() {
    // Tones from 4.5 to 14.5 kHz under a bell so wide that they have no sides: all lie above half of 8 kHz.
    let tones = |t: f64| (0..11).map(|n| (TAU * (4_500.0 + 1_000.0 * f64::from(n)) * t).sin()).sum::<f64>() / 11.0;
    let master = sampled(0.06, 2_880, |t| (-0.5 * (t / 0.004).powi(2)).exp() * tones(t));
    let peak = master.samples.iter().fold(0.0_f32, |most, v| most.max(v.abs()));
    let bank = Bank::new(8_000, vec![master]).expect("a usual rate");
    let worst = floats(&bank, vec![hit(123_456_789)], Span::from_ms(40)).into_iter().map(f64::abs).fold(0.0, f64::max);
    assert!(db(worst / f64::from(peak)) < -80.0, "{:.1} dB", db(worst / f64::from(peak)));
}

#[test]
fn two_equal_hits_cancel_at_odd_halves_and_double_between() {
    // Nulls at (2k+1)/(2d), +6.0206 dB at k/d: closed form; 1 ms: 500, 1500, 2500 Hz (Master Handbook of Acoustics).
    for (rate, d_ps) in [(44_100, 1_000_000_000_i64), (48_000, 2_500_000_000), (96_000, 1_000_000_000)] {
        let bank = Bank::new(rate, vec![impulse()]).expect("a usual rate");
        let start = 31_234_567;
        let one = spectrum(&floats(&bank, vec![hit(start)], LEAD_IN), rate as usize);
        let two = spectrum(&floats(&bank, vec![hit(start), hit(start + d_ps)], LEAD_IN), rate as usize);
        let gain = |hz: f64| db((two[hz as usize] / one[hz as usize]).norm());
        let step = 1e12 / d_ps as f64;
        for k in 0..(15_000.0 / step) as i32 {
            let (null, top) = ((f64::from(k) + 0.5) * step, f64::from(k + 1) * step);
            // Hits 0.1 µs off would leave a null at 10 kHz of −44 dB; the residue of the placing is below −90.
            assert!(gain(null) < -80.0, "{rate} Hz, null at {null} Hz: {:.1} dB", gain(null));
            assert!((gain(top) - 6.0206).abs() < 0.001, "{rate} Hz, top at {top} Hz: {:.4} dB", gain(top));
        }
    }
}

#[test]
fn hits_add_up_whatever_else_sounds() {
    let bank = Bank::new(48_000, vec![kick(), hiss()]).expect("a usual rate");
    let cue = |at, n, gain| Cue::centred(Instant(at), n, gain);
    let cues = [cue(0, 0, 0.5), cue(1_234_567_891, 1, 0.25), cue(20_000_000_000, 0, 0.125)];
    let all = floats(&bank, cues.to_vec(), LEAD_IN);
    let each: Vec<_> = cues.iter().map(|cue| floats(&bank, vec![*cue], LEAD_IN)).collect();
    for (n, v) in all.iter().enumerate() {
        let sum: f64 = each.iter().filter_map(|one| one.get(n)).sum();
        // Three roundings of a float below 1.
        assert!((v - sum).abs() < 2e-7, "frame {n}: {v} for {sum}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    /// One piece after the other in one render is the one render after the other, to the last bit, where the second begins
    /// whole samples later and the first has died away by then.
    #[test]
    fn a_render_of_a_concatenation_is_a_concatenation_of_renders(
        first in prop::collection::vec((0..600_000_000_000_i64, 0..2_u32, 0.01..0.5_f32), 0..12),
        second in prop::collection::vec((0..600_000_000_000_i64, 0..2_u32, 0.01..0.5_f32), 1..12),
        later in 2..4_i64, rate in prop::sample::select(vec![44_100_u32, 48_000]),
    ) {
        let bank = Bank::new(rate, vec![kick(), hiss()]).expect("a usual rate");
        let cues = |hits: &[(i64, u32, f32)], by: i64| -> Vec<Cue> {
            let at = |at: i64| Instant(at + by * 1_000_000_000_000);
            hits.iter().map(|&(t, voice, gain)| Cue::centred(at(t), voice, gain)).collect()
        };
        let render = |cues: Vec<Cue>| floats(&bank, cues, LEAD_IN);
        let both = render([cues(&first, 0), cues(&second, later)].concat());
        let (one, two) = (render(cues(&first, 0)), render(cues(&second, 0)));
        let split = later as usize * rate as usize;
        for (n, sample) in both.iter().enumerate() {
            let alone = if n < split { one.get(n) } else { two.get(n - split) };
            prop_assert_eq!(*sample, alone.copied().unwrap_or(0.0), "sample {}", n);
        }
        prop_assert!(one.len() <= split && both.len() >= split + two.len());
    }
}
