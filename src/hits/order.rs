//! The hits of all players, one after the other, without a list of them.

use super::{Eras, Hit, taken};
use crate::patch::Rig;
use crate::rig::{Counting, Performance, Rehearsal, Run, Sound, Timeline};
use crate::time::Tempo;
use std::cmp::Reverse;
use std::collections::BinaryHeap;

/// The hits of one player that are still to come.
type Rest<'a> = Box<dyn Iterator<Item = Hit> + 'a>;

/// All hits of a performance, those of takes included, in order of time, then of the player's name, then of step. Nothing is
/// kept of them but the next one of each player.
pub fn in_order<'a>(rig: &'a Rig, performance: &'a Performance) -> impl Iterator<Item = Hit> + 'a {
    let sequenced = (0..performance.tracks.len()).map(|sequencer| {
        let hit = hit((rig, performance.tempo), (&performance.timelines, &performance.countings), sequencer);
        Box::new(sorted(&performance.tracks[sequencer].sounds).map(hit)) as Rest<'a>
    });
    merged(rig, performance.tempo, sequenced.collect())
}

/// All hits of a rig in order, made while they are asked for, so that nothing of the piece is kept: for pieces of hours.
/// `None` of a rig that must be played as a whole.
pub fn played_in_order<'a>(rehearsal: &'a Rehearsal<'a>, run: Run) -> Option<impl Iterator<Item = Hit> + 'a> {
    let (rig, tempo) = (rehearsal.rig(), rehearsal.tempo());
    let sequenced = rehearsal.sounds(run)?.into_iter().enumerate().map(|(sequencer, sounds)| {
        let hit = hit((rig, tempo), (rehearsal.timelines(), rehearsal.countings()), sequencer);
        Box::new(sounds.map(move |sound| hit(&sound))) as Rest<'a>
    });
    Some(merged(rig, tempo, sequenced.collect()))
}

/// What sequencers and takes play, one after the other.
fn merged<'a>(rig: &'a Rig, tempo: Tempo, mut players: Vec<Rest<'a>>) -> impl Iterator<Item = Hit> + 'a {
    for mut take in taken(rig, tempo) {
        take.hits.sort_by_key(|hit| (hit.at, hit.step));
        players.push(Box::new(take.hits.into_iter()));
    }
    let mut by_name: Vec<usize> = (0..players.len()).collect();
    by_name.sort_by_key(|&player| rig.player_name(player));
    let mut ranks = vec![0; players.len()];
    by_name.iter().enumerate().for_each(|(rank, &player)| ranks[player] = rank);
    let mut next: Vec<Option<Hit>> = players.iter_mut().map(Iterator::next).collect();
    let turn = |player: usize, hit: &Hit| Reverse((hit.at, ranks[player], player));
    let mut turns: BinaryHeap<_> = next.iter().enumerate().filter_map(|(n, h)| Some(turn(n, h.as_ref()?))).collect();
    std::iter::from_fn(move || {
        let Reverse((_, rank, player)) = turns.pop()?;
        let hit = std::mem::replace(&mut next[player], players[player].next());
        turns.extend(next[player].as_ref().map(|after| Reverse((after.at, rank, player))));
        hit
    })
}

/// What a sound of a sequencer is as a hit.
fn hit<'a>(
    (rig, tempo): (&'a Rig, Tempo),
    (timelines, countings): (&'a [Timeline], &'a [Counting]),
    sequencer: usize,
) -> impl Fn(&Sound) -> Hit + 'a {
    let eras = Eras::new(rig, tempo);
    let counting = &countings[sequencer];
    let clock = &timelines[rig.origin(&rig.sequencers[sequencer].clock)];
    move |s: &Sound| {
        let beat = counting.meant(clock, s.pulse);
        Hit {
            at: s.at,
            beat,
            // Mostly the pulse that a step is due on is the one that plays it.
            due: if s.due == s.pulse { beat } else { counting.meant(clock, s.due) },
            sequencer,
            step: s.step.into(),
            velocity: s.velocity,
            level_mdb: s.level_mdb,
            voice: eras.at(s.at).map_or(&rig.sequencers, |era| &era.sequencers)[sequencer].voice,
        }
    }
}

/// The sounds of a track in order of time and then of step.
fn sorted(sounds: &[Sound]) -> impl Iterator<Item = &Sound> {
    let key = |s: &&Sound| (s.at, s.step);
    // On some ways to the ear one hit overtakes another.
    let sorted = (!sounds.is_sorted_by_key(|s| key(&s))).then(|| {
        let mut sorted: Vec<&Sound> = sounds.iter().collect();
        sorted.sort_by_key(key);
        sorted
    });
    let as_they_are = if sorted.is_some() { &[] } else { sounds };
    sorted.into_iter().flatten().chain(as_they_are)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::patch::{Asked, Patch};
    use crate::rig::play;

    /// Against all hits sorted at once, by the words of the promise: of every example, in every variant, at every tempo.
    #[test]
    fn it_is_the_sorted_list() {
        let (mut seen, mut anew) = (0, 0);
        for entry in std::fs::read_dir(concat!(env!("CARGO_MANIFEST_DIR"), "/patches")).expect("the examples") {
            let path = entry.expect("an entry").path();
            let text = std::fs::read_to_string(&path).expect("text");
            let Ok(patch) = Patch::parse(&text, &Asked::default()) else { continue };
            for variant in std::iter::once(&patch.original).chain(&patch.fixes) {
                let rig = &variant.rig;
                for &tempo in &patch.tempos {
                    let performance = play(rig, tempo).expect("short");
                    let of = |n: usize| {
                        let hit = hit((rig, tempo), (&performance.timelines, &performance.countings), n);
                        performance.tracks[n].sounds.iter().map(hit)
                    };
                    let mut all: Vec<Hit> = (0..rig.sequencers.len()).rev().flat_map(of).collect();
                    all.extend(taken(rig, tempo).into_iter().flat_map(|take| take.hits));
                    let key = |h: &Hit| (h.at, rig.player_name(h.sequencer).to_owned(), h.step);
                    all.sort_by_key(key);
                    let found: Vec<Hit> = in_order(rig, &performance).collect();
                    assert_eq!(found, all, "{} {} at {tempo}", path.display(), variant.name);
                    seen += found.len();
                    let rehearsal = Rehearsal::new(rig, tempo).expect("short");
                    if let Some(played) = played_in_order(&rehearsal, Run::Typical) {
                        assert_eq!(played.collect::<Vec<Hit>>(), found, "{} {}", path.display(), variant.name);
                        anew += found.len();
                    }
                }
            }
        }
        assert!(seen > 1000 && anew > 300, "{seen} hits, {anew} of them played anew");
    }
}
