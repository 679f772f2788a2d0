//! The fewest turns of dials over songs in their order.
//!
//! Each song has settings that do, and every dial that stands otherwise in the next song is a turn. Over all ways to choose one
//! setting a song, the fewest turns are found song by song (dynamic programming: Bellman 1957). The step from one song to the
//! next needs no look at every two settings: two settings differ in `|x| + |y| − both − alike` dials, with `|x|` the dials that
//! x has turned, `both` those that both have turned and `alike` those that stand alike; so for each choice of dials that are to
//! stand alike, or to be turned in both, it is enough to know the best setting before.

use std::collections::HashMap;

/// A setting that does for a song.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Choice {
    /// The dials that do not stand as the patch has them, in order, each with where it stands.
    pub(super) dials: Vec<(u32, u32)>,
    /// What it costs.
    pub(super) cost: u64,
    /// How far it is from where it fails: of settings that are as good, the one in the middle.
    pub(super) spare: u32,
}

/// What choosing is about, the first first: turns between songs, dials that are set before the first, the cost, and how little is to
/// spare.
type Worth = (u64, u64, u64, i64);

/// How many dials stand differently.
#[cfg(test)]
fn differ(a: &[(u32, u32)], b: &[(u32, u32)]) -> usize {
    let of = |all: &[(u32, u32)], dial: u32| all.iter().find(|(own, _)| *own == dial).map(|(_, at)| *at);
    let gone = a.iter().filter(|(dial, _)| of(b, *dial).is_none()).count();
    b.iter().filter(|(dial, at)| of(a, *dial) != Some(*at)).count() + gone
}

/// Dials, and where each is asked to stand.
type Aspect = Vec<(u32, Option<u32>)>;

/// Every way to take some dials of a setting as they stand, some as turned, and to leave the others aside; with by how much that
/// shortens the way between two that agree in it.
fn aspects(dials: &[(u32, u32)]) -> Vec<(Aspect, u64)> {
    let mut all = vec![(Vec::new(), 0)];
    for &(dial, at) in dials {
        let more = all.clone().into_iter().flat_map(|(aspect, saved): (Vec<(u32, Option<u32>)>, u64)| {
            let with = |what: Option<u32>, saved: u64| ([aspect.as_slice(), &[(dial, what)]].concat(), saved);
            [with(None, saved + 1), with(Some(at), saved + 2)]
        });
        let more: Vec<_> = more.collect();
        all.extend(more);
    }
    all
}

/// For each song which of its settings; and how many turns that takes between songs. A song without any is passed over.
pub(super) fn fewest_turns(songs: &[&[Choice]]) -> (usize, Vec<Option<usize>>) {
    // For each song that has a setting: the best way to each of them, and the setting before it.
    let mut ways: Vec<(usize, Vec<(Worth, usize)>)> = Vec::new();
    for (song, choices) in songs.iter().enumerate().filter(|(_, choices)| !choices.is_empty()) {
        let own = |choice: &Choice| (choice.cost, -i64::from(choice.spare));
        let next = match ways.last() {
            None => {
                let first = |choice: &Choice| {
                    let (cost, spare) = own(choice);
                    ((0, choice.dials.len() as u64, cost, spare), 0)
                };
                choices.iter().map(first).collect()
            }
            Some((before, best)) => {
                let mut reached: HashMap<Aspect, (Worth, usize)> = HashMap::new();
                for (n, (choice, (worth, _))) in songs[*before].iter().zip(best).enumerate() {
                    let worth = (worth.0 + choice.dials.len() as u64, worth.1, worth.2, worth.3);
                    for (aspect, _) in aspects(&choice.dials) {
                        let known = reached.entry(aspect).or_insert((worth, n));
                        if worth < known.0 {
                            *known = (worth, n);
                        }
                    }
                }
                let of = |choice: &Choice| {
                    let (cost, spare) = own(choice);
                    let by = aspects(&choice.dials).into_iter().filter_map(|(aspect, saved)| {
                        let (worth, n) = reached.get(&aspect)?;
                        // No aspect in which two agree saves more than there is to save, and one of them saves all of it.
                        let turns = (worth.0 + choice.dials.len() as u64).saturating_sub(saved);
                        Some(((turns, worth.1, worth.2 + cost, worth.3 + spare), *n))
                    });
                    by.min().unwrap_or_default()
                };
                choices.iter().map(of).collect()
            }
        };
        ways.push((song, next));
    }
    let mut chosen = vec![None; songs.len()];
    let Some((_, last)) = ways.last() else { return (0, chosen) };
    let Some(mut at) = (0..last.len()).min_by_key(|n| last[*n].0) else { return (0, chosen) };
    let turns = last[at].0.0;
    for (song, best) in ways.iter().rev() {
        chosen[*song] = Some(at);
        at = best[at].1;
    }
    (usize::try_from(turns).unwrap_or(usize::MAX), chosen)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn choice(dials: &[(u32, u32)]) -> Choice {
        Choice { dials: dials.to_vec(), cost: 0, spare: 0 }
    }

    /// By hand: the second song needs dial 1 at 5, the others do with it or without; who turns it before the first song never turns.
    #[test]
    fn a_dial_that_does_no_harm_is_left_where_it_stands() {
        let free = [choice(&[]), choice(&[(1, 5)])];
        let needs = [choice(&[(1, 5)])];
        assert_eq!(fewest_turns(&[&free, &needs, &[], &free]), (0, vec![Some(1), Some(0), None, Some(1)]));
        // Where the third song cannot have it, it is turned once, between the second and the third.
        let without = [choice(&[])];
        assert_eq!(fewest_turns(&[&free, &needs, &without]), (1, vec![Some(1), Some(0), Some(0)]));
        assert_eq!(fewest_turns(&[]), (0, Vec::new()));
    }

    #[test]
    fn of_settings_as_good_the_one_with_more_to_spare_is_taken() {
        let spare = |at, spare| Choice { spare, ..choice(&[(1, at)]) };
        assert_eq!(fewest_turns(&[&[spare(4, 1), spare(5, 3), spare(6, 2)]]), (0, vec![Some(1)]));
    }

    fn any_song() -> impl Strategy<Value = Vec<Choice>> {
        let dials = prop::collection::btree_map(0_u32..3, 0_u32..3, 0..3);
        let one = (dials, 0_u64..3, 0_u32..4).prop_map(|(dials, cost, spare)| Choice {
            dials: dials.into_iter().collect(),
            cost,
            spare,
        });
        prop::collection::vec(one, 0..5)
    }

    proptest! {
        /// Against every way to choose, one by one.
        #[test]
        fn no_other_way_to_choose_is_better(songs in prop::collection::vec(any_song(), 1..5)) {
            let slices: Vec<&[Choice]> = songs.iter().map(Vec::as_slice).collect();
            let worth = |chosen: &[Option<usize>]| {
                let taken: Vec<&Choice> = songs.iter().zip(chosen).filter_map(|(song, n)| Some(&song[(*n)?])).collect();
                let turns: usize = taken.windows(2).map(|two| differ(&two[0].dials, &two[1].dials)).sum();
                let before = taken.first().map_or(0, |first| first.dials.len());
                let cost: u64 = taken.iter().map(|choice| choice.cost).sum();
                let spare: i64 = taken.iter().map(|choice| -i64::from(choice.spare)).sum();
                (turns as u64, before as u64, cost, spare)
            };
            let mut all: Vec<Vec<Option<usize>>> = vec![Vec::new()];
            for song in &songs {
                let ways: Vec<Option<usize>> = if song.is_empty() { vec![None] } else { (0..song.len()).map(Some).collect() };
                all = all.iter().flat_map(|way| ways.iter().map(|n| [way.as_slice(), &[*n]].concat())).collect();
            }
            let best = all.iter().map(|way| worth(way)).min().expect("one");
            let (turns, chosen) = fewest_turns(&slices);
            prop_assert_eq!(worth(&chosen), best);
            prop_assert_eq!(turns as u64, best.0);
        }
    }
}
