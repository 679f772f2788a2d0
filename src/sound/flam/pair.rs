use crate::judge::Body;
use crate::patch::{Noise, Rig, Voice, kit, shown};
use crate::sound::score::players;
use crate::voice::{NoiseKey, VoiceError};

/// Why a text does not name two voices of the kit.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum PairError {
    /// A name that the kit does not have.
    #[error("there is no voice `{}` in the kit", shown(.0))]
    Unknown(String),
    /// One voice, or more than two.
    #[error("two voices are needed, found {0}")]
    Count(usize),
}

impl PairError {
    /// What to do, for after `help: `.
    #[must_use]
    pub fn help(&self) -> String {
        match self {
            Self::Unknown(_) => {
                format!("the kit has {}", kit().iter().map(|v| v.name.as_str()).collect::<Vec<_>>().join(", "))
            }
            Self::Count(_) => "write two with a comma between, such as kick,snare".to_owned(),
        }
    }
}

/// Two voices of the kit by their names, written as `kick,snare`.
///
/// # Errors
/// See [`PairError`].
pub fn pair(text: &str) -> Result<[Voice; 2], PairError> {
    let find = |name: &str| {
        let name = name.trim();
        kit().iter().find(|v| v.name == name).cloned().ok_or_else(|| PairError::Unknown(name.to_owned()))
    };
    match text.split(',').collect::<Vec<_>>().as_slice() {
        [a, b] => Ok([find(a)?, find(b)?]),
        other => Err(PairError::Count(other.len())),
    }
}

/// Two players without a clock, each with one of these voices; like voices are one. Their hits share one noise.
#[must_use]
pub fn pair_rig(voices: &[Voice; 2]) -> Rig {
    let kept = |v: &Voice| Voice { noise: Noise::Same, ..v.clone() };
    let second = usize::from(voices[0] != voices[1]);
    players(&[("first", 0), ("second", second)], voices[..=second].iter().map(kept).collect())
}

/// The spectrum of a voice that both are; of unlike voices `None`.
///
/// # Errors
/// If the voice has settings that its model cannot draw; the kit has none.
pub fn body(voices: &[Voice; 2], seed: u64) -> Result<Option<Body>, VoiceError> {
    if voices[0] != voices[1] {
        return Ok(None);
    }
    let hit = voices[0].sound.master(&NoiseKey::voice(seed, &voices[0].name))?;
    Ok(Some(Body::of(&hit.samples, crate::dsp::MASTER_RATE)))
}
