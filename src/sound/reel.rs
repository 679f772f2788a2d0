//! A reel: all that a lesson plays in one file, part after part, each after as many strokes as its number.

use super::loops::LoopHit;
use super::render::{Cue, Master};
use super::score::{Passage, Signpost};
use crate::dsp::amplitude;
use crate::time::{Instant, PS_PER_MS, Span};
use crate::voice::{Model, NoiseKey, Settings, VoiceError, master};

/// From one counting stroke to the next: slow enough to count.
const STROKES_APART: Span = Span(300 * PS_PER_MS);
/// From the last counting stroke to what is counted in: so much longer that nobody takes it for another.
const AFTER_STROKES: Span = Span(1_000 * PS_PER_MS);
/// Between two versions of a part.
const PAUSE: Span = Span(700 * PS_PER_MS);
/// Between the last version of a part and the strokes of the next.
const PARTED: Span = Span(2_000 * PS_PER_MS);
/// The peak of a counting stroke: some 10 dB below what is compared, so that nobody takes it for a part of that.
const STROKE_DB: f64 = -16.0;
/// The tick that counts: lower than the click of the kit, which has 3 kHz, and the lowest that its model has.
const STROKE_HZ: f64 = 2_000.0;
const STROKE_WIDTH_S: f64 = 0.000_14;

/// A part of a reel.
#[derive(Clone, Debug)]
pub struct ReelPart {
    /// What it is called.
    pub title: String,
    /// The sounds of its voices.
    pub masters: Vec<Master>,
    /// What is played, in order.
    pub pieces: Vec<ReelPiece>,
}

/// A version that is heard in a part: bars that go round on a page, played once.
#[derive(Clone, Debug)]
pub struct ReelPiece {
    label: String,
    cues: Vec<Cue>,
    length: Span,
}

impl ReelPiece {
    /// The first bars of a loop, so many and each so long, with all that is due in them: what is early sounds before the first.
    #[must_use]
    pub fn new(label: String, hits: &[LoopHit], gain: f64, (bars, bar): (u32, Span)) -> Self {
        let heard = hits.iter().filter(|hit| hit.bar < bars);
        let cue = |hit: &LoopHit| {
            Cue::centred(hit.at, u32::try_from(hit.voice).unwrap_or(u32::MAX), (gain * hit.gain) as f32)
        };
        Self { label, cues: heard.map(cue).collect(), length: Span(bar.0 * i64::from(bars)) }
    }
}

/// All parts in one passage, and what sounds in them.
#[derive(Clone, Debug)]
pub struct Reel {
    /// What is played; its voices are numbered in [`Reel::masters`].
    pub passage: Passage,
    /// The sounds of all voices, each once, after that of the counting strokes.
    pub masters: Vec<Master>,
}

impl Reel {
    /// Lays parts out one after the other. Where a part begins its title is marked, and where a version does its name.
    ///
    /// # Errors
    /// If the counting stroke cannot be drawn, which it can.
    pub fn new(parts: Vec<ReelPart>) -> Result<Self, VoiceError> {
        let stroke = stroke()?;
        let peak = stroke.samples.iter().fold(0.0_f32, |most, v| most.max(v.abs()));
        let strength = amplitude(STROKE_DB) as f32 / peak.max(f32::MIN_POSITIVE);
        let mut masters = vec![stroke];
        let (mut cues, mut signposts) = (Vec::new(), Vec::new());
        let (mut now, mut end) = (Instant::START, Instant::START);
        for (number, part) in (1_i64..).zip(parts) {
            let voices: Vec<u32> = part.masters.into_iter().map(|voice| place_of(voice, &mut masters)).collect();
            signposts.push(Signpost { at: now, label: part.title });
            for n in 0..number {
                cues.push(Cue::centred(now + Span(n * STROKES_APART.0), 0, strength));
            }
            now = now + Span((number - 1) * STROKES_APART.0 + AFTER_STROKES.0);
            for piece in part.pieces {
                let early = piece.cues.iter().map(|cue| Instant::START - cue.at).max().unwrap_or(Span::ZERO);
                now = now + early.max(Span::ZERO);
                signposts.push(Signpost { at: now, label: piece.label });
                let later = now - Instant::START;
                cues.extend(piece.cues.iter().map(|cue| Cue {
                    at: cue.at + later,
                    voice: voices[cue.voice as usize],
                    ..*cue
                }));
                // What is late sounds on into the rest, which begins after it.
                let late = piece.cues.iter().map(|cue| cue.at - Instant::START).max().unwrap_or(Span::ZERO);
                end = now + late.max(piece.length);
                now = end + PAUSE;
            }
            now = end + PARTED;
        }
        Ok(Self { passage: Passage { cues, end, signposts: Signpost::few(signposts, 1) }, masters })
    }
}

/// The sound of a counting stroke; it has no noise, so that no seed matters.
fn stroke() -> Result<Master, VoiceError> {
    let settings = Settings { model: Model::Click, values: vec![STROKE_HZ, STROKE_WIDTH_S] };
    master(&settings, &NoiseKey::voice(0, "stroke"))
}

/// The number of a sound among all, to which it is added if it is new.
fn place_of(voice: Master, masters: &mut Vec<Master>) -> u32 {
    let found = masters.iter().position(|known| *known == voice).unwrap_or(masters.len());
    if found == masters.len() {
        masters.push(voice);
    }
    u32::try_from(found).unwrap_or(u32::MAX)
}
