//! Simulated listeners take whole sessions, by staircases and with gaps that are asked for where an answer tells most: how many trials it
//! takes, how far off the threshold is, how wide its interval and how often that holds the truth.
//!
//! A few sessions of each as it stands. `HITGAP_SESSIONS=1000` takes as many of each and prints the rows of the table in docs/ear.md;
//! `HITGAP_LISTENER=usual` one listener alone.

use hitgap::ear::{
    Level, NoThreshold, Procedure, Psi, PsiSettings, PsychometricFunction, Rule, Session, Settings, Shape, Staircase,
    Task, Trial, estimate, fit, points, profile_interval,
};

/// A listener of whom everything is known. The threshold is the gap at the target.
#[derive(Clone, Copy)]
struct Simulated {
    name: &'static str,
    threshold_ms: f64,
    slope: f64,
    lapse_rate: f64,
    /// The threshold begins so many octaves higher, and comes down over the first twenty trials.
    learns: f64,
    /// It rises by so many octaves from trial 31 to trial 120.
    tires: f64,
    /// The second and the fourth answer are guessed, however wide the gap.
    lapses_early: bool,
    /// Of what is guessed, how often it is the first answer.
    first: f64,
    guesses: bool,
}

const USUAL: Simulated = Simulated {
    name: "usual",
    threshold_ms: 6.0,
    slope: 2.5,
    lapse_rate: 0.01,
    learns: 0.0,
    tires: 0.0,
    lapses_early: false,
    first: 1.0 / 3.0,
    guesses: false,
};
const LISTENERS: [Simulated; 13] = [
    USUAL,
    Simulated { name: "1 ms", threshold_ms: 1.0, ..USUAL },
    Simulated { name: "20 ms", threshold_ms: 20.0, ..USUAL },
    Simulated { name: "60 ms", threshold_ms: 60.0, ..USUAL },
    Simulated { name: "half as steep", slope: 1.25, ..USUAL },
    Simulated { name: "a third as steep", slope: 2.5 / 3.0, ..USUAL },
    Simulated { name: "three times as steep", slope: 7.5, ..USUAL },
    Simulated { name: "lapses 5 %", lapse_rate: 0.05, ..USUAL },
    Simulated { name: "lapses at the start", lapses_early: true, ..USUAL },
    Simulated { name: "learns, × 2", learns: 1.0, ..USUAL },
    Simulated { name: "tires, × 1.4", tires: 0.5, ..USUAL },
    Simulated { name: "prefers the first", first: 0.6, ..USUAL },
    Simulated { name: "guesses", guesses: true, ..USUAL },
];

/// Uniform numbers by SplitMix64 (Steele and others 2014; from memory).
struct Even(u64);
impl Even {
    fn next(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
    }
}

impl Simulated {
    fn ln_threshold(&self) -> f64 {
        self.threshold_ms.ln()
    }

    /// An answer to a gap, after so many others.
    fn answer(&self, task: Task, target: f64, level: Level, after: usize, even: &mut Even) -> Trial {
        let guess_rate = task.guess_rate();
        let m = task.alternatives();
        let flat = PsychometricFunction {
            shape: Shape::Logistic,
            ln_threshold: 0.0,
            slope: self.slope,
            guess_rate,
            lapse_rate: self.lapse_rate,
        };
        let moved = self.learns * (1.0 - after as f64 / 20.0).max(0.0)
            + self.tires * ((after as f64 - 30.0) / 90.0).clamp(0.0, 1.0);
        let at = self.ln_threshold() + moved * std::f64::consts::LN_2 - flat.ln_ms_at(target).expect("reached");
        let share = PsychometricFunction { ln_threshold: at, ..flat }.at(level.ln_ms());
        let asleep = self.guesses || (self.lapses_early && (after == 1 || after == 3));
        // Known, or guessed: γ + (1 − γ)·known is the share. One who lapses beyond what guessing gives knows the wrong answer.
        let known = if asleep { 0.0 } else { (share - guess_rate) / (1.0 - guess_rate) };
        let asked = 1 + (even.next() * f64::from(m)) as u32;
        let knows = even.next() < known;
        let guessed = if even.next() < self.first { 1 } else { 2 + (even.next() * f64::from(m - 1)) as u32 };
        Trial { track: 0, level, asked, answered: if knows { asked } else { guessed.min(m) }, catch: false }
    }
}

/// What a session came to: trials, and the threshold with its interval, if it has one.
struct Came {
    trials: usize,
    threshold: Option<(f64, [f64; 2])>,
    /// How wide the interval was after 60 trials, as a natural logarithm.
    wide_at_60: Option<f64>,
}

fn session(task: Task, procedure: Procedure, trials: Vec<Trial>) -> Session {
    let voices = vec!["kick".to_owned(), "snare".to_owned()];
    Session {
        task,
        voices,
        sounds: Vec::new(),
        tempo_bpm: 90.0,
        procedure,
        trials,
        pattern: None,
        each_even: true,
        saved: String::new(),
    }
}

const CATCH_EVERY: [usize; 2] = [10, 20];

fn by_psi(listener: &Simulated, task: Task, seed: u64) -> (Came, Result<f64, NoThreshold>) {
    let settings = PsiSettings::usual();
    let mut psi = Psi::new(settings, task.guess_rate()).expect("reached");
    let (mut even, mut trials, mut wide_at_60) = (Even(seed), Vec::new(), None);
    while !psi.done() {
        let catch = (trials.len() + 1).is_multiple_of(CATCH_EVERY[1]);
        let level = if catch { settings.ceiling } else { psi.level() };
        let trial = Trial { catch, ..listener.answer(task, settings.share(), level, trials.len(), &mut even) };
        psi.answer(level, trial.right());
        trials.push(trial);
        if trials.len() == 60 {
            wide_at_60 = Some(psi.width() / 1e6 * std::f64::consts::LN_2);
        }
    }
    // What the session says of itself is what its file says.
    let found = estimate(&session(task, Procedure::Psi(settings), trials.clone()), 0, 0);
    let threshold = found.threshold.as_ref().ok().map(|at| (*at, found.ln_between().expect("an interval")));
    (Came { trials: trials.len(), threshold, wide_at_60 }, found.threshold)
}

fn by_staircase(listener: &Simulated, task: Task, seed: u64) -> Came {
    let settings = Settings::usual(Rule::published(2).expect("rule"));
    let target = settings.rule.target();
    let mut staircase = Staircase::new(settings);
    let (mut even, mut trials) = (Even(seed), Vec::new());
    while !staircase.done() {
        let catch = (trials.len() + 1).is_multiple_of(CATCH_EVERY[0]);
        let level = if catch { settings.ceiling } else { staircase.level() };
        let trial = Trial { catch, ..listener.answer(task, target, level, trials.len(), &mut even) };
        if !catch {
            staircase.answer(trial.right());
        }
        trials.push(trial);
    }
    let found = estimate(&session(task, Procedure::Staircase(settings), trials.clone()), 0, 0);
    let of = points(&trials);
    let interval = fit(Shape::Logistic, task.guess_rate(), &of).and_then(|f| profile_interval(&f, target, &of));
    Came { trials: trials.len(), threshold: found.threshold.ok().zip(interval), wide_at_60: None }
}

/// A row of the table: see docs/ear.md.
#[derive(Debug)]
struct Row {
    none: f64,
    trials: usize,
    bias: f64,
    spread: f64,
    wide: f64,
    wide_at_60: f64,
    held: f64,
}

fn middle(mut all: Vec<f64>) -> f64 {
    all.sort_by(f64::total_cmp);
    all.get(all.len() / 2).copied().unwrap_or(f64::NAN)
}

fn row(listener: &Simulated, all: &[Came]) -> Row {
    let truth = listener.ln_threshold();
    let found: Vec<(f64, [f64; 2])> = all.iter().filter_map(|c| c.threshold).collect();
    let n = found.len() as f64;
    let off = found.iter().map(|f| f.0 - truth).sum::<f64>() / n;
    let square = found.iter().map(|f| (f.0 - truth).powi(2)).sum::<f64>() / n;
    Row {
        none: 1.0 - n / all.len() as f64,
        trials: middle(all.iter().map(|c| c.trials as f64).collect()) as usize,
        bias: off.exp() - 1.0,
        spread: (square - off * off).max(0.0).sqrt().exp() - 1.0,
        wide: middle(found.iter().map(|f| f.1[1] - f.1[0]).collect()).exp(),
        wide_at_60: middle(all.iter().filter_map(|c| c.wide_at_60).collect()).exp(),
        held: found.iter().filter(|f| f.1[0] <= truth && truth <= f.1[1]).count() as f64 / n,
    }
}

fn line(name: &str, how: &str, r: &Row) {
    println!(
        "| {name} | {how} | {} | {:+.1} % | {:.0} % | × {:.2} | × {:.2} | {:.1} % | {:.1} % |",
        r.trials,
        100.0 * r.bias,
        100.0 * r.spread,
        r.wide,
        r.wide_at_60,
        100.0 * r.held,
        100.0 * r.none
    );
}

/// Every listener, by both procedures.
#[test]
fn simulated_listeners_are_found() {
    let asked = std::env::var("HITGAP_SESSIONS").ok().and_then(|n| n.parse::<u64>().ok());
    let alone = std::env::var("HITGAP_LISTENER").unwrap_or_default();
    let task = Task::TwoOrOne;
    let sessions = asked.unwrap_or(8);
    for (k, listener) in LISTENERS.iter().enumerate().filter(|(_, l)| l.name.starts_with(&alone)) {
        let seed = |n: u64| 1 + n * 1_000_003 + k as u64 * 7919;
        let all: Vec<Came> = (0..sessions).map(|n| by_psi(listener, task, seed(n)).0).collect();
        let psi = row(listener, &all);
        line(listener.name, "most told", &psi);
        if asked.is_some() {
            let all: Vec<Came> = (0..sessions).map(|n| by_staircase(listener, task, seed(n))).collect();
            line(listener.name, "staircase", &row(listener, &all));
        }
        if listener.guesses {
            assert!((psi.none - 1.0).abs() < 1e-9, "who guesses has a number");
            continue;
        }
        assert!(all.iter().all(|c| (40..=120).contains(&c.trials)));
        // The spread of a session is 6 to 46 % (docs/ear.md): four standard errors of the mean, and what each listener's own bias is there.
        let four = 4.0 * psi.spread / (sessions as f64).sqrt();
        assert!(psi.bias.abs() < four + 0.25, "{}: {psi:?}", listener.name);
        assert!(psi.held > 0.6 && psi.none < 0.35, "{}: {psi:?}", listener.name);
    }
}

/// Nobody who guesses gets a number, in any task.
#[test]
fn guessing_gets_no_number() {
    for task in Task::ALL {
        for seed in 0..40 {
            let guesses = LISTENERS[12];
            let (_, threshold) = by_psi(&guesses, task, 77 + seed * 1_000_003);
            assert!(threshold.is_err(), "{task:?} {seed}: {threshold:?}");
        }
    }
}
