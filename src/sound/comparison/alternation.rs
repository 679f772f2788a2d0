use super::loudness_match::louder_by;
use super::played::PlayedVariant;
use crate::dsp::amplitude;
use crate::patch::Meter;
use crate::sound::render::{Bank, Program, RenderError, Watch};
use crate::sound::score::{Bars, Ensemble, Passage, Segment, Signpost, segments};
use crate::time::{Clockwork, Instant, Span};

/// An alternation: some bars of the original, a rest, the same bars of the fix, then the next ones.
#[derive(Clone, Debug)]
pub struct Alternation {
    passage: Passage,
    /// For each cue, whether it is the original's (0) or the fix's (1).
    sides: Vec<usize>,
}

impl Alternation {
    /// Lays out the turns of two variants, each marked. Where a hit comes before the first bar line, all comes so much later: the earliest has
    /// the lead-in before it.
    #[must_use]
    pub fn new(sides: [&PlayedVariant<'_>; 2], meter: Meter, clockwork: &Clockwork, ensemble: &Ensemble) -> Self {
        let plan = segments(sides.map(PlayedVariant::version), &Bars::new(meter, clockwork));
        let (mut cues, mut owners) = (Vec::new(), Vec::new());
        let places = plan.iter().flat_map(|turn| {
            let hits = turn.hits.iter().map(|n| &sides[turn.side].hits[*n]);
            hits.map(|hit| (turn.side, hit, turn.place(clockwork, hit.at)))
        });
        let early = Span(places.clone().map(|(_, _, at)| -at.0).max().unwrap_or(0).max(0));
        for (side, hit, at) in places {
            let player = sides[side];
            // A hit with noise of its own has several.
            cues.extend(ensemble.cues(player.of, &player.variant.rig, hit, at + early, 1.0));
            owners.resize(cues.len(), side);
        }
        let end = plan.last().map_or(Instant::START, |t| Instant::START + t.end(clockwork)) + early;
        let turn = |turn: &Segment| {
            let bar = (turn.from / meter.bar()).floor().to_integer() + 1;
            Signpost { at: turn.at + early, label: format!("{}, bar {bar}", sides[turn.side].variant.name) }
        };
        let signposts = Signpost::few(plan.iter().map(turn).collect(), 2);
        Self { passage: Passage { cues, end, signposts }, sides: owners }
    }

    /// The render with a factor on each side.
    ///
    /// # Errors
    /// As [`Program::new`].
    pub fn program<'a>(&self, gains: [f64; 2], bank: &'a Bank, lead_in: Span) -> Result<Program<'a>, RenderError> {
        let scaled = self.passage.cues.iter().zip(&self.sides).map(|(cue, side)| cue.scaled(gains[*side] as f32));
        let program = Program::new(bank, scaled.collect(), lead_in, self.passage.end)?;
        Ok(Signpost::mark(program, &self.passage.signposts))
    }

    /// The render with the original at `stand` and the fix as loud as it: what is heard by turns is matched by what is heard by
    /// segments, since the first bars may differ from the rest.
    ///
    /// # Errors
    /// As [`Program::new`], and if it is stopped.
    pub fn matched<'a>(
        &self,
        stand: f64,
        bank: &'a Bank,
        lead_in: Span,
        watch: Watch<'_>,
    ) -> Result<Program<'a>, RenderError> {
        let heard = |gains: [f64; 2]| self.program(gains, bank, lead_in)?.loudness(watch);
        let louder = louder_by(heard([1.0, 0.0])?, heard([0.0, 1.0])?);
        self.program([stand, stand * amplitude(louder)], bank, lead_in)
    }
}
