use super::advise_figures::ends_in_ms;
use super::turns::{blame_word, turns_csv, turns_json, turns_text};
use super::{Align, Table, words};
use crate::judge::advise::{Found, Nearest, Standing, Survey, Turns, Window};
use crate::patch::{ORIGINAL, Rig, Source};
use crate::time::{Span, Tempo};
use serde_json::{Value, json};
use std::fmt::Write;
use std::io;

/// What is to be shown of a survey.
#[derive(Clone, Debug)]
pub struct Surveyed<'a> {
    /// The patch as it was named on the command line.
    pub name: String,
    /// Whose threshold the max gap is, in a sentence; `None` where it is not from an ear file.
    pub max_gap_from: Option<String>,
    /// What the patch calls itself, if it does.
    pub title: Option<&'a str>,
    /// The name of the variant whose inputs are looked at.
    pub variant: &'a str,
    /// The rig.
    pub rig: &'a Rig,
    /// The largest gap that is still acceptable.
    pub max_gap: Span,
    /// What was found.
    pub survey: &'a Survey,
    /// Who is at fault, and what mends them.
    pub turns: &'a Turns,
    /// Whose components are tried: `None` for those of the patch and of files, else in a few words.
    pub parts_from: Option<&'static str>,
}

/// The most reasons that are told of a tempo.
const MOST_REASONS: usize = 3;

/// A survey as people read it, in a table of so many columns of a terminal.
#[must_use]
pub fn survey_table(surveyed: &Surveyed<'_>, width: usize) -> String {
    let rig = surveyed.rig;
    let title = surveyed.title.map_or_else(|| words::plain(&surveyed.name), words::plain);
    let with =
        if surveyed.variant == ORIGINAL { String::new() } else { format!(", with the fix {}", surveyed.variant) };
    let mut out = format!("{title}: more delay on each input{with}\n{}\n\n", now(surveyed));
    let mut table = Table::new(&[
        ("input", Align::Left),
        ("comes by", Align::Left),
        ("as it is", Align::Left),
        ("at every tempo", Align::Left),
        ("nearest", Align::Left),
    ]);
    let mut said = String::new();
    let mut below = String::new();
    for input in &surveyed.survey.inputs {
        let name = input.target.name(rig);
        let blame = blame_word(surveyed, input.target.sequencer);
        let stands = |found: &Found| blame.clone().unwrap_or_else(|| stands(found.now()).to_owned());
        let cells = match &input.found {
            Some(found) => [stands(found), windows(&found.sure), nearest(found)],
            None => [blame.unwrap_or_else(|| "—".to_owned()), "not looked at".to_owned(), "—".to_owned()],
        };
        said.extend(cells.iter().map(|cell| format!("{cell}\n")));
        // Of who is fine it is of no use why a delay does not mend others.
        let of_use = input.found.is_none() || told_why(surveyed, input.target.sequencer);
        if let Some(why) = why(surveyed, input.found.as_ref()).filter(|_| of_use) {
            let _ = writeln!(below, "{name}: {why}.");
        }
        let by = input.target.path(rig).map_or_else(|| "—".to_owned(), |path| way(rig, path));
        table.row([name, by].into_iter().chain(cells));
    }
    out.push_str(&table.render_within(width));
    if !below.is_empty() {
        let _ = write!(out, "\n{below}");
    }
    out.push_str(&turns_text(surveyed, width));
    let legend = [
        (
            "sure",
            "sure:     on the one and no gap too wide, over all tolerances and with the skew kept from where a step changes",
        ),
        ("at risk", "at risk:  it passes as written; less than the skew, or what tolerances can do, changes that"),
    ];
    let told: Vec<&str> = legend.iter().filter(|(word, _)| said.contains(word)).map(|(_, line)| *line).collect();
    if !told.is_empty() {
        out.push('\n');
        told.iter().for_each(|line| {
            let _ = writeln!(out, "  {line}");
        });
    }
    if let Some(from) = &surveyed.max_gap_from {
        let _ = writeln!(out, "{from}");
    }
    out
}

/// Whether it is told why no delay at an input of a box is sure: where the box is at fault, or nobody is.
fn told_why(surveyed: &Surveyed<'_>, player: usize) -> bool {
    surveyed.turns.turns.is_empty() || surveyed.turns.of(player).is_some()
}

/// What stands against the rig as it is, at the first tempo at which something does.
fn now(surveyed: &Surveyed<'_>) -> String {
    let all = &surveyed.survey.now;
    let failing: Vec<_> = all.iter().filter(|(_, reasons)| !reasons.is_empty()).collect();
    let Some((tempo, reasons)) = failing.first() else {
        let limit = words::exact_ms(surveyed.max_gap);
        return format!("As it is, all agree on the one, and no gap is over {limit} ms.");
    };
    let mut told: Vec<String> =
        reasons.iter().take(MOST_REASONS).map(|r| words::reason(surveyed.rig, r, surveyed.max_gap)).collect();
    if reasons.len() > MOST_REASONS {
        told.push(format!("and {} things more", reasons.len() - MOST_REASONS));
    }
    let so = match (failing.len(), all.len()) {
        (_, 1) => String::new(),
        (some, all) if some == all => " at every tempo".to_owned(),
        (some, all) => format!(" at {some} of {all} tempos"),
    };
    format!("As it is, it fails{so}; at {tempo}, {}.", told.join("; "))
}

/// An output or a box, and the stages on the way from there.
fn way(rig: &Rig, path: &crate::patch::Path) -> String {
    let begins = match path.source {
        Source::Output(output) => rig.outputs[output].name.clone(),
        Source::Sequencer { index, .. } => rig.sequencers[index].name.clone(),
        Source::Wire(wire) => rig.wires[wire].name.clone(),
    };
    let stages = path.stages.iter().map(|&stage| rig.stages[stage].name.clone());
    std::iter::once(begins).chain(stages).collect::<Vec<_>>().join(", ")
}

pub(super) const fn stands(standing: Standing) -> &'static str {
    match standing {
        Standing::Sure => "sure",
        Standing::AtRisk => "at risk",
        Standing::Fails => "fails",
    }
}

/// `0.01 to 2 ms, or 500 to 502 ms`
pub(super) fn windows(all: &[Window]) -> String {
    /// The most windows that are listed.
    const MOST: usize = 3;
    let mut said: Vec<String> = all.iter().take(MOST).map(|window| stretch(*window)).collect();
    if all.len() > MOST {
        said.push(format!("{} more", all.len() - MOST));
    }
    if said.is_empty() { "none".to_owned() } else { format!("{} ms", said.join(", or ")) }
}

fn stretch(window: Window) -> String {
    let [least, most] = ends_in_ms(window);
    if least == most { least } else { format!("{least} to {most}") }
}

fn nearest(found: &Found) -> String {
    let Some(Nearest { window, tempos, sure }) = found.nearest() else { return "—".to_owned() };
    let [least, _] = ends_in_ms(window);
    let risk = if sure { "" } else { ", at risk" };
    match (window.least == Span::ZERO, tempos.len() == found.tempos.len()) {
        (true, true) => format!("as it is{risk}"),
        (false, true) => format!("{least} ms more{risk}"),
        (_, false) => format!("{} ms at {}{risk}", stretch(window), listed(&tempos)),
    }
}

fn listed(tempos: &[Tempo]) -> String {
    tempos.iter().map(ToString::to_string).collect::<Vec<_>>().join(", ")
}

/// Why no delay at an input is sure at every tempo, as a sentence without its full stop; nothing where one is.
fn why(surveyed: &Surveyed<'_>, found: Option<&Found>) -> Option<String> {
    let Some(found) = found else {
        return Some(
            "not looked at, since all inputs together are too much to try; ask for it alone with --on".to_owned(),
        );
    };
    if !found.sure.is_empty() {
        return None;
    }
    if let Some(at) = found.tempos.iter().find(|at| at.passes.is_empty()) {
        let best = at.below.first().map(|r| words::reason(surveyed.rig, r, surveyed.max_gap));
        let best = best.map_or_else(String::new, |best| format!("; at best, {best}"));
        return Some(format!("at {} no delay will do{best}", at.tempo));
    }
    if found.tempos.iter().any(|at| at.kept.is_none()) {
        return Some("nothing bounds how its inputs move against each other, so that no delay is sure".to_owned());
    }
    if let Some(at) = found.tempos.iter().find(|at| at.sure.is_empty()) {
        return Some(format!("at {} all that passes, {}, is at risk", at.tempo, windows(&at.passes)));
    }
    let each = found.tempos.iter().map(|at| format!("{} at {}", windows(&at.sure), at.tempo));
    Some(format!("no one delay serves all these tempos: {}", each.collect::<Vec<_>>().join("; ")))
}

pub(super) fn pairs(windows: &[Window]) -> Value {
    windows.iter().map(|w| json!({ "least_ms": w.least.ms(), "most_ms": w.most.ms() })).collect()
}

/// A survey as one value of JSON.
#[must_use]
pub fn survey_json(surveyed: &Surveyed<'_>) -> Value {
    let rig = surveyed.rig;
    let now = surveyed.survey.now.iter().map(|(tempo, reasons)| {
        let reasons: Vec<String> = reasons.iter().map(|r| words::reason(rig, r, surveyed.max_gap)).collect();
        json!({ "tempo_bpm": tempo.bpm(), "reasons": reasons })
    });
    let inputs = surveyed.survey.inputs.iter().map(|input| {
        let found = input.found.as_ref();
        let nearest = found.and_then(Found::nearest).map(|nearest| {
            let tempos: Vec<f64> = nearest.tempos.iter().map(|tempo| tempo.bpm()).collect();
            let (least, most) = (nearest.window.least.ms(), nearest.window.most.ms());
            json!({ "least_ms": least, "most_ms": most, "tempos_bpm": tempos, "sure": nearest.sure })
        });
        json!({
            "on": input.target.name(rig),
            "comes_by": input.target.path(rig).map(|path| way(rig, path)),
            "as_it_is": found.map(|found| stands(found.now()).replace(' ', "-")),
            "windows": found.map(|found| pairs(&found.sure)),
            "typical": found.map(|found| pairs(&found.passes)),
            "nearest": nearest,
            "why": why(surveyed, found),
            "blame": blame_word(surveyed, input.target.sequencer),
        })
    });
    json!({
        "format": 1, "patch": surveyed.name, "variant": surveyed.variant, "max_gap_ms": surveyed.max_gap.ms(),
        "max_gap_from": surveyed.max_gap_from, "now": now.collect::<Vec<_>>(), "inputs": inputs.collect::<Vec<_>>(),
        "turns": turns_json(surveyed), "works": surveyed.turns.works,
    })
}

/// A survey as CSV, a row a window that is sure at every tempo; where an input has none, one row without ends. Below, a row for who is at
/// fault, in the order in which they are mended, and a row for each component there.
///
/// # Errors
/// As of the writer.
pub fn survey_csv(surveyed: &Surveyed<'_>, out: impl io::Write) -> io::Result<()> {
    let mut csv = csv::Writer::from_writer(out);
    csv.write_record(["on", "as_it_is", "least_ms", "most_ms", "why", "blame", "turn", "component", "fit", "price"])?;
    for input in &surveyed.survey.inputs {
        let found = input.found.as_ref();
        let name = input.target.name(surveyed.rig);
        let now = found.map_or(String::new(), |found| stands(found.now()).replace(' ', "-"));
        let why = why(surveyed, found).unwrap_or_default();
        let blame = blame_word(surveyed, input.target.sequencer).unwrap_or_default();
        let sure = found.map_or(&[][..], |found| &found.sure);
        if sure.is_empty() {
            csv.write_record([name.as_str(), &now, "", "", &why, &blame, "", "", "", ""])?;
        }
        for window in sure {
            let [least, most] = [window.least, window.most].map(|end| end.ms().to_string());
            csv.write_record([name.as_str(), &now, &least, &most, &why, &blame, "", "", "", ""])?;
        }
    }
    turns_csv(surveyed, &mut csv)?;
    csv.flush()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::Target;
    use crate::judge::advise::{Question, Watch, plan, survey, turns};
    use crate::patch::{Asked, Patch};
    use unicode_width::UnicodeWidthStr;

    fn told(most: u128, width: usize) -> String {
        let file = concat!(env!("CARGO_MANIFEST_DIR"), "/patches/late-bell.toml");
        let patch =
            Patch::parse(&std::fs::read_to_string(file).expect("an example"), &Asked::default()).expect("a patch");
        let rig = &patch.original.rig;
        let question = Question::plain(&patch, Target::all(rig)[0]);
        let planned = plan(rig, &question, most).expect("a plan");
        let survey = survey(rig, &question, &planned, &Watch::nobody()).expect("a survey");
        let surveyed = Surveyed {
            name: "late-bell.toml".into(),
            max_gap_from: None,
            title: None,
            variant: ORIGINAL,
            rig,
            max_gap: patch.max_gap,
            survey: &survey,
            turns: &turns(rig, &question, most, &Watch::nobody()).expect("turns"),
            parts_from: None,
        };
        survey_table(&surveyed, width)
    }

    #[test]
    fn an_input_that_was_too_much_is_named_and_so_is_why() {
        let text = told(0, usize::MAX);
        // In the table, and below it.
        assert_eq!(text.matches("not looked at").count(), 4 + 4, "{text}");
        assert_eq!(text.matches(": not looked at, since all inputs together are too much to try").count(), 4, "{text}");
        assert!(!told(u128::MAX, usize::MAX).contains("not looked at"));
    }

    /// From the row of headings to the next empty line.
    #[test]
    fn its_table_is_no_wider_than_the_terminal() {
        for width in [30, 50, 70, 80] {
            let text = told(u128::MAX, width);
            let table = text.split("\n\n").nth(1).expect("the table");
            let widest = table.lines().map(UnicodeWidthStr::width).max();
            assert!(widest <= Some(width) && text.contains("sequencer.wren.clock"), "{width}:\n{text}");
        }
    }
}
