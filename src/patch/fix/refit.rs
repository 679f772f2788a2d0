//! Boxes, stages, wires and voices that are set anew in the middle of a piece: the rig is read again as it is from then
//! on, and held against what must stay.

use crate::patch::check::fault::{Fault, Faults};
use crate::patch::check::show::shown;
use crate::patch::check::view::{Kind, View};
use crate::patch::model::{Era, Path, Rig, Source, StageKind, Tap};
use crate::patch::read::set::Change;
use crate::patch::read::tables::{Parts, parts, voice_at};
use crate::patch::read::tempo_map::show_beat;
use crate::patch::read::top::Top;
use crate::patch::ways::check_ways;
use crate::time::Beat;
use num_integer::lcm;

/// The most parts that a multiplier takes a pulse apart in, all that it is set to in a piece together.
const MOST_PARTS: u32 = 65_536;

/// The eras of a rig as they are read one after the other.
pub(in crate::patch) struct Refits<'t, 'v, 'r> {
    top: &'t Top,
    source: &'v str,
    rig: &'r mut Rig,
    /// Voices that are there from the start.
    voices: usize,
    eras: Vec<Era>,
    /// What was set at the beginning of each.
    causes: Vec<Vec<Change>>,
}

impl<'t, 'v, 'r> Refits<'t, 'v, 'r> {
    pub(in crate::patch) fn new(top: &'t Top, source: &'v str, rig: &'r mut Rig) -> Self {
        let voices = rig.voices.len();
        Self { top, source, rig, voices, eras: Vec::new(), causes: Vec::new() }
    }

    /// The rig of the start.
    pub(in crate::patch) fn rig(&self) -> &Rig {
        self.rig
    }

    /// Reads the rig as it is from a beat on. `causes` is what is set there.
    pub(in crate::patch) fn refit(
        &mut self,
        view: &View<'v>,
        from: Beat,
        causes: &[&Change],
        (faults, warnings): (&mut Faults, &mut Faults),
    ) {
        let beat = show_beat(from);
        let (mut own, mut warned) = (Faults::default(), Faults::warnings());
        let read = parts(view, self.top, self.source, Some(&beat), &mut own, &mut warned);
        let before = own.count();
        let era = read.filter(|_| before == 0).map(|Parts { stages, wires, voices, sequencers, .. }| {
            let sequencers = sequencers
                .into_iter()
                .map(|s| {
                    let voice = voice_at(&mut self.rig.voices, &voices, &s.voice);
                    crate::patch::model::Sequencer { voice, ..s.sequencer }
                })
                .collect();
            let names: Vec<String> = self.rig.voices[..self.voices].iter().map(|v| v.name.clone()).collect();
            let voices = names.iter().map(|name| voice_at(&mut self.rig.voices, &voices, name)).collect();
            Era { from, stages, wires, sequencers, voices }
        });
        if let Some(era) = era {
            check_ways(&era.rig(self.rig), view, self.top.fastest(), &mut own);
            if own.is_empty() && self.differs(&era) {
                self.eras.push(era);
                self.causes.push(causes.iter().map(|&c| c.clone()).collect());
            }
        }
        let known = |all: &Faults, fault: &Fault| all.list().iter().any(|told| told.at == fault.at);
        let inside = |fault: &Fault| {
            causes
                .iter()
                .find(|c| fault.at.as_ref().is_some_and(|at| c.whole.start <= at.start && at.end <= c.whole.end))
        };
        for fault in own.list().iter().filter(|f| inside(f).is_some() || !known(faults, f)).cloned().collect::<Vec<_>>()
        {
            let from_then_on = format!("from beat {beat} on");
            let message = match &fault.message {
                message if message.contains(&from_then_on) => message.clone(),
                message => format!("{from_then_on}: {message}"),
            };
            let fault = Fault { message, ..fault };
            let fault = match (inside(&fault), &fault.context, causes.first()) {
                (None, None, Some(cause)) => fault.context(cause.whole.clone(), "the change that brings it"),
                _ => fault,
            };
            if !faults.list().contains(&fault) {
                faults.push(fault);
            }
        }
        for warning in
            warned.list().iter().filter(|w| inside(w).is_some() && !known(warnings, w)).cloned().collect::<Vec<_>>()
        {
            warnings.push(warning);
        }
    }

    /// Whether anything is other than before.
    fn differs(&self, era: &Era) -> bool {
        let as_it_was: Vec<usize> = (0..self.voices).collect();
        let before =
            self.eras.last().map_or((&self.rig.stages, &self.rig.wires, &self.rig.sequencers, &as_it_was), |era| {
                (&era.stages, &era.wires, &era.sequencers, &era.voices)
            });
        before != (&era.stages, &era.wires, &era.sequencers, &era.voices)
    }

    /// The eras, and into how many parts multipliers take pulses apart. Tells what must not change and does.
    pub(in crate::patch) fn finish(self, faults: &mut Faults) -> Option<(Vec<Era>, Vec<u32>)> {
        let before = faults.count();
        let counts = self.parts(faults)?;
        self.rig.course.parts.clone_from(&counts);
        let eras: Vec<Rig> = self.eras.iter().map(|era| era.rig(self.rig)).collect();
        for n in 0..self.rig.sequencers.len() {
            let ways = |rig: &Rig| (rig.origin(&rig.sequencers[n].clock), marks(rig, n));
            let first = ways(self.rig);
            let wrong = eras.iter().zip(&self.causes).find(|(era, _)| ways(era) != first);
            if let Some((era, causes)) = wrong {
                faults.push(counted_anew(self.rig, era, n, causes));
            }
            self.check_out(n, faults);
        }
        (faults.count() == before).then_some((self.eras, counts))
    }

    /// A serial line is one queue for all who name it: nobody is plugged out of it or into it while it sends.
    fn check_out(&self, n: usize, faults: &mut Faults) {
        let first = &self.rig.sequencers[n];
        let Some(change) = self.eras.iter().position(|era| era.sequencers[n].out != first.out) else { return };
        let outs = self.eras.iter().map(|era| &era.sequencers[n].out).chain([&first.out]);
        let is_cable = |stage: &&usize| matches!(self.rig.stages[**stage].kind, StageKind::MidiCable(_));
        let Some(&cable) = outs.flatten().find(is_cable) else { return };
        let (name, cable) = (shown(&first.name), shown(&self.rig.stages[cable].name));
        let sets_out = |c: &&Change| {
            let key = c.field.as_ref().is_some_and(|field| field.text == "out");
            key && c.kind == Kind::Sequencer && c.name.text == first.name
        };
        let cause = self.causes[change].iter().find(sets_out);
        let message =
            format!("the `out` of `{name}` cannot be changed in a piece: it goes through the midi-cable `{cable}`");
        let fault = Fault::new(cause.map_or(0..0, |c| c.whole.clone()), message)
            .label("all who name a midi-cable share one queue, and what waits in it is sent")
            .help("change a value of a stage on the way instead, or compare the two with a fix");
        faults.push(fault);
    }

    fn parts(&self, faults: &mut Faults) -> Option<Vec<u32>> {
        let by = |stage: &crate::patch::model::Stage| match &stage.kind {
            StageKind::Multiply(multiply) => multiply.by,
            _ => 1,
        };
        let mut counts: Vec<u32> = self.rig.stages.iter().map(by).collect();
        let mut changed = false;
        for (era, causes) in self.eras.iter().zip(&self.causes) {
            for (n, stage) in era.stages.iter().enumerate() {
                changed |= by(stage) != by(&self.rig.stages[n]);
                counts[n] = lcm(counts[n], by(stage));
                if counts[n] > MOST_PARTS {
                    let name = shown(&stage.name);
                    let at = causes.iter().find(|c| c.name.text == stage.name).map_or(0..0, |c| c.whole.clone());
                    let message = format!("the stage `{name}` takes each pulse apart in {} parts", counts[n]);
                    let fault = Fault::new(at, message)
                        .label(format!("expected at most {MOST_PARTS}, a multiple of all that `by` is in the piece"))
                        .help("write values of `by` of which one divides the other, such as 4 and 8");
                    faults.push(fault);
                    return None;
                }
            }
        }
        Some(if changed { counts } else { Vec::new() })
    }
}

/// What pulses on the way to a clock input are numbered by.
#[derive(Clone, Debug, PartialEq)]
enum Mark {
    Divided(u32),
    Multiplied(u32),
    Taken(Tap, u32, Vec<crate::patch::model::Step>),
}

/// What stands before the last multiplier on the way to a sequencer's clock, that one included: pulses that it puts
/// between two are numbered by these two.
fn marks(rig: &Rig, sequencer: usize) -> Vec<Mark> {
    let mut all: Vec<Mark> = Vec::new();
    let mut path: &Path = &rig.sequencers[sequencer].clock;
    // From the end to the beginning; a chain that is longer than there are links runs in a circle.
    for _ in 0..=rig.sequencers.len() + rig.wires.len() {
        for &stage in path.stages.iter().rev() {
            match &rig.stages[stage].kind {
                StageKind::Divide(divide) => all.push(Mark::Divided(divide.by)),
                StageKind::Multiply(_) => all.push(Mark::Multiplied(rig.parts(stage))),
                _ => {}
            }
        }
        match path.source {
            Source::Output(_) => break,
            Source::Wire(wire) => path = &rig.wires[wire].path,
            Source::Sequencer { index, tap } => {
                let it = &rig.sequencers[index];
                if tap != Tap::Thru {
                    all.push(Mark::Taken(tap, it.pulses_per_step, it.steps.clone()));
                }
                path = &it.clock;
            }
        }
    }
    let last = all.iter().position(|mark| matches!(mark, Mark::Multiplied(_))).unwrap_or(all.len());
    all.split_off(last)
}

/// Tells a clock whose pulses would be numbered anew.
fn counted_anew(rig: &Rig, era: &Rig, sequencer: usize, causes: &[Change]) -> Fault {
    let name = shown(&rig.sequencers[sequencer].name);
    let sets = |c: &&Change, key: &str| c.field.as_ref().is_some_and(|field| field.text == key);
    let own =
        |c: &&Change| c.kind == Kind::Sequencer && c.name.text == rig.sequencers[sequencer].name && sets(c, "clock");
    let on_the_way = |c: &&Change| matches!(c.kind, Kind::Wire | Kind::Stage);
    let far = |c: &&Change| sets(c, "clock");
    let find = |of: &dyn Fn(&&Change) -> bool| causes.iter().find(of);
    let cause = find(&own).or(find(&on_the_way)).or(find(&far)).or(causes.first());
    let at = cause.map_or(0..0, |c| c.whole.clone());
    let output = |rig: &Rig| shown(&rig.outputs[rig.origin(&rig.sequencers[sequencer].clock)].name);
    let (from, to) = (output(rig), output(era));
    let (message, help) = if from == to {
        (
            format!("the clock of `{name}` would come through other multipliers than from the start"),
            "leave what comes before a multiplier as it is, and set its `by`; or compare the two with a fix".to_owned(),
        )
    } else {
        (
            format!("the clock of `{name}` cannot be plugged from the output `{from}` into `{to}` in a piece"),
            format!(
                "set the rate of the output: set.\"clock.{from}.rate\"; or plug in what lies between `{from}` and the box; \
                 or compare the two with a fix"
            ),
        )
    };
    Fault::new(at, message)
        .label("its pulses would be numbered anew, and nobody could say which hit was due when")
        .help(help)
}
