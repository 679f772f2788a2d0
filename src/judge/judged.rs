use super::runs::{Chances, left_to_chance};
use super::{Body, Breakdown, Colour, State, Sure, Verdict, judge, sure};
use crate::patch::{Patch, Rig, Variant};
use crate::rig::{Performance, RigError, Run, play_run};
use crate::time::{LineError, Tempo};
use crate::voice::{NoiseKey, Sound, VoiceError};

/// A variant at one tempo, judged.
#[derive(Clone, Debug)]
pub struct Judged<'a> {
    /// The variant.
    pub variant: &'a Variant,
    /// The tempo.
    pub tempo: Tempo,
    /// What is to be said of it.
    pub verdict: Verdict,
    /// For each pair, in the order of [`Verdict::gaps`], what the worst gap does to the sound; nothing for unlike sounds and
    /// where nothing pairs.
    pub colours: Vec<Colour>,
    /// For each sequencer, how sure its resets are; `None` where there is nothing to say.
    pub sure: Vec<Option<Sure>>,
    /// The stages of the variant that are left to chance, by name.
    pub drawn: Vec<String>,
    /// Where each sequencer's time goes, if that was asked for; else empty.
    pub breakdown: Vec<Option<Breakdown>>,
    /// What many runs came to, if they were asked for.
    pub runs: Option<Chances>,
}

/// Why a variant could not be judged at a tempo.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum JudgedError {
    /// The rig cannot be played.
    #[error(transparent)]
    Rig(#[from] RigError),
    /// An instant does not fit; a checked patch never does that.
    #[error(transparent)]
    Time(#[from] LineError),
}

impl JudgedError {
    /// What to do, for after `help: `.
    #[must_use]
    pub fn help(&self) -> String {
        match self {
            Self::Rig(error) => error.help().to_string(),
            Self::Time(_) => "fewer bars, or a faster tempo".to_owned(),
        }
    }
}

impl<'a> Judged<'a> {
    /// Plays one run of a variant at a tempo and judges it. Colours, a breakdown and runs are for others to add.
    ///
    /// # Errors
    /// If the rig cannot be played at that tempo, or an instant does not fit.
    pub fn new(variant: &'a Variant, tempo: Tempo, patch: &Patch, run: Run) -> Result<Self, JudgedError> {
        Self::of(variant, patch, &play_run(&variant.rig, tempo, run)?)
    }

    /// Judges a performance of a variant that somebody has played anyhow.
    ///
    /// # Errors
    /// If an instant does not fit.
    pub fn of(variant: &'a Variant, patch: &Patch, performance: &Performance) -> Result<Self, JudgedError> {
        let tempo = performance.tempo;
        let verdict = judge(&variant.rig, performance, patch.max_gap)?;
        let drawn = left_to_chance(&variant.rig);
        let sure = sure(&variant.rig, performance, patch.skew);
        Ok(Self { variant, tempo, verdict, colours: Vec::new(), sure, drawn, breakdown: Vec::new(), runs: None })
    }

    /// Whether the typical run passes and, where runs were made, every one of them too.
    #[must_use]
    pub fn passes(&self) -> bool {
        self.verdict.passes() && self.runs.as_ref().is_none_or(Chances::passes)
    }

    /// What a listener meets, over all runs where there are some.
    #[must_use]
    pub fn state(&self) -> State {
        let off = |runs: &Chances| runs.sequencers.iter().any(|missing| missing.runs.seen() > 0);
        match (self.verdict.state(), &self.runs) {
            (_, Some(runs)) if off(runs) && !runs.passes() => State::Off,
            (State::Together, Some(runs)) if !runs.passes() => State::Apart,
            (state, _) => state,
        }
    }
}

/// The spectra of the voices that like pairs need, each worked out once.
#[derive(Debug, Default)]
pub struct Bodies(Vec<(Sound, Body)>);

impl Bodies {
    /// So many are kept: a voice that is turned is another each time.
    const MOST: usize = 64;

    /// Adds what the gaps between like sounds do to them.
    ///
    /// # Errors
    /// For settings that no model can draw; a checked patch has none.
    pub fn add<'a>(&mut self, mut judged: Judged<'a>) -> Result<Judged<'a>, VoiceError> {
        let rig = &judged.variant.rig;
        for gap in &judged.verdict.gaps {
            // Where no notch can be, no spectrum is needed.
            let worst = gap.first_notch_hz().and(gap.worst());
            let colour = worst.map(|worst| Ok::<_, VoiceError>(self.of(rig, gap.between[0])?.colour(worst)));
            judged.colours.push(colour.transpose()?.unwrap_or_default());
        }
        Ok(judged)
    }

    fn of(&mut self, rig: &Rig, player: usize) -> Result<&Body, VoiceError> {
        // Like sounds are of one voice each.
        let voice = &rig.voices[rig.player_voice(player).unwrap_or(0)];
        let known = self.0.iter().position(|(sound, _)| *sound == voice.sound);
        let at = match known {
            Some(at) => at,
            None => {
                let hit = voice.sound.master(&NoiseKey::voice(1, &voice.name))?;
                if self.0.len() >= Self::MOST {
                    self.0.remove(0);
                }
                self.0.push((voice.sound.clone(), Body::of(&hit.samples, crate::dsp::MASTER_RATE)));
                self.0.len() - 1
            }
        };
        Ok(&self.0[at].1)
    }
}
