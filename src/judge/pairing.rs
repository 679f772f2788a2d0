use super::Gaps;
use crate::rig::{Counting, Sound, Timeline, Track};
use crate::time::{Beat, Instant};
use std::cmp::Ordering;

/// The hits of two players, matched by due beat.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Pair {
    /// Second minus first, a gap for every two hits with one due beat.
    pub gaps: Gaps,
    /// Hits of each without a partner.
    pub unpaired: [usize; 2],
}

/// A track, and what the numbers of its pulses mean.
#[derive(Clone, Copy, Debug)]
pub struct Meant<'a> {
    /// What was played.
    pub track: &'a Track,
    /// The output from which its clock stems.
    pub clock: &'a Timeline,
    /// How the pulses at its clock input are numbered.
    pub counting: &'a Counting,
}

/// Due beats of one clock output as whole numbers, so that two outputs' beats compare without fractions.
struct Scale<'a> {
    of: Meant<'a>,
    pair: i128,
    odd: i128,
    /// What a beat is multiplied with.
    shared: i128,
}

impl Scale<'_> {
    /// A beat of pulse number `k`, times a denominator that both outputs share.
    fn beat(&self, k: i64) -> i128 {
        if self.of.counting.scale() != 1 {
            let beat = self.of.counting.meant(self.of.clock, k);
            return beat.numer() * (self.shared / beat.denom());
        }
        i128::from(k.div_euclid(2)) * self.pair + if k.rem_euclid(2) == 0 { 0 } else { self.odd }
    }
}

/// Both tracks' scales. Periods have denominators of at most 10⁴ and swings of at most 10⁶, so that the shared one stays
/// under 10²², times what multipliers put between pulses.
fn scales<'a>(a: Meant<'a>, b: Meant<'a>) -> [Scale<'a>; 2] {
    let parts = |m: Meant<'_>| [m.clock.meant(2), m.clock.meant(1)];
    let beats = parts(a).into_iter().chain(parts(b));
    let shared = beats.fold(1, |d, beat| num_integer::lcm(d, *beat.denom()));
    let shared = shared * i128::from(a.counting.scale()) * i128::from(b.counting.scale());
    let whole = |beat: Beat| beat.numer() * (shared / beat.denom());
    [a, b].map(|of| {
        let [pair, odd] = parts(of).map(whole);
        Scale { of, pair, odd, shared }
    })
}

/// Matches two tracks' hits by due beat.
///
/// Where several hits share one, each counts with each of the other track's; but where both have as many, the first
/// counts with the first and so on. Two boxes that are late alike both play step 1 twice, and always together: to hold
/// the one's first against the other's second would make a gap that nobody hears.
#[must_use]
pub fn pair(first: Meant<'_>, second: Meant<'_>) -> Pair {
    // The pulses of a clock that changes stand on no one grid: their beats are compared as fractions.
    if [first, second].iter().any(|m| m.clock.is_turned()) {
        let due = |m: Meant<'_>, k: i64| m.counting.meant(m.clock, k);
        return by_due([first, second], |k| due(first, k), |k| due(second, k));
    }
    // Where both count the same pulses, their numbers compare as the beats do.
    let one_clock = std::ptr::eq(first.clock, second.clock) && first.clock.period_beats().is_some();
    if one_clock && first.counting == second.counting {
        return by_due([first, second], |k| k, |k| k);
    }
    let [a, b] = scales(first, second);
    by_due([first, second], |k| a.beat(k), |k| b.beat(k))
}

/// The gaps between hits that are told by due beat and time, wherever they come from.
#[must_use]
pub fn pair_hits(first: Vec<(Beat, Instant)>, second: Vec<(Beat, Instant)>) -> Pair {
    matched(in_order(first), in_order(second))
}

impl Meant<'_> {
    /// Due beats and times of its hits.
    #[must_use]
    pub fn hits(&self) -> Vec<(Beat, Instant)> {
        self.track.sounds.iter().map(|s| (self.counting.meant(self.clock, s.due), s.at)).collect()
    }
}

/// Matches two tracks by what their due pulses are counted in.
fn by_due<K: Ord + Copy>(tracks: [Meant<'_>; 2], first: impl Fn(i64) -> K, second: impl Fn(i64) -> K) -> Pair {
    let [a, b] = tracks.map(|m| m.track.sounds.as_slice());
    let [a_due, b_due] = [&first as &dyn Fn(i64) -> K, &second];
    // Mostly hits are due in the order in which they come; then no list of them is needed.
    if [a, b].iter().all(|sounds| sounds.is_sorted_by_key(|s| s.due)) {
        return matched(a.iter().map(|s| (first(s.due), s.at)), b.iter().map(|s| (second(s.due), s.at)));
    }
    let sorted =
        |sounds: &[Sound], due: &dyn Fn(i64) -> K| in_order(sounds.iter().map(|s| (due(s.due), s.at)).collect());
    matched(sorted(a, a_due), sorted(b, b_due))
}

fn in_order<B: Ord + Copy>(mut hits: Vec<(B, Instant)>) -> impl Iterator<Item = (B, Instant)> {
    // Nearly sorted already: hits come in order of time.
    hits.sort_by_key(|hit| hit.0);
    hits.into_iter()
}

/// Matches hits that come in order of their due beats.
fn matched<B: Ord + Copy>(a: impl Iterator<Item = (B, Instant)>, b: impl Iterator<Item = (B, Instant)>) -> Pair {
    let (mut a, mut b) = (a.peekable(), b.peekable());
    let mut out = Pair::default();
    // All of one due beat; their room is used again.
    let (mut mine, mut theirs) = (Vec::new(), Vec::new());
    while let (Some(&(due_a, _)), Some(&(due_b, _))) = (a.peek(), b.peek()) {
        match due_a.cmp(&due_b) {
            Ordering::Less => {
                out.unpaired[0] += 1;
                a.next();
            }
            Ordering::Greater => {
                out.unpaired[1] += 1;
                b.next();
            }
            Ordering::Equal => {
                mine.clear();
                theirs.clear();
                mine.extend(std::iter::from_fn(|| a.next_if(|hit| hit.0 == due_a)).map(|hit| hit.1));
                theirs.extend(std::iter::from_fn(|| b.next_if(|hit| hit.0 == due_a)).map(|hit| hit.1));
                if mine.len() == theirs.len() {
                    mine.iter().zip(&theirs).for_each(|(x, y)| out.gaps.add(*y - *x));
                } else {
                    out.gaps.cross(&mine, &theirs);
                }
            }
        }
    }
    out.unpaired[0] += a.count();
    out.unpaired[1] += b.count();
    out
}
