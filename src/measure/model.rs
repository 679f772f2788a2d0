use super::gaps::Session;
use super::lattice::{Lattice, lattice};
use crate::stats::chi_square_tail;

/// A value with its standard error.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Estimate {
    /// The value.
    pub value: f64,
    /// Its standard error.
    pub error: f64,
}

impl Estimate {
    /// The interval that holds the true value in 95 of a hundred cases.
    #[must_use]
    pub fn interval(&self) -> (f64, f64) {
        (self.value - USUAL * self.error, self.value + USUAL * self.error)
    }
}

/// What kind of delay explains the gaps at all tempos.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Kind {
    /// Nothing of account at any tempo.
    Together,
    /// The same time at each tempo.
    Fixed,
    /// The same share of the period at each tempo.
    Share,
    /// A fixed time and a share.
    Both,
    /// So many whole places of the grid, and a fixed time.
    Whole(i32),
    /// A loop looks at its inputs, or blocks of audio are filled.
    Lattice(Lattice),
    /// Fixed times and shares do not explain it.
    NoLine,
    /// What was recorded does not say.
    CannotTell(Missing),
}

/// What to record to find out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Missing {
    /// A second tempo, half as fast again or more.
    Tempo,
    /// Tempos further apart.
    Range,
    /// More hits at each tempo, or more tempos.
    Hits,
    /// Both voices struck by one wire, which says where they begin.
    Onset,
}

/// The model and its figures.
#[derive(Clone, Debug, PartialEq)]
pub struct Verdict {
    /// Which kind it is.
    pub kind: Kind,
    /// The fixed part, in seconds.
    pub fixed: Estimate,
    /// The share of a period.
    pub share: Estimate,
    /// The time that explains the gaps best if it is the same at each tempo, in seconds.
    pub constant: Estimate,
    /// How likely chance leaves as much beside the line; from three tempos on.
    pub chance: Option<f64>,
    /// Whether some medians were taken a whole place further to lie on a line.
    pub unwrapped: bool,
}

/// Deviations of 95 in a hundred, and of 995 in a thousand: one in a hundred of each kind of slip would make more than two in all.
const USUAL: f64 = 1.96;
const SURE: f64 = 2.81;
/// What is of no account, in seconds.
const OF_ACCOUNT: f64 = 0.25e-3;
/// How likely chance must leave as much beside a line.
const LIKELY: f64 = 0.005;
/// What is left of differences between recordings that no standard error shows, in seconds.
pub(super) const BETWEEN: f64 = 1e-6;
/// The range of periods that is enough to part a time from a share.
const RANGE: f64 = 1.5;
/// Tempos up to which whole places are tried.
const TRIED: usize = 6;

struct Point {
    period: f64,
    gap: f64,
    variance: f64,
}

/// Finds the kind of delay behind the gaps of some recordings. `onset` is the uncertainty, in seconds, of where the voices begin;
/// `counted` says that hits were counted from the start and not put to the nearest place of the grid.
#[must_use]
pub fn verdict(sessions: &[Session], onset: f64, counted: bool) -> Option<Verdict> {
    let points: Vec<Point> = sessions
        .iter()
        .filter_map(|session| {
            let summary = session.summary()?;
            let variance = summary.error * summary.error + BETWEEN * BETWEEN;
            Some(Point { period: session.period, gap: summary.mean, variance })
        })
        .collect();
    let first = points.first()?;
    let (short, long) = points
        .iter()
        .fold((first.period, first.period), |(low, high), point| (low.min(point.period), high.max(point.period)));
    let waits = lattice(sessions);
    let constant = constant(&points, onset);
    let Some(plain) = Line::through(&points, &vec![0; points.len()]) else {
        let fixed = Estimate { value: first.gap, error: (first.variance + onset * onset).sqrt() };
        let share = Estimate { value: first.gap / first.period, error: fixed.error / first.period };
        let kind = waits.map_or(Kind::CannotTell(Missing::Tempo), Kind::Lattice);
        return Some(Verdict { kind, fixed, share, constant, chance: None, unwrapped: false });
    };
    let named = |line: &Line| match waits {
        Some(found) => Kind::Lattice(found),
        None if !line.fits(points.len()) => Kind::NoLine,
        None => kind(line.fixed(onset), line.share(), (short, long), onset),
    };
    let simple = |kind: &Kind| matches!(kind, Kind::Together | Kind::Fixed | Kind::Share | Kind::Whole(_));
    let (mut line, mut unwrapped) = (plain, false);
    if !counted && waits.is_none() && !simple(&named(&line)) {
        // A way that makes it simple is taken first, then any that makes a line where there is none.
        let ways = ways(&points);
        let found = least_moved(&ways, |line| simple(&named(line)))
            .or_else(|| if line.fits(points.len()) { None } else { least_moved(&ways, |_| true) });
        if let Some(found) = found {
            (line, unwrapped) = (found, true);
        }
    }
    Some(Verdict {
        kind: named(&line),
        fixed: line.fixed(onset),
        share: line.share(),
        // Gaps that were put to other places are those of the line alone.
        constant: if unwrapped { line.fixed(onset) } else { constant },
        chance: line.chance(points.len()),
        unwrapped,
    })
}

/// The mean of all, each by its variance.
fn constant(points: &[Point], onset: f64) -> Estimate {
    let weight: f64 = points.iter().map(|point| 1.0 / point.variance).sum();
    let value = points.iter().map(|point| point.gap / point.variance).sum::<f64>() / weight;
    Estimate { value, error: (1.0 / weight + onset * onset).sqrt() }
}

fn kind(fixed: Estimate, share: Estimate, (short, long): (f64, f64), onset: f64) -> Kind {
    let at_most = |estimate: Estimate| estimate.value.abs() + USUAL * estimate.error;
    let no_share = at_most(share) * (long - short) < OF_ACCOUNT;
    let no_fixed = at_most(fixed) < OF_ACCOUNT;
    let whole = share.value.round();
    if no_share && no_fixed && at_most(share) * long < OF_ACCOUNT {
        return Kind::Together;
    }
    let stands_out = |estimate: Estimate| estimate.value.abs() > USUAL * estimate.error;
    if no_share && stands_out(fixed) {
        return Kind::Fixed;
    }
    let beside = Estimate { value: share.value - whole, error: share.error };
    if whole != 0.0 && at_most(beside) * (long - short) < OF_ACCOUNT {
        return Kind::Whole(whole as i32);
    }
    if no_fixed && stands_out(share) {
        return Kind::Share;
    }
    if fixed.value.abs() > SURE * fixed.error && share.value.abs() > SURE * share.error {
        return Kind::Both;
    }
    Kind::CannotTell(if long < RANGE * short {
        Missing::Range
    } else if onset > 0.5 * fixed.error && fixed.error * USUAL > 0.5 * OF_ACCOUNT {
        Missing::Onset
    } else {
        Missing::Hits
    })
}

/// `gap = fixed + share·period`, by least squares, each point by its variance.
#[derive(Clone, Copy)]
struct Line {
    fixed: f64,
    share: f64,
    fixed_variance: f64,
    share_variance: f64,
    /// The squares of what is left, each over its variance.
    left: f64,
}

impl Line {
    /// Through the points, each so many whole periods further; none where all periods are alike.
    fn through(points: &[Point], further: &[i32]) -> Option<Self> {
        let gap = |(point, further): (&Point, &i32)| point.gap + f64::from(*further) * point.period;
        let (mut n, mut x, mut y, mut xx, mut xy) = (0.0, 0.0, 0.0, 0.0, 0.0);
        for pair in points.iter().zip(further) {
            let weight = 1.0 / pair.0.variance;
            n += weight;
            x += weight * pair.0.period;
            y += weight * gap(pair);
        }
        let (x, y) = (x / n, y / n);
        for pair in points.iter().zip(further) {
            let weight = 1.0 / pair.0.variance;
            xx += weight * (pair.0.period - x).powi(2);
            xy += weight * (pair.0.period - x) * (gap(pair) - y);
        }
        // Periods within a thousandth of each other are one tempo.
        if xx <= n * (1e-3 * x).powi(2) {
            return None;
        }
        let share = xy / xx;
        let left = |pair: (&Point, &i32)| (gap(pair) - y - share * (pair.0.period - x)).powi(2) / pair.0.variance;
        Some(Self {
            fixed: y - share * x,
            share,
            fixed_variance: 1.0 / n + x * x / xx,
            share_variance: 1.0 / xx,
            left: points.iter().zip(further).map(left).sum(),
        })
    }

    fn fixed(&self, onset: f64) -> Estimate {
        Estimate { value: self.fixed, error: (self.fixed_variance + onset * onset).sqrt() }
    }

    fn share(&self) -> Estimate {
        Estimate { value: self.share, error: self.share_variance.sqrt() }
    }

    fn fits(&self, points: usize) -> bool {
        self.chance(points).is_none_or(|chance| chance >= LIKELY)
    }

    fn chance(&self, points: usize) -> Option<f64> {
        (points >= 3).then(|| chi_square_tail(self.left, points as u32 - 2))
    }
}

/// A hit is put to the place it is nearest to, at each tempo by itself: a long delay may be past half a period at one and not at
/// another. All ways in which some are a place further or nearer and a line is left, and how many places that are; of those that
/// differ by the same at all tempos, the one whose share is nearest to none.
fn ways(points: &[Point]) -> Vec<(u32, Line)> {
    if points.len() > TRIED {
        return Vec::new();
    }
    let others = points.len() as u32 - 1;
    let mut found = Vec::new();
    for way in 0..3_usize.pow(others) {
        let mut further: Vec<i32> = (0..others).map(|n| (way / 3_usize.pow(n) % 3) as i32 - 1).collect();
        further.insert(0, 0);
        let Some(line) = Line::through(points, &further) else { continue };
        let whole = line.share.round();
        if line.fits(points.len()) && whole.abs() <= 1.0 {
            let moved = further.iter().map(|n| (n - whole as i32).unsigned_abs()).sum();
            found.push((moved, Line { share: line.share - whole, ..line }));
        }
    }
    found
}

/// The line that moves fewest, of those that suit; none where two do.
fn least_moved(ways: &[(u32, Line)], suits: impl Fn(&Line) -> bool) -> Option<Line> {
    let suiting: Vec<&(u32, Line)> = ways.iter().filter(|(moved, line)| *moved > 0 && suits(line)).collect();
    let least = suiting.iter().map(|(moved, _)| *moved).min()?;
    let mut best = suiting.into_iter().filter(|(moved, _)| *moved == least);
    let line = best.next()?.1;
    best.next().is_none().then_some(line)
}
