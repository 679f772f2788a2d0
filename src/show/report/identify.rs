use super::{Align, Table, plain};
use crate::judge::identify::{ClockSetting, Dials, Group, Habit, PULSES, Plan, PlanStep, ResetPlace, STEPS, letter};
use crate::time::Tempo;
use std::fmt::Write;

/// How a trial is set, in words, each knob a phrase.
fn settings(trial: &ClockSetting) -> [&'static str; 2] {
    let reset = match (trial.place, trial.long_reset) {
        (ResetPlace::Same, false) => "reset output: phase 0 %, width 5 ms",
        (ResetPlace::Same, true) => "reset output: phase 0 %, width 15 %",
        (ResetPlace::JustAfter, false) => "reset output: phase 0 %, shift 8 ms, width 5 ms",
        (ResetPlace::JustAfter, true) => "reset output: phase 0 %, shift 8 ms, width 15 %",
        (ResetPlace::Quarter, false) => "reset output: phase 3 %, width 5 ms",
        (ResetPlace::Quarter, true) => "reset output: phase 3 %, width 15 %",
        (ResetPlace::ThreeQuarters, false) => "reset output: phase 9 %, width 5 ms",
        (ResetPlace::ThreeQuarters, true) => "reset output: phase 9 %, width 15 %",
    };
    [reset, if trial.wide_clock { "clock output: width 50 %" } else { "clock output: width 5 ms" }]
}

/// What is set for a trial, and whether two edges meet there.
#[must_use]
pub fn trial_settings(step: &PlanStep, dials: bool) -> (Vec<String>, bool) {
    let tie = step.trial.place == ResetPlace::Same;
    let set = if dials {
        settings(&step.trial).map(str::to_owned).to_vec()
    } else {
        vec!["the clock as it is: reset and clock pulses come together, each of some 5 ms".to_owned()]
    };
    (set, tie)
}

/// What a clock without dials leaves open.
const NO_DIALS: &str = "\nThis clock has no dials: ways with the same answers here stay apart only by what you know of the box. A clock with a phase dial, or a\n\
delay in the reset's cable, would tell more of them apart.\n";

/// The experiment as people carry it out. `file` names the sound of an answer: the step and the answer, from 0.
#[must_use]
pub fn identify_table(plan: &Plan, tempo: Tempo, file: impl Fn(usize, usize) -> String) -> String {
    let mut out = String::from("How does the box read its reset?\n\n");
    let _ = writeln!(
        out,
        "Set up: tempo {tempo}; a clock output at 2 per beat into the box's clock, a reset output at 1 per 4 beats into its reset,\n\
         so that {PULSES} pulses lie between two resets. In the box, a pattern of {STEPS} steps: a low drum on step 1, a hat on every\n\
         other step. The clock's own click, or any box that plays every pulse, beside it."
    );
    for (n, step) in plan.steps.iter().enumerate() {
        let (set, tie) = trial_settings(step, plan.dials == Dials::All);
        let set = set.join("; ");
        let _ = writeln!(out, "\n{}. {set}. Stop, start, and listen from the third reset on.", n + 1);
        if tie {
            out.push_str("   Two edges meet here: a box that answers now so, now so, leaves it to chance.\n");
        }
        let mut table = Table::new(&[("", Align::Left), ("what you hear", Align::Left), ("compare with", Align::Left)]);
        for (answer, (heard, _)) in step.heard.iter().enumerate() {
            table.row([letter(answer).to_string(), heard.words(), file(n, answer)]);
        }
        out.push_str(&table.render());
    }
    out.push_str("\nWhat each way of reading answers:\n");
    let mut table = Table::new(&[("answers", Align::Left), ("what to put into the sequencer's table", Align::Left)]);
    for group in &plan.groups {
        for (n, habit) in group.habits.iter().enumerate() {
            let answers = if n == 0 { answers(group) } else { "  or".to_owned() };
            table.row([answers, habit.lines().join(", ")]);
        }
    }
    out.push_str(&table.render());
    if plan.groups.iter().any(|g| g.habits.len() > 1) {
        out.push_str("  Where two stand together, no setting of the clock tells them apart: for them it does not matter which.\n");
    }
    if plan.dials == Dials::None {
        out.push_str(NO_DIALS);
    }
    let example = plan.groups.first().map_or_else(String::new, answers);
    let no_dials = if plan.dials == Dials::None { "--no-dials " } else { "" };
    let _ =
        writeln!(out, "\nThen: hitgap identify {no_dials}--answers {example}   (a ? for one that you are not sure of)");
    out
}

/// The experiment as the object that `identify --format json` writes. Fields may be added; none changes its meaning
/// without a new `format`.
#[must_use]
pub fn identify_json(plan: &Plan, tempo: Tempo, file: impl Fn(usize, usize) -> String) -> serde_json::Value {
    let step = |(n, step): (usize, &PlanStep)| {
        let heard = step.heard.iter().enumerate().map(|(answer, (heard, _))| {
            serde_json::json!({ "answer": letter(answer).to_string(), "heard": heard.words(), "file": file(n, answer) })
        });
        let (set, _) = trial_settings(step, plan.dials == Dials::All);
        serde_json::json!({ "set": set, "answers": heard.collect::<Vec<_>>() })
    };
    let group = |group: &Group| {
        let lines: Vec<_> = group.habits.iter().map(Habit::lines).collect();
        let kinds: Vec<_> = group.habits.iter().map(|habit| habit.kind().map(|(kind, _)| kind.name())).collect();
        serde_json::json!({ "answers": answers(group), "lines": lines, "like": kinds })
    };
    serde_json::json!({
        "format": 1,
        "tempo_bpm": tempo.bpm(),
        "trials": plan.steps.iter().enumerate().map(step).collect::<Vec<_>>(),
        "groups": plan.groups.iter().map(group).collect::<Vec<_>>(),
    })
}

/// Which ways of reading play alike in a patch as it stands.
#[must_use]
pub fn alike_table(name: &str, sets: &[Vec<&Group>]) -> String {
    if sets.is_empty() {
        return format!("\nIn the patch as it stands, every way of reading makes {} play otherwise.\n", plain(name));
    }
    let mut out = format!("\nIn the patch as it stands, it does not matter which of these {} has:\n", plain(name));
    for set in sets {
        let all: Vec<String> = set.iter().flat_map(|g| &g.habits).map(|h| h.lines().join(", ")).collect();
        let _ = writeln!(out, "  {}", all.join("\n    or "));
    }
    out
}

fn answers(group: &Group) -> String {
    group.answers.iter().map(|&a| letter(a).to_string()).collect::<Vec<_>>().join(",")
}

/// The line that names its kind of box, and what must stand beside it.
fn like(habit: &Habit) -> Option<String> {
    let (kind, beside) = habit.kind()?;
    let lines = std::iter::once(format!("like = \"{}\"", kind.name())).chain(beside);
    Some(lines.collect::<Vec<_>>().join(", "))
}

/// What is left after some answers: the lines, or what to try next.
#[must_use]
pub fn identified(plan: &Plan, answers: &[Option<usize>]) -> String {
    let left: Vec<&Group> = plan.left(answers).collect();
    let mut out = String::new();
    match left[..] {
        [] => {
            out.push_str("No way of reading that is known here answers so.\n");
            let near = |skip: usize| {
                let but: Vec<Option<usize>> =
                    answers.iter().enumerate().map(|(n, a)| a.filter(|_| n != skip)).collect();
                plan.left(&but).next().is_some()
            };
            let doubt: Vec<String> = (0..plan.steps.len()).filter(|&n| near(n)).map(|n| (n + 1).to_string()).collect();
            if !doubt.is_empty() {
                let _ = writeln!(
                    out,
                    "Listen once more to trial {}: with another answer there it would fit.",
                    doubt.join(" or ")
                );
            }
            out.push_str(
                "A box that polls its inputs or gathers edges may answer now so, now so: see `poll` and `gathers` in docs/patch.md.\n",
            );
        }
        [group] => {
            for (n, habit) in group.habits.iter().enumerate() {
                out.push_str(if n == 0 {
                    "In the sequencer's table:\n"
                } else {
                    "or, which sounds the same whatever is set:\n"
                });
                habit.lines().iter().for_each(|line| {
                    let _ = writeln!(out, "  {line}");
                });
                if let Some(like) = like(habit) {
                    let _ = writeln!(out, "or, shorter: {like}");
                }
            }
        }
        _ => {
            let _ = writeln!(out, "{} ways of reading are left:", left.len());
            for group in &left {
                let _ = writeln!(
                    out,
                    "  {}",
                    group.habits.iter().map(|h| h.lines().join(", ")).collect::<Vec<_>>().join("; or ")
                );
            }
            let open =
                |(n, step): &(usize, &PlanStep)| answers.get(*n).copied().flatten().is_none() && step.heard.len() > 1;
            if let Some((n, _)) = plan.steps.iter().enumerate().find(open) {
                let _ = writeln!(out, "Next: trial {}.", n + 1);
            } else if plan.dials == Dials::None {
                out.push_str("A clock without dials does not tell these apart.\n");
            }
        }
    }
    out
}
