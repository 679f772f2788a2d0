use super::heard::about_ms;
use super::{Align, Detail, Table, words};
use crate::ear::{ClassResult, Point};
use crate::stats::wilson;
use crate::text::counted;
use serde_json::{Value, json};

/// The result of a class as people read it: how small a gap it hears, how many are better than guessing, then a row a student;
/// with every detail a row a gap too.
#[must_use]
pub fn class_table(result: &ClassResult, detail: Detail) -> String {
    let (all, above) = (result.marks.len(), result.marks.iter().filter(|m| m.above_guessing).count());
    let said = result.curve.map_or_else(
        || "No threshold found: the answers of the class are as guessing would have them.".to_owned(),
        |c| format!("The class hears a gap of about {} ms half of the time.", about_ms(c.threshold_ms())),
    );
    let better = format!("{above} of {} did better than guessing does in 95 of 100 tests.", counted(all, "student"));
    if detail == Detail::Quiet {
        return format!("{said} {better}\n");
    }
    let mut table = Table::new(&[("student", Align::Left), ("right", Align::Right), ("", Align::Left)]);
    for mark in &result.marks {
        let says =
            if mark.above_guessing { "more than guessing gives in 95 of 100 tests" } else { "as guessing may give" };
        table.row([words::plain(&mark.student), format!("{} of {}", mark.right, mark.answers), says.into()]);
    }
    let behind = if detail == Detail::Full {
        let curve = result.curve.map_or_else(String::new, |c| {
            format!("The class as one listener: threshold {:.2} ms, half way up a logistic curve.\n", c.threshold_ms())
        });
        format!("{}\n{curve}", shares(&result.points))
    } else {
        "--verbose prints the share of right answers at each gap.\n".to_owned()
    };
    format!("{said} {better}\n\n{}\n{behind}This is not a hearing test in the medical sense.\n", table.render())
}

/// The result of a class as programs read it. Fields may be added; none changes its meaning without a new `format`.
#[must_use]
pub fn class_json(result: &ClassResult) -> Value {
    let students: Vec<Value> = result
        .marks
        .iter()
        .map(|m| json!({ "student": m.student, "right": m.right, "answers": m.answers, "guessing": m.guessing }))
        .collect();
    let gaps: Vec<Value> = result
        .points
        .iter()
        .map(|p| json!({ "gap_ms": libm::exp(p.ln_ms), "right": p.right, "answers": p.trials }))
        .collect();
    json!({ "format": 1, "students": students, "gaps": gaps, "threshold_ms": result.curve.map(|c| c.threshold_ms()) })
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
