use super::Habit;
use crate::patch::{Output, Rig, Share, Step, Timing, Width};
use crate::time::{Beat, ExactPs, PS_PER_MS, Span};
use num_rational::Ratio;

/// Clock pulses from one reset to the next.
pub const PULSES: i64 = 8;
/// Steps of the pattern: not as many as pulses between two resets, so that a box which goes on by itself is heard to.
pub const STEPS: usize = 16;

/// The place of the reset against the clock.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ResetPlace {
    /// At the very instant of a clock pulse.
    Same,
    /// A few milliseconds after one: by a shift of 8 ms.
    JustAfter,
    /// A quarter of a pulse after: 3 % of its own period.
    Quarter,
    /// Three quarters of a pulse after: 9 % of its own period.
    ThreeQuarters,
}

/// A setting of the clock for one trial.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ClockSetting {
    /// Where the reset comes.
    pub place: ResetPlace,
    /// Whether the reset stays high past the next pulse (15 % of its own period) or for 5 ms.
    pub long_reset: bool,
    /// Whether clock pulses are half as long as their period, or 5 ms.
    pub wide_clock: bool,
}

/// What a clock lets its player set.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Dials {
    /// Phase, shift and width of its outputs.
    #[default]
    All,
    /// None of these: its outputs pulse together, for 5 ms.
    None,
}

impl ResetPlace {
    /// The settings of the reset's output: phase, and shift.
    #[must_use]
    pub fn set(self) -> (Share, ExactPs) {
        let none = Ratio::from_integer(0);
        match self {
            Self::Same => (none, none),
            Self::JustAfter => (none, Ratio::from_integer(8 * i128::from(PS_PER_MS))),
            Self::Quarter => (Share::new(3, 100), none),
            Self::ThreeQuarters => (Share::new(9, 100), none),
        }
    }
}

impl ClockSetting {
    /// All settings that are tried.
    #[must_use]
    pub fn all() -> Vec<Self> {
        let places = [ResetPlace::Quarter, ResetPlace::ThreeQuarters, ResetPlace::JustAfter, ResetPlace::Same];
        let widths = [(false, true), (false, false), (true, true), (true, false)];
        let with = |place| widths.map(|(long_reset, wide_clock)| Self { place, long_reset, wide_clock });
        places.into_iter().flat_map(with).collect()
    }

    /// Whether a clock with these dials gives it.
    pub(super) fn given_by(&self, dials: Dials) -> bool {
        let as_it_is = Self { place: ResetPlace::Same, long_reset: false, wide_clock: false };
        dials == Dials::All || *self == as_it_is
    }

    /// How much a player would rather not set it so: a tie of two edges is for chance to decide, and a dial is turned
    /// more easily than a width.
    pub(super) fn burden(&self) -> u32 {
        let place = match self.place {
            ResetPlace::Quarter | ResetPlace::ThreeQuarters => 0,
            ResetPlace::JustAfter => 1,
            ResetPlace::Same => 4,
        };
        place + u32::from(self.long_reset) + u32::from(!self.wide_clock)
    }

    /// Sets a rig up: the box has this habit, and the clock these settings.
    pub(super) fn set_up(&self, rig: &Rig, player: usize, habit: &Habit) -> Option<Rig> {
        let mut rig = rig.clone();
        let clock = rig.origin(&rig.sequencers[player].clock);
        let reset = rig.origin(&rig.sequencers[player].reset.as_ref()?.path);
        let period = match &rig.outputs[clock].timing {
            Timing::Rate { period, .. } => *period,
            _ => return None,
        };
        let (phase, shift) = self.place.set();
        let time = |ms: i64| Width::Time(Ratio::from_integer(i128::from(ms * PS_PER_MS)));
        let straight = |period: Beat, phase: Share| Timing::Rate { period, phase, swing: Share::new(1, 2) };
        let at_once = Ratio::from_integer(0);
        let set = |output: &mut Output, timing: Timing, width: Width, shift: ExactPs| {
            (output.timing, output.width, output.shift) = (timing, width, shift);
        };
        let clock_width = if self.wide_clock { Width::Share(Share::new(1, 2)) } else { time(5) };
        let reset_width = if self.long_reset { Width::Share(Share::new(15, 100)) } else { time(5) };
        set(&mut rig.outputs[clock], straight(period, at_once), clock_width, at_once);
        let count = i128::from(PULSES) * i128::from(rig.sequencers[player].pulses_per_step);
        set(&mut rig.outputs[reset], straight(period * count, phase), reset_width, shift);
        rig.one = Some(reset);
        rig.end = period * count * 6;
        rig.course = crate::patch::Course::default();
        let it = &mut rig.sequencers[player];
        it.steps = (0..STEPS).map(|s| if s == 0 { Step::Accent } else { Step::Hit }).collect();
        // Heard where it is played: what lies behind the box is not what is asked.
        (it.out, it.offset, it.latency) = (Vec::new(), Span::ZERO, Span::ZERO);
        habit.give(it);
        Some(rig)
    }
}
