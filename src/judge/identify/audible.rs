use super::clock_setting::PULSES;
use super::{ClockSetting, Habit};
use crate::patch::Rig;
use crate::rig::{RigError, play};
use crate::time::{Instant, Span, Tempo};

/// What is heard of a box in the two stretches between three resets, when all has settled: where it plays, to an eighth of
/// a pulse, and whether it is step 1. Two that are equal sound alike.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct AudiblePattern {
    /// In eighths of a pulse from the pulse that the first of the resets is meant for; true for step 1.
    pub hits: Vec<(i64, bool)>,
}

/// Eighths in a pulse.
const PARTS: i64 = 8;
/// The reset from which all has settled: the second and the third begin the stretches that are heard.
const SETTLED: i64 = 2;

impl AudiblePattern {
    /// What a box of a habit sounds like in a trial; `None` where the rig gives no trial.
    ///
    /// # Errors
    /// As [`play`].
    pub fn of(
        rig: &Rig,
        player: usize,
        tempo: Tempo,
        trial: &ClockSetting,
        habit: &Habit,
    ) -> Result<Option<Self>, RigError> {
        let Some(rig) = &trial.set_up(rig, player, habit) else { return Ok(None) };
        let (from, pulse) = frame(rig, tempo);
        let performance = play(rig, tempo)?;
        let part = |at: Instant| {
            let scaled = i128::from((at - from).0) * i128::from(2 * PARTS) + i128::from(pulse.0);
            i64::try_from(scaled.div_euclid(2 * i128::from(pulse.0))).unwrap_or(i64::MAX)
        };
        let sounds = performance.tracks[player].sounds.iter().map(|s| (part(s.at), s.step == 1));
        let mut hits: Vec<_> = sounds.filter(|(at, _)| (0..2 * PULSES * PARTS).contains(at)).collect();
        hits.sort_unstable();
        Ok(Some(Self { hits }))
    }

    /// The words for it: where step 1 sounds in a stretch, and which pulses are silent.
    #[must_use]
    pub fn words(&self) -> String {
        let halves = [0, 1].map(|half| {
            let own = |(at, one): &(i64, bool)| {
                (at.div_euclid(PULSES * PARTS) == half).then_some((at % (PULSES * PARTS), *one))
            };
            self.hits.iter().filter_map(own).collect::<Vec<_>>()
        });
        let [first, second] = halves.map(|hits| stretch(&hits));
        match first == second {
            true => first,
            false => format!("in turn: {first}; then {second}"),
        }
    }
}

/// The moment from which a trial is heard, and how long a step of the box lasts.
pub(super) fn frame(rig: &Rig, tempo: Tempo) -> (Instant, Span) {
    let clockwork = rig.clockwork(tempo);
    let stretch = rig.end / 6;
    let from = clockwork.instant(stretch * i128::from(SETTLED));
    let to = clockwork.instant(stretch * i128::from(SETTLED + 1));
    (from, Span((to - from).0 / PULSES))
}

fn stretch(hits: &[(i64, bool)]) -> String {
    let ones: Vec<i64> = hits.iter().filter(|h| h.1).map(|h| h.0).collect();
    let place = |at: i64| match (at / PARTS, at % PARTS) {
        (0, 0) => "on the beat".to_owned(),
        (1, 0) => "a pulse late".to_owned(),
        (2, 0) => "two pulses late".to_owned(),
        (n, 0) if n == PULSES - 1 => "a pulse early".to_owned(),
        (n, 0) => format!("on pulse {}", n + 1),
        (n, part) => {
            let after = match part {
                2 => "a quarter",
                4 => "half",
                6 => "three quarters",
                1 => "an eighth",
                3 => "three eighths",
                5 => "five eighths",
                _ => "seven eighths",
            };
            match n {
                0 => format!("{after} of a pulse after the beat"),
                1 => format!("{after} of a pulse after the second pulse"),
                n => format!("{after} of a pulse after pulse {}", n + 1),
            }
        }
    };
    let mut said = match ones[..] {
        [] => "no step 1".to_owned(),
        [one] => format!("step 1 {}", place(one)),
        [a, b] => format!("step 1 twice, {} and {}", place(a), place(b)),
        _ if ones.len() as i64 == PULSES => "step 1 on every pulse".to_owned(),
        [first, ..] => format!("step 1 {} times running, the first {}", ones.len(), place(first)),
    };
    // Another step within the same eighth: two hits that sound nearly as one.
    if ones.iter().any(|one| hits.contains(&(*one, false))) {
        said.push_str(", close to another hit");
    }
    let on_pulse = |n: &i64| hits.iter().any(|h| h.0 == n * PARTS);
    let silent: Vec<i64> = (0..PULSES).filter(|n| !on_pulse(n)).collect();
    let numbers = || silent.iter().map(|n| (n + 1).to_string()).collect::<Vec<_>>().join(" and ");
    match silent[..] {
        [] => {}
        [0] => said.push_str(", and no hit on the beat itself"),
        [1] => said.push_str(", and silence on the second pulse"),
        _ if hits.len() == ones.len() => said.push_str(", and else silence"),
        _ => said.push_str(&format!(", and silence on pulses {}", numbers())),
    }
    said
}
