use crate::ear::{ClassResult, Estimate, Key, Procedure, PsychometricFunction, Session, Staircase, Task, binned};
use crate::show::picture::{CurvePicture, CurvePoint, TrackPicture, TrackTrial};
use crate::stats::wilson;
use crate::text::{counted, plain};

/// The trials of a session: its name in files and its heading.
#[must_use]
pub fn track_picture((name, title): (&str, &str), session: &Session, estimate: &Estimate) -> TrackPicture {
    let mut tracks = match session.procedure {
        Procedure::Staircase(settings) => vec![Staircase::new(settings); session.tracks().len()],
        Procedure::Psi(_) => Vec::new(),
    };
    let mut trials = Vec::new();
    for trial in &session.trials {
        let mut reversal = false;
        if let Some(track) = tracks.get_mut(trial.track as usize).filter(|_| !trial.catch) {
            let before = track.reversals().len();
            track.answer(trial.right());
            reversal = track.reversals().len() > before;
        }
        let (track, gap_ms) = (trial.track as usize, trial.level.ms());
        trials.push(TrackTrial { track, gap_ms, right: trial.right(), reversal, catch: trial.catch });
    }
    let target = 100.0 * estimate.target;
    let about = match session.procedure {
        Procedure::Staircase(settings) => format!(
            "down after {} right by {:.4} of a step up, settles at {target:.2} % right",
            settings.rule.down(),
            f64::from(settings.rule.ratio()) / 10_000.0,
        ),
        Procedure::Psi(_) => format!("each where the answer tells most of the gap at {target:.2} % right"),
    };
    TrackPicture {
        name: name.to_owned(),
        title: title.to_owned(),
        about,
        trials,
        threshold_ms: estimate.threshold.as_ref().ok().map(|ln| libm::exp(*ln)),
    }
}

/// The curve of a session, its raw shares in steps of half an octave. Without a threshold the shares stand alone.
#[must_use]
pub fn curve_picture((name, title): (&str, &str), session: &Session, estimate: &Estimate) -> CurvePicture {
    let points: Vec<CurvePoint> = binned(&session.trials).iter().map(|b| point(b.ln_ms, b.right, b.trials)).collect();
    let found = estimate.threshold.as_ref().ok().map(|ln| libm::exp(*ln));
    let between = estimate.ln_between().map(|ends| ends.map(libm::exp));
    let curves = if found.is_some() { &estimate.fits[..] } else { &[] };
    let about = match (found, between) {
        (Some(ms), Some([low, high])) => {
            let target = 100.0 * estimate.target;
            format!("{ms:.2} ms at {target:.2} % (95 %: {low:.2} to {high:.2} ms); curves too steep")
        }
        (Some(ms), None) => format!("{ms:.2} ms at {:.2} % right", 100.0 * estimate.target),
        (None, _) => "no threshold found".to_owned(),
    };
    CurvePicture {
        name: name.to_owned(),
        title: title.to_owned(),
        about,
        points,
        curves: curves.iter().map(|(f, _)| (f.curve.shape.title().to_owned(), drawn(&f.curve))).collect(),
        guess: session.task.guess_rate(),
        threshold: found.map(|ms| (ms, estimate.target)),
        between_ms: between.filter(|_| found.is_some()),
    }
}

/// The curve of a class as one listener; where it guesses its raw shares alone.
#[must_use]
pub fn class_picture(name: &str, key: &Key, result: &ClassResult) -> CurvePicture {
    let voices: Vec<String> = key.voices.iter().map(|v| plain(v)).collect();
    let found = result.curve.map(|c| (c.threshold_ms(), c.at(c.ln_threshold)));
    CurvePicture {
        title: format!(
            "A class of {}: {} at {}",
            counted(result.marks.len(), "listener"),
            voices.join(" and "),
            key.tempo_bpm
        ),
        about: match found {
            Some((ms, share)) => format!("threshold {ms:.2} ms, half way up, at {:.1} % right", 100.0 * share),
            None => "no threshold found".to_owned(),
        },
        points: result.points.iter().map(|p| point(p.ln_ms, p.right, p.trials)).collect(),
        curves: result.curve.iter().map(|c| (c.shape.title().to_owned(), drawn(c))).collect(),
        guess: Task::TwoOrOne.guess_rate(),
        threshold: found,
        between_ms: None,
        name: name.to_owned(),
    }
}

/// Answers at a gap, by the natural logarithm of its milliseconds.
fn point(ln_ms: f64, right: u32, trials: u32) -> CurvePoint {
    let share = f64::from(right) / f64::from(trials.max(1));
    CurvePoint { gap_ms: libm::exp(ln_ms), share, between: wilson(share, f64::from(trials)), trials }
}

/// A curve as points, sixteen an octave, over all gaps that a staircase may ask for.
fn drawn(curve: &PsychometricFunction) -> Vec<(f64, f64)> {
    let ln = |n: i32| f64::from(n) / 16.0 * std::f64::consts::LN_2;
    (-7 * 16..=10 * 16).map(|n| (libm::exp(ln(n)), curve.at(ln(n)))).collect()
}
