//! What blind tests come to.

use super::args::TableOrJson;
use super::{Failure, Outcome, talk};
use crate::ear::{AnswersError, BlindTest, Series, Side, best_of};
use crate::patch::shown;
use crate::show::report::plain;
use crate::text::counted;

/// Says what each of these tests comes to.
///
/// # Errors
/// Exit status 2 for a file that cannot be read as a test, with the place.
pub(super) fn blind(files: &[(String, String)], format: TableOrJson) -> Result<Outcome, Failure> {
    let mut tests = Vec::new();
    for (name, text) in files {
        let test = BlindTest::parse(text).map_err(|e| refused(name, &e))?;
        let (right, of) = (test.right(), test.trials.len());
        if let Some(claimed) = test.claimed.filter(|c| *c != u64::from(right)) {
            let name = crate::patch::shown(name);
            let are = if claimed == 1 { "answer is" } else { "answers are" };
            let say = if of == 1 { "trial says" } else { "trials say" };
            talk::say(&format!("note: `{name}` says that {claimed} {are} right; its {of} {say} {right}"));
        }
        tests.push(test);
    }
    let series = Series::of(&tests);
    talk::result(|out| match format {
        TableOrJson::Table => {
            for (n, (test, series)) in tests.iter().zip(&series).enumerate() {
                if n > 0 {
                    writeln!(out)?;
                }
                out.write_all(said(test, series).as_bytes())?;
            }
            out.write_all(over_all(&tests, &series).as_bytes())
        }
        TableOrJson::Json => {
            let tests: Vec<_> = files
                .iter()
                .zip(tests.iter().zip(&series))
                .map(|((name, _), (test, series))| json(name, test, series))
                .collect();
            talk::json(out, &serde_json::json!({ "format": 1, "tests": tests }))
        }
    })?;
    Ok(Outcome::Done)
}

/// A file that is none of ours, or not whole any more: which, where, and what to do.
fn refused(name: &str, error: &AnswersError) -> Failure {
    Failure::input(
        format!("`{}`: {error}", shown(name)),
        "give the file as the page saved it: a blind test is a JSON file with \"hitgap\": \"blind-test\"",
    )
}

fn said(test: &BlindTest, series: &Series) -> String {
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

fn json(name: &str, test: &BlindTest, series: &Series) -> serde_json::Value {
    let side = |side: &Side| serde_json::json!({ "variant": plain(&side.variant), "gap_ms": side.gap_ms });
    let guessing = test.guessing();
    let (over, under) = guessing.fraction();
    let (share, interval) = test.share();
    serde_json::json!({
        "file": name, "kind": "blind-test", "patch": plain(&test.patch), "title": plain(&test.title), "tempo_bpm": test.tempo_bpm,
        "a": side(&test.a), "b": side(&test.b), "saved": plain(&test.saved),
        "trials": test.trials.len(), "right": test.right(), "x_not_played": test.trials.iter().filter(|t| !t.heard()).count(),
        "p": guessing.p(), "p_exact": format!("{over}/{under}"),
        "share": share, "wilson_95": interval, "tests_of_these_two": series.known, "p_best_of_tests": best_of(guessing.p(), series.known),
        "told_apart": guessing.told_apart(series.known), "sentence": guessing.sentence(series.known),
    })
}
