use std::io;

use super::recording::Recording;

/// What a first look at a channel says.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Levels {
    /// The level at rest: the median over seconds of the median of each.
    pub(super) rest: f64,
    /// The largest distance from it.
    pub(super) peak: f64,
    /// How many samples stand at the very ends of the range, four or more in a row.
    pub(super) clipped: usize,
}

/// Samples in a row at an end of the range that are taken for clipping.
const FLAT: usize = 4;

impl Levels {
    pub(super) fn of(recording: &dyn Recording, channel: usize) -> io::Result<Self> {
        let block = (recording.rate() as usize).max(1);
        let (mut medians, mut low, mut high) = (Vec::new(), f32::INFINITY, f32::NEG_INFINITY);
        let mut runs = Flats::default();
        let mut from = 0;
        while from < recording.frames() {
            let mut samples = vec![0.0; block.min(recording.frames() - from)];
            recording.read(channel, from, &mut samples)?;
            for sample in &samples {
                low = low.min(*sample);
                high = high.max(*sample);
                runs.take(*sample);
            }
            from += samples.len();
            let middle = samples.len() / 2;
            medians.push(f64::from(*samples.select_nth_unstable_by(middle, f32::total_cmp).1));
        }
        if medians.is_empty() {
            return Ok(Self::default());
        }
        let middle = medians.len() / 2;
        let rest = *medians.select_nth_unstable_by(middle, f64::total_cmp).1;
        let peak = (f64::from(high) - rest).max(rest - f64::from(low));
        Ok(Self { rest, peak, clipped: runs.at(low) + runs.at(high) })
    }
}

/// Runs of one value at the lowest and the highest so far.
#[derive(Default)]
struct Flats {
    last: f32,
    run: usize,
    ends: Vec<(f32, usize)>,
}

impl Flats {
    fn take(&mut self, sample: f32) {
        self.run = if sample == self.last { self.run + 1 } else { 1 };
        self.last = sample;
        if self.run >= FLAT && sample != 0.0 {
            let more = if self.run == FLAT { FLAT } else { 1 };
            match self.ends.iter_mut().find(|(value, _)| *value == sample) {
                Some((_, count)) => *count += more,
                None => {
                    // Only the two outermost matter.
                    self.ends.push((sample, more));
                    if self.ends.len() > 8 {
                        self.ends.sort_by(|a, b| a.0.total_cmp(&b.0));
                        self.ends.drain(2..self.ends.len() - 2);
                    }
                }
            }
        }
    }

    fn at(&self, value: f32) -> usize {
        self.ends.iter().find(|(end, _)| *end == value).map_or(0, |(_, count)| *count)
    }
}
