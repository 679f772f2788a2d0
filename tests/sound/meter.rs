//! What the tests of sound share: masters to render, and a render kept in memory.

use hitgap::sound::render::{Bank, Cue, Gain, Master, Memory, Program, Spec, Watch};
use hitgap::time::{Instant, Span};
use std::f64::consts::TAU;

/// Numbers from 0 to 1, the same on every run.
pub(crate) struct Draws(u64);

impl Draws {
    pub(crate) fn new(seed: u64) -> Self {
        Self(seed)
    }

    pub(crate) fn next(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 11) as f64 / (1_u64 << 53) as f64
    }
}

pub(crate) fn sampled(seconds: f64, pre: usize, at: impl Fn(f64) -> f64) -> Master {
    let samples = (0..(seconds * 96_000.0) as usize).map(|i| at((i as f64 - pre as f64) / 96_000.0) as f32).collect();
    Master { samples, pre: pre as i64 }
}

/// A rise over about 0.8 ms, so soft that it carries no tone of up to 14.5 kHz past 18 kHz, and a decay.
fn shape(t: f64, tau: f64) -> f64 {
    let rise = 0.5 * (1.0 + libm::erf(t / 0.0003));
    rise * (-t.max(0.0) / tau).exp()
}

/// A sine that falls from 180 to 50 Hz.
pub(crate) fn kick() -> Master {
    sampled(0.35, 200, |t| shape(t, 0.03) * (TAU * (50.0 * t + 130.0 * 0.022 * (1.0 - (-t / 0.022).exp()))).sin())
}

/// Many tones of random phase from 6.5 to 14.5 kHz.
pub(crate) fn hiss() -> Master {
    let mut draws = Draws::new(5);
    let tones: Vec<(f64, f64)> = (0..400).map(|n| (6_500.0 + 20.0 * f64::from(n), TAU * draws.next())).collect();
    sampled(0.2, 200, |t| shape(t, 0.015) * 0.03 * tones.iter().map(|(f, p)| (TAU * f * t + p).sin()).sum::<f64>())
}

pub(crate) fn hit(at_ps: i64) -> Cue {
    Cue::centred(Instant(at_ps), 0, 1.0)
}

pub(crate) fn bytes(bank: &Bank, cues: Vec<Cue>, lead_in: Span, spec: Spec, gain: Gain) -> Vec<u8> {
    let program = Program::new(bank, cues, lead_in, Instant(-lead_in.0)).expect("a sound program");
    let memory = Memory::default();
    program.write(&spec, gain, &memory, Watch::nobody()).expect("memory takes everything");
    memory.into_bytes()
}

pub(crate) fn db(ratio: f64) -> f64 {
    20.0 * ratio.log10()
}
