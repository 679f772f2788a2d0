use crate::patch::check::show::{shown, tamed};
use std::fmt;
use std::ops::Range;

/// Where something stands in the text of a patch, in bytes.
pub(in crate::patch) type Place = Range<usize>;

/// How many faults are told; the rest is counted.
pub(in crate::patch) const MOST_TOLD: usize = 50;
/// How many faults are gathered. Past it nobody reads on, and memory must stay bounded.
pub(in crate::patch) const MOST_GATHERED: usize = 1000;

/// Something in a patch that is wrong, or that is right and has no effect.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fault {
    /// The place that is underlined, in bytes of the source; `None` for a fault of what was asked for beside the file.
    pub at: Option<Range<usize>>,
    /// What was found, in a line that begins in lower case.
    pub message: String,
    /// What is said under the underlined text: found against expected.
    pub label: String,
    /// Another place that has to do with it, and what is said there.
    pub context: Option<(Range<usize>, String)>,
    /// What to do.
    pub help: String,
}

impl Fault {
    pub(in crate::patch) fn new(at: Place, message: impl Into<String>) -> Self {
        Self { at: Some(at), message: message.into(), label: String::new(), context: None, help: String::new() }
    }

    pub(in crate::patch) fn label(mut self, label: impl Into<String>) -> Self {
        self.label = label.into();
        self
    }

    pub(in crate::patch) fn context(mut self, at: Place, label: impl Into<String>) -> Self {
        self.context = Some((at, label.into()));
        self
    }

    pub(in crate::patch) fn help(mut self, help: impl Into<String>) -> Self {
        self.help = help.into();
        self
    }

    /// Two faults with one key are one fault, seen in two variants: what is listed in labels and help may differ.
    pub(in crate::patch) fn key(&self) -> (Option<(usize, usize)>, &str) {
        (self.at.as_ref().map(|at| (at.start, at.end)), &self.message)
    }
}

/// All that was found wrong in a patch, or all warnings, in the order of the file. [`Faults::render`] shows them.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Faults {
    list: Vec<Fault>,
    /// Those that were found past the bound and not kept.
    more: usize,
    warnings: bool,
}

impl Faults {
    pub(in crate::patch) fn warnings() -> Self {
        Self { warnings: true, ..Self::default() }
    }

    pub(in crate::patch) fn push(&mut self, fault: Fault) {
        if self.list.len() < MOST_GATHERED { self.list.push(fault) } else { self.more += 1 }
    }

    /// The one that was told last, to say more of it.
    pub(in crate::patch) fn last_mut(&mut self) -> Option<&mut Fault> {
        self.list.last_mut()
    }

    /// Each of them, to say more of it.
    pub(in crate::patch) fn list_mut(&mut self) -> &mut [Fault] {
        &mut self.list
    }

    /// Leaves out what another one says better.
    pub(in crate::patch) fn retain(&mut self, keep: impl Fn(&Fault) -> bool) {
        self.list.retain(keep);
    }

    pub(in crate::patch) fn one(fault: Fault) -> Self {
        Self { list: vec![fault], ..Self::default() }
    }

    /// In the order of the file; those without a place come first.
    pub(in crate::patch) fn sort(&mut self) {
        self.list.sort_by_key(|f| f.at.as_ref().map(|at| (at.start, at.end)));
    }

    /// Each fault, in the order of the file.
    #[must_use]
    pub fn list(&self) -> &[Fault] {
        &self.list
    }

    /// How many there are, those that are not told included.
    #[must_use]
    pub fn count(&self) -> usize {
        self.list.len() + self.more
    }

    /// Whether there is none.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.list.is_empty()
    }

    /// Whether these are warnings, with which a patch is still good.
    #[must_use]
    pub fn are_warnings(&self) -> bool {
        self.warnings
    }

    /// Counts one more where there are too many to keep; what it says need not be worked out.
    pub(in crate::patch) fn is_full(&mut self) -> bool {
        let full = self.list.len() >= MOST_GATHERED;
        self.more += usize::from(full);
        full
    }

    /// The line that closes a list of faults.
    pub(in crate::patch) fn closing(&self) -> Option<String> {
        let (what, count) = (if self.warnings { "warning" } else { "error" }, self.count());
        match count {
            0 | 1 => None,
            2..=MOST_TOLD => Some(format!("{count} {what}s")),
            _ => Some(format!("{count} {what}s, of which the first {MOST_TOLD} are shown")),
        }
    }
}

impl fmt::Display for Faults {
    /// The messages alone, a line each.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (n, fault) in self.list.iter().take(MOST_TOLD).enumerate() {
            write!(f, "{}{}", if n > 0 { "\n" } else { "" }, tamed(&fault.message))?;
        }
        Ok(())
    }
}

impl std::error::Error for Faults {}

/// Why a name or a list of names joined by `+` gives no variant.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum VariantError {
    /// The patch has no fix at all.
    #[error("there is no fix `{}`: the patch has none", shown(.0))]
    NoFixes(String),
    /// No fix has that name; `known` begins with the nearest.
    #[error("there is no fix `{}`", shown(.name))]
    Unknown {
        /// What was asked for.
        name: String,
        /// The names there are, the nearest first.
        known: Vec<String>,
    },
    /// A part of the list is empty.
    #[error("`{}` has an empty name beside a `+`", shown(.0))]
    Empty(String),
    /// One fix twice in a list.
    #[error("the fix `{}` is named twice in `{}`", shown(.name), shown(.spec))]
    Twice {
        /// The fix.
        name: String,
        /// The whole list.
        spec: String,
    },
    /// `original` in a list.
    #[error("`original` is the patch without any fix and cannot be joined to one")]
    JoinedOriginal,
    /// Two fixes set one thing to different values.
    #[error("the fixes `{first}` and `{second}` cannot be joined: both set `{path}`, to different values")]
    Clash {
        /// What both set.
        path: String,
        /// The fix that is named first.
        first: String,
        /// The other.
        second: String,
    },
    /// Each fix is good alone, but not both together.
    #[error("the fixes do not go together: {0}")]
    Together(Faults),
}

impl VariantError {
    /// What to do, for after `help: `.
    #[must_use]
    pub fn help(&self) -> String {
        match self {
            Self::NoFixes(_) => {
                "add a table [fix.NAME] with a line such as set.\"clock.slow.phase\" = \"1 %\"".to_owned()
            }
            Self::Unknown { known, .. } => {
                let known: Vec<_> = known.iter().map(String::as_str).collect();
                format!("there is {}, and `original`", crate::patch::check::show::listed(known))
            }
            Self::Empty(_) => "join fixes as `a+b`".to_owned(),
            Self::Twice { .. } => "name each fix once".to_owned(),
            Self::JoinedOriginal => "name the fixes alone".to_owned(),
            Self::Clash { .. } => "choose one of them, or write a fix that does both".to_owned(),
            Self::Together(faults) => faults.list().first().map(|f| f.help.clone()).unwrap_or_default(),
        }
    }
}
