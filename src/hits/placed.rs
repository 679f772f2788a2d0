//! When the hits of takes sound, and on which beats they are due.
//!
//! A grid alone tears hits that belong together: a grace note and its main note, or two drums struck as one, lie on either
//! side of the middle between two points, and pair with nothing. So hits that are near each other are put together first,
//! and what is together is due where its loudest hit is.

use crate::patch::{Struck, Take, When};
use crate::time::{Beat, Clockwork, Instant, Span, round_half_up};
use std::collections::BTreeMap;

/// The largest distance of two hits that are played as a flam: further apart they are two. It is the upper edge of the band of
/// flams.
pub const FLAM: Span = Span::from_ms(50);
/// Half of that: hits of different takes that are nearer than this are together on any grid.
const NEAR: Span = Span::from_ms(25);

/// One hit of a take in a performance.
#[derive(Clone, Copy, Debug)]
pub(super) struct Placed<'a> {
    /// When it sounds.
    pub(super) at: Instant,
    /// The point of the grid, or of the file, that it belongs to.
    pub(super) due: Beat,
    /// The hit of the file.
    pub(super) struck: &'a Struck,
}

/// What one take plays, in order of time; those of one instant in the order of the file.
#[derive(Clone, Debug, Default)]
pub(super) struct Line<'a> {
    pub(super) hits: Vec<Placed<'a>>,
    /// How many more are due so far past the end that their times may lie past all time that is counted.
    pub(super) beyond: usize,
}

/// Places the hits of takes in a piece that ends at a beat.
pub(super) fn placed<'a>(takes: &'a [Take], clockwork: &Clockwork, end: Beat) -> Vec<Line<'a>> {
    let mut lines: Vec<Line<'a>> = takes.iter().map(|take| alone(take, clockwork, end)).collect();
    let mut grids: BTreeMap<Beat, Vec<usize>> = BTreeMap::new();
    for (n, take) in takes.iter().enumerate() {
        grids.entry(take.grid.unwrap_or_default()).or_default().push(n);
    }
    for (period, of) in grids.iter().filter(|(period, _)| **period > Beat::default()) {
        put_together(&mut lines, of, |beat| {
            Span(clockwork.instant(beat + period).0.saturating_sub(clockwork.instant(beat).0))
        });
    }
    lines
}

/// The last beat on which a hit of these takes is due, from the start on; `end` where one is due then or later.
#[must_use]
pub fn last_due(takes: &[Take], clockwork: &Clockwork, end: Beat) -> Option<Beat> {
    let lines = placed(takes, clockwork, end);
    let beyond = lines.iter().any(|line| line.beyond > 0).then_some(end);
    let due = lines.iter().flat_map(|line| &line.hits).map(|hit| hit.due.min(end)).max();
    beyond.or(due).filter(|due| *due >= Beat::default())
}

/// A take by itself: each hit on the beat that the file gives, or on the nearest point of the grid.
fn alone<'a>(take: &'a Take, clockwork: &Clockwork, end: Beat) -> Line<'a> {
    let mut line = Line::default();
    // In order of time: the search for the nearest point then goes on from where it stands.
    let mut order: Vec<(Instant, &Struck)> = Vec::with_capacity(take.recording.hits.len());
    for struck in take.recording.hits.iter() {
        match struck.when {
            When::Time(at) => order.push((at + take.offset, struck)),
            // One that is due at the end may belong to one that is due before it, if it is near.
            When::Beat(beat) if beat < end + 1 || struck.due.unwrap_or_else(|| on_grid(take, beat)) < end => {
                order.push((clockwork.instant(beat) + take.offset, struck));
            }
            When::Beat(_) => line.beyond += 1,
        }
    }
    order.sort_by_key(|(at, _)| *at);
    let mut grid = take.grid.map(|period| Grid::new(period, clockwork));
    line.hits.extend(order.into_iter().map(|(at, struck)| {
        let due = match (struck.due, struck.when) {
            (Some(due), _) => due,
            (None, When::Beat(beat)) => on_grid(take, beat),
            (None, When::Time(_)) => grid.as_mut().map_or(Beat::default(), |grid| grid.nearest(at)),
        };
        Placed { at, due, struck }
    }));
    line
}

/// Lets hits of takes of one grid that are together be due on one beat: that of the loudest, and of equally loud ones the
/// last. What is nearest is put together first, so that each hit goes with its nearest.
///
/// Together are hits that all lie within a flam, where the grid is more than twice as wide as they lie apart: else they may
/// well be notes of their own. Hits of different takes that all lie nearer than half a flam are together on any grid.
/// `width` is how long it is from a point of the grid to the next. Due beats that the file gives stay.
fn put_together(lines: &mut [Line<'_>], takes: &[usize], width: impl Fn(Beat) -> Span) {
    let mut all: Vec<(Instant, usize, usize)> = Vec::new();
    for &take in takes {
        let own = lines[take].hits.iter().enumerate().filter(|(_, hit)| hit.struck.due.is_none());
        all.extend(own.map(|(n, hit)| (hit.at, take, n)));
    }
    all.sort_unstable();
    let apart = |first: usize, last: usize| Span(all[last].0.0.saturating_sub(all[first].0.0));
    let mut near: Vec<(Span, usize)> = (1..all.len()).map(|n| (apart(n - 1, n), n)).collect();
    near.retain(|(gap, _)| *gap <= FLAM);
    near.sort_unstable();
    // At its first and its last hit each group knows its other end.
    let mut ends: Vec<usize> = (0..all.len()).collect();
    for (_, second) in near {
        let (first, last) = (ends[second - 1], ends[second]);
        let extent = apart(first, last);
        let fits = || extent.0 * 2 < width(lines[all[first].1].hits[all[first].2].due).0;
        let each_its_own = || {
            let mut takes: Vec<usize> = all[first..=last].iter().map(|hit| hit.1).collect();
            takes.sort_unstable();
            takes.windows(2).all(|two| two[0] != two[1])
        };
        if extent <= FLAM && (fits() || extent < NEAR && each_its_own()) {
            (ends[first], ends[last]) = (last, first);
        }
    }
    let mut first = 0;
    while first < all.len() {
        let last = ends[first];
        let group = &all[first..=last];
        let loudness = |&&(at, take, n): &&(Instant, usize, usize)| (lines[take].hits[n].struck.velocity, at);
        if let Some(&(_, take, n)) = group.iter().max_by_key(loudness).filter(|_| group.len() > 1) {
            let due = lines[take].hits[n].due;
            group.iter().for_each(|&(_, take, n)| lines[take].hits[n].due = due);
        }
        first = last + 1;
    }
}

/// The point of a take's grid nearest to a beat; the beat itself without a grid, which no reader lets pass.
fn on_grid(take: &Take, beat: Beat) -> Beat {
    take.grid.map_or(beat, |period| period * round_half_up(beat / period))
}

/// A grid of beats, and the last point at or before what was asked last.
struct Grid<'a> {
    period: Beat,
    clockwork: &'a Clockwork,
    point: i128,
    /// The times of that point and of the next.
    around: [Instant; 2],
}

impl<'a> Grid<'a> {
    fn new(period: Beat, clockwork: &'a Clockwork) -> Self {
        Self { period, clockwork, point: 0, around: [Instant::START, clockwork.instant(period)] }
    }

    fn instant(&self, point: i128) -> Instant {
        self.clockwork.instant(self.period * point)
    }

    /// The point nearest to a time; the later of two that are equally near. Nothing but the times of points is asked for.
    fn nearest(&mut self, at: Instant) -> Beat {
        let [here, next] = self.around;
        if at < here || at >= next {
            self.point = self.last_before(at);
            self.around = [self.instant(self.point), self.instant(self.point + 1)];
        }
        let [here, next] = self.around;
        self.period * if at - here < next - at { self.point } else { self.point + 1 }
    }

    /// The last point at or before a time. Strides from where the last search ended double until they have passed it, and
    /// then halve: a far point costs little more than a near one.
    fn last_before(&self, at: Instant) -> i128 {
        let mut point = self.point;
        let mut stride = 1;
        while self.instant(point) > at {
            point -= stride;
            stride *= 2;
        }
        stride = 1;
        while self.instant(point + stride) <= at {
            point += stride;
            stride *= 2;
        }
        while stride > 1 {
            stride /= 2;
            if self.instant(point + stride) <= at {
                point += stride;
            }
        }
        point
    }
}

#[cfg(test)]
mod flams;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::time::Tempo;
    use proptest::prelude::*;

    proptest! {
        /// The nearest point as a fraction says it: times over the length of a period, rounded half up. Where rounding to
        /// whole picoseconds makes a tie of what is none, either neighbour is as near.
        #[test]
        fn the_nearest_point_is_the_rounded_quotient(
            n in 1_i128..=10_000, m in 1_i128..=10_000, micro in 1_000_000_u64..=1_000_000_000,
            times in proptest::collection::vec(-1_000_000_000_000_000_i64..1_000_000_000_000_000, 1..20),
        ) {
            let (period, tempo) = (Beat::new(m, n), Tempo::from_micro(micro).expect("a tempo"));
            let clockwork = Clockwork::even(tempo);
            let mut grid = Grid::new(period, &clockwork);
            for at in times {
                let exact = Beat::from_integer(i128::from(at)) / tempo.beat_ps() / period;
                let found = grid.nearest(Instant(at));
                let off = (found / period - exact) * Beat::from_integer(2);
                // Half a period at most, and a picosecond for the rounding of two points.
                let slack = Beat::from_integer(4) / tempo.beat_ps() / period;
                prop_assert!(off <= slack + 1 && off >= -slack - 1, "{found} for {exact}");
                prop_assert!((found / period).is_integer());
            }
        }
    }

    #[test]
    fn of_two_points_equally_near_the_later_is_taken() {
        let clockwork = Clockwork::even(Tempo::whole(60));
        let mut grid = Grid::new(Beat::new(1, 4), &clockwork);
        let mut due = |ms: i64| grid.nearest(Instant(ms * 1_000_000_000));
        assert_eq!(
            [due(124), due(125), due(126), due(-125), due(-126), due(3_600_000)],
            [Beat::new(0, 1), Beat::new(1, 4), Beat::new(1, 4), Beat::new(0, 1), Beat::new(-1, 4), Beat::new(3600, 1)]
        );
    }
}
