//! Tempos that change: from beats to time and back.

use super::{Beat, ExactPs, Instant, LineError, Tempo, round_half_up};
use num_bigint::BigInt;
use num_integer::Integer;
use num_rational::Ratio;
use std::sync::Arc;

/// How a tempo gets from one value to another over some beats. "Linear" alone says too little: the four readings of
/// "from 120 to 150 over 16 beats" last 7.111, 7.141, 7.170 and 7.200 s.
///
/// With `v` the tempo in beats a unit of time, `B` the beats and `v0`, `v1` the tempos at both ends, the time over all
/// is (closed forms, by integrating `dt = db/v`; which reading is which after F. Adriaensen, linux-audio-dev):
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ramp {
    /// The tempo grows evenly in time: `2B/(v0+v1)`.
    LinearInTime,
    /// The tempo grows evenly in beats: `B·ln(v1/v0)/(v1−v0)`.
    LinearInBeats,
    /// The tempo grows by one factor a beat: `B·(1/v0−1/v1)/ln(v1/v0)`.
    ExponentialInBeats,
    /// The length of a beat changes evenly in beats: `B·(1/v0+1/v1)/2`.
    LinearPeriod,
}

/// A tempo that a map leads to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Aim {
    /// This one, whatever the piece began with.
    Tempo(Tempo),
    /// A share of the tempo with which the piece begins, rounded to a millionth of a quarter note a minute.
    Share(Ratio<i128>),
}

impl Aim {
    /// The tempo in millionths of a quarter note a minute, within bounds or not, in a piece that begins at `tempo`.
    #[must_use]
    pub fn micro(self, tempo: Tempo) -> i128 {
        match self {
            Self::Tempo(tempo) => i128::from(tempo.micro()),
            Self::Share(share) => round_half_up(share * i128::from(tempo.micro())),
        }
    }
}

/// One entry of a tempo map.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TempoStep {
    /// Where the tempo begins to change.
    pub at: Beat,
    /// What it changes to.
    pub to: Aim,
    /// Over how many beats, and how; `None` for at once.
    pub ramp: Option<(Beat, Ramp)>,
}

/// The time of every beat, in a piece that begins at some tempo.
///
/// While the tempo stands still the time of a beat is exact and rounded once; each such stretch begins at a time kept to
/// a millionth of a picosecond. Within a ramp times are worked out in `f64` from the ramp's start and rounded to a whole
/// picosecond: at most 2 ps are lost over a ramp of an hour, and in proportion over a longer one. Times never decrease.
#[derive(Clone, Debug)]
pub struct Clockwork {
    tempo: Tempo,
    stretches: Arc<[Stretch]>,
}

/// From one beat on, until the next stretch begins.
#[derive(Clone, Debug)]
struct Stretch {
    from: Beat,
    /// The time of `from`: its denominator divides [`FINEST`].
    start: ExactPs,
    /// With which it begins.
    tempo: Tempo,
    ramp: Option<Slope>,
}

#[derive(Clone, Debug)]
struct Slope {
    over: Beat,
    shape: Ramp,
    /// The relative growth of the tempo from end to end, `v1/v0 − 1`, and that of the beat, `v0/v1 − 1`.
    growth: f64,
    beat_growth: f64,
    /// The time of the whole, in picoseconds.
    lasts: i128,
}

/// Parts of a picosecond to which the start of a stretch is kept.
const FINEST: i128 = 1_000_000;
/// Parts of a beat to which [`Clockwork::beat_at`] answers.
const BEAT_PARTS: i128 = 1_000_000_000_000;

impl Clockwork {
    /// One tempo from start to end.
    #[must_use]
    pub fn even(tempo: Tempo) -> Self {
        Self::new(tempo, &[])
    }

    /// A piece that begins at a tempo and follows a map, whose entries must come in order and not overlap. A tempo past
    /// the bounds of [`Tempo`] is taken to the bound; a checked patch has none.
    #[must_use]
    pub fn new(tempo: Tempo, map: &[TempoStep]) -> Self {
        let nought = Ratio::from_integer(0);
        let mut stretches = vec![Stretch { from: nought, start: nought, tempo, ramp: None }];
        let mut now = tempo;
        for step in map {
            let micro = step.to.micro(tempo).clamp(1_000_000, 1_000_000_000);
            let next = u64::try_from(micro).ok().and_then(Tempo::from_micro).unwrap_or(tempo);
            let start = kept(place_after(stretches.last(), step.at));
            let mut after = (step.at, start);
            if let Some((over, shape)) = step.ramp {
                let slope = Slope::new(now, next, over, shape);
                after = (step.at + over, start + slope.lasts);
                stretches.push(Stretch { from: step.at, start, tempo: now, ramp: Some(slope) });
            }
            stretches.push(Stretch { from: after.0, start: after.1, tempo: next, ramp: None });
            now = next;
        }
        Self { tempo, stretches: stretches.into() }
    }

    /// The tempo with which the piece begins.
    #[must_use]
    pub fn tempo(&self) -> Tempo {
        self.tempo
    }

    /// Whether the tempo never changes.
    #[must_use]
    pub fn is_even(&self) -> bool {
        self.stretches.len() == 1
    }

    /// The ideal time of a beat, rounded once.
    #[must_use]
    pub fn instant(&self, beat: Beat) -> Instant {
        self.place(beat, Ratio::from_integer(0)).unwrap_or(Instant(i64::MAX))
    }

    /// A time after the ideal time of a beat; the sum is rounded once.
    ///
    /// # Errors
    /// If it does not fit an [`Instant`].
    pub fn place(&self, beat: Beat, after: ExactPs) -> Result<Instant, LineError> {
        let stretch = self.stretch(|s| s.from <= beat);
        let (start, beats) = match &stretch.ramp {
            None => (stretch.start, beat - stretch.from),
            Some(slope) => (stretch.start + slope.offset(stretch.tempo, beat - stretch.from), Ratio::from_integer(0)),
        };
        let ps = sum(start, beats, stretch.tempo.beat_ps(), after).ok_or(LineError)?;
        i64::try_from(ps).map(Instant).map_err(|_| LineError)
    }

    /// The beat at an instant, to the nearest of 10¹² parts of a beat.
    #[must_use]
    pub fn beat_at(&self, at: Instant) -> Beat {
        let at = Ratio::from_integer(i128::from(at.0));
        let stretch = self.stretch(|s| s.start <= at);
        let gone = at - stretch.start;
        let Some(slope) = &stretch.ramp else {
            let per = stretch.tempo.beat_ps();
            let over = BigInt::from(*gone.numer()) * per.denom() * BEAT_PARTS;
            let under = BigInt::from(*gone.denom()) * per.numer();
            return stretch.from
                + Ratio::new(i128::try_from(rounded(over, under)).unwrap_or(i128::MAX / 2), BEAT_PARTS);
        };
        // Between one part that is too early and one that is not, by halving.
        let (mut early, mut late) = (0, (slope.over * BEAT_PARTS).ceil().to_integer());
        let gone = round_half_up(gone);
        while late - early > 1 {
            let middle = early + (late - early) / 2;
            if slope.offset(stretch.tempo, Ratio::new(middle, BEAT_PARTS)) < gone {
                early = middle;
            } else {
                late = middle;
            }
        }
        stretch.from + Ratio::new(if gone == 0 { 0 } else { late }, BEAT_PARTS)
    }

    /// The first whole multiple of `unit` beats, at the start or later, whose ideal time is not before an instant.
    #[must_use]
    pub fn first_multiple(&self, unit: Beat, at: Instant) -> Beat {
        let reached = |n: i128| self.instant(unit * n) >= at;
        let (mut before, mut from) = (-1, 0);
        while !reached(from) {
            (before, from) = (from, from * 2 + 1);
        }
        while from - before > 1 {
            let middle = before + (from - before) / 2;
            if reached(middle) { from = middle } else { before = middle }
        }
        unit * from
    }

    /// The last stretch of which something is true; the first where it is true of none.
    fn stretch(&self, begun: impl Fn(&Stretch) -> bool) -> &Stretch {
        &self.stretches[self.stretches.partition_point(begun).saturating_sub(1)]
    }
}

impl Slope {
    fn new(from: Tempo, to: Tempo, over: Beat, shape: Ramp) -> Self {
        let (v0, v1) = (i128::from(from.micro()), i128::from(to.micro()));
        let growth = nearest(Ratio::new(v1 - v0, v0));
        let beat_growth = nearest(Ratio::new(v0 - v1, v1));
        let mut slope = Self { over, shape, growth, beat_growth, lasts: i128::MAX };
        slope.lasts = slope.offset(from, over);
        slope
    }

    /// How long some beats from the start of the ramp last, in whole picoseconds. Beats in `f64` are what limits it.
    fn offset(&self, from: Tempo, beats: Beat) -> i128 {
        let even = nearest(beats * from.beat_ps());
        let part = nearest(beats / self.over);
        let grown = self.growth * part;
        let stretched = match self.shape {
            _ if grown == 0.0 => even,
            Ramp::LinearInTime => {
                // The tempo's square is linear in beats.
                let tempo = libm::sqrt(1.0 + self.growth * (2.0 + self.growth) * part);
                2.0 * even / (1.0 + tempo)
            }
            Ramp::LinearInBeats => even * (libm::log1p(grown) / grown),
            Ramp::ExponentialInBeats => {
                let slope = libm::log1p(self.growth) * part;
                even * (-libm::expm1(-slope) / slope)
            }
            Ramp::LinearPeriod => even * (1.0 + self.beat_growth * part / 2.0),
        };
        (libm::floor(stretched + 0.5) as i128).clamp(0, self.lasts)
    }
}

/// The nearest `f64`, or next to it: whole part and rest apart, so that large times keep their last bits.
fn nearest(exact: Ratio<i128>) -> f64 {
    let (whole, rest) = exact.numer().div_mod_floor(exact.denom());
    whole as f64 + rest as f64 / *exact.denom() as f64
}

/// Where the next stretch begins, exact.
fn place_after(last: Option<&Stretch>, at: Beat) -> (BigInt, BigInt) {
    let Some(last) = last else { return (BigInt::from(0), BigInt::from(1)) };
    let (beats, per) = (at - last.from, last.tempo.beat_ps());
    let over = BigInt::from(*beats.numer()) * per.numer();
    let under = BigInt::from(*beats.denom()) * per.denom();
    (over * last.start.denom() + &under * last.start.numer(), under * last.start.denom())
}

/// To the nearest millionth of a picosecond; past all bounds where it does not fit.
fn kept((over, under): (BigInt, BigInt)) -> ExactPs {
    Ratio::new(i128::try_from(rounded(over * FINEST, under)).unwrap_or(i128::MAX / 4), FINEST)
}

/// `floor(start + beats·per + after + 1/2)`, in `i128` where that is certain to do.
fn sum(start: ExactPs, beats: Beat, per: ExactPs, after: ExactPs) -> Option<i128> {
    quick_sum(start, beats, per, after).or_else(|| long_sum(start, beats, per, after))
}

fn quick_sum(start: ExactPs, beats: Beat, per: ExactPs, after: ExactPs) -> Option<i128> {
    let (g, h) = (beats.numer().gcd(per.denom()), per.numer().gcd(beats.denom()));
    let over = (beats.numer() / g).checked_mul(per.numer() / h)?;
    let under = (beats.denom() / h).checked_mul(per.denom() / g)?;
    let (over, under) = plus((over, under), start)?;
    let (over, under) = plus((over, under), after)?;
    Some(round_half_up(Ratio::new_raw(over, under)))
}

fn long_sum(start: ExactPs, beats: Beat, per: ExactPs, after: ExactPs) -> Option<i128> {
    let [b, p, s, a] = [beats, per, start, after].map(|r| [*r.numer(), *r.denom()].map(BigInt::from));
    let under = &b[1] * &p[1] * &s[1] * &a[1];
    let over = &b[0] * &p[0] * &s[1] * &a[1] + (&s[0] * &a[1] + &a[0] * &s[1]) * &b[1] * &p[1];
    i128::try_from(rounded(over, under)).ok()
}

/// `floor(over/under + 1/2)`.
fn rounded(over: BigInt, under: BigInt) -> BigInt {
    let twice: BigInt = over * 2 + &under;
    twice.div_floor(&(under * 2))
}

fn plus((over, under): (i128, i128), other: ExactPs) -> Option<(i128, i128)> {
    let g = under.gcd(other.denom());
    let mine = over.checked_mul(other.denom() / g)?;
    let theirs = other.numer().checked_mul(under / g)?;
    Some((mine.checked_add(theirs)?, under.checked_mul(other.denom() / g)?))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const ALL: [Ramp; 4] = [Ramp::LinearInTime, Ramp::LinearInBeats, Ramp::ExponentialInBeats, Ramp::LinearPeriod];

    fn beats(n: i128) -> Beat {
        Beat::from_integer(n)
    }

    fn ramp(from: Tempo, to: Tempo, over: Beat, shape: Ramp) -> Clockwork {
        Clockwork::new(from, &[TempoStep { at: beats(0), to: Aim::Tempo(to), ramp: Some((over, shape)) }])
    }

    /// The closed forms, worked out to 50 digits with the decimal arithmetic of Python (ln, exp and square root from
    /// its library): start, end, beats, how far into them, and picoseconds for each reading. From 120 to 150 over 16
    /// beats they are the 7.111111, 7.140594, 7.170272 and 7.200000 s, and from 60 to 120 over 4 the 2.666667, 2.772589,
    /// 2.885390 and 3 s, of the table of outside values.
    /// From a tempo to a tempo over so many beats, where in it, and the time there by each of the four readings.
    type Row = (&'static str, &'static str, i128, (i128, i128), [f64; 4]);

    const DECIMAL: [Row; 8] = [
        ("120", "150", 16, (1, 1), [7_111_111_111_111.111, 7_140_593_642_054.712, 7_170_272_188_359.28, 7.2e12]),
        ("120", "150", 16, (1, 2), [3_752_480_491_155.259, 3_769_057_141_004.271, 3_784_928_881_101.347, 3.8e12]),
        ("60", "120", 4, (1, 1), [2_666_666_666_666.667, 2_772_588_722_239.781, 2_885_390_081_777.927, 3e12]),
        ("120", "150", 7200, (1, 1), [3.2e15, 3_213_267_138_924_620.5, 3_226_622_484_761_675.8, 3.24e15]),
        (
            "120",
            "150",
            7200,
            (3, 10),
            [1_037_918_918_681_378.1, 1_041_417_526_746_616.1, 1_044_644_070_893_744.4, 1.0476e15],
        ),
        (
            "97.333333",
            "97.333334",
            3600,
            (7, 10),
            [1_553_424_657_268_249.2, 1_553_424_657_268_249.2, 1_553_424_657_268_249.2, 1_553_424_657_268_249.2],
        ),
        (
            "1000",
            "999",
            60_000,
            (1, 1),
            [3_601_800_900_450_225.1, 3_601_801_200_900_720.5, 3_601_801_501_351_256.0, 3_601_801_801_801_802.0],
        ),
        (
            "1000",
            "1",
            500,
            (9, 10),
            [41_026_289_683_974.69, 68_877_638_186_864.08, 2_172_285_554_827_770.0, 12_164_850_000_000_000.0],
        ),
    ];

    #[test]
    fn ramps_follow_their_closed_forms() {
        for (from, to, over, (n, d), expected) in DECIMAL {
            let (from, to): (Tempo, Tempo) = (from.parse().expect("a tempo"), to.parse().expect("a tempo"));
            for (shape, ps) in ALL.into_iter().zip(expected) {
                let map = ramp(from, to, beats(over), shape);
                let found = map.instant(beats(over) * Beat::new(n, d));
                // 2 ps over an hour, which is what `f64` gives; and half a picosecond for being whole.
                let most = 0.5 + 2.0 * (ps / 3.6e15).max(0.25);
                assert!((found.0 as f64 - ps).abs() <= most, "{from} to {to}, {shape:?}: {found} for {ps}");
            }
        }
    }

    #[test]
    fn steps_are_exact() {
        // By hand: 16 beats of 0.5 s, 8 of 0.4 s, then 0.25 s each.
        let step = |at, to| TempoStep { at: beats(at), to, ramp: None };
        let map = Clockwork::new(
            Tempo::whole(120),
            &[step(16, Aim::Share(Ratio::new(5, 4))), step(24, Aim::Tempo(Tempo::whole(240)))],
        );
        let second = 1_000_000_000_000;
        for (beat, tenths) in [(-2, -10), (0, 0), (15, 75), (16, 80), (17, 84), (24, 112), (32, 132)] {
            assert_eq!(map.instant(beats(beat)), Instant(tenths * second / 10), "beat {beat}");
            assert_eq!(map.beat_at(Instant(tenths * second / 10)), beats(beat));
        }
        // A third of a beat at 150 is 133,333,333,333⅓ ps, rounded once with what is added.
        let third = map.place(beats(16) + Beat::new(1, 3), Ratio::new(1, 6)).expect("short");
        assert_eq!(third, Instant(8 * second + 133_333_333_334));
    }

    /// Seven steps between tempos without a common measure end within a picosecond of the exact sum.
    #[test]
    fn many_steps_do_not_drift() {
        let tempos = [97, 101, 103, 107, 109, 113, 127].map(Tempo::whole);
        let steps: Vec<_> = tempos
            .iter()
            .enumerate()
            .map(|(n, t)| TempoStep { at: beats(n as i128 * 4 + 4), to: Aim::Tempo(*t), ramp: None })
            .collect();
        let map = Clockwork::new(Tempo::whole(91), &steps);
        let exact: Ratio<BigInt> = std::iter::once(Tempo::whole(91)).chain(tempos).fold(
            Ratio::new(BigInt::from(0), BigInt::from(1)),
            |sum, t| {
                let beat = t.beat_ps() * 4;
                sum + Ratio::new(BigInt::from(*beat.numer()), BigInt::from(*beat.denom()))
            },
        );
        let whole = (exact + Ratio::new(BigInt::from(1), BigInt::from(2))).floor().to_integer();
        assert_eq!(BigInt::from(map.instant(beats(32)).0), whole);
    }

    proptest! {
        /// Without entries a map is the plain tempo, and a step to the same tempo changes nothing by more than what a
        /// start is kept to: none of a whole picosecond at tempos whose beats are whole.
        #[test]
        fn a_map_that_changes_nothing_is_the_tempo(bpm in 1_u64..1000, n in -1_000_000_i128..100_000_000, d in 1_i128..100) {
            let tempo = Tempo::whole(bpm);
            let beat = Beat::new(n, d);
            prop_assert_eq!(Clockwork::even(tempo).instant(beat), tempo.instant(beat));
            let same = TempoStep { at: beats(3 * i128::from(bpm)), to: Aim::Share(Ratio::from_integer(1)), ramp: None };
            prop_assert_eq!(Clockwork::new(tempo, &[same]).instant(beat), tempo.instant(beat));
        }

        /// Later beats are never earlier in time, and the way back leads to the beat from which one came.
        #[test]
        fn time_grows_with_beats_and_back(
            v0 in 1_u64..1000, v1 in 1_u64..1000, over in 1_i128..64, shape in 0_usize..4, n in 0_i128..1_000_000,
        ) {
            let map = ramp(Tempo::whole(v0), Tempo::whole(v1), beats(over), ALL[shape]);
            let beat = beats(over) * Beat::new(n, 900_000);
            let (now, next) = (map.instant(beat), map.instant(beat + Beat::new(1, 1_000_000_000)));
            prop_assert!(now <= next);
            // To a picosecond and a half, as a beat: at 1000 a beat lasts 60 ms.
            let back = map.beat_at(now) - beat;
            prop_assert!(back.numer().abs() as f64 / *back.denom() as f64 <= 1.5 / 6e10 + 2e-12, "{}", back);
        }

        /// The time over all is what `dt = db/v` sums to in small steps of the middle tempo: a law that knows no closed form.
        #[test]
        fn ramps_are_sums_of_small_steps(v0 in 60_u64..240, v1 in 60_u64..240, shape in 0_usize..4) {
            let map = ramp(Tempo::whole(v0), Tempo::whole(v1), beats(8), ALL[shape]);
            let (a, b) = (v0 as f64 / 60.0, v1 as f64 / 60.0);
            let steps = 20_000;
            let (mut time, mut tempo_in_time) = (0.0, a);
            for i in 0..steps {
                let part = (f64::from(i) + 0.5) / f64::from(steps);
                let db = 8.0 / f64::from(steps);
                let v = match ALL[shape] {
                    // dv/dt is constant, so dv/db = (b² − a²)/(2·8·v).
                    Ramp::LinearInTime => {
                        let slope = (b * b - a * a) / 16.0;
                        let middle = tempo_in_time + slope * db / 2.0 / tempo_in_time;
                        tempo_in_time += slope * db / middle;
                        middle
                    }
                    Ramp::LinearInBeats => a + (b - a) * part,
                    Ramp::ExponentialInBeats => a * (b / a).powf(part),
                    Ramp::LinearPeriod => 1.0 / (1.0 / a + (1.0 / b - 1.0 / a) * part),
                };
                time += db / v;
            }
            let found = map.instant(beats(8)).seconds();
            // The middle rule errs by the square of a step: under one part in 10⁷ for these tempos.
            prop_assert!((found / time - 1.0).abs() < 1e-7, "{} for {}", found, time);
        }

        /// The quick sum and the long one agree.
        #[test]
        fn quick_and_long_sums_agree(n in -1_000_000_000_000_i128..1_000_000_000_000, d in 1_i128..1_000_000, micro in 1_000_000_u64..1_000_000_000) {
            let per = Tempo::from_micro(micro).expect("in bounds").beat_ps();
            let (start, after) = (Ratio::new(123_456_789, FINEST), Ratio::new(n, 1009));
            let beats = Beat::new(n, d);
            if let Some(quick) = quick_sum(start, beats, per, after) {
                prop_assert_eq!(Some(quick), long_sum(start, beats, per, after));
            }
        }
    }
}
