//! What a path needs, asked from the page: as `advise` says it, with the parts that could be tried there.

use super::opened::Opened;
use crate::judge::advise::{Fit, Question, Watch, advise_watched, outlook, usual_range};
use crate::judge::which;
use crate::patch::Component;
use crate::show::report::{Advised, advise_table};
use crate::show::workload::{few_enough, few_enough_tries};
use crate::source::carried::Example;
use serde_json::{Value, json};
use std::sync::atomic::AtomicBool;

/// How wide the table is, in signs: what a phone's page holds sideways.
const WIDTH: usize = 72;

/// Advice on one input of a variant, over the components of the patch and those that the program carries.
///
/// # Errors
/// A sentence, for an input that is none, for what is too much, and where `cancel` is set meanwhile.
pub(super) fn counsel(rig: &Opened, on: &str, version: Option<&str>, cancel: &AtomicBool) -> Result<Value, String> {
    let loaded = rig.maker.loaded(&rig.desk.view().text, &mut Vec::new()).map_err(|e| e.to_string())?;
    let named = version.filter(|name| loaded.patch.fixes.iter().any(|fix| fix.name == **name));
    let variant = loaded.variant(named.unwrap_or("original")).map_err(|e| e.to_string())?;
    let target = which::target(&variant.rig, on).map_err(|e| e.to_string())?;
    let own = loaded.patch.components.clone();
    let carried = Example::named("components").map(|list| loaded.patch.read_components(list.file.text));
    let carried = carried.and_then(Result::ok).unwrap_or_default();
    let further = carried.into_iter().filter(|c| !own.iter().any(|o| o.name == c.name));
    let components: Vec<Component> = own.iter().cloned().chain(further).collect();
    few_enough(&variant.rig, &loaded.patch.tempos, "`advise`").map_err(|e| e.to_string())?;
    let question = Question {
        components: &components,
        between: usual_range(&loaded.patch.tempos),
        ..Question::plain(&loaded.patch, target)
    };
    let ahead = outlook(&variant.rig, &question).map_err(|e| e.to_string())?;
    few_enough_tries(ahead).map_err(|e| e.to_string())?;
    let watch = Watch { progress: &|_| {}, cancel };
    let advice = advise_watched(&variant.rig, &question, &watch).map_err(|e| e.to_string())?;
    let parts = advice.parts.iter().map(|part| {
        let does = match part.fit {
            Fit::Always => "holds at every tempo",
            Fit::Sometimes => "holds at some tempos",
            Fit::AtRisk => "hangs on luck",
            Fit::Never => "does not hold",
        };
        json!({ "name": part.name, "fits": part.fit == Fit::Always, "does": does })
    });
    let parts: Vec<Value> = parts.collect();
    let advised = Advised {
        name: loaded.name.clone(),
        max_gap_from: None,
        title: loaded.patch.title.as_deref(),
        variant: &variant.name,
        rig: &variant.rig,
        advice: &advice,
        instead: None,
    };
    Ok(json!({ "on": target.name(&variant.rig), "says": advise_table(&advised, WIDTH), "parts": parts }))
}
