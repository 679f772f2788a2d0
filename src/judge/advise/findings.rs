use super::window::{ShareWindow, Window};
use crate::judge::Reason;
use crate::patch::Share;
use crate::time::{ExactPs, Span, Tempo};
use num_rational::Ratio;

/// The delays that fit at one tempo, and what stands in their way.
#[derive(Clone, Debug, PartialEq)]
pub struct AtTempo {
    /// The tempo that this was found at.
    pub tempo: Tempo,
    /// The period at this tempo of the output from which the path stems; `None` for one that pulses once.
    pub period: Option<ExactPs>,
    /// Delays from 0 up to and not this were looked at: the time between two pulses of the clock of this box.
    pub searched: Span,
    /// The delays with which the typical run passes and everybody stands on the one, exact to a picosecond. For a box whose
    /// inputs are looked at by a loop: those that would do if it looked without a break.
    pub passes: Vec<Window>,
    /// The delays with which every run does, over all tolerances, with the skew kept from where anybody would play something
    /// else; as far as this box and those that hang on it go, see [`Self::elsewhere`].
    pub sure: Vec<Window>,
    /// What of the rig no delay on this path can mend, since it lies elsewhere.
    pub elsewhere: Vec<Elsewhere>,
    /// Why the first window begins where it does, or what is in the way where there is none; empty where it begins at 0.
    pub below: Vec<Reason>,
    /// Why the last window ends where it does; empty where it ends with what was looked at.
    pub above: Vec<Reason>,
    /// How far an end is kept away from where somebody plays something else: tolerances, looks and the skew. `None` if
    /// nothing bounds it.
    pub kept: Option<Span>,
    /// How late the loop of this box may look.
    pub looks: Option<Span>,
    /// Whether the windows are exact; else something queues or looks behind the box, and they were found on a grid.
    pub exact: bool,
}

/// Something at risk that lies elsewhere.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Elsewhere {
    /// Index of a sequencer whose own resets are, or may be, at risk at any delay on this path.
    pub sequencer: usize,
    /// How much is left; `None` if nothing bounds it, or if nothing is known of it.
    pub margin: Option<Span>,
}

impl AtTempo {
    /// The windows that are sure, as shares of the period.
    #[must_use]
    pub fn shares(&self) -> Vec<ShareWindow> {
        let period = self.period.into_iter();
        period.flat_map(|period| self.sure.iter().map(move |w| w.shares(period))).collect()
    }

    /// For a box whose loop looks at its inputs now and then: at which part of its resets a delay is told from none. Two edges
    /// *d* apart are seen apart with probability min(1, d/period) (closed form). `None` for other boxes, and where no window
    /// begins.
    #[must_use]
    pub fn odds(&self, delay: Span) -> Option<Share> {
        let (looks, first) = (self.looks?, self.passes.first()?);
        let apart = (delay.0 - (first.least.0 - 1)).clamp(0, looks.0);
        Some(Ratio::new(i128::from(apart), i128::from(looks.0.max(1))))
    }

    /// The settings of a dial of so many steps a period that fit, in steps: those that are sure, and those with which the
    /// typical run passes.
    #[must_use]
    pub fn settings(&self, steps: u32) -> (Vec<u32>, Vec<u32>) {
        let of = |windows: &[Window]| {
            let fits = |step: &u32| {
                let delay = self.period.and_then(|p| super::dialled(p, *step, steps));
                delay.is_some_and(|d| d < self.searched && windows.iter().any(|w| w.holds(d)))
            };
            (0..steps).filter(fits).collect::<Vec<_>>()
        };
        (of(&self.sure), of(&self.passes))
    }
}
