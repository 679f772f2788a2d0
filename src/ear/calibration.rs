use super::fit::{SLOPE, fit_near};
use super::{
    Listener, Procedure, PsychometricFunction, Session, Settings, Staircase, Task, Trial, points, reversal_mean,
};

/// How many slopes listeners are given, from one end of what a fit looks for to the other by equal ratios.
const SLOPES: u32 = 15;

/// How staircases are rehearsed, as far as it matters to what comes out: task, settings, catch trials.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rehearsed {
    /// The task of the session.
    pub task: Task,
    /// How the staircases were walked.
    pub settings: Settings,
    /// How many staircases.
    pub tracks: u32,
    /// Each so-manieth trial was a plain one; 0 without any.
    pub catch_every: usize,
}

impl Rehearsed {
    /// The staircases of a session; those that were stopped early are simulated as far as they came. `None` where gaps were not chosen by
    /// staircases.
    #[must_use]
    pub fn of(session: &Session) -> Option<Self> {
        let Procedure::Staircase(settings) = session.procedure else { return None };
        let tracks = session.tracks();
        let reversals = tracks.iter().map(|t| t.late_reversals().len() as u32).min().unwrap_or(0);
        let settings = Settings { reversals: reversals.min(settings.reversals), ..settings };
        let catch_trials = session.trials.iter().filter(|t| t.catch).count();
        let catch_every = session.trials.len().checked_div(catch_trials).unwrap_or(0);
        Some(Self { task: session.task, settings, tracks: tracks.len() as u32, catch_every })
    }

    /// A simulated listener's session.
    fn walked(&self, listener: &mut Listener) -> (Vec<Trial>, Vec<Staircase>) {
        let (mut trials, mut tracks) = (Vec::new(), Vec::new());
        for _ in 0..self.tracks {
            let own = listener.session(self.task, &self.settings, self.catch_every);
            let mut track = Staircase::new(self.settings);
            own.iter().filter(|t| !t.catch).for_each(|t| track.answer(t.right()));
            trials.extend(own);
            tracks.push(track);
        }
        (trials, tracks)
    }
}

/// What the simulated sessions of one slope came to.
#[derive(Clone, Debug)]
struct Row {
    slope: f64,
    /// The slopes that were fitted to them.
    fitted: Vec<f64>,
    /// How far the mean of their reversals stood above the true gap: natural logarithms.
    off: Vec<f64>,
}

/// A calibration of fitted slopes and reversal means: sessions that simulated listeners walk as the real one did, each with the same gap at the rule's target and one of many
/// slopes: they say what a fitted slope, and a mean of reversals, may come from.
///
/// A fit to sixty trials of a staircase is 1.1 to 3 times too steep, the more the shallower the listener, and the mean of ten
/// reversals stands above its target by up to a third, the more the shallower, too. So neither can be corrected by a number: which
/// slopes give such a session is asked instead (inversion of a test, as in Casella and Berger, Statistical Inference,
/// chapter 9; from memory).
#[derive(Clone, Debug)]
pub struct Calibration {
    rows: Vec<Row>,
}

impl Calibration {
    /// Simulates `each` sessions of every slope, of listeners who are like the fitted curve in all else. `None` where it never reaches
    /// the share, or without sessions.
    #[must_use]
    pub fn new(of: &PsychometricFunction, share: f64, procedure: &Rehearsed, each: u32, seed: u64) -> Option<Self> {
        let at = of.ln_ms_at(share)?;
        let row = |n: u32| {
            let ends = SLOPE.map(libm::log);
            let slope = libm::exp(ends[0] + (ends[1] - ends[0]) * f64::from(n) / f64::from(SLOPES - 1));
            let like = PsychometricFunction { slope, ln_threshold: 0.0, ..*of };
            let curve = PsychometricFunction { ln_threshold: at - like.ln_ms_at(share)?, ..like };
            let mut row = Row { slope, fitted: Vec::new(), off: Vec::new() };
            for k in 0..each {
                // The same chance for each slope: then they differ by nothing else.
                let (trials, tracks) = procedure.walked(&mut Listener::new(curve, seed.wrapping_add(u64::from(k))));
                row.fitted.extend(fit_near(curve, &points(&trials)).map(|f| f.curve.slope));
                row.off.extend(reversal_mean(&tracks).map(|t| t.ln_ms - at));
            }
            (!row.fitted.is_empty()).then_some(row)
        };
        Some(Self { rows: (0..SLOPES).map(row).collect::<Option<_>>()? })
    }

    /// For each slope, how large a share of its sessions came out shallower than a fitted one: falling.
    fn shallower(&self, fitted: f64) -> Vec<f64> {
        // At the bounds of a fit many are alike, and count half.
        let one = |x: &f64| match x / fitted - 1.0 {
            d if d.abs() < 1e-6 => 0.5,
            d if d < 0.0 => 1.0,
            _ => 0.0,
        };
        let share = |row: &Row| row.fitted.iter().map(one).sum::<f64>() / row.fitted.len() as f64;
        falling(&self.rows.iter().map(share).collect::<Vec<f64>>())
    }

    /// The slope of which half of the sessions come out shallower than that, and between which slopes the true one is meant to
    /// lie 95 times of 100; simulated by the curve of the session itself it does 89 to 99 times. No further than a fit looks.
    #[must_use]
    pub fn slope(&self, fitted: f64) -> (f64, [f64; 2]) {
        let shares = self.shallower(fitted);
        let at = |share: f64| {
            let over = shares.iter().take_while(|s| **s >= share).count();
            let Some(below) = over.checked_sub(1) else { return SLOPE[0] };
            let Some(next) = shares.get(over) else { return SLOPE[1] };
            let part = (shares[below] - share) / (shares[below] - next);
            let ln = |n: usize| libm::log(self.rows[n].slope);
            libm::exp(ln(below) + part * (ln(over) - ln(below)))
        };
        (at(0.5), [at(0.975), at(0.025)])
    }

    /// Between which gaps the true one is meant to lie 95 times of 100, by the mean of the reversals: natural logarithms. Sessions of each
    /// slope count as much as the fitted one makes it likely.
    #[must_use]
    pub fn gap_interval(&self, fitted: f64, ln_ms: f64) -> Option<[f64; 2]> {
        let shares = self.shallower(fitted);
        let mut all: Vec<(f64, f64)> = Vec::new();
        for (n, row) in self.rows.iter().enumerate() {
            let between = |k: Option<usize>, end: f64| {
                k.and_then(|k| shares.get(k)).map_or(end, |other| f64::midpoint(*other, shares[n]))
            };
            let weight = between(n.checked_sub(1), 1.0) - between(Some(n + 1), 0.0);
            all.extend(row.off.iter().map(|off| (*off, weight / row.off.len() as f64)));
        }
        all.sort_by(|a, b| a.0.total_cmp(&b.0));
        let whole: f64 = all.iter().map(|x| x.1).sum();
        let at = |share: f64| {
            let mut sum = 0.0;
            let found = all.iter().find(|x| {
                sum += x.1;
                sum >= share * whole
            });
            found.or(all.last()).map(|x| x.0)
        };
        Some([ln_ms - at(0.975)?, ln_ms - at(0.025)?])
    }
}

/// The nearest falling row by least squares: neighbours that rise are pooled (Ayer and others, Annals of Mathematical
/// Statistics 26:641, 1955; from memory).
fn falling(of: &[f64]) -> Vec<f64> {
    let mut pools: Vec<(f64, usize)> = Vec::new();
    for x in of {
        let mut pool = (*x, 1);
        while let Some(before) = pools.pop_if(|p| p.0 < pool.0) {
            let (m, n) = (before.1 as f64, pool.1 as f64);
            pool = ((m * before.0 + n * pool.0) / (m + n), before.1 + pool.1);
        }
        pools.push(pool);
    }
    pools.iter().flat_map(|(x, n)| std::iter::repeat_n(*x, *n)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ear::{Rule, Shape, fit};

    /// A listener, and how a session is walked.
    struct Case {
        procedure: Rehearsed,
        curve: PsychometricFunction,
        share: f64,
    }

    fn case(task: Task, down: u32, tracks: u32, (gap_ms, slope, lapse_rate): (f64, f64, f64)) -> Case {
        let settings = Settings::usual(Rule::published(down).expect("rule"));
        let share = settings.rule.target();
        let flat = PsychometricFunction {
            shape: Shape::Logistic,
            ln_threshold: 0.0,
            slope,
            guess_rate: task.guess_rate(),
            lapse_rate,
        };
        let curve =
            PsychometricFunction { ln_threshold: libm::log(gap_ms) - flat.ln_ms_at(share).expect("reached"), ..flat };
        Case { procedure: Rehearsed { task, settings, tracks, catch_every: 10 }, curve, share }
    }

    /// Of 1,000 sessions: how often the intervals of slope and gap hold the truth, and the middle of the fitted and of the
    /// corrected slopes, over the true one. `own`: each session is simulated by its own curve, as [`estimate`](crate::ear::estimate) does; else by the
    /// listener's.
    fn held(of: &Case, sessions: u32, each: u32, own: bool) -> ([u32; 2], [f64; 2]) {
        let (true_slope, gap) = (of.curve.slope, of.curve.ln_ms_at(of.share).expect("reached"));
        let shared = Calibration::new(&of.curve, of.share, &of.procedure, each, 1_000_000).expect("rehearsed");
        let (mut held, mut slopes) = ([0; 2], [Vec::new(), Vec::new()]);
        for seed in 0..sessions {
            let (trials, tracks) = of.procedure.walked(&mut Listener::new(of.curve, seed.into()));
            let fitted = fit(Shape::Logistic, of.curve.guess_rate, &points(&trials)).expect("answers").curve;
            let mean = reversal_mean(&tracks).expect("reversals").ln_ms;
            let made = own.then(|| Calibration::new(&fitted, of.share, &of.procedure, each, 1).expect("rehearsed"));
            let by = made.as_ref().unwrap_or(&shared);
            let (middle, [low, high]) = by.slope(fitted.slope);
            let [from, to] = by.gap_interval(fitted.slope, mean).expect("reversals");
            held[0] += u32::from(low <= true_slope && true_slope <= high);
            held[1] += u32::from(from <= gap && gap <= to);
            slopes[0].push(fitted.slope / true_slope);
            slopes[1].push(middle / true_slope);
        }
        let middle = slopes.map(|mut all| {
            all.sort_by(f64::total_cmp);
            all[all.len() / 2]
        });
        let (Rehearsed { task, settings, tracks, .. }, gap) = (of.procedure, libm::exp(gap));
        let down = settings.rule.down();
        println!(
            "{task:?} {down}, {tracks} tracks, {gap:.1} ms, slope {true_slope}: {held:?} of {sessions}, {middle:.2?}"
        );
        (held, middle)
    }

    /// Listeners of three slopes, 1,000 sessions each: at least 93 of 100 intervals hold the true slope and the true gap, and
    /// the corrected slope is right in the middle, where the fitted one is 1.1 to 3 times too steep (least with two staircases).
    #[test]
    fn intervals_hold_the_truth_and_corrected_slopes_are_as_steep_as_listeners() {
        for (task, down, tracks, listener) in [
            (Task::TwoOrOne, 2, 1, (6.0, 1.2, 0.01)),
            (Task::TwoOrOne, 2, 1, (6.0, 2.5, 0.01)),
            (Task::TwoOrOne, 2, 1, (2.0, 5.0, 0.0)),
            (Task::WhichFirst, 1, 1, (6.0, 2.5, 0.01)),
            (Task::TightOrLoose, 3, 2, (15.0, 2.5, 0.05)),
        ] {
            let case = case(task, down, tracks, listener);
            let ([slopes, gaps], [fitted, corrected]) = held(&case, 1000, 300, false);
            // A share of 0.95 of 1,000 is known to ±0.014, and 300 simulations a slope put an end a little off.
            assert!(slopes >= 930 && gaps >= 930, "{listener:?}: {slopes} {gaps}");
            assert!(fitted > 1.1, "{listener:?}: {fitted}");
            assert!((0.8..1.25).contains(&corrected), "{listener:?}: {corrected}");
        }
    }

    /// As [`estimate`](crate::ear::estimate) has it: every session is calibrated by what was fitted to it. Some minutes, hence asked for by name.
    #[test]
    #[ignore = "simulates for minutes, and is not met yet where answers lapse: DEVELOPERS.md has what is measured"]
    fn sessions_that_are_rehearsed_by_their_own_curves_hold_the_truth_too() {
        for (task, down, tracks, listener) in [
            (Task::TwoOrOne, 2, 1, (6.0, 1.2, 0.01)),
            (Task::TwoOrOne, 2, 1, (6.0, 2.5, 0.01)),
            (Task::TwoOrOne, 2, 1, (2.0, 5.0, 0.0)),
            (Task::WhichFirst, 1, 1, (6.0, 2.5, 0.01)),
            (Task::WhichFirst, 3, 1, (6.0, 1.2, 0.01)),
            (Task::TightOrLoose, 3, 2, (15.0, 2.5, 0.05)),
            (Task::TightOrLoose, 4, 1, (6.0, 2.5, 0.01)),
        ] {
            let case = case(task, down, tracks, listener);
            // A quarter of what [`estimate`](crate::ear::estimate) simulates, for time: an end is less sure, and intervals hold the truth no more often for it.
            let ([slopes, gaps], _) = held(&case, 1000, 16, true);
            assert!(slopes >= 900 && gaps >= 880, "{listener:?}: {slopes} {gaps}");
        }
    }

    /// Neighbours that rise are pooled, by hand; what falls stays.
    #[test]
    fn a_row_is_made_to_fall() {
        assert_eq!(falling(&[0.9, 0.7, 0.7, 0.1]), [0.9, 0.7, 0.7, 0.1]);
        assert_eq!(falling(&[0.5, 0.75, 0.25, 0.125, 0.375]), [0.625, 0.625, 0.25, 0.25, 0.25]);
        assert_eq!(falling(&[0.0, 0.3, 0.6]), [0.3; 3].map(|x: f64| x));
    }

    /// Slopes that a fit never returns give the ends of what it looks for, and no more.
    #[test]
    fn it_ends_where_a_fit_ends() {
        let case = case(Task::TwoOrOne, 2, 1, (6.0, 2.5, 0.01));
        let calibration = Calibration::new(&case.curve, case.share, &case.procedure, 20, 1).expect("rehearsed");
        let (flattest, steepest) = (calibration.slope(SLOPE[0] / 2.0), calibration.slope(2.0 * SLOPE[1]));
        assert_eq!(flattest, (SLOPE[0], [SLOPE[0]; 2]));
        assert_eq!(steepest, (SLOPE[1], [SLOPE[1]; 2]));
        for slope in [SLOPE[0] / 2.0, SLOPE[0], 2.0, SLOPE[1], 2.0 * SLOPE[1]] {
            let [low, high] = calibration.gap_interval(slope, 1.5).expect("reversals");
            assert!(low < high && low.is_finite() && high.is_finite(), "{slope}");
        }
        // A share that the curve never reaches.
        assert!(Calibration::new(&case.curve, 0.995, &case.procedure, 20, 1).is_none());
    }
}
