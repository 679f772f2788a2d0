//! What helps the whole rig: the least sets of changes with which everybody is together, as `mend` finds them, each to be tried
//! or kept.

use super::answers::{answer, aside};
use super::opened::{Open, Opened};
use crate::judge::advise::Aim;
use crate::judge::mend::{Catalogue, Change, Extent, Proposal, Question, Watch, Wishes, mend};
use crate::patch::NewFix;
use crate::show::report::{Mending, gap_ms, mend_table, ms};
use crate::show::workload::few_enough;
use axum::http::StatusCode;
use axum::response::Response;
use serde_json::{Value, json};
use std::sync::atomic::{AtomicBool, Ordering};

/// How wide the table is, in signs: what a phone's page holds sideways.
const WIDTH: usize = 72;
/// So many sets of changes are told.
const TOLD: usize = 5;
/// Sets have as many changes as `mend` allows unless it is told otherwise, while no more than so many have to be searched: a
/// person waits for the answer.
const BUDGET: usize = 3;
const MOST_SETS: u128 = 2_000_000;

/// What helps the patch as it is; given up where nobody waits for it any more.
pub(super) async fn cures(Open(rig): Open) -> Response {
    let (_waits, work) = rig.asking.begin();
    aside(move || match mended(&rig, &work.cancel) {
        Ok(cures) => answer(StatusCode::OK, &cures),
        Err(says) => answer(StatusCode::UNPROCESSABLE_ENTITY, &json!({ "says": says })),
    })
    .await
}

/// The cures of the original, the best first.
///
/// # Errors
/// A sentence, for what is too much, and where `cancel` is set meanwhile.
fn mended(rig: &Opened, cancel: &AtomicBool) -> Result<Value, String> {
    let view = rig.desk.view();
    let loaded = rig.maker.loaded(&view.text, &mut Vec::new()).map_err(|e| e.to_string())?;
    let patch = &loaded.patch;
    few_enough(&patch.original.rig, &patch.tempos, "this question").map_err(|e| e.to_string())?;
    let components = loaded.components(&[]).map_err(|e| e.to_string())?;
    let catalogue = loaded.catalogue(&components, &Wishes::default());
    let catalogue = catalogue.map_err(|e| format!("{e}; {}", e.help()))?;
    let searched = |budget: &usize| catalogue.sets(*budget).iter().sum::<u128>() <= MOST_SETS;
    let budget = (1..=BUDGET).rev().find(searched).unwrap_or(1);
    let question = Question {
        patch,
        catalogue: &catalogue,
        aim: Aim { max_gap: patch.max_gap, skew: patch.skew },
        tempos: &patch.tempos,
        extent: Extent { budget, beyond: false },
    };
    let found = mend(
        &question,
        &Watch { progress: &|_| {}, found: &|_| {}, judged: &|_, _| {}, known: &[], limit: None, cancel },
    );
    if cancel.load(Ordering::Relaxed) {
        return Err("stopped: another question was asked, or nobody waits any more".to_owned());
    }
    let said = Mending {
        name: loaded.name.clone(),
        max_gap_from: None,
        title: patch.title.as_deref(),
        rig: &patch.original.rig,
        max_gap: patch.max_gap,
        catalogue: &catalogue,
        budget,
        mended: &found,
        show: TOLD,
        holds: None,
    };
    // What is well needs nothing, however much could be done to it.
    let told = if found.now.is_empty() { 0 } else { TOLD };
    let cures: Result<Vec<Value>, String> = found.proposals.iter().take(told).map(|best| cure(&said, best)).collect();
    Ok(json!({ "of": view.revision, "well": found.now.is_empty(), "says": mend_table(&said, WIDTH), "cures": cures? }))
}

/// A set of changes: what is done, what it costs and what is left then, and what a fix of it sets.
fn cure(said: &Mending<'_>, best: &Proposal) -> Result<Value, String> {
    let does: Vec<String> = best.changes.iter().map(|&n| said.done(best, n)).collect();
    let NewFix { name, set, one, .. } = &best.fix;
    let set: Result<Vec<(&String, Value)>, String> = set.iter().map(|(path, to)| Ok((path, value(to)?))).collect();
    let widest = best.at.iter().filter_map(|at| at.widest).map(|(_, gap)| gap).max();
    Ok(json!({
        "name": name,
        "about": does.join(", then "),
        "does": does,
        "price": price(said.catalogue, best),
        "spare": best.slack.map(|slack| format!("{} ms", ms(slack))),
        "widest": widest.map(|gap| format!("{} ms", gap_ms(gap, said.max_gap))),
        "set": set?,
        "one": one,
    }))
}

/// What is bought, in the words of the list of parts, and what is plugged.
fn price(catalogue: &Catalogue, best: &Proposal) -> String {
    let of = |n: &usize| match &catalogue.offers[*n].change {
        Change::Put { part, .. } => {
            let part = &catalogue.parts[*part];
            let own = part.stage.map(|_| "what lies there".to_owned());
            Some(part.price.clone().or(own).unwrap_or_else(|| "a part".to_owned()))
        }
        Change::Route { .. } => Some("a cable plugged elsewhere".to_owned()),
        Change::Nudge { .. } | Change::Turn { .. } | Change::Set { .. } => None,
    };
    let all: Vec<String> = best.changes.iter().filter_map(of).collect();
    if all.is_empty() { "nothing".to_owned() } else { all.join(", ") }
}

/// A value as TOML writes it, as JSON.
fn value(written: &str) -> Result<Value, String> {
    let table: toml::Table = format!("value = {written}").parse().map_err(|_| format!("`{written}` is no value"))?;
    table
        .get("value")
        .and_then(|value| serde_json::to_value(value).ok())
        .ok_or_else(|| format!("`{written}` is no value"))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::patch::{Asked, Edit, Part, Patch, Worth, edited};
    use crate::serve::maker::Subject;
    use std::path::Path;

    fn opened(text: &str) -> (tempfile::TempDir, std::sync::Arc<Opened>) {
        let folder = tempfile::tempdir().expect("a folder");
        let file = folder.path().join("rig.toml");
        std::fs::write(&file, text).expect("a file");
        (folder, Opened::new(Subject::of(file)).expect("a patch"))
    }

    /// Every cure of the example, kept as a fix, is judged by the program as `check` judges a fix: everybody together at every tempo.
    #[test]
    fn every_cure_makes_a_fix_that_passes() {
        let bell = std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("patches/late-bell.toml"));
        let bell = bell.expect("an example");
        let (_folder, rig) = opened(&bell);
        let found = mended(&rig, &AtomicBool::new(false)).expect("cures");
        assert_eq!((&found["well"], &found["of"]), (&json!(false), &json!(1)));
        let cures = found["cures"].as_array().expect("cures");
        assert!(!cures.is_empty());
        for (n, cure) in cures.iter().enumerate() {
            let name = format!("cure-{n}");
            let set = cure["set"].as_array().expect("keys").iter().map(|pair| {
                let to: Worth = serde_json::from_value(pair[1].clone()).expect("a value");
                (pair[0].as_str().expect("a path").to_owned(), to)
            });
            let to = Worth::Table(vec![("set".to_owned(), Worth::Table(set.collect()))]);
            let add = Edit::Add { at: ["fix", &name].map(|key| Part::Key(key.to_owned())).into(), to };
            let kept = edited(&bell, &add).expect("kept");
            let patch = Patch::parse(&kept, &Asked::default()).unwrap_or_else(|e| panic!("{kept}\n{e}"));
            let fix = patch.variant(&name).expect("a fix");
            for tempo in &patch.tempos {
                let judged = crate::judge::Judged::new(&fix, *tempo, &patch, crate::rig::Run::Typical).expect("played");
                assert_eq!(judged.state(), crate::judge::State::Together, "{cure} at {tempo}");
            }
            assert!(cure["price"].is_string() && cure["spare"].is_string(), "{cure}");
        }
    }

    #[test]
    fn a_rig_that_is_well_needs_nothing_and_who_is_gone_gets_nothing() {
        let text = "tempos = [120]\n[clock.a]\nrate = \"4 per beat\"\n[sequencer.s]\nclock = \"a\"\nsteps = \"x...\"\nvoice = \"kick\"\n\
                    [sequencer.t]\nclock = \"a\"\nsteps = \"x.x.\"\nvoice = \"hat\"\n";
        let (_folder, rig) = opened(text);
        let found = mended(&rig, &AtomicBool::new(false)).expect("an answer");
        assert_eq!((&found["well"], &found["cures"]), (&json!(true), &json!([])));
        assert!(mended(&rig, &AtomicBool::new(true)).is_err_and(|why| why.contains("stopped")));
    }
}
