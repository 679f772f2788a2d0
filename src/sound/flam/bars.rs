use super::BEATS;
use crate::dsp::amplitude;
use crate::patch::Rig;
use crate::sound::render::{Bank, Cue, Program, RenderError, Watch};
use crate::sound::score::{CueList, Ensemble, Passage, Signpost, stroke};
use crate::text::nine_places;
use crate::time::{Beat, Instant, Span, Tempo};

/// Bars of a file in which the voices are apart; one with them together follows.
pub const BARS_APART: i64 = 3;

/// A file of two voices at a tempo: some bars apart, then one together.
#[derive(Clone, Debug)]
pub struct FlamBars {
    apart: Vec<Cue>,
    together: Vec<Cue>,
    end: Instant,
    signposts: Vec<Signpost>,
}

/// Both voices on each beat of some bars, the second a gap after the first, all later by `start`.
fn bars((rig, ensemble): (&Rig, &Ensemble), tempo: Tempo, (from, to): (i64, i64), gap: Span, start: Span) -> Vec<Cue> {
    let mut score = CueList::new(ensemble);
    for n in from * BEATS..to * BEATS {
        let beat = Beat::from_integer(i128::from(n));
        let at = tempo.instant(beat) + start;
        for (player, at) in [(0, at), (1, at + gap)] {
            score.add(0, rig, &stroke(rig, player, beat, at), at, 1.0);
        }
    }
    score.finish()
}

/// The bars of a file with both voices together in all of them: what all files of a tempo are as loud as.
#[must_use]
pub fn reference(rig: &Rig, ensemble: &Ensemble, tempo: Tempo) -> Passage {
    let cues = bars((rig, ensemble), tempo, (0, BARS_APART + 1), Span::ZERO, Span::ZERO);
    Passage { cues, end: Instant::START, signposts: Vec::new() }
}

impl FlamBars {
    /// The bars of two players at a tempo, the second a gap after the first.
    #[must_use]
    pub fn new(rig: &Rig, ensemble: &Ensemble, tempo: Tempo, gap: Span) -> Self {
        // A second voice that is ahead must not come before the file.
        let start = Span((-gap.0).max(0));
        let bars = |from: i64, to: i64, gap: Span| bars((rig, ensemble), tempo, (from, to), gap, start);
        // The bar together waits until the last hit apart has sounded, a gap of a beat or more included.
        let bar = tempo.instant(Beat::from_integer(i128::from(BEATS)));
        let mut late = BARS_APART;
        while gap.abs().0 > tempo.instant(Beat::new(1, 2)).0 + (late - BARS_APART) * bar.0 {
            late += 1;
        }
        let end = tempo.instant(Beat::from_integer(i128::from((late + 1) * BEATS))) + start;
        let ms = nine_places(Beat::new(i128::from(gap.0), i128::from(Span::from_ms(1).0)));
        let line = |n: i64, label: String| {
            let at = tempo.instant(Beat::from_integer(i128::from(n * BEATS))) + start;
            Signpost { at, label }
        };
        let apart = (0..BARS_APART).map(|n| line(n, format!("{ms} ms apart, bar {}", n + 1)));
        let signposts = apart.chain([line(late, "together".to_owned())]).collect();
        Self { apart: bars(0, BARS_APART, gap), together: bars(late, late + 1, Span::ZERO), end, signposts }
    }

    /// The whole, its bar together as loud as each of those apart: two equal hits at once are 6 dB louder than one, and nobody
    /// should hear that instead of the gap. The energies of the bars are compared.
    ///
    /// # Errors
    /// As [`Program::new`], and if it is stopped.
    pub fn even<'a>(&self, bank: &'a Bank, lead_in: Span, watch: Watch<'_>) -> Result<Program<'a>, RenderError> {
        let alone = |cues: &Vec<Cue>| Program::new(bank, cues.clone(), lead_in, Instant::START)?.loudness(watch);
        let (apart, together) = (alone(&self.apart)?, alone(&self.together)?);
        let bars = 10.0 * libm::log10(BARS_APART as f64);
        let louder = apart.energy.zip(together.energy).map_or(0.0, |(a, t)| a - bars - t);
        self.program(bank, lead_in, amplitude(louder))
    }

    /// The whole, with a factor on the bar together.
    ///
    /// # Errors
    /// As [`Program::new`].
    pub fn program<'a>(&self, bank: &'a Bank, lead_in: Span, together: f64) -> Result<Program<'a>, RenderError> {
        let cues = self.apart.iter().copied().chain(self.together.iter().map(|c| c.scaled(together as f32))).collect();
        Ok(Signpost::mark(Program::new(bank, cues, lead_in, self.end)?, &self.signposts))
    }
}
