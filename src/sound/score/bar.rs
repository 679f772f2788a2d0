use crate::hits::Hit;
use crate::time::Beat;
use std::collections::BTreeMap;

/// What two players play in one bar, on the beats on which it is due.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Bar {
    /// How long it is.
    pub length: Beat,
    /// Its hits, in order of beat and then of player.
    pub hits: Vec<BarHit>,
}

/// When one of the two is due in the bar, and how strong.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct BarHit {
    /// From the bar's beginning.
    pub beat: Beat,
    /// 0 or 1: which of the two.
    pub player: usize,
    /// Its accent, from 1 to 127.
    pub velocity: u8,
    /// Its number among the pairs that are due together, from 0; `None` where it is due alone.
    pub pair: Option<usize>,
}

impl Bar {
    /// The bar in which two players are due together most often, the first of those alike. What is due is taken, not what is
    /// heard: a box that is late does not make the bar loose. `None` where they are never due together.
    ///
    /// # Panics
    /// If `length` is not above 0.
    #[must_use]
    pub fn fullest(hits: &[Hit], players: [usize; 2], length: Beat) -> Option<Self> {
        let mut due: BTreeMap<i128, BTreeMap<(Beat, usize), u8>> = BTreeMap::new();
        for hit in hits.iter().filter(|h| h.due >= Beat::default()) {
            let Some(player) = players.iter().position(|p| *p == hit.sequencer) else { continue };
            let bar = (hit.due / length).floor().to_integer();
            let beat = hit.due - length * Beat::from_integer(bar);
            // A step that is heard twice is due once.
            due.entry(bar).or_default().entry((beat, player)).or_insert(hit.velocity);
        }
        let pairs = |bar: &BTreeMap<(Beat, usize), u8>| {
            let together = |(beat, player): &&(Beat, usize)| *player == 0 && bar.contains_key(&(*beat, 1));
            bar.keys().filter(together).map(|k| k.0).collect::<Vec<Beat>>()
        };
        // The last of the largest is taken, hence from behind.
        let (bar, together) = due.values().rev().map(|bar| (bar, pairs(bar))).max_by_key(|(_, p)| p.len())?;
        let hit = |(&(beat, player), &velocity): (&(Beat, usize), &u8)| BarHit {
            beat,
            player,
            velocity,
            pair: together.iter().position(|b| *b == beat),
        };
        (!together.is_empty()).then(|| Self { length, hits: bar.iter().map(hit).collect() })
    }

    /// How many pairs are due together.
    #[must_use]
    pub fn pairs(&self) -> usize {
        self.hits.iter().filter_map(|h| h.pair).max().map_or(0, |last| last + 1)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::time::Instant;

    fn hit(sequencer: usize, due: (i128, i128), velocity: u8) -> Hit {
        let due = Beat::new(due.0, due.1);
        // Heard anywhere: that must not matter.
        Hit { at: Instant(77), beat: due, due, sequencer, step: 1, velocity, level_mdb: -3000, voice: 0 }
    }

    /// Three bars of four: the second has two meetings, the third too; a third box plays along.
    #[test]
    fn the_first_of_the_fullest_bars_is_taken() {
        let hits = [
            hit(0, (0, 1), 127),
            hit(2, (0, 1), 127),
            hit(0, (4, 1), 127),
            hit(2, (4, 1), 90),
            hit(1, (4, 1), 60),
            hit(2, (9, 2), 80),
            hit(0, (6, 1), 100),
            hit(2, (6, 1), 127),
            // Heard twice.
            hit(2, (6, 1), 20),
            hit(0, (8, 1), 127),
            hit(2, (8, 1), 1),
            hit(0, (10, 1), 127),
            hit(2, (10, 1), 1),
        ];
        let bar = Bar::fullest(&hits, [0, 2], Beat::from_integer(4)).expect("they meet");
        let told: Vec<_> = bar.hits.iter().map(|h| (h.beat, h.player, h.velocity, h.pair)).collect();
        let beat = |n, d| Beat::new(n, d);
        assert_eq!(
            told,
            [
                (beat(0, 1), 0, 127, Some(0)),
                (beat(0, 1), 1, 90, Some(0)),
                (beat(1, 2), 1, 80, None),
                (beat(2, 1), 0, 100, Some(1)),
                (beat(2, 1), 1, 127, Some(1)),
            ]
        );
        assert_eq!((bar.pairs(), bar.length), (2, beat(4, 1)));
        assert_eq!(Bar::fullest(&hits, [1, 3], Beat::from_integer(4)), None);
        assert_eq!(Bar::fullest(&[], [0, 1], Beat::from_integer(4)), None);
    }
}
