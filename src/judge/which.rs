//! Which path or box of a patch is meant by a name that may be short; where it could be several, whole commands to paste.

use super::identify::{BenchError, TestBench};
use super::sweep::{Knob, KnobError};
use super::{Target, TargetError, meant};
use crate::patch::{Patch, Rig, shown};
use crate::text::commands;
use std::fmt::Display;

/// Why it cannot be told what is meant: nothing is, or several things are.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{found}")]
pub struct Unclear {
    found: String,
    /// What to do, up to the commands; without choices, all of it.
    lead: String,
    option: &'static str,
    choices: Vec<String>,
}

impl Unclear {
    /// One of these has to be written.
    fn one_of(found: impl Display, option: &'static str, choices: &[String]) -> Self {
        let lead = if choices.len() == 1 { "write" } else { "write one of" };
        Self { found: found.to_string(), lead: lead.to_owned(), option, choices: choices.to_vec() }
    }

    /// Told by another, who knows what to do.
    fn told(error: &impl Display, help: impl Display) -> Self {
        Self { found: error.to_string(), lead: help.to_string(), option: "", choices: Vec::new() }
    }

    /// What to do, for after `help: `: the command that was typed, whose words these are, once for each choice.
    #[must_use]
    pub fn help(&self, typed: &[String]) -> String {
        format!("{}{}", self.lead, commands(typed, self.option, &self.choices))
    }
}

/// Why there is no test bench for the box that was named.
#[derive(Debug)]
pub enum NoBench {
    /// It cannot be told which box is meant.
    Unclear(Unclear),
    /// The box cannot be tried.
    Refused(BenchError),
}

/// The input that `--on` means.
///
/// # Errors
/// [`Unclear`] where it means none or several.
pub fn target(rig: &Rig, text: &str) -> Result<Target, Unclear> {
    Target::parse(rig, text).or_else(|error| {
        let names: Vec<String> = Target::all(rig).iter().map(|target| target.name(rig)).collect();
        let name = one(&names, text, "--on", &error, &found_of(&error))?;
        Target::parse(rig, &name).map_err(|e| Unclear::told(&e, e.help()))
    })
}

/// The only input of a rig, for an option that speaks of one.
///
/// # Errors
/// [`Unclear`] where there are several, or none.
pub fn only(rig: &Rig, option: &str) -> Result<Target, Unclear> {
    match Target::all(rig)[..] {
        [only] => Ok(only),
        ref all => {
            let names: Vec<String> = all.iter().map(|target| target.name(rig)).collect();
            let found = format!("{option} speaks of one input, and the patch has {}", names.len());
            Err(Unclear::one_of(found, "--on", &names))
        }
    }
}

/// What `--on` means that can be turned.
///
/// # Errors
/// [`Unclear`] where it means nothing or several things.
pub fn knob(rig: &Rig, text: &str) -> Result<Knob, Unclear> {
    Knob::parse(rig, text).or_else(|error| {
        let narrow = match &error {
            KnobError::Target(error) => found_of(error),
            _ => text.to_owned(),
        };
        let name = one(&Knob::names(rig), text, "--on", &error, &narrow)?;
        Knob::parse(rig, &name).map_err(|e| Unclear::told(&e, e.help()))
    })
}

/// The box that `--sequencer` means, on its test bench; without the option, the only one that can be tried.
///
/// # Errors
/// [`NoBench`] where it means none or several, or one that cannot be tried.
pub fn bench(patch: &Patch, text: Option<&str>) -> Result<TestBench, NoBench> {
    let text = text.map(|text| text.trim().strip_prefix("sequencer.").unwrap_or(text.trim()));
    TestBench::in_patch(patch, text).or_else(|error| {
        let all = patch.original.rig.sequencers.iter().map(|s| s.name.clone());
        let can: Vec<String> = all.filter(|name| TestBench::in_patch(patch, Some(name)).is_ok()).collect();
        match (&error, can.as_slice()) {
            (BenchError::Several { .. }, [only]) => TestBench::in_patch(patch, Some(only)).map_err(NoBench::Refused),
            (BenchError::Several { .. } | BenchError::Unknown { .. }, [_, ..]) => {
                let (found, lead) = (error.to_string(), "say which is the box:".to_owned());
                Err(NoBench::Unclear(Unclear { found, lead, option: "--sequencer", choices: can }))
            }
            _ => Err(NoBench::Refused(error)),
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
    option: &'static str,
    error: &dyn Display,
    narrow: &str,
) -> Result<String, Unclear> {
    match meant(names, text)[..] {
        [name] => Ok(name.to_owned()),
        [] => {
            let near: Vec<String> =
                names.iter().filter(|name| name.split('.').any(|part| part == narrow)).cloned().collect();
            let choices = if near.is_empty() { names } else { &near };
            Err(Unclear::one_of(error, option, choices))
        }
        ref several => {
            let (text, choices) =
                (shown(text.trim()), several.iter().map(|name| (*name).to_owned()).collect::<Vec<_>>());
            let several = match choices.len() {
                ..=3 => choices.join(" or "),
                many => format!("any of {many}"),
            };
            Err(Unclear::one_of(format!("`{text}` may mean {several}"), option, &choices))
        }
    }
}
