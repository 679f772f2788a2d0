use super::cue::{Cue, SamplePosition};
use super::cues::Window;
use super::program::Program;
use std::ops::Range;

impl Program<'_> {
    /// The mix as it is heard on the left, from one frame to another: silence outside of the render.
    #[must_use]
    pub fn samples(&self, frames: Range<i64>) -> Vec<f32> {
        let mut mixer = Mixer::new(self);
        mixer.mix(Window::new(self).over(&frames), frames);
        mixer.left
    }
}

/// Sums the hits of a program, a stretch of frames at a time. A frame's value does not depend on the stretch it is
/// asked for in: it is the sum of its hits in their order, and nothing else.
pub(super) struct Mixer<'p> {
    program: &'p Program<'p>,
    pub(super) left: Vec<f32>,
    pub(super) right: Vec<f32>,
}

impl<'p> Mixer<'p> {
    pub(super) fn new(program: &'p Program<'p>) -> Self {
        Self { program, left: Vec::new(), right: Vec::new() }
    }

    /// Mixes `frames` into [`Self::left`] and [`Self::right`], where `cues` are all that can sound there. Outside the file
    /// there is silence.
    pub(super) fn mix(&mut self, cues: &[Cue], frames: Range<i64>) {
        let len = (frames.end - frames.start) as usize;
        self.left.clear();
        self.left.resize(len, 0.0);
        self.right.clear();
        self.right.resize(len, 0.0);
        let file = frames.start.max(0)..frames.end.min(self.program.frames() as i64);
        for cue in self.program.near(cues, &file) {
            let place = self.program.place(cue);
            let reach = self.program.bank.voices()[cue.voice as usize].reach;
            let from = file.start.max(place.frame + reach.0);
            let to = file.end.min(place.frame + reach.1);
            if from >= to {
                continue;
            }
            let heard = (from - place.frame - reach.0) as usize..(to - place.frame - reach.0) as usize;
            let into = (from - frames.start) as usize..(to - frames.start) as usize;
            self.add(cue, place, heard, into);
        }
        if self.program.centred {
            self.right.copy_from_slice(&self.left);
        }
    }

    fn add(&mut self, cue: &Cue, place: SamplePosition, heard: Range<usize>, into: Range<usize>) {
        let bank = self.program.bank;
        let voice = &bank.voices()[cue.voice as usize];
        let fine = place.part * bank.phases();
        let (phase, rest) = ((fine / SamplePosition::PARTS) as i64, fine % SamplePosition::PARTS);
        let near = |phase: i64| &bank.delayed(voice, phase)[heard.clone()];
        if rest == 0 {
            // What the cubic would give, as its other weights are 0.
            let sound = near(phase);
            add_one(&mut self.left[into.clone()], sound, cue.left);
            if !self.program.centred {
                add_one(&mut self.right[into], sound, cue.right);
            }
            return;
        }
        let weights = cubic(rest as f64 / SamplePosition::PARTS as f64);
        let near = [near(phase - 1), near(phase), near(phase + 1), near(phase + 2)];
        let left = &mut self.left[into.clone()];
        if self.program.centred {
            add_between_centred(left, near, weights, cue.left);
        } else {
            add_between(left, &mut self.right[into], near, weights, [cue.left, cue.right]);
        }
    }
}

/// Weights of the samples at −1, 0, 1 and 2 for a value at `x` from 0 to 1: Lagrange's cubic.
fn cubic(x: f64) -> [f32; 4] {
    let (a, b, c) = (x + 1.0, x - 1.0, x - 2.0);
    [-x * b * c / 6.0, a * b * c / 2.0, -a * x * c / 2.0, a * x * b / 6.0].map(|w| w as f32)
}

fn add_one(sum: &mut [f32], sound: &[f32], gain: f32) {
    for (sum, v) in sum.iter_mut().zip(sound) {
        *sum += gain * v;
    }
}

fn add_between_centred(sum: &mut [f32], near: [&[f32]; 4], w: [f32; 4], gain: f32) {
    let near = near.map(|n| &n[..sum.len()]);
    for (i, sum) in sum.iter_mut().enumerate() {
        let v = (w[0] * near[0][i] + w[1] * near[1][i]) + (w[2] * near[2][i] + w[3] * near[3][i]);
        *sum += gain * v;
    }
}

fn add_between(left: &mut [f32], right: &mut [f32], near: [&[f32]; 4], w: [f32; 4], gains: [f32; 2]) {
    let near = near.map(|n| &n[..left.len()]);
    let right = &mut right[..left.len()];
    for (i, (left, right)) in left.iter_mut().zip(right).enumerate() {
        let v = (w[0] * near[0][i] + w[1] * near[1][i]) + (w[2] * near[2][i] + w[3] * near[3][i]);
        *left += gains[0] * v;
        *right += gains[1] * v;
    }
}
