//! Readers of a voice that are not the program's: the kit's files, spectra and envelopes by an FFT.

use hitgap::dsp::{MASTER_RATE, Master};
use hitgap::voice::{Model, NoiseKey, Settings, Unit, master};
use realfft::RealFftPlanner;
use realfft::num_complex::Complex;
use toml::de::{DeTable, DeValue};

pub(crate) const FS: f64 = MASTER_RATE as f64;

/// The settings of a kit file, and its level in decibels: a reader of its own, so that the files are held against the
/// models and not against the patch reader.
pub(crate) fn kit(name: &str) -> (Settings, f64) {
    let path = format!("{}/samples-synth/{name}.toml", env!("CARGO_MANIFEST_DIR"));
    let text = std::fs::read_to_string(path).expect("a kit file");
    let mut table = DeTable::parse(&text).expect("TOML").into_inner();
    let mut take = |key: &str| match table.remove(key).map(|value| value.into_inner()) {
        Some(DeValue::String(text)) => text.into_owned(),
        other => panic!("{name}: `{key}` is {other:?}"),
    };
    let model = take("model");
    let model = Model::ALL.into_iter().find(|m| m.name() == model).expect("a model");
    assert!(!take("about").is_empty());
    assert_eq!(take("pan"), "0 %");
    let level = quantity(&take("level"), Unit::Level);
    let values = model.params().iter().map(|param| quantity(&take(param.key), param.unit)).collect();
    assert!(table.is_empty(), "{name}: left over {table:?}");
    (Settings { model, values }, level)
}

pub(crate) fn quantity(text: &str, expected: Unit) -> f64 {
    let (number, unit) = text.split_once(' ').expect("a number and a unit");
    let (unit, scale) = match unit {
        "Hz" => (Unit::Frequency, 1.0),
        "ms" => (Unit::Time, 1e-3),
        "dB" => (Unit::Level, 1.0),
        "%" => (Unit::Share, 1e-2),
        _ => panic!("unit {unit}"),
    };
    assert_eq!(unit, expected, "{text}");
    number.parse::<f64>().expect("a number") * scale
}

pub(crate) const KIT: [&str; 4] = ["kick", "snare", "hat", "click"];

pub(crate) fn kit_master(name: &str, seed: u64) -> Master {
    master(&kit(name).0, &NoiseKey::voice(seed, name)).expect("legal settings")
}

pub(crate) fn samples(master: &Master) -> Vec<f64> {
    master.samples.iter().map(|&x| f64::from(x)).collect()
}

pub(crate) fn db(ratio: f64) -> f64 {
    20.0 * ratio.log10()
}

pub(crate) fn peak(x: &[f64]) -> f64 {
    x.iter().fold(0.0, |peak: f64, x| peak.max(x.abs()))
}

/// The spectrum of `x`, zeros after it up to `size`.
pub(crate) fn spectrum(x: &[f64], size: usize) -> Vec<Complex<f64>> {
    let fft = RealFftPlanner::new().plan_fft_forward(size);
    let mut input = x.to_vec();
    input.resize(size, 0.0);
    let mut out = fft.make_output_vec();
    fft.process(&mut input, &mut out).expect("sizes fit");
    out
}

pub(crate) fn back(mut spectrum: Vec<Complex<f64>>, size: usize) -> Vec<f64> {
    let fft = RealFftPlanner::new().plan_fft_inverse(size);
    let mut out = fft.make_output_vec();
    let last = spectrum.len() - 1;
    spectrum[0].im = 0.0;
    spectrum[last].im = 0.0;
    fft.process(&mut spectrum, &mut out).expect("sizes fit");
    out.iter().map(|x| x / size as f64).collect()
}

pub(crate) fn size(x: &[f64]) -> usize {
    (x.len() + 2 * PAD).next_power_of_two().max(1 << 16)
}

/// Silence before a sound, so that what rings before it does not come round to the end.
pub(crate) const PAD: usize = 8192;

pub(crate) fn padded(x: &[f64]) -> Vec<f64> {
    let mut out = vec![0.0; PAD];
    out.extend_from_slice(x);
    out
}

/// `x` with each frequency weighted by `gain`, and its envelope: the magnitude of the analytic signal. Starts [`PAD`]
/// samples before `x`.
pub(crate) fn weighted(x: &[f64], gain: impl Fn(f64) -> f64) -> (Vec<f64>, Vec<f64>) {
    let size = size(x);
    let mut bins = spectrum(&padded(x), size);
    for (k, bin) in bins.iter_mut().enumerate() {
        *bin *= gain(k as f64 * FS / size as f64);
    }
    let quadrature = bins.iter().map(|bin| bin * Complex::new(0.0, -1.0)).collect();
    let (real, imaginary) = (back(bins, size), back(quadrature, size));
    let envelope = real.iter().zip(&imaginary).map(|(re, im)| re.hypot(*im)).collect();
    (real, envelope)
}

/// Milliseconds from the first value at a tenth of the largest to the first at nine tenths of it, and where the latter
/// is.
pub(crate) fn rise(levels: &[f64], step_ms: f64) -> (f64, usize) {
    let top = peak(levels);
    let first = |part: f64| levels.iter().position(|x| x.abs() >= part * top).expect("a top");
    ((first(0.9) - first(0.1)) as f64 * step_ms, first(0.9))
}

/// A smooth step over an octave around `edge`, in amplitude; zero below `edge / √2`.
pub(crate) fn above(edge: f64) -> impl Fn(f64) -> f64 {
    move |f| {
        let part = ((f / edge).max(1e-9).log2() + 0.5).clamp(0.0, 1.0);
        (part * core::f64::consts::FRAC_PI_2).sin().powi(2)
    }
}

/// Everything that is promised of every voice, whatever its settings. `None`, or what is broken.
pub(crate) fn broken(master: &Master) -> Option<String> {
    let x = samples(master);
    if !x.iter().all(|x| x.is_finite()) {
        return Some("not finite".into());
    }
    // 1 is the peak of what is the same for all noise; noise may pass it a little.
    let top = peak(&x);
    if !(0.9..1.25).contains(&top) {
        return Some(format!("peak {top}"));
    }
    // At most 3 s; below −90 dB in its last 4 ms, and nothing at the end.
    let last = &x[x.len().saturating_sub(384)..];
    let end = x[x.len() - 1].abs() / top;
    if master.seconds() > 3.0 || db(end) > -90.0 || (x.len() > 960 && db(peak(last) / top) > -90.0) {
        return Some(format!("{} s long, {} dB near its end", master.seconds(), db(peak(last) / top)));
    }
    if master.pre as f64 / FS > 0.001 {
        return Some(format!("{} samples before the hit", master.pre));
    }
    let size = size(&x);
    let bins = spectrum(&padded(&x), size);
    let most = bins.iter().map(|bin| bin.norm()).fold(0.0, f64::max);
    // No constant part: against the strongest frequency, which is stricter than against the peak.
    let constant = bins[0].norm() / most;
    if db(constant) > -60.0 {
        return Some(format!("constant part {} dB", db(constant)));
    }
    // Nothing above 18 kHz: of the spectrum, and of the waveform that is left there.
    let edge = (18_000.0 / FS * size as f64) as usize;
    let above = bins[edge..].iter().map(|bin| bin.norm()).fold(0.0, f64::max) / most;
    let left: Vec<_> =
        bins.iter().enumerate().map(|(k, bin)| if k < edge { Complex::default() } else { *bin }).collect();
    let left = peak(&back(left, size)) / top;
    if db(above) > -80.0 || db(left) > -80.0 {
        return Some(format!("above 18 kHz {} dB of the spectrum, {} dB of the peak", db(above), db(left)));
    }
    None
}

/// The energy of `x` from `low` to `high` hertz.
pub(crate) fn energy(x: &[f64], low: f64, high: f64) -> f64 {
    let size = size(x);
    let bin = |f: f64| (f / FS * size as f64) as usize;
    spectrum(x, size)[bin(low)..bin(high)].iter().map(|bin| bin.norm_sqr()).sum()
}

/// Seconds from the hit at which the waveform passes zero.
pub(crate) fn crossings(master: &Master) -> Vec<f64> {
    let x = samples(master);
    let pairs = x.windows(2).enumerate().skip(master.pre as usize);
    pairs
        .filter(|(_, w)| w[0].signum() != w[1].signum())
        .map(|(n, w)| (n as f64 + w[0] / (w[0] - w[1]) - master.pre as f64) / FS)
        .collect()
}
