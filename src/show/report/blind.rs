use super::words::plain;
use super::{Align, Detail, Table};
use crate::ear::{BlindTest, Series, Side, best_of};
use crate::text::counted;
use serde_json::{Value, json};
use std::collections::BTreeSet;
use std::io::{self, Write};

/// A blind test, and the file that it comes from.
#[derive(Clone, Debug)]
pub struct Blind {
    /// The file as it was named.
    pub name: String,
    /// What was asked and answered.
    pub test: BlindTest,
}

/// Blind tests as people read them: of one what it comes to, and what was held against what; of several how many show that the
/// difference is heard, a row a test, and what all of them come to together.
#[must_use]
pub fn blind_table(all: &[Blind], detail: Detail) -> String {
    // What was given twice is one.
    let again = |n: usize| all[..n].iter().any(|other| other.test == all[n].test);
    let all: Vec<Blind> = all.iter().enumerate().filter(|(n, _)| !again(*n)).map(|(_, one)| one.clone()).collect();
    let (tests, series) = of(&all);
    let each = tests.iter().zip(&series);
    match (detail, all.len()) {
        (Detail::Quiet, 1) => each.map(|(test, series)| test.guessing().sentence(series.known) + "\n").collect(),
        (Detail::Quiet, _) => how_many(&tests, &series),
        (_, 1) => each.map(|(test, series)| one(test, series, detail)).collect(),
        (Detail::Usual, _) => how_many(&tests, &series) + "\n" + &rows(&all, &series) + &over_all(&tests),
        (Detail::Full, _) => {
            let each: Vec<String> = each.map(|(test, series)| one(test, series, detail)).collect();
            how_many(&tests, &series) + "\n" + &rows(&all, &series) + "\n" + &each.join("\n") + &over_all(&tests)
        }
    }
}

/// Blind tests as programs read them. Fields may be added; none changes its meaning without a new `format`.
#[must_use]
pub fn blind_json(all: &[Blind]) -> Value {
    let (tests, series) = of(all);
    let each: Vec<Value> = all.iter().zip(&series).map(|(blind, series)| object(blind, series)).collect();
    let every = Series::of_all(&tests);
    let firsts = tests.iter().zip(&every).enumerate().filter(|(n, (_, one))| one.first == *n);
    let together: Vec<Value> = firsts
        .map(|(n, (test, one))| {
            json!({
                "patch": plain(&test.patch), "tempo_bpm": test.tempo_bpm,
                "variants": [plain(&test.a.variant), plain(&test.b.variant)], "tests": one.at_hand,
                "listeners": listeners(&tests, &every, n), "right": one.right, "trials": one.trials, "p": one.guessed(),
            })
        })
        .collect();
    json!({ "format": 1, "tests": each, "together": together })
}

/// A row of the CSV.
#[derive(serde::Serialize)]
struct Row<'a> {
    file: String,
    listener: String,
    patch: String,
    title: String,
    tempo_bpm: f64,
    a: String,
    a_gap_ms: Option<f64>,
    b: String,
    b_gap_ms: Option<f64>,
    right: u32,
    trials: usize,
    p: f64,
    tests_of_these_two: u32,
    p_best_of_tests: f64,
    told_apart: bool,
    saved: &'a str,
}

/// Blind tests as CSV, a row a test.
///
/// # Errors
/// What the writer says.
pub fn blind_csv(all: &[Blind], out: impl Write) -> io::Result<()> {
    let (_, series) = of(all);
    let mut csv = csv::Writer::from_writer(out);
    for (Blind { name, test }, one) in all.iter().zip(&series) {
        let p = test.guessing().p();
        csv.serialize(Row {
            file: cell(name),
            listener: cell(test.listener.as_deref().unwrap_or_default()),
            patch: cell(&test.patch),
            title: cell(&test.title),
            tempo_bpm: test.tempo_bpm,
            a: cell(&test.a.variant),
            a_gap_ms: test.a.gap_ms,
            b: cell(&test.b.variant),
            b_gap_ms: test.b.gap_ms,
            right: test.right(),
            trials: test.trials.len(),
            p,
            tests_of_these_two: one.known,
            p_best_of_tests: best_of(p, one.known),
            told_apart: test.guessing().told_apart(one.known),
            saved: &cell(&test.saved),
        })?;
    }
    csv.flush()
}

/// Text of somebody else's file as a cell: one that a spreadsheet would work out as a formula begins with an apostrophe.
fn cell(text: &str) -> String {
    let text = plain(text);
    if text.starts_with(['=', '+', '-', '@']) { format!("'{text}") } else { text }
}

/// What a file claims of its own right answers, where its trials say otherwise.
#[must_use]
pub fn blind_note(of: &Blind) -> Option<String> {
    let (right, trials) = (of.test.right(), of.test.trials.len());
    let claimed = of.test.claimed.filter(|c| *c != u64::from(right))?;
    let name = crate::text::shown(&of.name);
    let are = if claimed == 1 { "answer is" } else { "answers are" };
    let say = if trials == 1 { "trial says" } else { "trials say" };
    Some(format!("note: `{name}` says that {claimed} {are} right; its {trials} {say} {right}"))
}

fn of(all: &[Blind]) -> (Vec<BlindTest>, Vec<Series>) {
    let tests: Vec<BlindTest> = all.iter().map(|b| b.test.clone()).collect();
    let series = Series::of(&tests);
    (tests, series)
}

fn one(test: &BlindTest, series: &Series, detail: Detail) -> String {
    let side = |side: &Side| match side.gap_ms {
        Some(gap) => format!("{}, worst gap {} ms", plain(&side.variant), tidy(gap)),
        None => format!("{}, where nothing meets", plain(&side.variant)),
    };
    let guessing = test.guessing();
    let unheard = test.trials.iter().filter(|t| !t.heard()).count();
    let by = test.listener.as_ref().map_or_else(String::new, |who| format!(", by {who}"));
    let mut out = format!(
        "{}\n  {}, at {}{by}\n  A: {}\n  B: {}\n",
        guessing.sentence(series.known),
        plain(&test.title),
        test.tempo_bpm,
        side(&test.a),
        side(&test.b),
    );
    if detail == Detail::Full {
        let (over, under) = guessing.fraction();
        let (share, [low, high]) = test.share();
        out += &format!(
            "  p = {over}/{under} = {:.4}, one-sided, exact; right in {:.0} % of trials (95 %: {:.1}–{:.1})\n",
            guessing.p(),
            100.0 * share,
            100.0 * low,
            100.0 * high,
        );
    }
    if unheard > 0 {
        out +=
            &format!("  in {unheard} of {} X was not played before the answer\n", counted(test.trials.len(), "trial"));
    }
    out
}

/// How many of several tests show by themselves that the difference is heard.
fn how_many(tests: &[BlindTest], series: &[Series]) -> String {
    let heard = tests.iter().zip(series).filter(|(test, one)| test.guessing().told_apart(one.known)).count();
    let show = if heard == 1 { "shows" } else { "show" };
    format!(
        "{heard} of {} {show} that the difference is heard; of twenty that are guessed, one would.\n",
        counted(tests.len(), "test")
    )
}

/// A row a test: who, what, and what guessing does.
fn rows(all: &[Blind], series: &[Series]) -> String {
    let mut table = Table::new(&[
        ("who", Align::Left),
        ("versions", Align::Left),
        ("tempo", Align::Right),
        ("right", Align::Right),
        ("guessing does that", Align::Left),
        ("", Align::Left),
    ]);
    for (Blind { name, test }, one) in all.iter().zip(series) {
        let guessing = test.guessing();
        let says = match (guessing.told_apart(one.known), guessing.told_apart(1)) {
            (true, _) => "heard".to_owned(),
            (false, true) => format!("one of {} tests: not shown", one.known),
            (false, false) => "not shown".to_owned(),
        };
        table.row([
            test.listener.clone().unwrap_or_else(|| plain(name)),
            format!("{}, {}", plain(&test.a.variant), plain(&test.b.variant)),
            test.tempo_bpm.to_string(),
            format!("{} of {}", test.right(), test.trials.len()),
            format!("in {} of tests", guessing.percent()),
            says,
        ]);
    }
    table.render()
}

/// What several tests of one thing come to together, and what of them stands for itself.
fn over_all(tests: &[BlindTest]) -> String {
    let series = Series::of_all(tests);
    let mut out = String::new();
    let firsts = || tests.iter().zip(&series).enumerate().filter(|(n, (_, one))| one.first == *n);
    for (_, (test, one)) in firsts() {
        if one.at_hand > 1 {
            let Series { at_hand, right, trials, .. } = one;
            let listeners = listeners(tests, &series, one.first);
            let by = if listeners > 1 { format!(" by {listeners} listeners") } else { String::new() };
            let p = one.guessed();
            let percent = if p < 0.001 { "under 0.1 %".to_owned() } else { format!("{:.1} %", 100.0 * p) };
            out += &format!(
                "\nAll {at_hand} tests of {} and {} at {}{by} together: right {right} times of {trials}; guessing does that, or better, in {percent}\n\
                 of cases. That holds if these are all that were taken, and how many was settled before the first.\n",
                plain(&test.a.variant),
                plain(&test.b.variant),
                test.tempo_bpm,
            );
        }
    }
    if firsts().count() > 1 {
        out += "\nTests of different things stand for themselves: of twenty that are guessed, one comes under 5 %.\n";
    }
    let nameless = tests.iter().filter(|t| t.listener.is_none()).count();
    if nameless > 1 && nameless < tests.len() {
        out += "\nTests without a name are counted as one listener's.\n";
    }
    out
}

/// How many listeners took the tests of one thing; those without a name are one.
fn listeners(tests: &[BlindTest], series: &[Series], first: usize) -> usize {
    let of = tests.iter().zip(series).filter(|(_, one)| one.first == first);
    of.map(|(test, _)| test.listener.as_deref()).collect::<BTreeSet<_>>().len()
}

/// Milliseconds, without a sign, with at most three decimals and no idle noughts.
fn tidy(ms: f64) -> String {
    let text = format!("{:.3}", ms.abs());
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

fn object(Blind { name, test }: &Blind, series: &Series) -> Value {
    let side = |side: &Side| json!({ "variant": plain(&side.variant), "gap_ms": side.gap_ms });
    let guessing = test.guessing();
    let (over, under) = guessing.fraction();
    let (share, interval) = test.share();
    json!({
        "file": name, "kind": "blind-test", "patch": plain(&test.patch), "title": plain(&test.title), "tempo_bpm": test.tempo_bpm,
        "a": side(&test.a), "b": side(&test.b), "saved": plain(&test.saved), "listener": test.listener,
        "trials": test.trials.len(), "right": test.right(), "x_not_played": test.trials.iter().filter(|t| !t.heard()).count(),
        "p": guessing.p(), "p_exact": format!("{over}/{under}"),
        "share": share, "wilson_95": interval, "tests_of_these_two": series.known, "p_best_of_tests": best_of(guessing.p(), series.known),
        "told_apart": guessing.told_apart(series.known), "sentence": guessing.sentence(series.known),
    })
}
