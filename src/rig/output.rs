use super::cycle::Cycle;
use super::pulse::{Pulse, Wire};
use super::schedule::{Schedule, Sent};
use crate::patch::{Output, Rig, Timing, Width};
use crate::time::{Beat, Clockwork, ExactPs, Instant, Line, LineError, PS_PER_MS, Steps, Tempo, round_half_up};
use num_rational::Ratio;
use std::sync::Arc;

/// An output at a tempo: for every pulse number, the beat it is meant for, its ideal time, its rise and its fall.
#[derive(Clone, Debug)]
pub struct Timeline {
    /// `None` for an output without a rate.
    cycle: Option<Cycle>,
    rise: Twin,
    fall: Twin,
    ideal: Twin,
    /// The period in picoseconds, exact.
    period: Option<ExactPs>,
    tempo: Tempo,
    /// What takes the place of all that where something changes in the course of the piece.
    schedule: Option<Box<Schedule>>,
    /// What it sends in a patch that ends there, where somebody asks again and again.
    kept: Option<(Beat, Arc<[Pulse]>)>,
}

/// The even pulses' instants and the odd ones'.
#[derive(Clone, Debug)]
struct Twin {
    even: Line,
    odd: Line,
    straight: bool,
}

impl Twin {
    fn new(start: ExactPs, pair: ExactPs, odd: ExactPs) -> Result<Self, LineError> {
        let half = pair / 2;
        if odd == half {
            let line = Line::new(start, half)?;
            return Ok(Self { even: line.clone(), odd: line, straight: true });
        }
        Ok(Self { even: Line::new(start, pair)?, odd: Line::new(start + odd, pair)?, straight: false })
    }

    fn at(&self, k: i64) -> Result<Instant, LineError> {
        if self.straight {
            return self.even.at(k);
        }
        let line = if k.rem_euclid(2) == 0 { &self.even } else { &self.odd };
        line.at(k.div_euclid(2))
    }

    /// The steps of all pulses from number 0 on.
    fn steps(&self) -> TwinSteps<'_> {
        TwinSteps { next: self.even.steps(0), after: (!self.straight).then(|| self.odd.steps(0)) }
    }
}

/// The instants of a [`Twin`] one after the other.
#[derive(Clone, Debug)]
struct TwinSteps<'t> {
    next: Steps<'t>,
    /// Takes turns with `next`.
    after: Option<Steps<'t>>,
}

impl TwinSteps<'_> {
    fn advance(&mut self) -> Result<Instant, LineError> {
        let at = self.next.advance();
        if let Some(after) = &mut self.after {
            std::mem::swap(&mut self.next, after);
        }
        at
    }
}

/// The width where none is given: the shorter of 5 ms and half the period.
fn default_width(period: Option<ExactPs>) -> ExactPs {
    let five = Ratio::from_integer(5 * i128::from(PS_PER_MS));
    period.map_or(five, |p| five.min(p / 2))
}

impl Timeline {
    /// An output at a tempo.
    ///
    /// # Errors
    /// If its fractions do not fit an `i128`.
    pub fn new(output: &Output, tempo: Tempo) -> Result<Self, LineError> {
        let none = Ratio::from_integer(0);
        let cycle = Cycle::of(output);
        let (phase, period) = match &output.timing {
            Timing::Start | Timing::Stop | Timing::Run => (none, None),
            Timing::Rate { period, phase, .. } => (tempo.exact(*period * phase), Some(tempo.exact(*period))),
        };
        let (pair, odd) = cycle.as_ref().map_or((none, none), |c| (tempo.exact(c.pair), tempo.exact(c.odd)));
        let width = match &output.width {
            Width::Time(time) => *time,
            Width::Share(share) => period.unwrap_or(none) * share,
            Width::Default => default_width(period),
        };
        let start = phase + output.shift;
        Ok(Self {
            rise: Twin::new(start, pair, odd)?,
            fall: Twin::new(start + width, pair, odd)?,
            ideal: Twin::new(none, pair, odd)?,
            period,
            cycle,
            tempo,
            schedule: None,
            kept: None,
        })
    }

    /// An output of a rig at the tempo with which the piece begins, through all that changes in its course.
    ///
    /// # Errors
    /// As [`Timeline::new`].
    pub fn of(rig: &Rig, index: usize, clockwork: &Clockwork) -> Result<Self, LineError> {
        let (output, course) = (&rig.outputs[index], &rig.course);
        let mut line = Self::new(output, clockwork.tempo())?;
        let turned = course.turns.iter().any(|turn| turn.output == index);
        if turned || !course.switches.is_empty() || !clockwork.is_even() {
            line.schedule = Some(Box::new(Schedule::new(index, output, course, clockwork)?));
        }
        Ok(line)
    }

    /// The clock's starts as pulses, where there is more than one.
    pub(super) fn starts(rig: &Rig, clockwork: &Clockwork) -> Result<Option<Self>, LineError> {
        let start =
            Output { name: String::new(), timing: Timing::Start, width: Width::Default, shift: Ratio::from_integer(0) };
        if rig.course.starts_once() {
            return Ok(None);
        }
        let schedule = Schedule::new(usize::MAX, &start, &rig.course, clockwork)?;
        Ok(Some(Self { schedule: Some(Box::new(schedule)), ..Self::new(&start, clockwork.tempo())? }))
    }

    /// Whether it is one even train of pulses, or one pulse, from start to end.
    #[must_use]
    pub fn is_even(&self) -> bool {
        self.schedule.is_none()
    }

    /// Whether its pulses are not all meant for one grid: its rate is changed, or the clock is started again.
    #[must_use]
    pub fn is_turned(&self) -> bool {
        self.schedule.as_ref().is_some_and(|schedule| schedule.is_turned())
    }

    /// The period in beats of what is meant at a beat; `None` for an output without a rate.
    #[must_use]
    pub fn period_at(&self, beat: Beat) -> Option<Beat> {
        match &self.schedule {
            Some(schedule) => schedule.period_at(beat),
            None => self.period_beats(),
        }
    }

    /// How many pulses are sent at most in a patch that ends at `end`.
    #[must_use]
    pub fn most(&self, end: Beat) -> i64 {
        self.schedule.as_ref().map_or_else(|| self.count(end), |schedule| schedule.most(end))
    }

    /// The period in picoseconds at the first tempo, exact; `None` for an output without a rate.
    #[must_use]
    pub fn period(&self) -> Option<ExactPs> {
        self.period
    }

    /// The period in beats with which it begins, exact; `None` for an output without a rate.
    #[must_use]
    pub fn period_beats(&self) -> Option<Beat> {
        self.cycle.as_ref().map(Cycle::period)
    }

    /// The beat that pulse `k` is meant for; `k` may be negative. The pulse of an output without a rate is meant for the beat of
    /// the start.
    #[must_use]
    pub fn meant(&self, k: i64) -> Beat {
        match (&self.schedule, &self.cycle) {
            (Some(schedule), _) => schedule.meant(k),
            (None, Some(cycle)) => cycle.meant(k),
            (None, None) => Beat::from_integer(0),
        }
    }

    /// The ideal time of the beat that pulse `k` is meant for.
    ///
    /// # Errors
    /// If it does not fit an [`Instant`].
    pub fn ideal(&self, k: i64) -> Result<Instant, LineError> {
        match &self.schedule {
            Some(schedule) => Ok(schedule.instant(schedule.meant(k))),
            None if self.cycle.is_none() => Ok(Instant::START),
            None => self.ideal.at(k),
        }
    }

    /// The ideal time of a beat.
    #[must_use]
    pub fn ideal_of(&self, beat: Beat) -> Instant {
        self.schedule.as_ref().map_or_else(|| self.tempo.instant(beat), |schedule| schedule.instant(beat))
    }

    /// The number of the first pulse, sent or not, that is meant for `beat` or later.
    #[must_use]
    pub fn first_from(&self, beat: Beat) -> i64 {
        match &self.schedule {
            Some(schedule) => schedule.first_from(beat),
            None => self.cycle.as_ref().map_or(0, |cycle| cycle.first_from(beat)),
        }
    }

    /// The number of the last pulse that is meant for `beat` or earlier.
    #[must_use]
    pub fn last_until(&self, beat: Beat) -> i64 {
        match &self.schedule {
            Some(schedule) => schedule.last_until(beat),
            None => self.cycle.as_ref().map_or(0, |cycle| cycle.last_until(beat)),
        }
    }

    /// Works out once what is sent in a patch that ends at `end`: for what is played again and again. An even train is as fast
    /// to work out as to read.
    pub(super) fn keep(&mut self, end: Beat) {
        if self.schedule.is_some() {
            let all: Vec<Pulse> = self.pulses(end).collect();
            self.kept = Some((end, all.into()));
        }
    }

    /// The pulses that are sent in a patch that ends at `end`, in order of time.
    pub fn pulses(&self, end: Beat) -> Wire<Pulses<'_>> {
        let kept = self.kept.as_ref().filter(|(of, _)| *of == end);
        Wire::new(Pulses(match &self.schedule {
            Some(_) if let Some((_, kept)) = kept => Train::Kept(kept.iter()),
            Some(schedule) => Train::Course(schedule.pulses(end)),
            None => Train::Even(Box::new(Even {
                rises: self.rise.steps(),
                falls: self.fall.steps(),
                next: 0,
                count: self.count(end),
            })),
        }))
    }

    /// The one pulse of an output that says that the clock stops, or runs, where nothing changes before the end.
    pub(super) fn single(&self, output: &Output, end: Beat) -> Option<Pulse> {
        let stops = self.tempo.exact(end) + output.shift;
        let (rise, fall) = match (&output.timing, &output.width) {
            (Timing::Run, _) => (output.shift, stops),
            (_, Width::Time(width)) => (stops, stops + width),
            (_, Width::Share(_) | Width::Default) => (stops, stops + default_width(None)),
        };
        let instant = |exact| i64::try_from(round_half_up(exact)).ok().map(Instant);
        let (rise, fall) = (instant(rise)?, instant(fall)?);
        (fall > rise).then_some(Pulse { rise, fall, number: 0 })
    }

    /// How many pulses are meant for beats before `end`.
    #[must_use]
    pub fn count(&self, end: Beat) -> i64 {
        match &self.schedule {
            Some(schedule) => schedule.count(end),
            None if self.cycle.is_some() => self.first_from(end),
            None => 1,
        }
    }
}

/// The pulses of an output, as they are sent.
#[derive(Clone, Debug)]
pub struct Pulses<'a>(Train<'a>);

#[derive(Clone, Debug)]
enum Train<'a> {
    Even(Box<Even<'a>>),
    Course(Sent<'a>),
    Kept(std::slice::Iter<'a, Pulse>),
}

#[derive(Clone, Debug)]
struct Even<'a> {
    rises: TwinSteps<'a>,
    falls: TwinSteps<'a>,
    next: i64,
    count: i64,
}

impl Iterator for Pulses<'_> {
    type Item = Pulse;

    fn next(&mut self) -> Option<Pulse> {
        let even = match &mut self.0 {
            Train::Even(even) => even,
            Train::Course(sent) => return sent.next(),
            Train::Kept(kept) => return kept.next().copied(),
        };
        while even.next < even.count {
            let number = even.next;
            even.next += 1;
            // A checked patch ends before any instant that does not fit.
            let rise = even.rises.advance().ok()?;
            let fall = even.falls.advance().ok()?;
            if rise >= Instant::START {
                return Some(Pulse { rise, fall, number });
            }
        }
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn swung(period: Beat, swing: Beat) -> Timeline {
        let timing = Timing::Rate { period, phase: Ratio::from_integer(0), swing };
        let output = Output { name: "o".into(), timing, width: Width::Default, shift: Ratio::from_integer(0) };
        Timeline::new(&output, Tempo::whole(120)).expect("small numbers")
    }

    /// Common practice, no source: a phase dial of 100 divisions moves a pulse by one hundredth of its own period.
    #[test]
    fn one_division_of_a_phase_dial() {
        let rise = |period: Beat, bpm, phase: Beat| {
            let timing = Timing::Rate { period, phase, swing: Ratio::new(1, 2) };
            let output = Output { name: "o".into(), timing, width: Width::Default, shift: Ratio::from_integer(0) };
            Timeline::new(&output, Tempo::whole(bpm)).expect("small").rise.at(0).expect("small")
        };
        let one = Ratio::new(1, 100);
        assert_eq!(rise(Ratio::from_integer(8), 60, one), Instant(80 * PS_PER_MS));
        assert_eq!(rise(Ratio::from_integer(8), 120, one), Instant(40 * PS_PER_MS));
        assert_eq!(rise(Ratio::new(1, 4), 60, one), Instant(5 * PS_PER_MS / 2));
        assert_eq!(rise(Ratio::new(1, 4), 120, one), Instant(5 * PS_PER_MS / 4));
    }

    proptest! {
        /// Both look-ups against counting through the pulses one by one.
        #[test]
        fn look_ups_agree_with_counting(pn in 1_i128..9, pd in 1_i128..9, s in 1_i128..100, bn in 0_i128..200, bd in 1_i128..9) {
            let line = swung(Ratio::new(pn, pd), Ratio::new(s, 100));
            let beat = Ratio::new(bn, bd);
            let counted = (0..).find(|&k| line.meant(k) >= beat).expect("goes on for ever");
            prop_assert_eq!(line.first_from(beat), counted);
            let last = if line.meant(counted) == beat { counted } else { counted - 1 };
            prop_assert_eq!(line.last_until(beat), last);
        }
    }
}
