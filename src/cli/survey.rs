//! Advice on every input at once: `advise` without `--on`.

use super::album::tell;
use super::args::Format;
use super::load::Loaded;
use super::paste::commands;
use super::work::{MOST_TRIED, few_enough};
use super::{Failure, Outcome, terminal};
use crate::judge::Target;
use crate::judge::advise::{Cure, Found, Question, Standing, Survey, Turns, Watch, plan, survey as look, turns};
use crate::patch::{Component, Variant};
use crate::show::report::{Surveyed, survey_csv, survey_json, survey_table};
use crate::store::interrupt;

/// Looks at every input, as many as the bound on work allows, and tells all of them in one table.
///
/// # Errors
/// Exit status 2 for a piece that is too long, 130 on Ctrl-C.
pub(super) fn survey(
    loaded: &Loaded,
    variant: &Variant,
    components: Vec<Component>,
    (max_gap_from, format): (Option<String>, Format),
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
    let own = !components.is_empty();
    let components = if own { components } else { loaded.generic() };
    let question = Question { components: &components, ..Question::plain(patch, first) };
    let planned = plan(rig, &question, MOST_TRIED).map_err(super::advise::refused)?;
    let pulses = planned.iter().filter_map(|p| p.outlook).map(|outlook| outlook.pulses).sum::<u128>();
    // What the search comes upon on its way is not known ahead.
    let bar = terminal::bar(u64::try_from(pulses).ok(), "{pos} of some {len} pulses {wide_bar} {elapsed}");
    if bar.is_hidden() && pulses > super::advise::LONG {
        terminal::say(&format!("looking at {} inputs, {pulses} pulses in all", planned.len()));
    }
    let watch = Watch { progress: &|pulses| bar.inc(pulses), cancel: interrupt::flag() };
    let survey = look(rig, &question, &planned, &watch).map_err(super::advise::refused)?;
    let spent = pulses.min(MOST_TRIED);
    let turns = turns(rig, &question, MOST_TRIED - spent, &watch).map_err(super::advise::refused)?;
    bar.finish_and_clear();
    let surveyed = Surveyed {
        name: loaded.name.clone(),
        max_gap_from,
        title: patch.title.as_deref(),
        variant: &variant.name,
        rig,
        max_gap: patch.max_gap,
        survey: &survey,
        turns: &turns,
        parts_from: (!own).then_some("the generic list"),
    };
    let asked: Vec<String> = worth_asking(&survey, &turns).iter().map(|target| target.name(rig)).collect();
    let more = match asked[..] {
        [] => String::new(),
        _ => format!("\nMore of that input:{}\n", commands("--on", &asked)),
    };
    tell(
        (format, &[]),
        || survey_table(&surveyed, terminal::width()) + &more,
        |out| terminal::json(out, &survey_json(&surveyed)),
        |out| survey_csv(&surveyed, out),
    )?;
    Ok(Outcome::Done)
}

/// The inputs at which some delay mends who is at fault; where nobody is, the first at which one makes sure what hangs on luck.
fn worth_asking(survey: &Survey, turns: &Turns) -> Vec<Target> {
    let on = turns.turns.iter().filter_map(|turn| match turn.cure {
        Cure::Delay { on, .. } => Some(on),
        Cure::None | Cure::Unknown => None,
    });
    let mut all: Vec<Target> = Vec::new();
    on.for_each(|on| {
        if !all.contains(&on) {
            all.push(on);
        }
    });
    if turns.turns.is_empty() {
        let mends = |found: &Found| !found.sure.is_empty() && found.now() != Standing::Sure;
        let first = survey.inputs.iter().find(|input| input.found.as_ref().is_some_and(mends));
        all.extend(first.map(|input| input.target));
    }
    all
}
