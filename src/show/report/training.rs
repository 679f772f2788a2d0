use super::heard::heard;
use super::{Align, Detail, Table, words};
use crate::ear::{
    Bin, Credible, Estimate, LAPSE_MOST, Pool, Procedure, Session, Threshold, after_one_more, binned, d_prime, points,
};
use crate::stats::{binomial_tail, wilson};
use crate::text::counted;
use serde_json::{Value, json};
use std::fmt::Write;

/// A session and what it says.
#[derive(Clone, Debug)]
pub struct Trained {
    /// The file as it was named.
    pub name: String,
    /// What was asked and answered.
    pub session: Session,
    /// What that comes to.
    pub estimate: Estimate,
}

/// Training sessions as people read them: for each what is heard and what that means for a patch, then the thresholds over
/// sessions; with every detail also the figures behind it.
#[must_use]
pub fn training_table(all: &[Trained], detail: Detail) -> String {
    let mut out = String::new();
    for (n, trained) in all.iter().enumerate() {
        let [said, meaning] = heard(&trained.session, &trained.estimate);
        if detail == Detail::Quiet {
            let _ = writeln!(out, "{said}");
            continue;
        }
        let _ = writeln!(out, "{}{said}\n{meaning}", if n > 0 { "\n" } else { "" });
        minds(&mut out, trained);
        if detail == Detail::Full {
            out.push('\n');
            one(&mut out, trained);
        } else {
            let right = trained.session.trials.iter().filter(|t| t.right()).count();
            let trials = counted(trained.session.trials.len(), "answer");
            let task = trained.session.task.title();
            let _ = writeln!(out, "  {}: {task}, {trials}, {right} right", words::plain(&trained.name));
        }
        one_more(&mut out, trained);
    }
    if detail == Detail::Quiet {
        return out;
    }
    if all.len() > 1 {
        out.push_str("\nOver sessions\n");
        let mut table = Table::new(&[
            ("file", Align::Left),
            ("task", Align::Left),
            ("sounds", Align::Left),
            ("tempo", Align::Right),
            ("threshold", Align::Right),
        ]);
        for t in all {
            let threshold = t.estimate.threshold.as_ref().map_or_else(|_| "none found".into(), |at| ms(*at));
            table.row([
                words::plain(&t.name),
                t.session.task.title().into(),
                sounds(&t.session),
                t.session.tempo_bpm.to_string(),
                threshold,
            ]);
        }
        out.push_str(&table.render());
        together(&mut out, all);
    }
    out.push_str(&match detail {
        Detail::Full => format!(
            "\nThresholds hold for their own task and sounds. A fit with a lapse rate is less misled by wrong keys, not free of\n\
             bias (Prins 2012). {}This is not a hearing test in\n\
             the medical sense.\n",
            held(all)
        ),
        _ => "\nOther sounds and tasks have figures of their own. --verbose prints what is behind them. This is not a hearing\n\
              test in the medical sense.\n"
            .to_owned(),
    });
    out
}

/// How often intervals held the truth, by how gaps were chosen.
fn held(all: &[Trained]) -> &'static str {
    let psi = |t: &Trained| matches!(t.session.procedure, Procedure::Psi(_));
    match (all.iter().any(psi), all.iter().all(psi)) {
        (false, _) => {
            "Of 95 % intervals of the gap from one session of some sixty trials, 95 to 97 of 100 held the\n\
             truth for simulated listeners, 91 to 94 for those whose curve is half as steep. "
        }
        (true, true) => {
            "Of 95 % intervals of the gap, 97 to 98 of 100 held the truth for simulated listeners,\n\
             92 for those who lapse in 5 % or whose curve is half as steep: docs/ear.md has the table. "
        }
        (true, false) => "How often intervals held the truth for simulated listeners stands in docs/ear.md.\n",
    }
}

/// Below this an interval is narrow enough to leave it at that.
const NARROW: f64 = 1.3;
/// Seconds an answer takes, as the training page reckons before it knows better.
const SECONDS_AN_ANSWER: f64 = 7.0;

/// What one more session would do for the interval, where gaps were asked for where the answer tells most.
fn one_more(out: &mut String, Trained { session, estimate, .. }: &Trained) {
    let (Some(credible), Ok(_)) = (estimate.credible, &estimate.threshold) else { return };
    let wide = libm::exp(credible.ln_between[1] - credible.ln_between[0]);
    if wide > NARROW {
        let minutes = (session.trials.len() as f64 * SECONDS_AN_ANSWER / 60.0).round();
        let _ = writeln!(
            out,
            "  The larger end is × {wide:.1} of the smaller; one more session of {minutes} minutes would make that about × {:.1}.",
            after_one_more(wide, 1)
        );
    }
}

/// Sessions of one task, with the same sounds at one tempo, together: whether they agree, and what they come to.
fn together(out: &mut String, all: &[Trained]) {
    let kept: Vec<Threshold> = all.iter().filter_map(|t| Threshold::of(&t.session, &t.estimate)).collect();
    let ear = crate::ear::EarFile { thresholds: kept };
    let mut told: Vec<Pool> = Vec::new();
    for threshold in &ear.thresholds {
        let Some(pool) = ear.pool(threshold).filter(|p| !told.contains(p)) else { continue };
        let voices = threshold.voices.iter().map(|v| words::plain(v)).collect::<Vec<_>>().join(" and ");
        let what = format!("{}, {voices} at {}", threshold.task.title(), threshold.tempo_bpm);
        out.push_str(&pooled(&what, &pool));
        told.push(pool);
    }
}

/// What sessions come to together, in two lines.
#[must_use]
pub fn pooled(what: &str, pool: &Pool) -> String {
    let n = pool.sessions;
    let chance = 100.0 * pool.agree;
    if !pool.agrees() {
        let chance = if chance < 0.1 { "less than 0.1".to_owned() } else { format!("{chance:.1}") };
        return format!(
            "The {n} sessions of {what} differ by more than chance does ({chance} %): the last one counts.\n\
             Learning, a tired ear or other headphones do that.\n"
        );
    }
    let [low, high] = pool.ln_between.map(libm::exp);
    let (gap, wide) = (libm::exp(pool.ln_gap), pool.wide());
    format!(
        "The {n} sessions of {what} agree (by chance they are as far apart in {chance:.0} %). Together: {gap:.2} ms,\n\
         {low:.2} to {high:.2} ms, × {wide:.1}; one more like them would make that about × {:.1}.\n",
        after_one_more(wide, n)
    )
}

/// Which bar a training page plays in tight or loose, in a line: `pairs` times both voices are due in it. Nothing where it is the plain
/// one and no patch was named.
#[must_use]
pub fn training_bar(pairs: Option<usize>, of_patch: bool) -> String {
    match pairs {
        Some(pairs) => {
            let times = match pairs {
                1 => "once".to_owned(),
                2 => "twice".to_owned(),
                n => format!("{n} times"),
            };
            format!(
                "In `tight or loose` you hear the patch's own bar; {times} in it both voices are due, and in the loose one get split.\n"
            )
        }
        None if of_patch => {
            "The two are never due together: in `tight or loose` both play on each of four beats.\n".to_owned()
        }
        None => String::new(),
    }
}

fn ms(ln_ms: f64) -> String {
    format!("{:.2} ms", libm::exp(ln_ms))
}

fn between(ln_ms: [f64; 2]) -> String {
    format!("{:.2} to {:.2} ms", libm::exp(ln_ms[0]), libm::exp(ln_ms[1]))
}

fn sounds(session: &Session) -> String {
    session.voices.iter().map(|v| words::plain(v)).collect::<Vec<_>>().join(" and ")
}

fn one(out: &mut String, trained: &Trained) {
    let Trained { name, session, estimate } = trained;
    let right = session.trials.iter().filter(|t| t.right()).count() as u32;
    let (n, m) = (session.trials.len() as u32, session.task.alternatives());
    let percent = 100.0 * estimate.target;
    let pattern =
        session.pattern.as_ref().map_or_else(String::new, |p| format!(", in the bar of `{}`", words::plain(p)));
    let (task, sounds, bpm) = (session.task.title(), sounds(session), session.tempo_bpm);
    let _ = writeln!(out, "{}\n{task}, {sounds} at {bpm}{pattern}", words::plain(name));
    let how = match session.procedure {
        Procedure::Staircase(settings) => format!(
            "down after {} right by {:.4} of a step up: this settles at {percent:.2} % right",
            settings.rule.down(),
            f64::from(settings.rule.ratio()) / 10_000.0,
        ),
        Procedure::Psi(_) => format!("each gap where the answer tells most of the one at {percent:.2} % right"),
    };
    let _ = writeln!(out, "{}, {right} right; {how}\n", counted(session.trials.len(), "trial"));
    if let Ok(at) = estimate.threshold {
        let _ = writeln!(out, "threshold {} at {percent:.2} % right\n", ms(at));
        match estimate.credible {
            Some(credible) => likely(out, estimate, &credible),
            None => estimates(out, estimate),
        }
    }
    levels(out, session);
    if n > 0 {
        let p = binomial_tail(right, n, m);
        let shown = if p < 0.001 { "less than 0.1 %".to_owned() } else { format!("{:.1} %", 100.0 * p) };
        let _ = writeln!(out, "Guessing is right as often as that over all trials in {shown} of sessions.");
    }
    let (caught, missed) = estimate.catch_trials;
    if caught > 0 {
        let _ = writeln!(out, "Of {caught} plain trials slipped in, {missed} were answered wrong.");
    }
}

/// What should be known before the figure is used.
fn minds(out: &mut String, Trained { session, estimate, .. }: &Trained) {
    if !session.each_even {
        out.push_str(
            "mind: in the loose bars of this older session each voice alone was uneven too; that may be what was heard, and the\n\
             threshold is none of a gap between voices. A page that is made anew asks for that alone\n",
        );
    }
    // What is likely takes lapses into account whatever their rate.
    let lapsing =
        estimate.credible.is_none() && estimate.fits.first().is_some_and(|f| f.0.curve.lapse_rate > 0.8 * LAPSE_MOST);
    if estimate.threshold.is_ok() && lapsing {
        let _ = writeln!(
            out,
            "mind: wrong answers to plain gaps: wrong keys or a wandering mind; the fit takes no lapse rate over {:.0} %",
            100.0 * LAPSE_MOST
        );
    }
}

/// What is likely after the answers, beside what curves that are fitted to them have.
fn likely(out: &mut String, estimate: &Estimate, credible: &Credible) {
    let percent = 100.0 * estimate.target;
    let [low, high] = credible.ln_between;
    let _ = writeln!(
        out,
        "95 % likely between {:.2} and {:.2} ms, × {:.2} wide; slope {:.1}, lapse rate {:.1} %",
        libm::exp(low),
        libm::exp(high),
        libm::exp(high - low),
        credible.slope,
        100.0 * credible.lapse_rate,
    );
    let fitted = estimate.fits.iter().filter_map(|(fitted, _)| {
        Some(format!("{} {}", fitted.curve.shape.title(), ms(fitted.curve.ln_ms_at(estimate.target)?)))
    });
    let _ = writeln!(
        out,
        "Curves fitted without that prior, at {percent:.2} %: {}.\n",
        fitted.collect::<Vec<_>>().join(", ")
    );
}

fn estimates(out: &mut String, estimate: &Estimate) {
    let percent = 100.0 * estimate.target;
    let mut table = Table::new(&[("estimate", Align::Left), ("gap", Align::Right), ("between", Align::Left)]);
    if let Some(t) = estimate.reversal_mean {
        let cell = t.between.map_or_else(String::new, |b| format!("{}, 95 %", between(b)));
        table.row([format!("mean of the last {} turns", t.reversals), ms(t.ln_ms), cell]);
    }
    for (fitted, spread) in &estimate.fits {
        let at = fitted.curve.ln_ms_at(estimate.target).map_or_else(|| "—".into(), ms);
        let cell = spread.map_or_else(String::new, |s| format!("{}, 95 %", between(s.ln_at_share)));
        table.row([format!("{} curve at {percent:.2} %", fitted.curve.shape.title()), at, cell]);
    }
    out.push_str(&table.render());
    out.push('\n');
    let mut table = Table::new(&[
        ("curve", Align::Left),
        ("threshold", Align::Right),
        ("slope", Align::Right),
        ("corrected", Align::Left),
        ("guess rate", Align::Right),
        ("lapse rate", Align::Right),
        ("log likelihood", Align::Right),
    ]);
    for (fitted, spread) in &estimate.fits {
        let c = &fitted.curve;
        let corrected = spread
            .map_or_else(String::new, |s| format!("{:.1}, {:.1} to {:.1}", s.corrected_slope, s.slope[0], s.slope[1]));
        table.row([
            c.shape.title().into(),
            ms(c.ln_threshold),
            format!("{:.2}", c.slope),
            corrected,
            format!("{:.1} %", 100.0 * c.guess_rate),
            format!("{:.1} %", 100.0 * c.lapse_rate),
            format!("{:.2}", fitted.log_likelihood).replace('-', "−"),
        ]);
    }
    out.push_str(&table.render());
    out.push_str(
        "  A slope fitted to one session is too steep, about twice. Corrected: half of the sessions of such a listener\n  \
         are fitted steeper, half shallower; the true one lies between the two ends some nine times of ten.\n\n",
    );
}

/// How often gaps were told, in steps of half an octave: a staircase seldom asks for the very same gap twice.
fn levels(out: &mut String, session: &Session) {
    let m = session.task.alternatives();
    let mut table = Table::new(&[
        ("gap", Align::Right),
        ("right", Align::Right),
        ("share", Align::Right),
        ("95 %", Align::Left),
        ("d′", Align::Right),
    ]);
    for Bin { low: from, high: to, right, trials, .. } in binned(&session.trials) {
        let share = f64::from(right) / f64::from(trials);
        let [low, high] = wilson(share, f64::from(trials));
        table.row([
            format!("{:.2} to {:.2} ms", from.ms(), to.ms()),
            format!("{right} of {trials}"),
            format!("{:.0} %", 100.0 * share),
            format!("{:.0} to {:.0} %", 100.0 * low, 100.0 * high),
            d_prime(share, m).map_or_else(|| "—".into(), |d| format!("{d:.2}").replace('-', "−")),
        ]);
    }
    out.push_str(&table.render());
    out.push('\n');
}

/// Training sessions as programs read them. Fields may be added; none changes its meaning without a new `format`.
#[must_use]
pub fn training_json(all: &[Trained]) -> Value {
    json!({ "format": 1, "sessions": all.iter().map(object).collect::<Vec<_>>() })
}

fn object(trained: &Trained) -> Value {
    let (session, estimate) = (&trained.session, &trained.estimate);
    let m = session.task.alternatives();
    let both = |x: [f64; 2]| x.map(libm::exp);
    let fits: Vec<Value> = estimate
        .fits
        .iter()
        .map(|(f, s)| {
            json!({
                "shape": f.curve.shape, "threshold_ms": f.curve.threshold_ms(), "slope": f.curve.slope,
                "guess_rate": f.curve.guess_rate, "lapse_rate": f.curve.lapse_rate, "log_likelihood": f.log_likelihood,
                "at_target_ms": f.curve.ln_ms_at(estimate.target).map(libm::exp),
                "between": s.map(|s| json!({
                    "draws": s.draws, "at_target_ms": both(s.ln_at_share), "threshold_ms": both(s.ln_threshold),
                    "slope": s.slope, "lapse_rate": s.lapse_rate,
                })),
                "slope_corrected": s.map(|s| s.corrected_slope),
            })
        })
        .collect();
    let gaps: Vec<Value> = points(&session.trials)
        .iter()
        .map(|p| {
            let share = f64::from(p.right) / f64::from(p.trials.max(1));
            json!({
                "gap_ms": libm::exp(p.ln_ms), "right": p.right, "trials": p.trials, "share": share,
                "between": wilson(share, f64::from(p.trials)), "d_prime": d_prime(share, m),
            })
        })
        .collect();
    let threshold = estimate.threshold.as_ref().ok().map(|at| libm::exp(*at));
    json!({
        "file": trained.name, "task": session.task, "voices": session.voices, "sounds": session.sounds, "tempo_bpm": session.tempo_bpm,
        "pattern": session.pattern, "each_voice_even": session.each_even, "saved": session.saved, "trials": session.trials.len(), "right": session.trials.iter().filter(|t| t.right()).count(),
        "procedure": match session.procedure { Procedure::Staircase(_) => "staircase", Procedure::Psi(_) => "psi" },
        "target": estimate.target, "threshold_ms": threshold,
        "credible": estimate.credible.map(|c| json!({
            "between_ms": both(c.ln_between), "slope": c.slope, "lapse_rate": c.lapse_rate, "against_guessing": c.against_guessing,
        })),
        "no_threshold": estimate.threshold.as_ref().err().map(ToString::to_string),
        "turns": estimate.reversal_mean.map(|t| json!({
            "count": t.reversals, "mean_ms": libm::exp(t.ln_ms), "between_ms": t.between.map(both),
        })),
        "fits": fits, "gaps": gaps,
        "catches": { "trials": estimate.catch_trials.0, "missed": estimate.catch_trials.1 },
    })
}
