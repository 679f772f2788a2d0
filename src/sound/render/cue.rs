use crate::time::{Instant, PS_PER_SECOND, Span};

/// One hit of a render.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cue {
    /// When it sounds, from the clock's start.
    pub at: Instant,
    /// What sounds: a voice of the bank, by its number.
    pub voice: u32,
    /// Factor on the left channel, pan, level and velocity included. A mono render has this one only.
    pub left: f32,
    /// Factor on the right channel.
    pub right: f32,
}

impl Cue {
    /// A hit from the centre, both channels at one factor.
    #[must_use]
    pub fn centred(at: Instant, voice: u32, gain: f32) -> Self {
        Self { at, voice, left: gain, right: gain }
    }

    /// This hit with a factor on both channels.
    #[must_use]
    pub fn scaled(self, gain: f32) -> Self {
        Self { left: self.left * gain, right: self.right * gain, ..self }
    }
}

/// Where a hit falls among the samples, exactly: `frame + part / 10¹²`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct SamplePosition {
    pub(super) frame: i64,
    pub(super) part: u64,
}

impl SamplePosition {
    /// What `part` counts: a time is whole picoseconds and a rate whole hertz, so this is always exact.
    pub(super) const PARTS: u64 = PS_PER_SECOND as u64;

    /// The place of a time from the file's first sample, at a rate in hertz.
    pub(super) fn new(at: Span, rate: u32) -> Self {
        // In two halves, so that 64 bits hold everything: a second of picoseconds times the rate stays below 4·10¹⁷.
        let (seconds, rest) = (at.0.div_euclid(PS_PER_SECOND), at.0.rem_euclid(PS_PER_SECOND));
        let parts = rest.unsigned_abs() * u64::from(rate);
        let frame = seconds * i64::from(rate) + (parts / Self::PARTS) as i64;
        Self { frame, part: parts % Self::PARTS }
    }

    /// The first frame that is not before this place.
    pub(super) fn next_frame(self) -> i64 {
        self.frame + i64::from(self.part > 0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::time::LONGEST_PIECE_PS;
    use proptest::prelude::*;

    proptest! {
        /// The halves of 64 bits against 128 bits in one go.
        #[test]
        fn a_place_is_the_exact_quotient(ps in -1_000_000_000_000_000..LONGEST_PIECE_PS, rate in 8_000_u32..=384_000) {
            let place = SamplePosition::new(Span(ps), rate);
            let exact = i128::from(ps) * i128::from(rate);
            prop_assert_eq!(i128::from(place.frame), exact.div_euclid(i128::from(PS_PER_SECOND)));
            prop_assert_eq!(i128::from(place.part), exact.rem_euclid(i128::from(PS_PER_SECOND)));
        }
    }

    #[test]
    fn a_midi_clock_pulse_is_918_and_three_quarter_samples() {
        // 500,000/24 µs at 44.1 kHz (MIDI 1.0 timing clock at 120; second-hand). After an hour of 172,800 pulses
        // nothing has come on top.
        let three = SamplePosition::new(Span(62_500_000_000), 44_100);
        assert_eq!(three, SamplePosition { frame: 2_756, part: 250_000_000_000 });
        let hour = SamplePosition::new(Span(3_600_062_500_000_000), 44_100);
        assert_eq!(hour, SamplePosition { frame: 3_600 * 44_100 + 2_756, part: 250_000_000_000 });
    }
}
