use std::io;

/// Samples of one recorder, read where they are wanted, so that no more than a block of them is held.
///
/// Whoever opens files implements it; nothing here does.
pub trait Recording: Sync {
    /// Samples a second.
    fn rate(&self) -> f64;

    /// How many channels there are.
    fn channels(&self) -> usize;

    /// How many samples a channel has.
    fn frames(&self) -> usize;

    /// Fills `into` with the samples of a channel from the place `from`, full scale 1. All of them lie within the recording.
    ///
    /// # Errors
    /// What stands in the way of reading.
    fn read(&self, channel: usize, from: usize, into: &mut [f32]) -> io::Result<()>;
}

/// A recording with the level at rest of each channel, which is taken off.
pub(super) struct File<'a> {
    pub(super) recording: &'a dyn Recording,
    pub(super) rests: Vec<f64>,
}

impl File<'_> {
    pub(super) fn frames(&self) -> usize {
        self.recording.frames()
    }

    /// Fills `into` from a place that may lie before the recording or beyond its end, where all is at rest.
    pub(super) fn read(&self, channel: usize, from: isize, into: &mut [f64]) -> io::Result<()> {
        let end = self.frames() as isize;
        let first = from.clamp(0, end);
        let last = (from + into.len() as isize).clamp(first, end);
        let mut samples = vec![0.0; (last - first) as usize];
        self.recording.read(channel, first as usize, &mut samples)?;
        into.fill(0.0);
        let at = (first - from).max(0) as usize;
        for (place, sample) in into.iter_mut().skip(at).zip(samples) {
            *place = f64::from(sample) - self.rests[channel];
        }
        Ok(())
    }
}

/// Samples that are held in memory.
#[derive(Clone, Debug)]
pub struct Held {
    /// Samples a second.
    pub rate: f64,
    /// A list of samples a channel, all equally long.
    pub channels: Vec<Vec<f32>>,
}

impl Recording for Held {
    fn rate(&self) -> f64 {
        self.rate
    }

    fn channels(&self) -> usize {
        self.channels.len()
    }

    fn frames(&self) -> usize {
        self.channels.first().map_or(0, Vec::len)
    }

    fn read(&self, channel: usize, from: usize, into: &mut [f32]) -> io::Result<()> {
        into.copy_from_slice(&self.channels[channel][from..from + into.len()]);
        Ok(())
    }
}
