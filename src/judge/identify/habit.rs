use crate::patch::{BoxKind, EdgeKind, OnTie, Reset, ResetMode, Sequencer, box_kinds};
use crate::time::Span;

/// One way in which a box may read its reset.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Habit {
    /// What a reset does.
    pub mode: ResetMode,
    /// Which edge of the reset it obeys.
    pub edge: EdgeKind,
}

/// The window of a box that does not look whether the clock is high, in milliseconds: common practice, no source.
const GRACE_MS: i64 = 20;

/// How long a box must have seen a reset that misses one at the same instant, in microseconds: any time would do here.
const SETUP_US: i64 = 100;
const PS_PER_US: i64 = 1_000_000;

impl Habit {
    /// All that are told apart, the plain ones first.
    #[must_use]
    pub fn all() -> Vec<Self> {
        let next = |on_tie| ResetMode::NextClock { setup_time: Span::ZERO, on_tie };
        let modes = [
            ResetMode::ThisClock { grace: None },
            ResetMode::ThisClock { grace: Some(Span::from_ms(GRACE_MS)) },
            next(OnTie::ClockFirst),
            next(OnTie::ResetFirst),
            ResetMode::Immediate { holdoff: Span::from_ms(1) },
            ResetMode::Held,
            ResetMode::Sampled { setup_time: Span::ZERO },
            ResetMode::Sampled { setup_time: Span(SETUP_US * PS_PER_US) },
        ];
        let rising = modes.iter().map(|mode| Self { mode: mode.clone(), edge: EdgeKind::Rise });
        // What looks at the level has no edge to choose.
        let falls = |mode: &&ResetMode| !matches!(mode, ResetMode::Held | ResetMode::Sampled { .. });
        let falling = modes.iter().filter(falls).map(|mode| Self { mode: mode.clone(), edge: EdgeKind::Fall });
        rising.chain(falling).chain([Self { mode: ResetMode::Ignored, edge: EdgeKind::Rise }]).collect()
    }

    /// Gives a sequencer that has a reset this habit.
    pub(super) fn give(&self, sequencer: &mut Sequencer) {
        if let Some(Reset { mode, .. }) = &mut sequencer.reset {
            *mode = self.mode.clone();
        }
        sequencer.reset_edge = self.edge;
    }

    /// The lines that say so in the table of a sequencer.
    #[must_use]
    pub fn lines(&self) -> Vec<String> {
        let mode = |name: &str| format!("reset-mode = \"{name}\"");
        let mut lines = match &self.mode {
            ResetMode::ThisClock { grace: None } => vec![mode("this-clock")],
            ResetMode::ThisClock { grace: Some(grace) } => {
                vec![mode("this-clock"), format!("grace = \"{} ms\"", grace.0 / Span::from_ms(1).0)]
            }
            ResetMode::NextClock { on_tie: OnTie::ClockFirst, .. } => vec![mode("next-clock")],
            ResetMode::NextClock { on_tie: OnTie::ResetFirst, .. } => {
                vec![mode("next-clock"), "on-tie = \"reset-first\"".to_owned()]
            }
            ResetMode::Immediate { .. } => vec![mode("immediate")],
            ResetMode::Held => vec![mode("held")],
            ResetMode::Sampled { setup_time: Span::ZERO } => vec![mode("sampled")],
            ResetMode::Sampled { setup_time } => {
                vec![mode("sampled"), format!("setup-time = \"{} us\"", setup_time.0 / PS_PER_US)]
            }
            ResetMode::Ignored => vec![mode("ignored")],
        };
        if self.edge == EdgeKind::Fall {
            lines.push("reset-edge = \"fall\"".to_owned());
        }
        lines
    }

    /// The kind of box of the kit that says most of it, and the lines that must stand beside its `like`.
    #[must_use]
    pub fn kind(&self) -> Option<(&'static BoxKind, Vec<String>)> {
        let lines = self.lines();
        let said = |kind: &BoxKind| kind.keys().into_iter().map(|(k, v)| format!("{k} = {v}")).collect::<Vec<_>>();
        let fits = |kind: &&BoxKind| {
            let said = said(kind);
            kind.brings().is_empty() && !said.is_empty() && said.iter().all(|line| lines.contains(line))
        };
        // Of several that say as much, the first.
        let kind = box_kinds().iter().rev().filter(fits).max_by_key(|kind| said(kind).len())?;
        let said = said(kind);
        Some((kind, lines.into_iter().filter(|line| !said.contains(line)).collect()))
    }
}
