use super::{EarFile, Level, Posterior, Session, Threshold};
use crate::stats::chi_square_tail;
use std::collections::BTreeMap;

/// What several sessions of one task, with the same sounds at one tempo, come to together.
#[derive(Clone, Debug, PartialEq)]
pub struct Pool {
    /// How many sessions.
    pub sessions: usize,
    /// How many answers they have.
    pub trials: u32,
    /// The threshold: natural logarithm of ms.
    pub ln_gap: f64,
    /// Between which gaps it lies, 95 times of 100: natural logarithms of ms.
    pub ln_between: [f64; 2],
    /// How often sessions of one threshold are so far apart by chance.
    pub agree: f64,
}

/// Below this sessions are not of one threshold: the listener has learnt, was tired, or had other headphones.
pub(super) const APART: f64 = 0.05;

/// The most answers that are pooled.
const MOST_ANSWERS: u64 = 20_000;

/// Answers gap by gap, as an ear file keeps them: the level, right ones, all. Nothing else of a session matters to what is likely: in
/// which order they came does not.
pub(super) fn answers(session: &Session) -> Vec<[i32; 3]> {
    let mut all: BTreeMap<i32, [i32; 3]> = BTreeMap::new();
    for trial in &session.trials {
        let row = all.entry(trial.level.0).or_insert([trial.level.0, 0, 0]);
        row[1] += i32::from(trial.right());
        row[2] += 1;
    }
    all.into_values().collect()
}

/// Whether rows are answers.
pub(super) fn are_answers(rows: &[[i32; 3]]) -> bool {
    let good = |[level, right, of]: &[i32; 3]| {
        (-7_000_000..=9_000_000).contains(level) && (1..=10_000).contains(of) && (0..=*of).contains(right)
    };
    rows.len() <= 10_000 && rows.iter().all(good) && rows.windows(2).all(|w| w[0][0] < w[1][0])
}

/// What is likely after answers.
fn take(posterior: &mut Posterior, rows: &[[i32; 3]]) {
    for [level, right, of] in rows {
        for n in 0..*of {
            posterior.answer(Level(*level), n < *right);
        }
    }
}

impl Pool {
    /// Sessions as their thresholds keep them. `None` for fewer than two, or where one of them does not say what was answered.
    #[must_use]
    pub fn of(sessions: &[&Threshold]) -> Option<Self> {
        let first = sessions.first()?;
        let trials: u64 = sessions.iter().flat_map(|s| &s.answers).map(|row| u64::from(row[2].unsigned_abs())).sum();
        if sessions.len() < 2
            || trials > MOST_ANSWERS
            || sessions.iter().any(|s| s.answers.is_empty() || !s.like(first))
        {
            return None;
        }
        let mut all = Posterior::new(first.task.guess_rate(), first.share)?;
        // Each by itself: how far they are apart against how sure they are (Cochran, Biometrics 10:101, 1954; from memory).
        let mut alone: Vec<(f64, f64)> = Vec::new();
        for session in sessions {
            let mut own = Posterior::new(first.task.guess_rate(), first.share)?;
            take(&mut own, &session.answers);
            take(&mut all, &session.answers);
            let (mean, sd) = own.ln_moments();
            alone.push((mean, 1.0 / (sd * sd).max(1e-6)));
        }
        let weights: f64 = alone.iter().map(|a| a.1).sum();
        let mean = alone.iter().map(|a| a.0 * a.1).sum::<f64>() / weights;
        let apart: f64 = alone.iter().map(|a| a.1 * (a.0 - mean) * (a.0 - mean)).sum();
        let ln = |octave: f64| octave / 1e6 * std::f64::consts::LN_2;
        Some(Self {
            sessions: sessions.len(),
            trials: trials as u32,
            ln_gap: ln(all.quantile(0.5)),
            ln_between: all.between().map(ln),
            agree: chi_square_tail(apart, sessions.len() as u32 - 1),
        })
    }

    /// Whether they may be of one threshold.
    #[must_use]
    pub fn agrees(&self) -> bool {
        self.agree >= APART
    }

    /// The larger end of its interval over the smaller.
    #[must_use]
    pub fn wide(&self) -> f64 {
        libm::exp(self.ln_between[1] - self.ln_between[0])
    }
}

/// How wide an interval that is `wide` after so many sessions is after one more like them: its logarithm falls with the root of their
/// number.
#[must_use]
pub fn after_one_more(wide: f64, sessions: usize) -> f64 {
    let n = sessions.max(1) as f64;
    libm::exp(libm::log(wide) * (n / (n + 1.0)).sqrt())
}

impl EarFile {
    /// What all sessions like that of a threshold come to together; `None` where there is but one.
    #[must_use]
    pub fn pool(&self, like: &Threshold) -> Option<Pool> {
        let all: Vec<&Threshold> = self.thresholds.iter().filter(|t| t.like(like) && !t.answers.is_empty()).collect();
        Pool::of(&all)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ear::{Listener, PsiSettings, PsychometricFunction, Shape, Task};

    /// A session of a listener with a threshold, as an ear file keeps it.
    fn kept(threshold_ms: f64, seed: u64) -> Threshold {
        let settings = PsiSettings::usual();
        let guess_rate = Task::TwoOrOne.guess_rate();
        let flat = PsychometricFunction {
            shape: Shape::Logistic,
            ln_threshold: 0.0,
            slope: 2.5,
            guess_rate,
            lapse_rate: 0.01,
        };
        let ln_threshold = threshold_ms.ln() - flat.ln_ms_at(settings.share()).expect("reached");
        let trials = Listener::new(PsychometricFunction { ln_threshold, ..flat }, seed).psi_session(
            Task::TwoOrOne,
            &settings,
            20,
        );
        let session = Session { trials, ..Session::plain(Task::TwoOrOne, crate::ear::Procedure::Psi(settings)) };
        let estimate = crate::ear::estimate(&session, 0, 0);
        Threshold { saved: seed.to_string(), ..Threshold::of(&session, &estimate).expect("a threshold") }
    }

    /// Twenty pairs of sessions of one listener: together they are as narrow as was said, and few are told apart; sessions of another
    /// threshold are.
    #[test]
    fn sessions_add_up_as_was_said_and_others_are_told_apart() {
        let (mut said, mut came, mut apart, mut other) = (0.0, 0.0, 0, 0);
        for seed in 0..20 {
            let [a, b, far] = [kept(6.0, seed), kept(6.0, 1000 + seed), kept(15.0, 2000 + seed)];
            let both = Pool::of(&[&a, &b]).expect("two");
            said += after_one_more(a.between_ms[1] / a.between_ms[0], 1).ln() / 20.0;
            came += both.wide().ln() / 20.0;
            apart += u32::from(!both.agrees());
            other += u32::from(!Pool::of(&[&a, &far]).expect("two").agrees());
            assert_eq!((both.sessions, both.trials), (2, a.trials + b.trials));
        }
        // The slope is better known after two than after one, so that it comes out a little narrower than by the root.
        assert!((came / said - 1.0).abs() < 0.2, "{came} {said}");
        // Of one threshold at most 1 of 20 is expected; 15 against 6 ms is three times what one session's interval leaves.
        assert!(apart <= 3 && other >= 18, "{apart} {other}");
    }

    /// With the answers of both in one session there is the same to be known.
    #[test]
    fn two_sessions_are_one_with_all_answers() {
        let [a, b] = [kept(6.0, 1), kept(6.0, 2)];
        let both = Pool::of(&[&a, &b]).expect("two");
        let mut posterior = Posterior::new(a.task.guess_rate(), a.share).expect("reached");
        for session in [&b, &a] {
            take(&mut posterior, &session.answers);
        }
        let ln = posterior.quantile(0.5) / 1e6 * std::f64::consts::LN_2;
        // Another order, hence other rounding.
        assert!((ln - both.ln_gap).abs() < 1e-9);
        assert!(a.between_ms[0] < libm::exp(both.ln_between[0]) || b.between_ms[0] < libm::exp(both.ln_between[0]));
    }

    #[test]
    fn what_is_alone_or_unlike_is_no_pool() {
        let a = kept(6.0, 1);
        let none = Threshold { answers: Vec::new(), ..a.clone() };
        let slower = Threshold { tempo_bpm: 60.0, ..a.clone() };
        let other = Threshold { share: 0.7785, ..a.clone() };
        assert!(Pool::of(&[&a]).is_none());
        for b in [none, slower, other] {
            assert!(Pool::of(&[&a, &b]).is_none());
        }
    }
}
