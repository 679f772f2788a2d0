//! The hits of all players, one after the other, without a list of them.

use super::{Eras, Hit, taken};
use crate::patch::Rig;
use crate::rig::{Performance, Sound};
use std::cmp::Reverse;
use std::collections::BinaryHeap;

/// The hits of one player that are still to come.
type Rest<'a> = Box<dyn Iterator<Item = Hit> + 'a>;

/// All hits of a performance, those of takes included, in order of time, then of the player's name, then of step. Nothing is
/// kept of them but the next one of each player: for pieces of hours.
pub fn in_order<'a>(rig: &'a Rig, performance: &'a Performance) -> impl Iterator<Item = Hit> + 'a {
    let mut players: Vec<Rest<'a>> = Vec::new();
    for sequencer in 0..performance.tracks.len() {
        players.push(sequenced(rig, performance, sequencer));
    }
    for mut take in taken(rig, performance.tempo) {
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

fn sequenced<'a>(rig: &'a Rig, performance: &'a Performance, sequencer: usize) -> Rest<'a> {
    let eras = Eras::new(rig, performance.tempo);
    let counting = &performance.countings[sequencer];
    let clock = &performance.timelines[rig.origin(&rig.sequencers[sequencer].clock)];
    let hit = move |s: &Sound| Hit {
        at: s.at,
        beat: counting.meant(clock, s.pulse),
        due: counting.meant(clock, s.due),
        sequencer,
        step: s.step as usize,
        velocity: s.velocity,
        level_mdb: s.level_mdb,
        voice: eras.at(s.at).map_or(&rig.sequencers, |era| &era.sequencers)[sequencer].voice,
    };
    let sounds = &performance.tracks[sequencer].sounds;
    let key = |s: &Sound| (s.at, s.step);
    if sounds.is_sorted_by_key(key) {
        return Box::new(sounds.iter().map(hit));
    }
    // On some ways to the ear one hit overtakes another.
    let mut sorted = sounds.clone();
    sorted.sort_by_key(key);
    Box::new(sorted.into_iter().map(move |s| hit(&s)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::patch::{Asked, Patch};
    use crate::rig::play;

    /// Against all hits sorted at once, by the words of the promise: of every example, in every variant, at every tempo.
    #[test]
    fn it_is_the_sorted_list() {
        let mut seen = 0;
        for entry in std::fs::read_dir(concat!(env!("CARGO_MANIFEST_DIR"), "/patches")).expect("the examples") {
            let path = entry.expect("an entry").path();
            let text = std::fs::read_to_string(&path).expect("text");
            let Ok(patch) = Patch::parse(&text, &Asked::default()) else { continue };
            for variant in std::iter::once(&patch.original).chain(&patch.fixes) {
                let rig = &variant.rig;
                for &tempo in &patch.tempos {
                    let performance = play(rig, tempo).expect("short");
                    let mut all: Vec<Hit> =
                        (0..rig.sequencers.len()).rev().flat_map(|n| sequenced(rig, &performance, n)).collect();
                    all.extend(taken(rig, tempo).into_iter().flat_map(|take| take.hits));
                    let key = |h: &Hit| (h.at, rig.player_name(h.sequencer).to_owned(), h.step);
                    all.sort_by_key(key);
                    let found: Vec<Hit> = in_order(rig, &performance).collect();
                    assert_eq!(found, all, "{} {} at {tempo}", path.display(), variant.name);
                    seen += found.len();
                }
            }
        }
        assert!(seen > 1000, "{seen} hits");
    }
}
