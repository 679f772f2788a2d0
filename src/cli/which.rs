//! Which path or box of a patch is meant by a name that may be short; where it could be several, whole commands to paste.

use super::Failure;
use super::paste::commands;
use crate::judge::identify::{BenchError, TestBench};
use crate::judge::sweep::{Knob, KnobError};
use crate::judge::{Target, TargetError, meant};
use crate::patch::{Patch, Rig, shown};

/// The input that `--on` means.
///
/// # Errors
/// Exit status 2 where it means none or several.
pub(super) fn target(rig: &Rig, text: &str) -> Result<Target, Failure> {
    Target::parse(rig, text).or_else(|error| {
        let names: Vec<String> = Target::all(rig).iter().map(|target| target.name(rig)).collect();
        let name = one(&names, text, "--on", &error, &found_of(&error))?;
        Target::parse(rig, &name).map_err(|e| Failure::input(&e, e.help()))
    })
}

/// The only input of a rig, for an option that speaks of one.
///
/// # Errors
/// Exit status 2 where there are several, or none.
pub(super) fn only(rig: &Rig, option: &str) -> Result<Target, Failure> {
    match Target::all(rig)[..] {
        [only] => Ok(only),
        ref all => {
            let names: Vec<String> = all.iter().map(|target| target.name(rig)).collect();
            let found = format!("{option} speaks of one input, and the patch has {}", names.len());
            Err(Failure::input(found, write_one("--on", &names)))
        }
    }
}

/// What `--on` means that can be turned.
///
/// # Errors
/// Exit status 2 where it means nothing or several things.
pub(super) fn knob(rig: &Rig, text: &str) -> Result<Knob, Failure> {
    Knob::parse(rig, text).or_else(|error| {
        let narrow = match &error {
            KnobError::Target(error) => found_of(error),
            _ => text.to_owned(),
        };
        let name = one(&Knob::names(rig), text, "--on", &error, &narrow)?;
        Knob::parse(rig, &name).map_err(|e| Failure::input(&e, e.help()))
    })
}

/// The box that `--sequencer` means, on its test bench; without the option, the only one that can be tried.
///
/// # Errors
/// Exit status 2 where it means none or several.
pub(super) fn bench(
    patch: &Patch,
    text: Option<&str>,
    refused: impl Fn(BenchError) -> Failure,
) -> Result<TestBench, Failure> {
    let text = text.map(|text| text.trim().strip_prefix("sequencer.").unwrap_or(text.trim()));
    TestBench::in_patch(patch, text).or_else(|error| {
        let all = patch.original.rig.sequencers.iter().map(|s| s.name.clone());
        let can: Vec<String> = all.filter(|name| TestBench::in_patch(patch, Some(name)).is_ok()).collect();
        match (&error, can.as_slice()) {
            (BenchError::Several { .. }, [only]) => TestBench::in_patch(patch, Some(only)).map_err(&refused),
            (BenchError::Several { .. } | BenchError::Unknown { .. }, [_, ..]) => {
                Err(Failure::input(&error, format!("say which is the box:{}", commands("--sequencer", &can))))
            }
            _ => Err(refused(error)),
        }
    })
}

/// The box that an error speaks of, if it knows one.
fn found_of(error: &TargetError) -> String {
    match error {
        TargetError::Form { text, .. } => text.clone(),
        TargetError::Unknown { name, .. } | TargetError::NoReset(name) => name.clone(),
    }
}

/// The one name that a short one stands for. `narrow` is what choices are narrowed down by where it stands for none.
fn one(
    names: &[String],
    text: &str,
    option: &str,
    error: &dyn std::fmt::Display,
    narrow: &str,
) -> Result<String, Failure> {
    match meant(names, text)[..] {
        [name] => Ok(name.to_owned()),
        [] => {
            let near: Vec<String> =
                names.iter().filter(|name| name.split('.').any(|part| part == narrow)).cloned().collect();
            let choices = if near.is_empty() { names } else { &near };
            Err(Failure::input(error, write_one(option, choices)))
        }
        ref several => {
            let (text, choices) =
                (shown(text.trim()), several.iter().map(|name| (*name).to_owned()).collect::<Vec<_>>());
            let several = match choices.len() {
                ..=3 => choices.join(" or "),
                many => format!("any of {many}"),
            };
            Err(Failure::input(format!("`{text}` may mean {several}"), write_one(option, &choices)))
        }
    }
}

fn write_one(option: &str, choices: &[String]) -> String {
    let which = if choices.len() == 1 { "write" } else { "write one of" };
    format!("{which}{}", commands(option, choices))
}
