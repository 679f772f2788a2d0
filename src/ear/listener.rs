use super::{PsychometricFunction, Rule, Session, Settings, Shape, Staircase, Task, Trial};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// A simulated listener, of whom everything is known: for tests of the procedures, and for trying a session out.
#[derive(Clone, Debug)]
pub struct Listener {
    /// How likely a right answer is; its guess rate should be that of the task.
    pub curve: PsychometricFunction,
    rng: ChaCha8Rng,
}

impl Listener {
    /// A listener whose answers are drawn from a seed: the same ones as long as `rand` draws as it does now.
    #[must_use]
    pub fn new(curve: PsychometricFunction, seed: u64) -> Self {
        Self { curve, rng: ChaCha8Rng::seed_from_u64(seed) }
    }

    /// A listener who never hears anything, and guesses.
    #[must_use]
    pub fn guessing(task: Task, seed: u64) -> Self {
        let guess_rate = task.guess_rate();
        let curve = PsychometricFunction {
            shape: Shape::Logistic,
            ln_threshold: 0.0,
            slope: 1.0,
            guess_rate,
            lapse_rate: 1.0 - guess_rate,
        };
        Self::new(curve, seed)
    }

    /// Answers a whole session; every `catch_every`-th trial is a catch trial at the largest gap (0: none).
    pub fn session(&mut self, task: Task, settings: &Settings, catch_every: usize) -> Vec<Trial> {
        let mut staircase = Staircase::new(*settings);
        let mut trials: Vec<Trial> = Vec::new();
        while !staircase.done() {
            let catch = catch_every > 0 && (trials.len() + 1).is_multiple_of(catch_every);
            let level = if catch { settings.ceiling } else { staircase.level() };
            let m = task.alternatives();
            // Of 64 bits: whichever answer is right then takes as many of them as whether it is found.
            let asked = self.rng.random_range(1..=u64::from(m)) as u32;
            // Drawn however sure it is: then listeners of one seed differ by their curves alone.
            let right = self.rng.random::<f64>() < self.curve.at(level.ln_ms());
            let answered = if right { asked } else { asked % m + 1 };
            trials.push(Trial { track: 0, level, asked, answered, catch });
            if !catch {
                staircase.answer(right);
            }
        }
        trials
    }
}

impl Session {
    /// A session of two-or-one that a simulated listener answers, whose threshold at the target of the rule is `threshold_ms`.
    #[must_use]
    pub fn simulated(voices: [&str; 2], tempo_bpm: f64, rule: Rule, threshold_ms: f64, seed: u64) -> Self {
        let (task, settings) = (Task::TwoOrOne, Settings::usual(rule));
        let (guess_rate, lapse_rate) = (task.guess_rate(), 0.01);
        let mut curve =
            PsychometricFunction { shape: Shape::Logistic, ln_threshold: 0.0, slope: 2.5, guess_rate, lapse_rate };
        // The threshold that is asked for is the one that the rule settles at.
        let off = curve.ln_ms_at(rule.target()).unwrap_or(0.0);
        curve.ln_threshold = libm::log(threshold_ms) - off;
        Self {
            task,
            voices: voices.map(str::to_owned).to_vec(),
            sounds: Vec::new(),
            tempo_bpm,
            settings,
            trials: Listener::new(curve, seed).session(task, &settings, 10),
            pattern: None,
            each_even: true,
            saved: format!("simulated, seed {seed}"),
        }
    }
}
