//! What a path needs, asked from the page: as `advise` says it, with the parts that could be tried there.

use super::opened::Opened;
use crate::judge::Target;
use crate::judge::advise::{Fit, Question, Watch, advise_watched, aside, outlook, usual_range};
use crate::judge::{Input, which};
use crate::patch::{Component, Rig};
use crate::show::page::served_picture;
use crate::show::report::{Advised, advise_sentence, advise_table, fit_phrase};
use crate::show::scene::advice_window;
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
    let view = rig.desk.view();
    let loaded = rig.maker.loaded(&view.text, &mut Vec::new()).map_err(|e| e.to_string())?;
    let named = version.filter(|name| loaded.patch.fixes.iter().any(|fix| fix.name == **name));
    let variant = loaded.variant(named.unwrap_or("original")).map_err(|e| e.to_string())?;
    let target = which::target(&variant.rig, on).map_err(|e| e.to_string())?;
    let own = loaded.patch.components.clone();
    let list = Example::named("components").map_or("", |list| list.file.text);
    let carried = loaded.patch.read_components(list).unwrap_or_default();
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
    // Where no delay will do, others may stand in the way: then parts are tried as if they did not.
    let none = advice.tempos.iter().any(|at| at.passes.is_empty());
    let apart = none.then(|| aside(&variant.rig, &question)).transpose().map_err(|e| e.to_string())?.flatten();
    let without = apart
        .as_ref()
        .map(|apart| advise_watched(&apart.rig, &Question { target: apart.target, ..question.clone() }, &watch));
    let without = without.transpose().map_err(|e| e.to_string())?;
    let apart = apart.as_ref().zip(without.as_ref()).filter(|(_, advice)| !advice.sure.is_empty());
    let tried = apart.map_or(&advice, |(_, advice)| advice);
    let parts = tried.parts.iter().map(|part| {
        let does = match part.fit {
            Fit::Always if apart.is_some() => "fits at every tempo once the others are put right",
            fit => fit_phrase(fit),
        };
        let stage = stage(&view.text, &part.name).or_else(|| stage(list, &part.name));
        json!({ "name": part.name, "price": part.price, "stage": stage, "fits": part.fit == Fit::Always, "does": does })
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
        aside: apart,
    };
    let name = target.name(&variant.rig);
    let lead = advise_sentence(&advised).replace(&name, &called(target, &variant.rig));
    let window = served_picture(&advice_window("counsel", &advised));
    Ok(json!({
        "of": view.revision, "on": name, "lead": lead, "window": window, "says": advise_table(&advised, WIDTH), "parts": parts,
    }))
}

/// An input as people call it: `wren's clock`.
fn called(target: Target, rig: &Rig) -> String {
    let input = if target.input == Input::Clock { "clock" } else { "reset" };
    format!("{}'s {input}", rig.sequencers[target.sequencer].name)
}

/// A component of a text as a stage: its table without what is said of it and what it costs. `None` where the text has none.
fn stage(text: &str, name: &str) -> Option<Value> {
    let mut table = text.parse::<toml::Table>().ok()?.get("component")?.get(name)?.as_table()?.clone();
    table.retain(|key, _| key != "price" && key != "note");
    serde_json::to_value(table).ok()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::serve::maker::Subject;
    use std::path::Path;

    /// By hand (design, section 5): Wren's clock must come later than the reset, and by less than a pulse; a gate of 40 us does.
    #[test]
    fn a_part_that_holds_can_be_tried_as_a_stage() {
        let patch = Path::new(env!("CARGO_MANIFEST_DIR")).join("patches/late-bell.toml");
        let rig = Opened::new(Subject::of(patch)).expect("an example");
        let never = AtomicBool::new(false);
        let advice = counsel(&rig, "wren.clock", None, &never).expect("advice");
        assert_eq!(advice["on"], "sequencer.wren.clock");
        let parts = advice["parts"].as_array().expect("parts");
        let fits = parts.iter().find(|part| part["fits"] == true).expect("one that holds");
        assert!(fits["stage"]["kind"].is_string() && fits["stage"].get("price").is_none(), "{fits}");
        assert!(counsel(&rig, "nobody.clock", None, &never).is_err());
        assert!(counsel(&rig, "wren.clock", None, &AtomicBool::new(true)).is_err_and(|why| why.contains("stopped")));
    }
}
