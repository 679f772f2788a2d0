//! A computer that handles audio, and what moves it, in blocks.
//!
//! Frame *m* begins at `phase + m/sample-rate · (1 + drift)`, rounded once from its exact value, and every `frames`th
//! begins a block. What comes is handled with the block after and heard `blocks` blocks after the one in which it fell:
//!
//! - `events = "block"`: at the beginning of that block, so from `blocks − 1` (not included) to `blocks` blocks late,
//!   by where in its block it fell;
//! - `events = "sample"`: at its own frame, `blocks` blocks after the beginning of the frame in which it fell. A frame is
//!   the finest there is: what falls within one counts as at its beginning.
//!
//! What moves the computer is a list of events, not a level: a pulse that rises and falls at one place is still a pulse,
//! and a rise that follows a fall at one place is still a rise. Half a frame stands for the pulse or for the gap; rises
//! keep their places. Only a second rise at one place is one with the first.
//!
//! Phase (where it is not given: within a block, the middle of it without chance) and drift are drawn once a run.
//!
//! Source: arithmetic; that a block's events are heard a whole number of blocks later is common practice, no source.

use super::grid::Grid;
use super::passing::{HitStage, Passing};
use super::{Out, Stage};
use crate::patch::{self, EventGrain, StageKind};
use crate::rig::{Chance, Edge};
use crate::time::{Instant, PS_PER_SECOND, Span};

/// The stage at work.
#[derive(Debug)]
pub struct AudioBuffer {
    now: Blocks,
    /// What holds from the next block on, and when that begins.
    next: Option<(Instant, Blocks)>,
    /// How fast or slow this device is among all: from −1 to 1 of its drift.
    standing: f64,
    /// When the last rise was (or will be) heard.
    rose: Option<Instant>,
    /// Of the pulse that is out, or on its way out.
    number: i64,
}

/// What this device is set to.
#[derive(Clone, Copy, Debug)]
struct Blocks {
    frames: Grid,
    block: i64,
    /// From the frame of an event to the frame at which it is heard.
    late: i64,
    by_block: bool,
    half_frame: Span,
}

impl Blocks {
    /// Blocks that begin at `first`.
    fn from(first: Instant, settings: &patch::AudioBuffer, standing: f64) -> Self {
        let rate = i64::from(settings.sample_rate.max(1));
        let block = i64::from(settings.frames.max(1));
        Self {
            frames: Grid::new(first, i128::from(PS_PER_SECOND), i128::from(rate), standing * settings.drift),
            block,
            late: block * i64::from(settings.blocks.max(1)),
            by_block: settings.events == EventGrain::Block,
            half_frame: Span(PS_PER_SECOND / (2 * rate)),
        }
    }
}

impl AudioBuffer {
    /// A buffer with these settings; phase and drift are drawn here, once a run. Fewer than one block or frame counts as one:
    /// nothing is heard before it came.
    #[must_use]
    pub fn new(settings: &patch::AudioBuffer, mut device: Chance) -> Self {
        let block = i64::from(settings.frames.max(1));
        let rate = i128::from(settings.sample_rate.max(1));
        let a_block = block as f64 * PS_PER_SECOND as f64 / rate as f64;
        // Both are drawn whether or not the phase is given, so that giving it leaves the drift as it was.
        let drawn = Span((device.uniform() * a_block) as i64);
        let standing = 2.0 * device.uniform() - 1.0;
        let first = Instant::START + settings.phase.unwrap_or(drawn);
        Self { now: Blocks::from(first, settings, standing), next: None, standing, rose: None, number: 0 }
    }

    /// Where what comes at a moment is heard.
    fn heard(&mut self, at: Instant) -> Instant {
        if let Some((_, next)) = self.next.take_if(|(from, _)| *from <= at) {
            self.now = next;
        }
        let Blocks { frames, block, late, by_block, .. } = self.now;
        let frame = frames.at_or_before(at);
        let placed = if by_block { frame.div_euclid(block) * block } else { frame };
        frames.tick(placed + late)
    }

    /// Set anew: a block that is under way is done as it began.
    fn set(&mut self, kind: &StageKind, now: Instant) {
        let StageKind::AudioBuffer(settings) = kind else { return };
        if let Some((_, next)) = self.next.take_if(|(from, _)| *from <= now) {
            self.now = next;
        }
        let Blocks { frames, block, .. } = self.now;
        let from = frames.tick(-(-frames.at_or_after(now)).div_euclid(block) * block);
        self.next = Some((from, Blocks::from(from, settings, self.standing)));
    }
}

impl HitStage for AudioBuffer {
    fn pass(&mut self, hit: Passing) -> Option<Passing> {
        Some(Passing { at: self.heard(hit.at), ..hit })
    }

    fn refit(&mut self, kind: &StageKind, at: Instant) {
        self.set(kind, at);
    }
}

impl Stage for AudioBuffer {
    fn edge(&mut self, _port: usize, edge: Edge, out: &mut Out) {
        let at = self.heard(edge.at);
        let half_frame = self.now.half_frame;
        if !edge.rise {
            let at = self.rose.map_or(at, |rose| at.max(rose + half_frame));
            out.send(0, Edge { at, rise: false, number: self.number });
            return;
        }
        // Where the way has become shorter in the meantime, it still does not come before the last one.
        let at = self.rose.filter(|rose| *rose > at).map_or(at, |rose| rose + half_frame + half_frame);
        // A fall that is to be heard at the same place or after has not left yet.
        let fall = out.last(0).filter(|fall| !fall.rise && fall.at >= at);
        if fall.is_some() {
            out.take_back(0);
        }
        if out.level(0) && self.rose == Some(at) {
            out.tally.merged += 1;
            return;
        }
        if let Some(fall) = fall {
            let gap = edge.at.max(Instant(at.0 - half_frame.0));
            out.send(0, Edge { at: gap, ..fall });
        }
        (self.rose, self.number) = (Some(at), edge.number);
        out.send(0, Edge { at, ..edge });
    }

    fn turn(&mut self, kind: &StageKind, now: Instant, _out: &mut Out) {
        self.set(kind, now);
    }

    fn is_late(&self) -> bool {
        true
    }
}

#[cfg(test)]
mod tests {
    use super::super::Tally;
    use super::super::trial::{check_books, pulses, rises, through, train};
    use super::*;
    use crate::rig::Run;
    use proptest::prelude::*;

    const US: i64 = 1_000_000;
    const MS: i64 = 1_000 * US;

    /// 48 frames of 48 kHz: a block a millisecond, the first at 0.
    fn a_millisecond(blocks: u32, events: EventGrain) -> patch::AudioBuffer {
        patch::AudioBuffer { frames: 48, blocks, sample_rate: 48_000, events, phase: Some(Span::ZERO), drift: 0.0 }
    }

    fn run(settings: &patch::AudioBuffer, list: &[(i64, i64)]) -> (Vec<Edge>, Tally) {
        let came = pulses(list);
        let (left, tally) = through(&mut AudioBuffer::new(settings, Chance::none()), &came);
        check_books(&came, &left, tally);
        (left, tally)
    }

    fn times(edges: &[Edge]) -> Vec<i64> {
        edges.iter().map(|e| e.at.0).collect()
    }

    #[test]
    fn a_block_is_heard_whole_blocks_later() {
        let two = a_millisecond(2, EventGrain::Block);
        // In the block from 3 to 4 ms, at its first and at its last picosecond: heard at 5 ms.
        assert_eq!(times(&run(&two, &[(3 * MS, 8 * MS)]).0), [5 * MS, 10 * MS]);
        assert_eq!(times(&run(&two, &[(4 * MS - 1, 9 * MS - 1)]).0), [5 * MS, 10 * MS]);
        let mut shifted = two;
        shifted.phase = Some(Span(MS / 4));
        assert_eq!(times(&run(&shifted, &[(0, 8 * MS)]).0), [MS / 4 + MS, MS / 4 + 9 * MS]);
    }

    #[test]
    fn by_the_sample_the_delay_is_the_same_but_for_the_frame() {
        let two = a_millisecond(2, EventGrain::Sample);
        // 1,000/48 µs a frame: 3.01 ms lies in the frame that begins at 3 ms, 3.03 ms in the next, at 3.020833333333.
        assert_eq!(times(&run(&two, &[(3_010 * US, 3_030 * US)]).0), [5 * MS, 5_020_833_333]);
    }

    #[test]
    fn events_of_one_block_are_still_events() {
        let one = a_millisecond(1, EventGrain::Block);
        let half = PS_PER_SECOND / 96_000;
        // A pulse within a block; a fall and a rise within the next; a pulse that ends in the one after.
        let (left, _) = run(&one, &[(100 * US, 200 * US), (1_100 * US, 2_200 * US), (2_300 * US, 2_400 * US)]);
        assert_eq!(times(&left), [MS, MS + half, 2 * MS, 3 * MS - half, 3 * MS, 3 * MS + half]);
        // Two pulses within a block are one: two events at one place.
        let (left, tally) = run(&one, &[(100 * US, 200 * US), (300 * US, 400 * US)]);
        assert_eq!((times(&left), tally.merged), (vec![MS, MS + half], 1));
        // A fall and a rise within the last half frame of a block: the gap is what is left of it.
        let (left, _) = run(&one, &[(0, 1_995 * US), (1_999 * US, 5_000 * US)]);
        assert_eq!(times(&left), [MS, 1_999 * US, 2 * MS, 6 * MS]);
    }

    #[test]
    fn a_phase_that_is_not_given_is_the_middle_or_drawn() {
        let mut block = a_millisecond(1, EventGrain::Block);
        (block.phase, block.drift) = (None, 50e-6);
        // Blocks begin at 0.5 ms before and after the start: what comes at 0 is heard with the second.
        assert_eq!(times(&run(&block, &[(0, 2 * MS)]).0), [MS / 2, 2 * MS + MS / 2]);
        // Over many runs the delay is even between 0 and 1 ms: mean ½, SD 1/√12 = 0.288675 (closed form).
        let (runs, came) = (10_000, pulses(&[(77_777 * US, 99_999 * US)]));
        let late: Vec<f64> = (1..=runs)
            .map(|number| {
                let device = Run::Drawn { seed: 1, number }.chance("stage/computer");
                let (left, _) = through(&mut AudioBuffer::new(&block, device), &came);
                (left[0].at.0 - 77_777 * US) as f64 / MS as f64
            })
            .collect();
        let mean = late.iter().sum::<f64>() / runs as f64;
        let variance = late.iter().map(|l| (l - mean).powi(2)).sum::<f64>() / runs as f64;
        // Five standard errors: 1/√(12n), and √(1/180)/√n.
        assert!((mean - 0.5).abs() < 0.0145, "{mean}");
        assert!((variance - 1.0 / 12.0).abs() < 0.0038, "{variance}");
        assert!(late.iter().all(|l| (0.0..=1.0).contains(l)));
    }

    #[test]
    fn blocks_of_an_odd_rate_do_not_drift() {
        // 64 frames at 44.1 kHz: 1,451,247,165.53… ps. After an hour, 3,600·44,100/64 = 2,480,625 blocks.
        let mut odd = a_millisecond(1, EventGrain::Block);
        (odd.frames, odd.sample_rate) = (64, 44_100);
        let hour = 3_600_000 * MS;
        assert_eq!(times(&run(&odd, &[(hour, hour + 10 * MS)]).0)[0], hour + 1_451_247_166);
    }

    proptest! {
        /// Rises are heard where whole numbers say, each place once; nothing is lost; the delay has its bounds.
        #[test]
        fn rises_are_heard_at_their_places(
            list in proptest::collection::vec((1_i64..4_000, 1_i64..4_000), 1..20), frames in 1_u32..200,
            blocks in 1_u32..4, by_block in any::<bool>(), phase in 0_i64..5_000,
        ) {
            let events = if by_block { EventGrain::Block } else { EventGrain::Sample };
            // At 50 kHz a frame is 20 µs exactly.
            let origin = phase * US;
            let phase = Some(Span(origin));
            let settings = patch::AudioBuffer { frames, blocks, sample_rate: 50_000, events, phase, drift: 0.0 };
            let came = train(&list.iter().map(|(a, b)| (a * US, b * US)).collect::<Vec<_>>());
            let (left, tally) = through(&mut AudioBuffer::new(&settings, Chance::none()), &came);
            check_books(&came, &left, tally);
            let block = i64::from(frames) * 20 * US;
            let grain = if by_block { block } else { 20 * US };
            let mut want: Vec<i64> = came
                .iter()
                .filter(|(_, e)| e.rise)
                .map(|(_, e)| origin + (e.at.0 - origin).div_euclid(grain) * grain + i64::from(blocks) * block)
                .collect();
            want.dedup();
            prop_assert_eq!(rises(&left), want);
            prop_assert_eq!(tally.lost, 0);
        }
    }
}
