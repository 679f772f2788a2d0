use super::words::plain;
use crate::ear::{BlindTest, Series, Side, best_of};
use crate::text::counted;
use serde_json::{Value, json};

/// A blind test, and the file that it comes from.
#[derive(Clone, Debug)]
pub struct Blind {
    /// The file as it was named.
    pub name: String,
    /// What was asked and answered.
    pub test: BlindTest,
}

/// Blind tests as people read them, one after the other, and then what several of them come to together.
#[must_use]
pub fn blind_table(all: &[Blind]) -> String {
    let (tests, series) = of(all);
    let each: Vec<String> = tests.iter().zip(&series).map(|(test, series)| one(test, series)).collect();
    each.join("\n") + &over_all(&tests, &series)
}

/// Blind tests as programs read them. Fields may be added; none changes its meaning without a new `format`.
#[must_use]
pub fn blind_json(all: &[Blind]) -> Value {
    let (_, series) = of(all);
    let tests: Vec<Value> = all.iter().zip(&series).map(|(blind, series)| object(blind, series)).collect();
    json!({ "format": 1, "tests": tests })
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

fn one(test: &BlindTest, series: &Series) -> String {
    let side = |side: &Side| match side.gap_ms {
        Some(gap) => format!("{}, worst gap {} ms", plain(&side.variant), tidy(gap)),
        None => format!("{}, where nothing meets", plain(&side.variant)),
    };
    let guessing = test.guessing();
    let (over, under) = guessing.fraction();
    let (share, [low, high]) = test.share();
    let unheard = test.trials.iter().filter(|t| !t.heard()).count();
    let mut out = format!(
        "{}, at {}\n  A: {}\n  B: {}\n\n{}\n  p = {over}/{under} = {:.4}, one-sided, exact; right in {:.0} % of trials (95 %: {:.1}–{:.1})\n",
        plain(&test.title),
        test.tempo_bpm,
        side(&test.a),
        side(&test.b),
        guessing.sentence(series.known),
        guessing.p(),
        100.0 * share,
        100.0 * low,
        100.0 * high,
    );
    if unheard > 0 {
        out +=
            &format!("  in {unheard} of {} X was not played before the answer\n", counted(test.trials.len(), "trial"));
    }
    out
}

/// What several tests come to: those of one thing together, and what of them stands for itself.
fn over_all(tests: &[BlindTest], series: &[Series]) -> String {
    let mut out = String::new();
    let firsts = || tests.iter().zip(series).enumerate().filter(|(n, (_, one))| one.first == *n);
    for (_, (test, one)) in firsts() {
        if one.at_hand > 1 {
            let Series { at_hand, right, trials, .. } = one;
            let p = one.guessed();
            let percent = if p < 0.001 { "under 0.1 %".to_owned() } else { format!("{:.1} %", 100.0 * p) };
            out += &format!(
                "\nAll {at_hand} tests of {} and {} at {} together: right {right} times of {trials}; guessing does that, or better, in {percent}\n\
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
    out
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
        "a": side(&test.a), "b": side(&test.b), "saved": plain(&test.saved),
        "trials": test.trials.len(), "right": test.right(), "x_not_played": test.trials.iter().filter(|t| !t.heard()).count(),
        "p": guessing.p(), "p_exact": format!("{over}/{under}"),
        "share": share, "wilson_95": interval, "tests_of_these_two": series.known, "p_best_of_tests": best_of(guessing.p(), series.known),
        "told_apart": guessing.told_apart(series.known), "sentence": guessing.sentence(series.known),
    })
}
