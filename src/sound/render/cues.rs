//! What a program plays, as often as it asks, and the part of it that sounds at a time.

use super::cue::Cue;
use super::program::Program;
use std::fmt;
use std::iter::Peekable;
use std::ops::Range;

/// Cues in order of time that can be gone through again and again: a list, or what makes them anew each time. A render goes
/// through them three times, and holds only those that sound in the stretch at which it is.
pub trait Cues: Sync {
    /// All of them, from the first.
    fn all(&self) -> Box<dyn Iterator<Item = Cue> + '_>;
}

impl Cues for Vec<Cue> {
    fn all(&self) -> Box<dyn Iterator<Item = Cue> + '_> {
        Box::new(self.iter().copied())
    }
}

/// The cues that can sound in one stretch of frames after the other.
pub(super) struct Window<'p> {
    program: &'p Program<'p>,
    to_come: Peekable<Box<dyn Iterator<Item = Cue> + 'p>>,
    cues: Vec<Cue>,
}

impl fmt::Debug for Window<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Window").field("cues", &self.cues).finish_non_exhaustive()
    }
}

impl<'p> Window<'p> {
    /// At the beginning of a program.
    pub(super) fn new(program: &'p Program<'p>) -> Self {
        Self { program, to_come: program.cues.all().peekable(), cues: Vec::new() }
    }

    /// Moves on to a stretch that begins where the last one began, or later: the cues that can sound in it, and perhaps a few
    /// more.
    pub(super) fn over(&mut self, frames: &Range<i64>) -> &[Cue] {
        let times = self.program.times(frames);
        let past = self.cues.partition_point(|cue| i128::from(cue.at.0) < *times.start());
        self.cues.drain(..past);
        while let Some(cue) = self.to_come.next_if(|cue| i128::from(cue.at.0) <= *times.end()) {
            if i128::from(cue.at.0) >= *times.start() {
                self.cues.push(cue);
            }
        }
        &self.cues
    }
}

#[cfg(test)]
mod tests {
    use super::super::bank::Bank;
    use super::*;
    use crate::dsp::Master;
    use crate::time::{Instant, Span};

    /// Stretch by stretch, overlapping and with holes between them: what a window shows is what can sound there.
    #[test]
    fn a_window_shows_what_can_sound() {
        let bank = Bank::new(48_000, vec![Master { samples: vec![1.0; 9_600], pre: 10 }]).expect("a usual rate");
        let cues: Vec<Cue> = (0..2_000_i64).map(|n| Cue::centred(Instant(n * n * 7_654_321), 0, 1.0)).collect();
        let program = Program::new(&bank, cues.clone(), Span::ZERO, Instant(0)).expect("sound");
        let mut window = Window::new(&program);
        let (mut from, mut n) = (0_i64, 0);
        while from < program.frames() as i64 {
            n += 1;
            let frames = from..from + 3_000;
            let shown = window.over(&frames);
            let times = program.times(&frames);
            let all: Vec<Cue> = cues.iter().filter(|c| times.contains(&i128::from(c.at.0))).copied().collect();
            assert_eq!(shown, all);
            let sounds = |cue: &&Cue| {
                let frame = program.place(cue).frame;
                frame + program.reach.1 > frames.start && frame + program.reach.0 < frames.end
            };
            assert!(cues.iter().filter(sounds).all(|cue| shown.contains(cue)));
            from += 1 + n * n * 37 % 5_000;
        }
    }
}
