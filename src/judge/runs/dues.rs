use super::Times;
use crate::hits::Taken;
use crate::patch::Sequencer;
use crate::rig::{Counting, Performance, Rehearsal};
use crate::time::{Beat, Instant};

/// The beats on which hits can be due, numbered: for every sequencer, from the number of a pulse to the beat.
///
/// No run changes them, so that beats are compared once and not in every run.
#[derive(Clone, Debug)]
pub(super) struct Dues {
    /// For each sequencer the first number in the list, and the place of each among all beats.
    of: Vec<(i64, Vec<u32>)>,
    beats: usize,
    /// For each take, where among the beats its hits are due, and when they sound.
    takes: Vec<Vec<(u32, Instant)>>,
}

impl Dues {
    pub(super) fn new(ready: &Rehearsal<'_>, takes: &[Taken]) -> Self {
        let rig = ready.rig();
        let mut all: Vec<(Beat, usize, usize)> = Vec::new();
        let mut of = Vec::new();
        for (index, (sequencer, counting)) in rig.sequencers.iter().zip(ready.countings()).enumerate() {
            let clock = &ready.timelines()[rig.origin(&sequencer.clock)];
            // A step is due within a round of the pattern of its pulse.
            let reach = |sequencer: &Sequencer, counting: &Counting| {
                let round = sequencer.steps.len() as i64 * i64::from(sequencer.pulses_per_step);
                counting.place(round) - counting.place(0)
            };
            // The longest pattern that it ever has.
            let later = ready.later_on(index).map(|(sequencer, counting)| reach(sequencer, counting));
            let reach = later.fold(reach(sequencer, counting), i64::max);
            let first = -reach;
            let numbers = first..=clock.count(rig.end) * counting.scale() + reach;
            of.push((first, vec![0; numbers.clone().count()]));
            all.extend(numbers.enumerate().map(|(i, number)| (counting.meant(clock, number), index, i)));
        }
        let sequencers = of.len();
        for (n, take) in takes.iter().enumerate() {
            all.extend(take.hits.iter().enumerate().map(|(i, hit)| (hit.due, sequencers + n, i)));
        }
        let mut takes: Vec<Vec<(u32, Instant)>> =
            takes.iter().map(|take| take.hits.iter().map(|hit| (0, hit.at)).collect()).collect();
        all.sort_unstable();
        let mut beats = 0;
        for same in all.chunk_by(|a, b| a.0 == b.0) {
            for &(_, index, i) in same {
                let place = u32::try_from(beats).unwrap_or(u32::MAX);
                match of.get_mut(index) {
                    Some((_, places)) => places[i] = place,
                    None => takes[index - sequencers][i].0 = place,
                }
            }
            beats += 1;
        }
        Self { of, beats, takes }
    }

    fn place(&self, sequencer: usize, number: i64) -> Option<usize> {
        let (first, places) = &self.of[sequencer];
        let at = usize::try_from(number.checked_sub(*first)?).ok()?;
        places.get(at).map(|&p| p as usize)
    }

    /// Counts, for every due beat on which two players or more sound, how far apart their first and last hits are.
    pub(super) fn spreads(&self, run: u64, performance: &Performance, scratch: &mut Vec<Extent>, into: &mut Times) {
        scratch.clear();
        scratch.resize(self.beats, None);
        let mut meet = |place: usize, at: Instant, player: usize| {
            let held = scratch[place].get_or_insert((at, at, player, false));
            *held = (held.0.min(at), held.1.max(at), held.2, held.3 || held.2 != player);
        };
        for (sequencer, track) in performance.tracks.iter().enumerate() {
            for sound in &track.sounds {
                if let Some(place) = self.place(sequencer, sound.due) {
                    meet(place, sound.at, sequencer);
                }
            }
        }
        for (n, take) in self.takes.iter().enumerate() {
            take.iter().for_each(|&(place, at)| meet(place as usize, at, self.of.len() + n));
        }
        for (first, last, _, _) in scratch.iter().flatten().filter(|s| s.3) {
            into.add(run, *last - *first);
        }
    }
}

/// The first and the last hit of a due beat, the player that had the first one found, and whether another sounds too.
pub(super) type Extent = Option<(Instant, Instant, usize, bool)>;
