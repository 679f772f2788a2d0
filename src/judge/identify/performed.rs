use super::audible::frame;
use super::clock_setting::PULSES;
use super::{ClockSetting, Habit};
use crate::hits::{Hit, list};
use crate::patch::Rig;
use crate::rig::{RigError, play};
use crate::time::{Instant, Span, Tempo};

/// A trial as it is heard: the two stretches that count, from their first beat on.
#[derive(Clone, Debug)]
pub struct Performed {
    /// The hits of the box, from the beginning of the stretches.
    pub hits: Vec<Hit>,
    /// The clock's pulses, for comparison.
    pub pulses: Vec<Instant>,
    /// The end of the stretches, counted as the hits are.
    pub end: Instant,
}

/// Plays a trial with a box of a habit; `None` where the rig gives no trial.
///
/// # Errors
/// As [`play`].
pub fn perform(
    rig: &Rig,
    player: usize,
    tempo: Tempo,
    trial: &ClockSetting,
    habit: &Habit,
) -> Result<Option<Performed>, RigError> {
    let Some(rig) = trial.set_up(rig, player, habit) else { return Ok(None) };
    let (from, pulse) = frame(&rig, tempo);
    let performance = play(&rig, tempo)?;
    let end = Instant(2 * PULSES * pulse.0);
    let moved = |hit: Hit| Hit { at: Instant((hit.at - from).0), ..hit };
    let inside = |hit: &Hit| hit.sequencer == player && hit.at.0 >= 0 && hit.at < end;
    let hits = list(&rig, &performance).into_iter().map(moved).filter(inside).collect();
    let pulses = (0..2 * PULSES).map(|n| Instant::START + Span(n * pulse.0)).collect();
    Ok(Some(Performed { hits, pulses, end }))
}
