//! What `results` says of a class: a key and a table of answers.

use super::album::{Picture, beside, lines};
use super::args::TableOrJson;
use super::file::stem;
use super::results_plot::{ResultsPlotArgs, put};
use super::{Failure, Outcome, talk};
use crate::ear::{Class, Key, Point, PsychometricFunction, Shape, Task, fit};
use crate::show::picture::{CurvePicture, psychometric};
use crate::show::report::{Align, Table, plain};
use crate::show::scene::{drawn, point};
use crate::stats::{binomial_tail, critical_value, wilson};

/// Marks a class: the key and the answers, each by name and text.
///
/// # Errors
/// Exit status 2, with the file's name and the place.
pub(super) fn class(
    key: &(String, String),
    answers: &(String, String),
    format: TableOrJson,
    plotted: &ResultsPlotArgs,
) -> Result<Outcome, Failure> {
    let parsed = Key::parse(&key.1).map_err(|e| {
        let found = format!("{}:{}:{}: {}", plain(&key.0), e.line, e.column, plain(&e.what));
        Failure::input(found, "name the key that was written with the files")
    })?;
    let Class { students, answers: all } = Class::parse(&parsed, &answers.1).map_err(|e| {
        let help = "write a line `trial,first student,second student`, then a line a trial: its number, then 1, 2 or 3";
        Failure::input(format!("{}:{}: {}", plain(&answers.0), e.line, e.what), help)
    })?;
    let points = parsed.points(&all);
    let marks: Vec<(u32, u32)> = all.iter().map(|a| parsed.mark(a)).collect();
    let m = Task::TwoOrOne.alternatives();
    let fitted = fit(Shape::Logistic, Task::TwoOrOne.guess_rate(), &points);
    let (right, n) = marks.iter().fold((0, 0), |a, b| (a.0 + b.0, a.1 + b.1));
    // All guess: one in a thousand classes is taken for one that hears.
    let heard = n > 0 && binomial_tail(right, n, m) < 0.001;
    let fitted = fitted.filter(|_| heard).map(|f| f.curve);
    let threshold = fitted.map(|c| c.threshold_ms());
    let pictures = match plotted.plot {
        true => {
            let stem = stem(std::path::Path::new(&key.0))?;
            put(plotted, (&key.0, &key.1), &[picture(&stem, &parsed, students.len(), &points, fitted)])?
        }
        false => Vec::new(),
    };
    talk::result(|out| {
        if format == TableOrJson::Json {
            let students: Vec<_> = students
                .iter()
                .zip(&marks)
                .map(|(s, (r, n))| serde_json::json!({ "student": s, "right": r, "answers": n, "guessing": binomial_tail(*r, *n, m) }))
                .collect();
            let gaps: Vec<_> = points
                .iter()
                .map(|p| serde_json::json!({ "gap_ms": libm::exp(p.ln_ms), "right": p.right, "answers": p.trials }))
                .collect();
            let report = serde_json::json!({
                "format": 1, "students": students, "gaps": gaps, "threshold_ms": threshold,
            });
            return talk::json(out, &report);
        }
        let mut table = Table::new(&[("student", Align::Left), ("right", Align::Right), ("", Align::Left)]);
        for (student, (r, n)) in students.iter().zip(&marks) {
            let sure = critical_value(*n, m).is_some_and(|least| r >= &least);
            let says = if sure { "more than guessing gives in 95 of 100 tests" } else { "as guessing may give" };
            table.row([plain(student), format!("{r} of {n}"), says.into()]);
        }
        out.write_all(table.render().as_bytes())?;
        writeln!(out)?;
        out.write_all(shares(&points).as_bytes())?;
        let threshold = threshold.map_or_else(
            || "no threshold found".to_owned(),
            |ms| format!("threshold {ms:.2} ms, half way up a logistic curve"),
        );
        writeln!(out, "\nThe class as one listener: {threshold}.")?;
        writeln!(out, "This is not a hearing test in the medical sense.")?;
        out.write_all(lines(&pictures).as_bytes())
    })?;
    if format != TableOrJson::Table {
        // What programs read stays whole.
        beside(&pictures);
    }
    Ok(Outcome::Done)
}

/// The class's curve; without one its raw shares alone.
fn picture(stem: &str, key: &Key, students: usize, points: &[Point], fitted: Option<PsychometricFunction>) -> Picture {
    let name = format!("{stem}.curve");
    let voices: Vec<String> = key.voices.iter().map(|v| plain(v)).collect();
    let found = fitted.map(|c| (c.threshold_ms(), c.at(c.ln_threshold)));
    let listeners = if students == 1 { "1 listener".to_owned() } else { format!("{students} listeners") };
    let figures = CurvePicture {
        title: format!("A class of {listeners}: {} at {}", voices.join(" and "), key.tempo_bpm),
        about: match found {
            Some((ms, share)) => format!("threshold {ms:.2} ms, half way up, at {:.1} % right", 100.0 * share),
            None => "no threshold found".to_owned(),
        },
        points: points.iter().map(|p| point(p.ln_ms, p.right, p.trials)).collect(),
        curves: fitted.iter().map(|c| (c.shape.title().to_owned(), drawn(c))).collect(),
        guess: Task::TwoOrOne.guess_rate(),
        threshold: found,
        between_ms: None,
        name: name.clone(),
    };
    let (variant, tempo_bpm) = (None, Some(key.tempo_bpm));
    Picture { name: format!("{name}.svg"), variant, tempo_bpm, seed: key.seed, svg: psychometric(&figures) }
}

/// The class's share of right answers at each gap.
fn shares(points: &[Point]) -> String {
    let mut table =
        Table::new(&[("gap", Align::Right), ("right", Align::Right), ("share", Align::Right), ("95 %", Align::Left)]);
    for p in points {
        let share = f64::from(p.right) / f64::from(p.trials.max(1));
        let [low, high] = wilson(share, f64::from(p.trials)).map(|x| 100.0 * x);
        let gap = format!("{:.0} ms", libm::exp(p.ln_ms));
        let right = format!("{} of {}", p.right, p.trials);
        table.row([gap, right, format!("{:.0} %", 100.0 * share), format!("{low:.0} to {high:.0} %")]);
    }
    table.render()
}
