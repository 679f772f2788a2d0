//! The one: who stands how many pulses late against it, and who agrees.

use super::outputs::{beats_before_the_end, first_pulse_meant_for, lasts, rounded};
use super::sequencer::Play;
use super::turning::Meant;
use super::wires::{first_from, is_plain, meant_to_come, scale};
use super::{Exact, turning};
use hitgap::patch::{Rig, Sequencer, Timing};
use hitgap::time::Tempo;

/// How one sequencer stands.
#[derive(Clone, Debug)]
pub(crate) struct Account {
    /// Clock pulses that reach its input.
    pub(crate) pulses: usize,
    /// How often it sounds.
    pub(crate) hits: usize,
    /// The offset when each of its plays was played.
    pub(crate) offsets: Vec<i128>,
    /// `pulses_late` for each one that has it: the number *j* and the offset.
    pub(crate) late: Vec<(usize, i128)>,
    /// The same in beats, by the period of its clock output at the one.
    pub(crate) late_in_beats: Vec<(usize, Exact)>,
    /// The largest of them without sign; of equal ones the earlier.
    pub(crate) worst: Option<i128>,
    /// The last of them.
    pub(crate) last: Option<i128>,
    /// The worst in picoseconds.
    pub(crate) off_by: Option<i64>,
    /// Its hits against the ideal times of their due beats, in picoseconds, sorted.
    pub(crate) lateness: Vec<i64>,
    /// It has any, and every one of them is nought.
    pub(crate) right: bool,
    /// Whether it agrees with the others.
    pub(crate) agrees: bool,
}

/// "`one = OUTPUT` at the top of the patch names the output whose pulses are the ones; … and where there is none the
/// start alone."
pub(crate) fn beats_of_the_one(rig: &Rig) -> Vec<Exact> {
    match rig.one {
        Some(output) => beats_before_the_end(rig, output),
        None => turning::starts(rig),
    }
}

/// The period of an output that counts at a one.
fn period(rig: &Rig, output: usize, one: Exact) -> Exact {
    // No sentence says how long a pulse is that comes once. A beat, so that one that is off looks off.
    turning::period_at(rig, output, one).unwrap_or(Exact::from_integer(1))
}

/// "reduced modulo *n* to above −n/2 up to n/2"
fn reduced(offset: i128, n: i128) -> i128 {
    let mut offset = offset;
    while 2 * offset > n {
        offset -= n;
    }
    while 2 * offset <= -n {
        offset += n;
    }
    offset
}

/// How a sequencer stands against ones meant for the given beats.
pub(crate) fn account(
    rig: &Meant<'_>,
    tempo: Tempo,
    sequencer: &Sequencer,
    seen: &[i128],
    plays: &[Play],
    ones: &[Exact],
) -> Account {
    // "For one *j*, meant for beat *b*, a sequencer's intended pulse *K(j)* is the number of the first of its clock
    // output's pulses, sent or not, that is meant for beat *b* or later."
    // "numbers behind a multiplier by m count in m-ths"
    let (output, scale) = (rig.origin(&sequencer.clock), scale(rig, &sequencer.clock));
    let intended: Vec<i128> =
        ones.iter().map(|beat| first_pulse_meant_for(rig, output, *beat).map_or(i128::MAX, |k| k * scale)).collect();

    // "with *j* the last one at or before *k*"
    let one_of = |k: i128| intended.iter().rposition(|first| *first <= k).expect("the first one is at pulse 0");

    let pulses_per_step = i128::from(sequencer.pulses_per_step);
    let round = sequencer.steps.len() as i128 * pulses_per_step;
    let plain = scale == 1 && is_plain(rig, &sequencer.clock);
    let offset = |play: &Play| {
        let one = intended[one_of(play.k)];
        let pulses = (play.step as i128 - 1) * pulses_per_step;
        if plain {
            // "When pulse *k* plays step *s*, the sequencer's **offset** is `k − (s − 1) − K(j)`", where a step has so many
            // pulses.
            return reduced(play.k - pulses - one, round);
        }
        // "the offset of a play is measured in output pulses from the nearest nominal place of that step"
        let first = first_from(rig, &sequencer.clock, one);
        let away = |r: i128| play.k - meant_to_come(rig, &sequencer.clock, first + pulses + r * round).0;
        let mut r = 0;
        while away(r) >= 0 {
            r += 1;
        }
        while away(r) < 0 {
            r -= 1;
        }
        // Of two that are equally near the one before, as "up to n/2" has it.
        if away(r) <= -away(r + 1) { away(r) } else { away(r + 1) }
    };
    let offsets: Vec<i128> = plays.iter().map(offset).collect();

    let mut late = Vec::new();
    for j in 0..ones.len() {
        // "`pulses_late` for one *j* is the offset at the last pulse before the next one, when all has settled"
        let settled = plays.iter().zip(&offsets).rfind(|(play, _)| one_of(play.k) == j);
        if let Some((_, offset)) = settled {
            late.push((j, *offset));
        }
    }
    // "a last stretch with fewer than two pulses is left out unless it is the only one"
    let last_stretch = seen.iter().filter(|k| **k >= intended[ones.len() - 1]).count();
    if last_stretch < 2 && late.len() > 1 {
        late.retain(|(j, _)| *j != ones.len() - 1);
    }

    let in_beats = |(j, offset): &(usize, i128)| (*j, period(rig, output, ones[*j]) * *offset / scale);
    let late_in_beats: Vec<(usize, Exact)> = late.iter().map(in_beats).collect();
    let mut worst: Option<(usize, i128)> = None;
    for (j, offset) in &late {
        if worst.is_none_or(|w| offset.abs() > w.1.abs()) {
            worst = Some((*j, *offset));
        }
    }
    // "`off_by_ms` is the worst offset in time", where its clock has a period.
    let has_period = matches!(rig.outputs[output].timing, Timing::Rate { .. });
    let off_by = worst.filter(|_| has_period).map(|worst| in_beats(&worst).1);
    Account {
        pulses: seen.len(),
        hits: 0,
        offsets,
        worst: worst.map(|(_, offset)| offset),
        last: late.last().map(|(_, offset)| *offset),
        off_by: off_by.map(|beats| rounded(lasts(tempo, beats))),
        late_in_beats,
        lateness: Vec::new(),
        // "A sequencer is *right* when every `pulses_late` is 0". One that never plays is not right about anything.
        right: !late.is_empty() && late.iter().all(|(_, offset)| *offset == 0),
        late,
        agrees: false,
    }
}

/// "sequencers *agree* when their offsets, in beats, are equal at every one"; where they do not, those that are right
/// are the ones to agree with. A sequencer with a one of its own has only the start's, and is held against the others there.
///
/// Says whether all are late (or early) alike.
pub(crate) fn decide_who_agrees(accounts: &mut [Account]) -> bool {
    let mut all_equal = true;
    for a in 0..accounts.len() {
        for b in 0..accounts.len() {
            for (j, offset_a) in &accounts[a].late_in_beats {
                for (i, offset_b) in &accounts[b].late_in_beats {
                    if j == i && offset_a != offset_b {
                        all_equal = false;
                    }
                }
            }
        }
    }
    for account in accounts.iter_mut() {
        account.agrees = account.right || all_equal;
    } // "all late alike passes with a warning"
    // (of one alone it is said in other words).
    let off = |account: &Account| !account.right && !account.late.is_empty();
    all_equal && accounts.len() > 1 && accounts.iter().any(off)
}
