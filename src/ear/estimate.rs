use super::{
    Calibration, Fitted, Intervals, Level, Procedure, PsychometricFunction, ReversalMean, Session, Settings, Shape,
    Staircase, bootstrap, fit, points, profile_interval, reversal_mean,
};

/// Why there is no threshold to be had from a session.
#[derive(Clone, PartialEq, Debug, thiserror::Error)]
pub enum NoThreshold {
    /// The session ended before there were reversals enough.
    #[error("the session turned {found} times after its first turns, and it takes {needed}")]
    TooShort {
        /// Later reversals of the track that has fewest.
        found: usize,
        /// How many it takes.
        needed: u32,
    },
    /// The largest gap was asked for again and again.
    #[error("{percent} % of the later trials were near the largest gap, {ms} ms: it was not told apart reliably")]
    AtCeiling {
        /// Of the later trials.
        percent: u32,
        /// The largest gap.
        ms: f64,
    },
    /// The smallest gap was told apart again and again.
    #[error(
        "{percent} % of the later trials were near the smallest gap, {ms} ms: the threshold lies below what was asked"
    )]
    AtFloor {
        /// Of the later trials.
        percent: u32,
        /// The smallest gap.
        ms: f64,
    },
    /// The answers go with no curve better than with guessing.
    #[error("the answers are as guessing would have them")]
    LikeGuessing,
}

/// The estimate of a threshold from a session, with all that it rests on.
#[derive(Clone, Debug, PartialEq)]
pub struct Estimate {
    /// The share of right answers that the rule settles at: what the thresholds stand for.
    pub target: f64,
    /// The mean of the later reversals; `None` where there are none.
    pub reversal_mean: Option<ReversalMean>,
    /// The two shapes, each with its intervals.
    pub fits: Vec<(Fitted, Option<Intervals>)>,
    /// The threshold, or why there is none: where the logistic curve reaches the target, natural logarithm of ms.
    pub threshold: Result<f64, NoThreshold>,
    /// Catch trials, and how many were missed.
    pub catch_trials: (u32, u32),
}

/// How large a share of the later trials may lie within half an octave of an end of the ladder. Guessers spend half of
/// theirs at the top and more; a listener with a threshold well within the ladder next to none.
const AT_END: f64 = 0.2;
const END: i32 = 500_000;
/// Twice the gain in log likelihood over guessing that a curve must bring: the 99.9 % point of χ² with three degrees of
/// freedom, 16.27 (a printed table of χ² with 3 degrees at 0.001 has 16.3).
const GAIN: f64 = 16.27;

/// For each slope of the calibration, a session for so many of the bootstrap.
const DRAWS_A_SIMULATION: u32 = 16;

/// Estimates what a session tells: for the intervals, `draws` sessions are drawn for the bootstrap and about as many for the
/// calibration, from `seed` (0: no intervals).
#[must_use]
pub fn estimate(session: &Session, draws: u32, seed: u64) -> Estimate {
    let guess_rate = session.task.guess_rate();
    let target = session.settings.rule.target();
    let tracks = session.tracks();
    let points = points(&session.trials);
    let fitted = [Shape::Logistic, Shape::Weibull].map(|shape| fit(shape, guess_rate, &points));
    let threshold = none(session, &tracks, fitted[0].as_ref()).map_or_else(
        || {
            let at = fitted[0].and_then(|f| f.curve.ln_ms_at(target));
            at.ok_or(NoThreshold::LikeGuessing)
        },
        Err,
    );
    let draws = if threshold.is_ok() { draws } else { 0 };
    let procedure = Procedure::of(session);
    let mut reversal_mean = reversal_mean(&tracks);
    let with_intervals = |f: Fitted| {
        let each = (draws / DRAWS_A_SIMULATION).max(1);
        let mut intervals = || {
            let between = profile_interval(&f, target, &points)?;
            let calibration = Calibration::new(&f.curve, target, &procedure, each, seed)?;
            let slope = calibration.slope(f.curve.slope);
            if let (Some(reversal_mean), Shape::Logistic) = (&mut reversal_mean, f.curve.shape) {
                reversal_mean.between = calibration.gap_interval(f.curve.slope, reversal_mean.ln_ms);
            }
            // The same gap at the target, by the corrected slope: the bootstrap draws from that.
            let mut curve = PsychometricFunction { slope: slope.0, ..f.curve };
            curve.ln_threshold += f.curve.ln_ms_at(target)? - curve.ln_ms_at(target)?;
            bootstrap(&Fitted { curve, ..f }, &points, between, slope, draws, seed)
        };
        (f, if draws > 0 { intervals() } else { None })
    };
    let fits = fitted.into_iter().flatten().map(with_intervals).collect();
    let caught = session.trials.iter().filter(|t| t.catch);
    let catch_trials = caught.fold((0, 0), |(n, missed), t| (n + 1, missed + u32::from(!t.right())));
    Estimate { target, reversal_mean, fits, threshold, catch_trials }
}

/// Why a session has no threshold, if it has none.
fn none(session: &Session, tracks: &[Staircase], fitted: Option<&Fitted>) -> Option<NoThreshold> {
    let settings: &Settings = &session.settings;
    let found = tracks.iter().map(|s| s.late_reversals().len()).min().unwrap_or(0);
    let late = late_levels(session);
    let share = |level: Level| {
        let at = late.iter().filter(|l| (l.0 - level.0).abs() <= END).count();
        (at as f64 / late.len().max(1) as f64, level.ms())
    };
    let percent = |share: f64| (100.0 * share).round() as u32;
    let (top, ms) = share(settings.ceiling);
    if top > AT_END {
        return Some(NoThreshold::AtCeiling { percent: percent(top), ms });
    }
    let (bottom, ms) = share(settings.floor);
    if bottom > AT_END {
        return Some(NoThreshold::AtFloor { percent: percent(bottom), ms });
    }
    if found < settings.reversals.min(8) as usize {
        return Some(NoThreshold::TooShort { found, needed: settings.reversals.min(8) });
    }
    let points = points(&session.trials);
    let guessing = PsychometricFunction {
        shape: Shape::Logistic,
        ln_threshold: 1e3,
        slope: 1.0,
        guess_rate: session.task.guess_rate(),
        lapse_rate: 0.0,
    };
    let gain = fitted.map_or(0.0, |f| 2.0 * (f.log_likelihood - super::fit::log_likelihood(&guessing, &points)));
    (gain < GAIN).then_some(NoThreshold::LikeGuessing)
}

/// The levels of the later half of the trials, catch trials apart: those in which a staircase has found its place.
fn late_levels(session: &Session) -> Vec<Level> {
    let own: Vec<Level> = session.trials.iter().filter(|t| !t.catch).map(|t| t.level).collect();
    own[own.len() / 2..].to_vec()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ear::{Listener, Rule, Task};

    fn known(task: Task, lapse_rate: f64, shape: Shape) -> PsychometricFunction {
        PsychometricFunction {
            shape,
            ln_threshold: libm::log(6.0),
            slope: 2.5,
            guess_rate: task.guess_rate(),
            lapse_rate,
        }
    }

    fn session(task: Task, settings: Settings, trials: Vec<crate::ear::Trial>) -> Session {
        Session { trials, ..Session::plain(task, settings) }
    }

    /// The share of right answers at the mean of the later reversals, over so many sessions.
    fn settles(task: Task, settings: Settings, sessions: u64) -> f64 {
        let curve = known(task, 0.0, Shape::Logistic);
        let mut sum = 0.0;
        for seed in 0..sessions {
            let mut walked = Staircase::new(settings);
            let trials = Listener::new(curve, seed).session(task, &settings, 0);
            trials.iter().for_each(|t| walked.answer(t.right()));
            sum += reversal_mean(&[walked]).expect("reversals").ln_ms / sessions as f64;
        }
        curve.at(sum)
    }

    /// A thousand sessions a procedure settle at the rule's own target.
    ///
    /// As they are used, after a start six times above the threshold, the mean of ten reversals stands a little high: up to
    /// 0.03 of the share, since the first of them are still on the way down. That it is the way down and not the rule, long
    /// ones show: there 0.012 is left, from steps that are not small against the curve.
    #[test]
    fn each_procedure_settles_at_its_own_target() {
        for task in [Task::TwoOrOne, Task::WhichFirst] {
            for down in 1..=4 {
                let settings = Settings::usual(Rule::published(down).expect("rule"));
                let target = settings.rule.target();
                let usual = settles(task, settings, 1000);
                let long = Settings {
                    large_reversals: 24,
                    reversals: 200,
                    small_step: 200_000,
                    most_trials: 10_000,
                    ..settings
                };
                let long = settles(task, long, 100);
                println!("{task:?} {down}: {usual:.4}, long {long:.4}, against {target:.4}");
                assert!((usual - target).abs() < 0.03, "{task:?} {down}: {usual} against {target}");
                assert!((long - target).abs() < 0.012, "{task:?} {down}: {long} against {target}");
            }
        }
    }

    /// The fit's bias, over 1,000 sessions; how often intervals hold the truth is tested beside them.
    #[test]
    fn fits_have_little_bias() {
        for (task, down) in [(Task::TwoOrOne, 2), (Task::WhichFirst, 3), (Task::WhichFirst, 1)] {
            let settings = Settings::usual(Rule::published(down).expect("rule"));
            let curve = known(task, 0.01, Shape::Logistic);
            let truth = curve.ln_ms_at(settings.rule.target()).expect("reached");
            let (mut bias, mut squares, mut count) = (0.0, 0.0, 0.0);
            let mut trials_in_all = 0;
            for seed in 0..1000 {
                let trials = Listener::new(curve, seed).session(task, &settings, 0);
                trials_in_all += trials.len();
                let session = session(task, settings, trials);
                let estimate = super::estimate(&session, 0, seed);
                if let Ok(at) = estimate.threshold {
                    bias += at - truth;
                    squares += (at - truth) * (at - truth);
                    count += 1.0;
                }
            }
            let bias = bias / count;
            println!(
                "{task:?} {down}: bias {:.2} %, SD {:.1} %, found {count}, {} trials",
                100.0 * bias,
                100.0 * (squares / count - bias * bias).sqrt(),
                trials_in_all / 1000
            );
            assert!(count > 970.0 && bias.abs() < 0.03);
        }
    }

    /// Who guesses gets no number, ever.
    #[test]
    fn a_guessing_listener_has_no_threshold() {
        for task in Task::ALL {
            for down in 1..=4 {
                let settings = Settings::usual(Rule::published(down).expect("rule"));
                for seed in 0..1000 {
                    let trials = Listener::guessing(task, seed).session(task, &settings, 0);
                    let estimate = super::estimate(&session(task, settings, trials), 0, 0);
                    assert!(estimate.threshold.is_err(), "{task:?} {down} {seed}: {estimate:?}");
                }
            }
        }
    }

    /// One who presses the wrong key at times: the fit says so, and is less misled than one that knows no lapses.
    #[test]
    fn a_lapsing_listener_is_caught_by_the_fit() {
        let task = Task::TwoOrOne;
        let settings = Settings::usual(Rule::published(2).expect("rule"));
        let mean = |lapse_rate: f64| {
            let (mut lapses, mut missed, mut of) = (0.0, 0, 0);
            for seed in 0..300 {
                let trials = Listener::new(known(task, lapse_rate, Shape::Logistic), seed).session(task, &settings, 5);
                let estimate = super::estimate(&session(task, settings, trials), 0, 0);
                lapses += estimate.fits[0].0.curve.lapse_rate / 300.0;
                missed += estimate.catch_trials.1;
                of += estimate.catch_trials.0;
            }
            (lapses, f64::from(missed) / f64::from(of))
        };
        let (careful, few) = mean(0.0);
        let (lapsing, many) = mean(0.05);
        println!("lapse rates fitted {careful:.4} and {lapsing:.4}; catches missed {few:.4} and {many:.4}");
        assert!(lapsing > careful + 0.015, "{careful} {lapsing}");
        assert!(many > few + 0.02);
    }
}
