use super::BEATS;
use super::flam_gap::FlamGap;
use crate::dsp::amplitude;
use crate::hits::Hit;
use crate::patch::Rig;
use crate::sound::comparison::STAND_DBTP;
use crate::sound::loops::LoopHit;
use crate::sound::render::{Bank, Program, RenderError, Watch};
use crate::sound::score::{CueList, Ensemble, stroke};
use crate::time::{Beat, Instant, Span, Tempo};

/// What is measured goes round from so much before the first beat on.
const EARLY: Span = Span::from_ms(150);

/// The bars of two voices at a tempo that go round on a page: together, then by each gap.
#[derive(Clone, Debug)]
pub struct FlamLoops {
    tempo: Tempo,
    /// The second voice's hit minus the first's, of each version.
    pub gaps: Vec<Span>,
}

impl FlamLoops {
    /// Bars that a loop may have.
    pub const BARS: u32 = 4;

    /// The versions of these settings, after the one with both voices together.
    #[must_use]
    pub fn new(tempo: Tempo, settings: &[FlamGap]) -> Self {
        Self { tempo, gaps: std::iter::once(Span::ZERO).chain(settings.iter().map(|s| s.gap(tempo))).collect() }
    }

    /// How long a bar lasts.
    #[must_use]
    pub fn bar(&self) -> Span {
        self.length(1)
    }

    /// The beats of a bar, and whether each begins it.
    #[must_use]
    pub fn lines(&self) -> Vec<(Instant, bool)> {
        (0..BEATS).map(|n| (self.tempo.instant(Beat::from_integer(i128::from(n))), n == 0)).collect()
    }

    /// The hits of a version, each where it is due and a gap from there: what lies outside the loop goes round.
    #[must_use]
    pub fn hits(&self, rig: &Rig, ensemble: &Ensemble, gap: Span) -> Vec<LoopHit> {
        let hit = |(n, player): (i64, usize)| {
            let hit = self.beat(rig, n, player);
            let (voice, gain) = ensemble.part(0, &hit);
            let late = if player == 0 { Span::ZERO } else { gap };
            let bar = (n / BEATS) as u32;
            LoopHit { at: hit.at + late, voice, gain, bar, player, due: hit.at, first: n % BEATS == 0 }
        };
        Self::beats().map(hit).collect()
    }

    /// The factors with which all versions are as loud as the two together, and the highest peak of any is at [`STAND_DBTP`] at
    /// most.
    ///
    /// # Errors
    /// As [`Program::new`], and if it is stopped.
    pub fn gains(
        &self,
        rig: &Rig,
        ensemble: &Ensemble,
        (bank, lead_in): (&Bank, Span),
        watch: Watch<'_>,
    ) -> Result<Vec<f64>, RenderError> {
        let whole = self.length(i64::from(Self::BARS)).0;
        // What would sound before the loop or after it goes round, as the beats before and after would.
        let round = |at: Instant| Instant((at.0 + EARLY.0).rem_euclid(whole) - EARLY.0);
        let measured = self.gaps.iter().map(|&gap| {
            let mut score = CueList::new(ensemble);
            for (n, player) in Self::beats() {
                let hit = self.beat(rig, n, player);
                let at = if player == 0 { hit.at } else { round(hit.at + gap) };
                // Before the file nothing can be heard: all a little later.
                score.add(0, rig, &hit, at + EARLY, 1.0);
            }
            let program = Program::new(bank, score.finish(), lead_in, Instant::START)?;
            Ok((program.measure(watch)?.dbtp(), program.loudness(watch)?.energy.unwrap_or(0.0)))
        });
        let measured: Vec<(f64, f64)> = measured.collect::<Result<_, RenderError>>()?;
        let louder: Vec<f64> = measured.iter().map(|(_, energy)| measured[0].1 - energy).collect();
        let highest = measured.iter().zip(&louder).map(|((peak, _), db)| peak + db).fold(f64::NEG_INFINITY, f64::max);
        let stand = (STAND_DBTP - highest).min(0.0);
        Ok(louder.into_iter().map(|db| amplitude(db + stand)).collect())
    }

    fn length(&self, bars: i64) -> Span {
        self.tempo.instant(Beat::from_integer(i128::from(bars * BEATS))) - Instant::START
    }

    /// Every beat with each of the two players.
    fn beats() -> impl Iterator<Item = (i64, usize)> {
        (0..i64::from(Self::BARS) * BEATS).flat_map(|n| [(n, 0), (n, 1)])
    }

    /// A player's hit on a beat.
    fn beat(&self, rig: &Rig, n: i64, player: usize) -> Hit {
        let beat = Beat::from_integer(i128::from(n));
        stroke(rig, player, beat, self.tempo.instant(beat))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sound::flam::{pair, pair_rig};
    use crate::sound::score::Seating;

    /// By hand at 120, where a loop lasts 8 s: a second voice that is ahead sounds before the loop on its first beat, which is
    /// 10 ms before its end once it goes round, and every pair belongs to the bar of its beat.
    #[test]
    fn each_beat_has_both_voices_a_gap_apart() {
        let voices = pair("kick,snare").expect("in the kit");
        let rig = pair_rig(&voices);
        let ensemble = Ensemble::new(&[&rig], Seating::Centre, 1).expect("voices");
        let tempos = [Tempo::whole(120)];
        let settings = FlamGap::parse_list("-10ms,4ms", false, Beat::from_integer(1), &tempos).expect("times");
        let loops = FlamLoops::new(tempos[0], &settings);
        assert_eq!(loops.bar(), Span::from_ms(2_000));
        assert_eq!(loops.gaps, [0, -10, 4].map(Span::from_ms));
        let hits = loops.hits(&rig, &ensemble, loops.gaps[1]);
        let told: Vec<(i64, usize, u32)> = hits.iter().map(|h| (h.at.0 / 1_000_000_000, h.voice, h.bar)).collect();
        assert_eq!(told[..4], [(0, 0, 0), (-10, 1, 0), (500, 0, 0), (490, 1, 0)]);
        assert_eq!((told.len(), told[31]), (32, (7_490, 1, 3)));
    }
}
