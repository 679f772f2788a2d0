/// What a trial asks. Tasks do not transfer (Mossbridge and others, J Neurosci 2006), so each has thresholds of its own.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Task {
    /// Which of three had the split hit.
    TwoOrOne,
    /// Which of two voices came first.
    WhichFirst,
    /// Which of two bars was loose.
    TightOrLoose,
}

impl Task {
    /// Every task, in the order in which they are offered.
    pub const ALL: [Self; 3] = [Self::TwoOrOne, Self::WhichFirst, Self::TightOrLoose];

    /// The name as files and options have it.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::TwoOrOne => "two-or-one",
            Self::WhichFirst => "which-first",
            Self::TightOrLoose => "tight-or-loose",
        }
    }

    /// The name as people read it.
    #[must_use]
    pub const fn title(self) -> &'static str {
        match self {
            Self::TwoOrOne => "two or one",
            Self::WhichFirst => "which first",
            Self::TightOrLoose => "tight or loose",
        }
    }

    /// How many answers there are.
    #[must_use]
    pub const fn alternatives(self) -> u32 {
        match self {
            Self::TwoOrOne => 3,
            Self::WhichFirst | Self::TightOrLoose => 2,
        }
    }

    /// The share of right answers that guessing gives.
    #[must_use]
    pub fn guess_rate(self) -> f64 {
        1.0 / f64::from(self.alternatives())
    }
}
