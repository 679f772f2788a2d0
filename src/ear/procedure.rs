use super::{Level, Psi, PsiSettings, Settings, Staircase};

/// By what the gap of each trial is chosen.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Procedure {
    /// Down after so many right answers, up after a wrong one.
    Staircase(Settings),
    /// Where an answer tells most.
    Psi(PsiSettings),
}

impl Procedure {
    /// The share of right answers that the threshold stands for.
    #[must_use]
    pub fn target(&self) -> f64 {
        match self {
            Self::Staircase(settings) => settings.rule.target(),
            Self::Psi(settings) => settings.share(),
        }
    }

    /// The largest gap.
    #[must_use]
    pub const fn ceiling(&self) -> Level {
        match self {
            Self::Staircase(settings) => settings.ceiling,
            Self::Psi(settings) => settings.ceiling,
        }
    }
}

/// A procedure after all answers of a session.
#[derive(Clone, Debug, PartialEq)]
pub enum Walked {
    /// Each staircase.
    Staircases(Vec<Staircase>),
    /// What is likely by then.
    Psi(Box<Psi>),
}
