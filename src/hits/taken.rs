//! What takes from files play at a tempo.

use super::Hit;
use crate::patch::{Rig, Struck, Take, When};
use crate::time::{Beat, Clockwork, Instant, Tempo, round_half_up};

/// What one take plays at one tempo.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Taken {
    /// Its hits, in order of time; those of one instant in the order of the file.
    pub hits: Vec<Hit>,
    /// How many hits of the file are left out: due before the start of the patch, or at its end or later.
    pub outside: usize,
}

/// What the takes of a rig play at a tempo, in the rig's order.
///
/// A hit sounds at its time in the file plus the take's offset, whatever the tempo; or, where the take follows the tempo,
/// at the ideal time of its beat plus the offset. Its due beat is that of the file or else the nearest point of the take's
/// grid, the later of two that are equally near: nearest to when
/// it sounds, or to its own beat where the take follows the tempo. A hit without a step of its own has its number in time, from 1.
#[must_use]
pub fn taken(rig: &Rig, tempo: Tempo) -> Vec<Taken> {
    let clockwork = rig.clockwork(tempo);
    let of = |(n, take)| one(rig, take, rig.sequencers.len() + n, &clockwork);
    rig.takes.iter().enumerate().map(of).collect()
}

fn one(rig: &Rig, take: &Take, player: usize, clockwork: &Clockwork) -> Taken {
    let mut out = Taken::default();
    let inside = |due: Beat| due >= Beat::from_integer(0) && due < rig.end;
    // In order of time: the search for the nearest point then goes on from where it stands.
    let mut order: Vec<(Instant, &Struck)> = Vec::with_capacity(take.recording.0.len());
    for struck in take.recording.0.iter() {
        match struck.when {
            When::Time(at) => order.push((at + take.offset, struck)),
            // A beat past the end may lie past all time that is counted.
            When::Beat(beat) if struck.due.map_or_else(|| inside(on_grid(take, beat)), inside) => {
                order.push((clockwork.instant(beat) + take.offset, struck));
            }
            When::Beat(_) => out.outside += 1,
        }
    }
    order.sort_by_key(|(at, _)| *at);
    let eras = super::Eras::new(rig, clockwork.tempo());
    let mut grid = take.grid.map(|period| Grid::new(period, clockwork));
    for (at, struck) in order {
        let found = match (struck.due, struck.when) {
            (Some(due), _) => due,
            (None, When::Beat(beat)) => on_grid(take, beat),
            (None, When::Time(_)) => grid.as_mut().map_or(Beat::from_integer(0), |grid| grid.nearest(at)),
        };
        if !inside(found) {
            out.outside += 1;
            continue;
        }
        let beat = match struck.when {
            When::Beat(beat) => beat,
            When::Time(_) => struck.beat.unwrap_or(found),
        };
        out.hits.push(Hit {
            at,
            beat,
            due: found,
            sequencer: player,
            step: struck.step.unwrap_or(out.hits.len() + 1),
            velocity: struck.velocity,
            level_mdb: 0,
            voice: eras.at(at).map_or(struck.voice, |era| era.voices[struck.voice]),
        });
    }
    out
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
mod tests {
    use super::*;
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
