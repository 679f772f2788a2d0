//! How much one command may look at, so that nobody waits for days or runs out of memory without a word.

use super::Failure;
use crate::advise::Outlook;
use crate::patch::Rig;
use crate::rig::pulses;
use crate::time::Tempo;

/// The most pulses of a piece that is looked at from many sides, such as for advice or a picture: each side plays it anew or
/// keeps what it saw. Twelve hours of two sequencers in sixteenths at 120 are 700,000.
const MOST_LOOKED_AT: u128 = 1_000_000;
/// The most pulses of all runs together: at ten million a second, more than a day on one core.
const MOST_DRAWN: u128 = 1_000_000_000_000;

/// The most pulses that are played for one advice, all delays, components and tempos that have to be tried together: minutes on two cores.
pub(super) const MOST_TRIED: u128 = 2_000_000_000;

/// Refuses advice that would take too long.
///
/// # Errors
/// Exit status 2, with the figure and the bound.
pub(super) fn few_enough_tries(outlook: Outlook) -> Result<(), Failure> {
    let Outlook { tries, pulses } = outlook;
    if pulses > MOST_TRIED {
        let found = format!(
            "`advise` would try {tries} delays, components and tempos, {pulses} pulses in all, and at most {MOST_TRIED} are played"
        );
        return Err(Failure::input(found, "ask for fewer bars, tempos or settings, or a narrower --between"));
    }
    Ok(())
}

/// Refuses a piece that is too long for `what`, a command or an option.
///
/// # Errors
/// Exit status 2, with the figure and the bound.
pub(super) fn few_enough(rig: &Rig, tempos: &[Tempo], what: &str) -> Result<(), Failure> {
    for &tempo in tempos {
        let found = pulses(rig, tempo).map_err(|e| Failure::input(&e, e.help()))?;
        if found > MOST_LOOKED_AT {
            let found =
                format!("{what} would look at {found} pulses at {tempo}, and at most {MOST_LOOKED_AT} are looked at");
            return Err(Failure::input(found, "ask for fewer bars: what repeats says no more the second time"));
        }
    }
    Ok(())
}

/// Refuses runs that would take days.
///
/// # Errors
/// Exit status 2, with the figure and the bound.
pub(super) fn few_enough_runs<'r>(cells: impl Iterator<Item = (&'r Rig, Tempo)>, runs: u64) -> Result<(), Failure> {
    let mut all: u128 = 0;
    for (rig, tempo) in cells {
        let found = pulses(rig, tempo).map_err(|e| Failure::input(&e, e.help()))?;
        all = all.saturating_add(found.saturating_mul(u128::from(runs)));
    }
    if all > MOST_DRAWN {
        let found = format!("{runs} runs of all variants and tempos are {all} pulses, and at most {MOST_DRAWN}");
        return Err(Failure::input(found, "ask for fewer runs, bars, variants or tempos"));
    }
    Ok(())
}
