use super::catalogue::MOST_OFFERS;
use super::cost::Cost;
use super::parts::Part;
use crate::patch::{Rig, nearest, shown};

/// What the user allows, forbids and prices.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Wishes {
    /// Steps of every phase dial for one period; without it, only the dials that the patch or a fix of it uses, in steps of a
    /// hundredth.
    pub dial_steps: Option<u32>,
    /// The most inputs at an output for any two or more of which one part may be put in; `None`: [`USUAL_GROUPS`](super::USUAL_GROUPS).
    pub groups: Option<usize>,
    /// Keys that may be set, each with its values as TOML.
    pub may: Vec<(String, Vec<String>)>,
    /// Boxes that can be nudged, besides those of which the patch says so.
    pub nudges: Vec<String>,
    /// Paths, `component.NAME`, or kinds of changes that are left alone.
    pub keep: Vec<String>,
    /// What changes cost: a path, `component.NAME` or a kind of changes, and the price. Of several that hold, the last.
    pub prices: Vec<(String, Cost)>,
}

/// A wish that cannot be met.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum WishError {
    /// It is none that a fix sets one key with.
    #[error("`{0}` is not the path of one key")]
    Path(String),
    /// Ways are moved by the search itself.
    #[error("`{0}` is the way to an input, and those are searched anyway")]
    Way(String),
    /// A second input of a stage that would hang on a box.
    #[error("`{0}` would hang on a box or on a wire")]
    Loop(String),
    /// The kind of a box.
    #[error("a fix cannot set `{0}`: kinds are filled in before anything is set")]
    Like(String),
    /// A key that cannot be set to any of its values.
    #[error("`{path}` cannot be set: {why}")]
    Set {
        /// The key.
        path: String,
        /// What is wrong with its values.
        why: String,
    },
    /// No box is called so.
    #[error("there is no sequencer `{wish}` to nudge")]
    NoBox {
        /// What was written.
        wish: String,
        /// The name that may be meant.
        near: Option<String>,
        /// The names that there are.
        known: Vec<String>,
    },
    /// Nothing that could be changed is called so.
    #[error("`{wish}` names nothing that would be changed")]
    Nothing {
        /// What was written.
        wish: String,
        /// The name that may be meant.
        near: Option<String>,
        /// The names that there are.
        known: Vec<String>,
    },
    /// Several things are called so.
    #[error("`{wish}` names several things")]
    Several {
        /// What was written.
        wish: String,
        /// The names that it may stand for.
        known: Vec<String>,
    },
    /// Too many changes.
    #[error("there are {0} changes to choose from, and at most {MOST_OFFERS} are searched")]
    TooMany(usize),
}

impl WishError {
    /// What to do, for after `help: `.
    #[must_use]
    pub fn help(&self) -> String {
        let kinds = "or a kind: nudge, dial, setting, cable, part";
        let meant = |near: &Option<String>| near.as_ref().map(|near| format!("did you mean `{near}`?"));
        let said = match self {
            Self::Path(_) => "write a path as a fix sets it, such as sequencer.wren.reset-mode",
            Self::Loop(_) => "name an output of the clock; what hangs on a box is written as a fix instead",
            Self::Way(_) => "take it out; with `--keep` a way stays as it is",
            Self::Like(_) => "name what that kind says, such as its reset-mode; `hitgap boxes` says what each is",
            Self::Set { .. } => "write a key that a fix can set, and values that it takes: `docs/keys.md` lists them",
            Self::NoBox { near, known, .. } => {
                return meant(near).unwrap_or_else(|| format!("the patch has {}", listed(known)));
            }
            Self::Nothing { near, known, .. } => {
                return meant(near).unwrap_or_else(|| format!("the patch has {}; {kinds}", listed(known)));
            }
            Self::Several { known, .. } => return format!("say which is meant: {}", listed(known)),
            Self::TooMany(_) => "keep some paths, or name fewer components",
        };
        said.to_owned()
    }
}

/// Names for a sentence; past a dozen the rest is counted.
fn listed(names: &[String]) -> String {
    const MOST: usize = 12;
    let mut all: Vec<String> = names.iter().take(MOST).map(|name| format!("`{}`", shown(name))).collect();
    if names.len() > MOST {
        all.push(format!("{} more", names.len() - MOST));
    }
    all.join(", ")
}

/// What a wish names, in full: a name alone does where one thing only is called so. `known` are paths that something changes.
///
/// # Errors
/// Where it names nothing, or several things.
pub(super) fn named(rig: &Rig, parts: &[Part], wish: &str, is_known: bool) -> Result<String, WishError> {
    if is_known || names_anything(rig, wish) {
        return Ok(wish.to_owned());
    }
    let all = names(rig, parts);
    let bare = |name: &str| name.split_once('.').map_or_else(String::new, |(_, bare)| bare.to_owned());
    let begins = |name: &String| {
        let bare = bare(name);
        wish == bare || wish.strip_prefix(&bare).is_some_and(|rest| rest.starts_with('.'))
    };
    let stands: Vec<String> = all.iter().filter(|name| begins(name)).cloned().collect();
    match &stands[..] {
        [one] => Ok(format!("{}.{wish}", one.split('.').next().unwrap_or_default())),
        [] => {
            let near = nearest(wish, all.iter().map(String::as_str)).map(str::to_owned);
            let bares: Vec<String> = all.iter().map(|name| bare(name)).collect();
            let by_bare = || {
                let near = nearest(wish, bares.iter().map(String::as_str))?;
                bares.iter().position(|own| own == near).map(|n| all[n].clone())
            };
            Err(WishError::Nothing { wish: wish.to_owned(), near: near.or_else(by_bare), known: all })
        }
        _ => Err(WishError::Several { wish: wish.to_owned(), known: stands }),
    }
}

/// Everything in a rig that a wish may name, and the parts.
fn names(rig: &Rig, parts: &[Part]) -> Vec<String> {
    let of = |kind: &str, name: &str| format!("{kind}.{name}");
    let sequencers = rig.sequencers.iter().map(|s| of("sequencer", &s.name));
    let takes = rig.takes.iter().map(|t| of("hits", &t.name));
    let outputs = rig.outputs.iter().map(|o| of("clock", &o.name));
    let stages = rig.stages.iter().map(|s| of("stage", &s.name));
    let wires = rig.wires.iter().map(|w| of("wire", &w.name));
    let parts = parts.iter().filter(|part| part.stage.is_none()).map(|part| of("component", &part.name));
    sequencers.chain(takes).chain(outputs).chain(stages).chain(wires).chain(parts).collect()
}

fn names_anything(rig: &Rig, wish: &str) -> bool {
    let all = names(rig, &[]);
    wish == "component"
        || all.iter().any(|name| wish.strip_prefix(name).is_some_and(|r| r.is_empty() || r.starts_with('.')))
}

/// The box that is to be nudged.
///
/// # Errors
/// Where there is none of that name.
pub(super) fn nudged(rig: &Rig, wish: &str) -> Result<usize, WishError> {
    let bare = wish.strip_prefix("sequencer.").unwrap_or(wish);
    rig.sequencers.iter().position(|s| s.name == bare).ok_or_else(|| {
        let known: Vec<String> = rig.sequencers.iter().map(|s| s.name.clone()).collect();
        let near = nearest(bare, known.iter().map(String::as_str)).map(str::to_owned);
        WishError::NoBox { wish: wish.to_owned(), near, known }
    })
}
