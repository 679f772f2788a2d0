use crate::rig::{Counting, Timeline, Track};
use crate::time::{Beat, Instant, Span};

/// The hits of two players, matched by due beat.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Pair {
    /// Second minus first, a gap for every two hits with one due beat, in order of due beat.
    pub gaps: Vec<Span>,
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
        return matched(by_due(first, |k| due(first, k)), by_due(second, |k| due(second, k)));
    }
    let [a, b] = scales(first, second);
    matched(by_due(first, |k| a.beat(k)), by_due(second, |k| b.beat(k)))
}

/// The same for due beats and times from anywhere.
#[must_use]
pub fn pair_hits(first: Vec<(Beat, Instant)>, second: Vec<(Beat, Instant)>) -> Pair {
    matched(first, second)
}

impl Meant<'_> {
    /// Due beats and times of its hits.
    #[must_use]
    pub fn hits(&self) -> Vec<(Beat, Instant)> {
        self.track.sounds.iter().map(|s| (self.counting.meant(self.clock, s.due), s.at)).collect()
    }
}

fn matched<B: Ord + Copy>(mut a: Vec<(B, Instant)>, mut b: Vec<(B, Instant)>) -> Pair {
    // Nearly sorted already: hits come in order of time.
    a.sort_by_key(|x| x.0);
    b.sort_by_key(|x| x.0);
    let mut out = Pair::default();
    let (mut i, mut j) = (0, 0);
    while i < a.len() && j < b.len() {
        let (due_a, due_b) = (a[i].0, b[j].0);
        match due_a.cmp(&due_b) {
            std::cmp::Ordering::Less => {
                out.unpaired[0] += 1;
                i += 1;
            }
            std::cmp::Ordering::Greater => {
                out.unpaired[1] += 1;
                j += 1;
            }
            std::cmp::Ordering::Equal => {
                let ends = |list: &[(B, Instant)], from: usize| from + list[from..].partition_point(|x| x.0 == due_a);
                let (end_i, end_j) = (ends(&a, i), ends(&b, j));
                let (mine, theirs) = (&a[i..end_i], &b[j..end_j]);
                if mine.len() == theirs.len() {
                    out.gaps.extend(mine.iter().zip(theirs).map(|(x, y)| y.1 - x.1));
                } else {
                    out.gaps.extend(mine.iter().flat_map(|x| theirs.iter().map(|y| y.1 - x.1)));
                }
                (i, j) = (end_i, end_j);
            }
        }
    }
    out.unpaired[0] += a.len() - i;
    out.unpaired[1] += b.len() - j;
    out
}

fn by_due<K>(of: Meant<'_>, due: impl Fn(i64) -> K) -> Vec<(K, Instant)> {
    of.track.sounds.iter().map(|s| (due(s.due), s.at)).collect()
}
