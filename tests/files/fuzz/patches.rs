//! Patches and components: whatever is read is checked too.

use super::edits::{edited, examples, noise};
use super::{cases, is_plain};
use crate::schema::{Validator, json};
use hitgap::hits::{list, write_csv};
use hitgap::judge::Judged;
use hitgap::judge::Target;
use hitgap::judge::advise::{Aim, Question, advise};
use hitgap::judge::runs::{Trials, chances};
use hitgap::judge::{Colour, breakdown, judge, sure};
use hitgap::patch::{Asked, Faults, Patch, Rig, SCHEMA, StageKind, Timing, Variant, box_kinds};
use hitgap::rig::{Run, play_run};
use hitgap::show::report::{Checked, Detail, Layout, check_csv, check_json, check_table};
use hitgap::time::{Span, Tempo};
use proptest::prelude::*;

/// The most pulses that are played of a patch here, multipliers counted in.
const MOST_PULSES: i128 = 2_000;

/// Faults that point into the text and say what to do, in a form that a terminal may show.
pub(crate) fn tell(faults: &Faults, source: &str) {
    let plain = faults.render("a.toml", source, false);
    is_plain(&plain);
    assert_eq!(plain.is_empty(), faults.is_empty());
    for fault in faults.list() {
        assert!(!fault.message.is_empty() && !fault.help.is_empty(), "{fault:?}");
        assert!(fault.at.as_ref().is_none_or(|at| at.start <= at.end && at.end <= source.len()), "{fault:?}");
    }
}

/// Reads a patch; what is one is looked at in every way.
pub(crate) fn read(source: &str) {
    match Patch::parse(source, &Asked::default()) {
        Err(faults) => {
            assert!(!faults.is_empty());
            tell(&faults, source);
        }
        Ok(patch) => {
            tell(&patch.warnings, source);
            in_schema(source);
            [&patch.title, &patch.note]
                .into_iter()
                .flatten()
                .for_each(|words| is_plain(&words.replace(['\r', '\t'], "\n")));
            checked(&patch, source);
            // A piece as short as can be, of which more can be played.
            if let Ok(short) = Patch::parse(source, &Asked { bars: Some(1), ..Asked::default() }) {
                checked(&short, source);
            }
        }
    }
}

/// What is a patch is one to the schema too.
fn in_schema(source: &str) {
    thread_local!(static VALIDATOR: Validator = Validator::new(&SCHEMA));
    let value = json(source).expect("TOML");
    VALIDATOR.with(|validator| assert_eq!(validator.fault(&value), None));
}

fn checked(patch: &Patch, source: &str) {
    let variants: Vec<&Variant> = std::iter::once(&patch.original).chain(&patch.fixes).take(3).collect();
    let tempo = patch.tempos[0];
    let small: Vec<&Variant> = variants.iter().copied().filter(|v| work(&v.rig, tempo) <= MOST_PULSES).collect();
    let results: Vec<Judged<'_>> = small.iter().filter_map(|v| judged(patch, v, tempo)).collect();
    for result in &results {
        others(patch, &result.variant.rig, tempo, source);
    }
    let all = Checked { name: "a.toml".to_owned(), patch, bars: None, max_gap_from: None, results };
    is_plain(&check_table(&all, Detail::Full, Layout::PLAIN));
    let mut csv = Vec::new();
    check_csv(&all, &mut csv).expect("memory");
    is_plain(std::str::from_utf8(&csv).expect("text"));
    serde_json::to_string(&check_json(&all)).expect("JSON");
}

fn judged<'a>(patch: &Patch, variant: &'a Variant, tempo: Tempo) -> Option<Judged<'a>> {
    let rig = &variant.rig;
    let performance = match play_run(rig, tempo, Run::Typical) {
        Ok(performance) => performance,
        Err(error) => {
            is_plain(&error.to_string());
            return None;
        }
    };
    let verdict = judge(rig, &performance, patch.max_gap).expect("a checked patch fits");
    let sure = sure(rig, &performance, patch.skew);
    let hits = list(rig, &performance);
    write_csv(rig, &hits, std::io::sink()).expect("nowhere");
    let drawn = hitgap::judge::runs::left_to_chance(rig);
    let colours = vec![Colour::default(); verdict.gaps.len()];
    let breakdown = breakdown(rig, tempo, 1, 1).unwrap_or_default();
    let trials = Trials { runs: 2, seed: 1, max_gap: patch.max_gap, max_wobble: patch.max_wobble };
    let runs = chances(rig, tempo, trials, &|| ()).ok();
    Some(Judged { variant, tempo, verdict, colours, sure, drawn, breakdown, runs })
}

/// Advice for some of them: it plays a patch many times.
fn others(patch: &Patch, rig: &Rig, tempo: Tempo, source: &str) {
    if !source.len().is_multiple_of(16) || rig.sequencers.is_empty() || work(rig, tempo) > MOST_PULSES / 10 {
        return;
    }
    let question = Question {
        target: Target { sequencer: 0, input: hitgap::judge::Input::Clock },
        aim: Aim { max_gap: patch.max_gap, skew: patch.skew },
        tempos: &[tempo],
        components: patch.components.get(..1).unwrap_or_default(),
        dial_steps: Some(7),
        settings: &[],
        between: (Tempo::whole(60), Tempo::whole(61)),
        rc: true,
    };
    if let Err(error) = advise(rig, &question) {
        is_plain(&error.to_string());
    }
}

/// How many pulses all outputs send at most, as if each went through every multiplier and was looked at by every loop.
fn work(rig: &Rig, tempo: Tempo) -> i128 {
    let mut rates: Vec<_> = rig.outputs.iter().map(|o| &o.timing).collect();
    rates.extend(rig.course.turns.iter().flat_map(|t| t.passes.iter().chain([&t.to])).map(|o| &o.timing));
    let count = |timing: &Timing| match timing {
        Timing::Rate { period, .. } => (rig.end / *period).ceil().to_integer(),
        _ => 1,
    };
    let pulses: i128 = rates.into_iter().map(count).sum::<i128>() + 1;
    let multiplied = |kind: &StageKind| if let StageKind::Multiply(m) = kind { i128::from(m.by) } else { 1 };
    let kinds =
        rig.stages.iter().chain(rig.course.eras.iter().flat_map(|era| &era.stages)).map(|s| multiplied(&s.kind));
    let lasts = Span(tempo.exact(rig.end).to_integer().try_into().unwrap_or(i64::MAX));
    // An era of a day is gone through in steps of its own: not here.
    if lasts > Span::from_ms(3_600_000) { i128::MAX } else { kinds.fold(pulses, i128::saturating_mul) }
}

/// Reads a list of components beside an example patch.
pub(crate) fn read_components(source: &str) {
    let text = examples("patches", "late-bell.toml").remove(0);
    let patch = Patch::parse(&text, &Asked::default()).unwrap_or_else(|_| panic!("an example"));
    match patch.read_components(source) {
        Ok(all) => {
            let notes = all.iter().flat_map(|c| [&c.price, &c.note]).flatten();
            notes.for_each(|words| is_plain(&words.replace(['\r', '\t'], "\n")));
        }
        Err(faults) => tell(&faults, source),
    }
}

/// Reads a list of kinds of boxes, and each of its kinds in a patch.
pub(crate) fn read_boxes(source: &str) {
    let boxes = match Patch::read_boxes(source) {
        Ok(boxes) => boxes,
        Err(faults) => return tell(&faults, source),
    };
    for kind in boxes.list() {
        [kind.about(), kind.tell()].into_iter().flatten().for_each(is_plain);
        kind.keys().iter().chain(&kind.brings()).for_each(|(key, value)| is_plain(&format!("{key} = {value}")));
        let like = format!(
            "[clock.c]\nrate = \"4 per beat\"\n[clock.h]\nrate = \"1 per 4 beats\"\n[sequencer.s]\nlike = \"{}\"\n\
             clock = \"c\"\nreset = \"h\"\nreset-mode = \"ignored\"\nsteps = \"x...\"\n",
            kind.name()
        );
        if let Err(faults) = Patch::parse(&like, &Asked { boxes: boxes.clone(), ..Asked::default() }) {
            tell(&faults, &like);
        }
    }
}

/// A patch with kinds of its own, as many as the kit has, and a box that is like each.
fn of_its_own_kinds() -> String {
    let kit =
        std::fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/src/patch/like/kit.toml")).expect("the kit");
    let boxes = box_kinds().iter().map(|kind| {
        let name = kind.name();
        format!("[sequencer.a-{name}]\nlike = \"{name}\"\nclock = \"c\"\nreset = \"h\"\nsteps = \"x.x.\"\n")
    });
    let boxes: String = boxes.collect();
    format!("{kit}\n[clock.c]\nrate = \"4 per beat\"\n[clock.h]\nrate = \"1 per 4 beats\"\n{boxes}")
}

fn patches() -> Vec<String> {
    let mut all = examples("patches", ".toml");
    all.extend(examples("src/source/carried/templates", ".toml"));
    all.retain(|text| text.contains("[sequencer.") || text.contains("\nsequencer."));
    all.push(of_its_own_kinds());
    all.extend(examples("tests/bad", ".toml"));
    all.extend(examples("tests/finds", ".patch.toml"));
    all
}

proptest! {
    #![proptest_config(cases(96))]

    #[test]
    fn edited_patches_are_answered_and_checked(text in edited(patches())) {
        read(&text);
    }

    #[test]
    fn noise_is_no_patch(text in noise()) {
        read(&text);
        read_components(&text);
        read_boxes(&text);
    }

    #[test]
    fn edited_kinds_of_boxes_are_answered(text in edited(examples("src/patch/like", ".toml"))) {
        read_boxes(&text);
    }

    #[test]
    fn edited_components_are_answered(text in edited(examples("patches", "components.toml"))) {
        read_components(&text);
    }
}
