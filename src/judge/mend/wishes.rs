use super::catalogue::MOST_OFFERS;

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
    pub prices: Vec<(String, u64)>,
}

/// A key that cannot be set by a mend.
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
    /// No box is called so.
    #[error("there is no sequencer `{0}` to nudge")]
    NoBox(String),
    /// Nothing that could be changed is called so.
    #[error("`{0}` names nothing that would be changed")]
    Nothing(String),
    /// Too many changes.
    #[error("there are {0} changes to choose from, and at most {MOST_OFFERS} are searched")]
    TooMany(usize),
}

impl WishError {
    /// What to do, for after `help: `.
    #[must_use]
    pub const fn help(&self) -> &'static str {
        match self {
            Self::Path(_) => "write a path as a fix sets it, such as sequencer.wren.reset-mode",
            Self::Loop(_) => "name an output of the clock; what hangs on a box is written as a fix instead",
            Self::Way(_) => "take it out; with `--keep` a way stays as it is",
            Self::NoBox(_) => "write the name of a sequencer of the patch",
            Self::Nothing(_) => {
                "write a path such as sequencer.wren.clock, component.NAME, or a kind: nudge, dial, setting, cable, part"
            }
            Self::TooMany(_) => "keep some paths, or name fewer components",
        }
    }
}
