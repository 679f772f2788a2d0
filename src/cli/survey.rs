//! Advice on every input at once: `advise` without `--on`.

use super::album::tell;
use super::args::Format;
use super::load::Loaded;
use super::paste::commands;
use super::work::{MOST_TRIED, few_enough};
use super::{Failure, Outcome, terminal};
use crate::judge::Target;
use crate::judge::advise::{Found, Question, Standing, Survey, Watch, plan, survey as look};
use crate::patch::Variant;
use crate::show::report::{Surveyed, survey_csv, survey_json, survey_table};
use crate::store::interrupt;

/// Looks at every input, as many as the bound on work allows, and tells all of them in one table.
///
/// # Errors
/// Exit status 2 for a piece that is too long, 130 on Ctrl-C.
pub(super) fn survey(
    loaded: &Loaded,
    variant: &Variant,
    max_gap_from: Option<String>,
    format: Format,
) -> Result<Outcome, Failure> {
    let (patch, rig) = (&loaded.patch, &variant.rig);
    few_enough(rig, &patch.tempos, "`advise`")?;
    let all = Target::all(rig);
    let Some(&first) = all.first() else {
        return Err(Failure::input(
            "the patch has takes only, and no input that could be delayed",
            "name another patch",
        ));
    };
    let question = Question::plain(patch, first);
    let planned = plan(rig, &question, MOST_TRIED).map_err(super::advise::refused)?;
    let pulses = planned.iter().filter_map(|p| p.outlook).map(|outlook| outlook.pulses).sum::<u128>();
    // What the search comes upon on its way is not known ahead.
    let bar = terminal::bar(u64::try_from(pulses).ok(), "{pos} of some {len} pulses {wide_bar} {elapsed}");
    if bar.is_hidden() && pulses > super::advise::LONG {
        terminal::say(&format!("looking at {} inputs, {pulses} pulses in all", planned.len()));
    }
    let watch = Watch { progress: &|pulses| bar.inc(pulses), cancel: interrupt::flag() };
    let survey = look(rig, &question, &planned, &watch).map_err(super::advise::refused)?;
    bar.finish_and_clear();
    let surveyed = Surveyed {
        name: loaded.name.clone(),
        max_gap_from,
        title: patch.title.as_deref(),
        variant: &variant.name,
        rig,
        max_gap: patch.max_gap,
        survey: &survey,
    };
    let more = worth_asking(&survey).map_or_else(String::new, |target| {
        format!("\nWhat gives that delay there:{}\n", commands("--on", &[target.name(rig)]))
    });
    tell(
        (format, &[]),
        || survey_table(&surveyed, terminal::width()) + &more,
        |out| terminal::json(out, &survey_json(&surveyed)),
        |out| survey_csv(&surveyed, out),
    )?;
    Ok(Outcome::Done)
}

/// The first input at which some delay mends at every tempo what fails as it is.
fn worth_asking(survey: &Survey) -> Option<Target> {
    let mends = |found: &Found| !found.sure.is_empty() && found.now() != Standing::Sure;
    survey.inputs.iter().find(|input| input.found.as_ref().is_some_and(mends)).map(|input| input.target)
}
