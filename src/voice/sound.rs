//! What a voice sounds like, wherever that comes from.

use super::recorded::Recorded;
use super::{Drum, Model, NoiseKey, Settings, VoiceError};
use crate::dsp::Master;

/// What a voice sounds like.
#[derive(Clone, Debug, PartialEq)]
pub enum Sound {
    /// A model draws it.
    Drawn(Settings),
    /// It is played from files.
    Recorded(Recorded),
}

impl Sound {
    /// The model that draws it, if one does.
    #[must_use]
    pub const fn model(&self) -> Option<Model> {
        match self {
            Self::Drawn(settings) => Some(settings.model),
            Self::Recorded(_) => None,
        }
    }

    /// How a model draws it, if one does.
    #[must_use]
    pub const fn settings(&self) -> Option<&Settings> {
        match self {
            Self::Drawn(settings) => Some(settings),
            Self::Recorded(_) => None,
        }
    }

    /// How many strokes it has, each with a sound of its own; a model has one, and its velocity is a matter of level alone.
    #[must_use]
    pub fn strokes(&self) -> usize {
        match self {
            Self::Drawn(_) => 1,
            Self::Recorded(recorded) => recorded.files.len(),
        }
    }

    /// Which of its strokes is played at a velocity; the first is the loudest.
    #[must_use]
    pub fn stroke(&self, velocity: u8) -> usize {
        match self {
            Self::Drawn(_) => 0,
            Self::Recorded(recorded) => recorded.stroke(velocity),
        }
    }

    /// One of its strokes, made ready.
    ///
    /// # Errors
    /// For settings that no model can draw, and for a file that nobody has read.
    pub fn drum(&self, stroke: usize) -> Result<Drum, VoiceError> {
        match self {
            Self::Drawn(settings) => Drum::new(settings),
            Self::Recorded(recorded) => match recorded.strokes.get(stroke) {
                Some(stroke) => Ok(Drum::recorded(stroke)),
                None => Err(VoiceError::Unread { count: recorded.files.len(), read: recorded.strokes.len() }),
            },
        }
    }

    /// One hit at velocity 127, with the noise of a key where it has any.
    ///
    /// # Errors
    /// As of [`Sound::drum`].
    pub fn master(&self, key: &NoiseKey) -> Result<Master, VoiceError> {
        Ok(self.drum(0)?.master(key))
    }

    /// What its files hold, in short: their SHA-256, the loudest first, of several joined by `+`. `None` where a model draws it.
    #[must_use]
    pub fn checksum(&self) -> Option<String> {
        match self {
            Self::Drawn(_) => None,
            Self::Recorded(recorded) => {
                Some(recorded.strokes.iter().map(|stroke| stroke.checksum.as_str()).collect::<Vec<_>>().join("+"))
            }
        }
    }
}
