//! What a path needs, asked from the page: as `advise` says it, with the parts that could be tried there.

use super::hears::Heard;
use super::opened::Opened;
use crate::export::Depth;
use crate::judge::advise::{
    Fit, Question, Watch, advise_watched, apart, basket, basket_outlook, blamed, outlook, usual_range,
};
use crate::judge::{Input, Target, which};
use crate::patch::{Component, ORIGINAL, Rig, Variant};
use crate::show::page::served_picture;
use crate::show::report::{Advised, advise_sentence, advise_table, fit_phrase};
use crate::show::scene::{MOST_HEARD, advice_window};
use crate::show::workload::{few_enough, few_enough_tries};
use crate::source::Loaded;
use crate::source::carried::Example;
use crate::time::Tempo;
use serde_json::{Value, json};
use std::sync::Arc;
use std::sync::atomic::AtomicBool;

/// How wide the table is, in signs: what a phone's page holds sideways.
const WIDTH: usize = 72;

/// An input of a variant, and the components of the patch and those that the program carries.
struct Wished {
    revision: u64,
    text: Arc<str>,
    loaded: Loaded,
    variant: Variant,
    target: Target,
    components: Vec<Component>,
}

impl Wished {
    fn new(rig: &Opened, on: &str, version: Option<&str>) -> Result<Self, String> {
        let view = rig.desk.view();
        let loaded = rig.maker.loaded(&view.text, &mut Vec::new()).map_err(|e| e.to_string())?;
        let named = version.filter(|name| loaded.patch.fixes.iter().any(|fix| fix.name == **name));
        let variant = loaded.variant(named.unwrap_or(ORIGINAL)).map_err(|e| e.to_string())?;
        let target = which::target(&variant.rig, on).map_err(|e| e.to_string())?;
        let own = loaded.patch.components.clone();
        let carried = loaded.patch.read_components(carried()).unwrap_or_default();
        let further = carried.into_iter().filter(|c| !own.iter().any(|o| o.name == c.name));
        let components: Vec<Component> = own.iter().cloned().chain(further).collect();
        few_enough(&variant.rig, &loaded.patch.tempos, "`advise`").map_err(|e| e.to_string())?;
        Ok(Self { revision: view.revision, text: view.text, loaded, variant, target, components })
    }

    fn question(&self) -> Question<'_> {
        let patch = &self.loaded.patch;
        let between = usual_range(&patch.tempos);
        Question { components: &self.components, between, ..Question::plain(patch, self.target) }
    }
}

/// The list of components that the program carries.
fn carried() -> &'static str {
    Example::named("components").map_or("", |list| list.file.text)
}

/// Has all components heard in one input of a variant, the best first, until others are asked for or none.
///
/// # Errors
/// As [`counsel`]; and for versions that are too much for a page.
pub(super) fn hear(rig: &Opened, on: &str, version: Option<&str>, cancel: &AtomicBool) -> Result<Value, String> {
    let wished = Wished::new(rig, on, version)?;
    let question = wished.question();
    few_enough_tries(basket_outlook(&wished.variant.rig, &question).map_err(|e| e.to_string())?)
        .map_err(|e| e.to_string())?;
    let watch = Watch { progress: &|_| {}, cancel };
    let basket = basket(&wished.variant.rig, &question, MOST_HEARD, &watch).map_err(|e| e.to_string())?;
    let (heard, left) = (basket.lots.len(), basket.left_out.len());
    let on = wished.target.name(&wished.variant.rig);
    let version = (wished.variant.name != ORIGINAL).then(|| wished.variant.name.clone());
    let before = rig.maker.hears.set(Some(Heard { on: on.clone(), version, basket }));
    // What is too much for a page is told to who asked, and the page stays as it was.
    let moment = Depth::Moment(wished.loaded.patch.tempos.first().copied().unwrap_or(Tempo::USUAL));
    if let Err(error) = rig.maker.make(&rig.desk.view(), moment, cancel, &mut Vec::new()) {
        rig.maker.hears.set(before);
        return Err((rig.maker.subject.tell)(error));
    }
    rig.bell.ring();
    Ok(json!({ "on": on, "heard": heard, "left": left }))
}

/// Has components heard no more.
pub(super) fn hear_none(rig: &Opened) -> Value {
    rig.maker.hears.set(None);
    rig.bell.ring();
    json!({ "on": null, "heard": 0, "left": 0 })
}

/// Advice on one input of a variant, over the components of the patch and those that the program carries.
///
/// # Errors
/// A sentence, for an input that is none, for what is too much, and where `cancel` is set meanwhile.
pub(super) fn counsel(rig: &Opened, on: &str, version: Option<&str>, cancel: &AtomicBool) -> Result<Value, String> {
    let wished = Wished::new(rig, on, version)?;
    let Wished { loaded, variant, target, .. } = &wished;
    let question = wished.question();
    let ahead = outlook(&variant.rig, &question).map_err(|e| e.to_string())?;
    few_enough_tries(ahead).map_err(|e| e.to_string())?;
    let watch = Watch { progress: &|_| {}, cancel };
    let advice = advise_watched(&variant.rig, &question, &watch).map_err(|e| e.to_string())?;
    // Where others stand in the way, parts are tried as if they did not.
    let apart = apart(&variant.rig, &question, &advice, &watch).map_err(|e| e.to_string())?;
    let apart = apart.as_ref().map(|(aside, advice)| (aside, advice));
    let tried = apart.map_or(&advice, |(_, advice)| advice);
    let parts = tried.parts.iter().map(|part| {
        let does = match part.fit {
            Fit::Always if apart.is_some() => "fits at every tempo once the others are put right",
            fit => fit_phrase(fit),
        };
        let stage = stage(&wished.text, &part.name).or_else(|| stage(carried(), &part.name));
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
        blamed: blamed(&variant.rig, &question, &advice).map_err(|e| e.to_string())?,
        aside: apart,
    };
    let name = target.name(&variant.rig);
    let lead = advise_sentence(&advised).replace(&name, &called(*target, &variant.rig));
    let window = served_picture(&advice_window("counsel", &advised));
    Ok(json!({
        "of": wished.revision, "on": name, "lead": lead, "window": window, "says": advise_table(&advised, WIDTH), "parts": parts,
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

    /// What is heard is what `compare --on` makes of the same list: each once, and once more at its worst where that is worse; until none are
    /// wanted. What an edit leaves of the input is heard on.
    #[test]
    fn all_parts_are_versions_for_as_long_as_they_are_wanted() {
        let folder = tempfile::tempdir().expect("a folder");
        let patch = folder.path().join("three-in-the-basket.toml");
        let example = Path::new(env!("CARGO_MANIFEST_DIR")).join("patches/three-in-the-basket.toml");
        std::fs::copy(example, &patch).expect("an example");
        let rig = Opened::new(Subject::of(patch)).expect("an example");
        let never = AtomicBool::new(false);
        let names = |rig: &Opened| -> Vec<String> {
            let moment = Depth::Moment(Tempo::whole(120));
            let made = rig.maker.make(&rig.desk.view(), moment, &never, &mut Vec::new()).expect("a page");
            made.page.variants.into_iter().map(|version| version.name).filter(|name| name != "as saved").collect()
        };
        let before = names(&rig);
        let heard = hear(&rig, "wren.clock", None, &never).expect("heard");
        assert_eq!((heard["on"].as_str(), heard["left"].as_u64()), (Some("sequencer.wren.clock"), Some(2)));
        let now = names(&rig);
        assert_eq!(now[..before.len()], before[..]);
        // The fix of that name stands beside the component.
        for name in ["envelope, the component", "gate", "gate, at worst", "digital-1k, at worst"] {
            assert!(now.contains(&name.to_owned()) && rig.maker.hears.has(name), "{name}: {now:?}");
        }
        assert!(!rig.maker.hears.has("original"));
        let base = rig.desk.view().revision;
        let gone = |text: &str| text.replace("wren", "robin");
        rig.desk.change(base, None, |text| Ok(gone(text))).expect("changed");
        assert_eq!(names(&rig), before);
        rig.desk.step(rig.desk.view().revision, false).expect("a step back");
        assert_eq!(names(&rig), now);
        assert!(hear(&rig, "nobody.clock", None, &never).is_err());
        assert_eq!(names(&rig), now);
        hear_none(&rig);
        assert_eq!(names(&rig), before);
    }
}
