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
    /// The tempo that it leads to.
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
    /// The tempo at its first beat.
    tempo: Tempo,
    /// How long a beat lasts there.
    per: ExactPs,
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
        let mut stretches = vec![Stretch::new(nought, nought, tempo, None)];
        let mut now = tempo;
        for step in map {
            let micro = step.to.micro(tempo).clamp(1_000_000, 1_000_000_000);
            let next = u64::try_from(micro).ok().and_then(Tempo::from_micro).unwrap_or(tempo);
            let start = kept(place_after(stretches.last(), step.at));
            let mut after = (step.at, start);
            if let Some((over, shape)) = step.ramp {
                let slope = Slope::new(now, next, over, shape);
                after = (step.at + over, start + slope.lasts);
                stretches.push(Stretch::new(step.at, start, now, Some(slope)));
            }
            stretches.push(Stretch::new(after.0, after.1, next, None));
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
            None if *stretch.from.numer() == 0 => (stretch.start, beat),
            None => (stretch.start, beat - stretch.from),
            Some(slope) => (stretch.start + slope.offset(stretch.tempo, beat - stretch.from), Ratio::from_integer(0)),
        };
        let ps = sum(start, beats, stretch.per, after).ok_or(LineError)?;
        i64::try_from(ps).map(Instant).map_err(|_| LineError)
    }

    /// The beat at an instant, to the nearest of 10¹² parts of a beat.
    #[must_use]
    pub fn beat_at(&self, at: Instant) -> Beat {
        let at = Ratio::from_integer(i128::from(at.0));
        let stretch = self.stretch(|s| s.start <= at);
        let gone = at - stretch.start;
        let Some(slope) = &stretch.ramp else {
            let per = stretch.per;
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
        if let [only] = &*self.stretches {
            return only;
        }
        &self.stretches[self.stretches.partition_point(begun).saturating_sub(1)]
    }
}

impl Stretch {
    fn new(from: Beat, start: ExactPs, tempo: Tempo, ramp: Option<Slope>) -> Self {
        Self { from, start, tempo, per: tempo.beat_ps(), ramp }
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
    let (beats, per) = (at - last.from, last.per);
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
    plain_sum(start, beats, per, after)
        .or_else(|| quick_sum(start, beats, per, after))
        .or_else(|| long_sum(start, beats, per, after))
}

/// Where nothing is added, and nothing need be made simpler to fit.
fn plain_sum(start: ExactPs, beats: Beat, per: ExactPs, after: ExactPs) -> Option<i128> {
    if *start.numer() != 0 || *after.numer() != 0 {
        return None;
    }
    let over = beats.numer().checked_mul(*per.numer())?;
    Some(round_half_up(Ratio::new_raw(over, beats.denom().checked_mul(*per.denom())?)))
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
mod tests;
