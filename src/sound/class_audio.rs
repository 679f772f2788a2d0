//! The sound of a class pack: trials of three intervals, in one of which two voices are a gap apart, and together in the others.

use super::render::{Bank, Cue, Program, RenderError, Watch};
use super::score::{CueList, Ensemble, Signpost, stroke};
use crate::dsp::amplitude;
use crate::patch::Rig;
use crate::rig::Run;
use crate::time::{Beat, Instant, Span};

/// Between the beginnings of a trial's three intervals: as on the training page.
const APART: Span = Span::from_ms(1_300);
/// From the first sample to the first interval.
const FIRST: Span = Span::from_ms(100);
/// Past the tail of any voice, which lasts 3 s at most: a file's length must not tell where its last hit lies.
const END: Instant = Instant(2 * APART.0 + Span::from_ms(3_300).0);
/// Levels and places of intervals by chance, so that neither gives the answer away.
const ROVE_DB: f64 = 3.0;
const ROVE_MS: f64 = 40.0;
/// How far below full scale the highest peak of any trial stays, in decibels, at the top of a page's slider: no trial has to
/// be turned down, so that none gives its gap away by its level (chosen here, no source).
pub const HEADROOM_DB: f64 = 10.0;

/// Two players and the sound of their voices.
#[derive(Clone, Copy, Debug)]
pub struct Players<'a> {
    /// The two, as [`pair_rig`](super::flam::pair_rig) has them.
    pub rig: &'a Rig,
    /// Their voices: this rig alone is in it.
    pub ensemble: &'a Ensemble,
    /// What is rendered from.
    pub bank: &'a Bank,
}

/// A trial of a pack.
#[derive(Clone, Debug)]
pub struct ClassTrial {
    /// Its number in the pack, from 1 on.
    number: u64,
    /// Half of the gap: whole, so that the two halves are alike.
    half: Span,
    /// The interval in which the voices are apart, from 1 to 3.
    split: u32,
    intervals: [Interval; 3],
}

#[derive(Clone, Copy, Debug)]
struct Interval {
    /// Where the two voices stand, in halves of the gap from its place.
    stands: [i32; 2],
    /// When it begins: the same for both voices.
    place: Span,
    /// What chance adds to its level, in decibels.
    rove_db: f64,
}

/// How a pair of hits stands at its own level.
struct Strength {
    /// Its true peak, in dBTP.
    dbtp: f64,
    /// Its K-weighted energy, in decibels.
    energy: f64,
}

/// A draw from -1 to 1.
fn rove((seed, number): (u64, u64), interval: u32, what: &str) -> f64 {
    let mut chance = Run::Drawn { seed, number }.chance(&format!("pack/{interval}/{what}"));
    2.0 * chance.uniform() - 1.0
}

impl ClassTrial {
    /// Draws a trial by a seed and its number: which interval is split by how much is given, and so is the rule `stands` by which
    /// voices stand in an interval, to each side of its place, after the throw of a coin.
    #[must_use]
    pub fn draw(gap_ms: f64, split: u32, drawn: (u64, u64), stands: impl Fn(u32, bool) -> [i32; 2]) -> Self {
        let interval = |n: u32| Interval {
            stands: stands(n, rove(drawn, n, "side") >= 0.0),
            place: Span(FIRST.0 + APART.0 * i64::from(n - 1) + (ROVE_MS * 1e9 * rove(drawn, n, "place")) as i64),
            rove_db: ROVE_DB * rove(drawn, n, "level"),
        };
        Self {
            number: drawn.1 + 1,
            half: Span((gap_ms * 5e8).round() as i64),
            split,
            intervals: [1, 2, 3].map(interval),
        }
    }

    /// The render. With the largest level by chance a pair together peaks [`HEADROOM_DB`] below full scale, and a pair apart is as
    /// loud, measured the way round it is played. Its number is marked at its beginning: nothing in the file knows the answer.
    ///
    /// # Errors
    /// As [`Program::new`].
    pub fn program<'a>(&self, of: Players<'a>, lead_in: Span) -> Result<Program<'a>, RenderError> {
        let program = Program::new(of.bank, self.cues(of, self.levels(of)?), lead_in, END)?;
        let label = format!("trial {}", self.number);
        Ok(Signpost::mark(program, &[Signpost { at: Instant::START, label }]))
    }

    /// The levels of a pair together and of the pair apart, in decibels.
    fn levels(&self, of: Players<'_>) -> Result<[f64; 2], RenderError> {
        let apart = self.intervals[self.split as usize - 1].stands;
        let (together, apart) = (self.heard(of, [0, 0])?, self.heard(of, apart)?);
        let stand = -HEADROOM_DB - ROVE_DB - together.dbtp;
        Ok([stand, stand + together.energy - apart.energy])
    }

    /// The three intervals, at the levels of a pair together and of the pair apart, in decibels.
    fn cues(&self, of: Players<'_>, [together, apart]: [f64; 2]) -> Vec<Cue> {
        let mut score = CueList::new(of.ensemble);
        for (n, interval) in (1..).zip(&self.intervals) {
            let level = interval.rove_db + if n == self.split { apart } else { together };
            self.pair(&mut score, of.rig, interval.place, interval.stands, amplitude(level));
        }
        score.finish()
    }

    fn heard(&self, of: Players<'_>, stands: [i32; 2]) -> Result<Strength, RenderError> {
        let mut score = CueList::new(of.ensemble);
        self.pair(&mut score, of.rig, FIRST, stands, 1.0);
        let program = Program::new(of.bank, score.finish(), Span::ZERO, END)?;
        let dbtp = program.measure(Watch::nobody())?.dbtp();
        Ok(Strength { dbtp, energy: program.loudness(Watch::nobody())?.energy.unwrap_or(0.0) })
    }

    /// Both voices, each so many halves of the gap from a place.
    fn pair(&self, score: &mut CueList<'_>, rig: &Rig, place: Span, stands: [i32; 2], level: f64) {
        for (player, halves) in stands.into_iter().enumerate() {
            let at = Instant(place.0 + i64::from(halves) * self.half.0);
            score.add(0, rig, &stroke(rig, player, Beat::default(), at), at, level);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sound::flam::{pair, pair_rig};
    use crate::sound::score::Seating;

    /// The gaps of a pack in milliseconds, each in each of the three intervals.
    fn questions() -> impl Iterator<Item = (f64, u32)> {
        [32.0, 16.0, 8.0, 4.0, 2.0].into_iter().flat_map(|gap| (1..=3).map(move |split| (gap, split)))
    }

    /// Of two voices each is early or late by half a gap, and the other the other way where the two are apart.
    fn trial(n: u64, gap_ms: f64, split: u32) -> ClassTrial {
        ClassTrial::draw(gap_ms, split, (7, n), |interval, early| {
            let first = if early { -1 } else { 1 };
            [first, if interval == split { -first } else { first }]
        })
    }

    fn with_players(names: &str, test: impl FnOnce(Players<'_>)) {
        let rig = pair_rig(&pair(names).expect("in the kit"));
        let ensemble = Ensemble::new(&[&rig], Seating::Centre, 7).expect("voices");
        let bank = Bank::new(48_000, ensemble.sounds()).expect("a usual rate");
        test(Players { rig: &rig, ensemble: &ensemble, bank: &bank });
    }

    /// In every file the interval that is asked for has its hits the gap apart, the others have theirs together.
    #[test]
    fn only_the_split_interval_is_split() {
        with_players("kick,snare", |of| {
            for (n, (gap_ms, split)) in (0..).zip(questions()) {
                let trial = trial(n, gap_ms, split);
                let mut cues = trial.cues(of, [-2.0, 0.0]);
                assert_eq!(cues.len(), 6);
                cues.sort_by_key(|c| c.at);
                let half = Span((gap_ms * 5e8) as i64);
                for (interval, two) in (1..).zip(cues.chunks(2)) {
                    let wanted = if interval == split { Span(2 * half.0) } else { Span::ZERO };
                    assert_eq!(two[1].at - two[0].at, wanted, "{n} {interval}");
                    // Wherever the answer is, each voice stands half a gap from the place of its interval: one alone says nothing.
                    let place = trial.intervals[interval as usize - 1].place;
                    assert!(two.iter().all(|c| (c.at - Instant(place.0)).0.abs() == half.0), "{n} {interval}");
                    let off = place.0 - Span::from_ms(100 + 1_300 * (i64::from(interval) - 1)).0;
                    assert!(off.abs() <= Span::from_ms(40).0);
                }
            }
        });
    }

    /// Less what chance adds, every pair of every file is equally loud whatever its gap, and no file needs to be turned down:
    /// 10 dB are left, of which a pair apart may take as much as its peak stands out more than that of a pair together, 3.6 dB
    /// for two kicks (a scan of all pairs of the kit by another program).
    #[test]
    fn no_level_depends_on_the_gap() {
        for names in ["kick,kick", "snare,snare", "kick,snare", "click,hat"] {
            with_players(names, |of| {
                let mut energies = Vec::new();
                for (n, (gap_ms, split)) in (0..).zip(questions()) {
                    let trial = trial(n, gap_ms, split);
                    let whole = trial.program(of, Span::from_ms(100)).expect("sound");
                    let mut cues = trial.cues(of, trial.levels(of).expect("sound"));
                    cues.sort_by_key(|c| c.at);
                    for (two, interval) in cues.chunks(2).zip(&trial.intervals) {
                        let alone = Program::new(of.bank, two.to_vec(), Span::from_ms(100), END).expect("sound");
                        let energy = alone.loudness(Watch::nobody()).expect("sound").energy.expect("sound");
                        energies.push(energy - interval.rove_db);
                    }
                    let peak = whole.measure(Watch::nobody()).expect("sound").dbtp();
                    assert!(peak < -HEADROOM_DB + 3.6, "{names:?}, question {n}: {peak:.2} dBTP");
                }
                // Figures have two decimals, and the meter's windows lie elsewhere.
                assert!(energies.iter().all(|e| (e - energies[0]).abs() < 0.05), "{names:?}: {energies:?}");
            });
        }
    }
}
