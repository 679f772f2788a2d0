//! A clock whose knobs are turned, and that is stopped and started, in the middle of a piece.
//!
//! The clock *counts* beats from where it was started: it stands still while it is stopped, goes on where it is continued,
//! and begins again from nought where it is started anew. What is said of beats here is of those that it has counted,
//! unless it is called a beat of the piece.

use super::Exact;
use super::outputs::{lasts, on_grid, rounded, width};
use super::signal::{Pulse, on_one_wire};
use hitgap::patch::{Output, RateChange, Rig, Timing};
use hitgap::time::Tempo;

/// From one start to the next.
struct Count {
    /// The stretches in which it counts on, in order.
    parts: Vec<Part>,
}

struct Part {
    /// The beat of the piece from which it runs.
    from: Exact,
    /// That at which it is stopped.
    until: Option<Exact>,
    /// What it has counted before.
    counted: Exact,
}

/// "`stop = true` and `start = true` stop and start the clock; a start begins again from the one. `continue = true` instead
/// goes on from where it stood."
fn counts(rig: &Rig) -> Vec<Count> {
    let nought = Exact::from_integer(0);
    let begin = |from: Exact, counted: Exact| Part { from, until: None, counted };
    let mut all = vec![Count { parts: vec![begin(nought, nought)] }];
    for (n, switch) in rig.course.switches.iter().enumerate() {
        let parts = &mut all.last_mut().expect("the first").parts;
        let part = parts.last_mut().expect("one at least");
        if n % 2 == 0 {
            part.until = Some(*switch);
        } else if rig.course.continues.contains(switch) {
            let counted = part.counted + (part.until.expect("stopped before") - part.from);
            parts.push(begin(*switch, counted));
        } else {
            all.push(Count { parts: vec![begin(*switch, nought)] });
        }
    }
    all
}

impl Count {
    fn start(&self) -> Exact {
        self.parts[0].from
    }

    /// How far it counts; `None` where nothing stops it.
    fn length(&self) -> Option<Exact> {
        let last = self.parts.last().expect("one at least");
        last.until.map(|until| last.counted + (until - last.from))
    }

    /// What it has counted at a beat of the piece.
    fn at(&self, beat: Exact) -> Exact {
        let part = self.parts.iter().rfind(|part| part.from <= beat).expect("not before its start");
        part.counted + part.until.map_or(beat, |until| until.min(beat)) - part.from
    }

    /// The beat of the piece at which it has counted so far: where it goes on, if that is where it was stopped.
    fn piece(&self, beat: Exact) -> Exact {
        let part = self.parts.iter().rfind(|part| part.counted <= beat).unwrap_or(&self.parts[0]);
        part.from + (beat - part.counted)
    }
}

/// One position of the knobs of an output.
struct Position<'a> {
    /// The beat of the piece from which on.
    from: Exact,
    knobs: &'a Output,
    reading: RateChange,
}

fn period(output: &Output) -> Exact {
    match output.timing {
        Timing::Rate { period, .. } => period,
        Timing::Start | Timing::Stop | Timing::Run => panic!("it has no rate"),
    }
}

/// "a knob that goes past other rates says `passes-through` with a `dwell` at each, so that stray pulses reach the
/// sequencers": where it stands, with the positions that it passes or without.
fn positions(rig: &Rig, output: usize, passing_at: Option<Tempo>) -> Vec<Position<'_>> {
    let nought = Exact::from_integer(0);
    let mut all = vec![Position { from: nought, knobs: &rig.outputs[output], reading: RateChange::OnGrid }];
    for turn in rig.course.turns.iter().filter(|turn| turn.output == output) {
        let mut from = turn.after;
        if let Some(tempo) = passing_at {
            // It is turned at an instant, of whole picoseconds. Where it is then is known to the nearest of 10¹² parts of a
            // beat, which is the program's own bound: no sentence gives one.
            let (mut at, parts) = (rounded(lasts(tempo, from)), Exact::from_integer(1_000_000_000_000));
            for knobs in &turn.passes {
                all.push(Position { from, knobs, reading: turn.reading });
                at += turn.dwell.0;
                let beat = Exact::from_integer(i128::from(at)) / lasts(tempo, Exact::from_integer(1));
                from = Exact::from_integer(i128::from(rounded(beat * parts))) / parts;
            }
        }
        all.push(Position { from, knobs: &turn.to, reading: turn.reading });
    }
    all
}

/// How an output pulses within one count: the knobs, from which beat on, and the beat from which its pulses are counted.
struct Setting<'a> {
    from: Exact,
    /// The same as a beat of the piece, while the clock stands too.
    turned: Exact,
    knobs: &'a Output,
    origin: Exact,
}

/// The settings within one count, in order. Every one but the last ends where the next begins.
fn settings<'a>(count: &Count, positions: &[Position<'a>]) -> Vec<Setting<'a>> {
    let nought = Exact::from_integer(0);
    let mut all: Vec<Setting<'a>> = Vec::new();
    for position in positions {
        if position.from <= count.start() {
            // "a start begins again from the one"
            all = vec![Setting { from: nought, turned: count.start(), knobs: position.knobs, origin: nought }];
            continue;
        }
        let before = all.last().expect("the first begins with the piece");
        let from = count.at(position.from);
        let origin = match position.reading {
            _ if period(before.knobs) == period(position.knobs) => before.origin,
            // "pulses stay on multiples of the new period from the start"
            RateChange::OnGrid => nought,
            // "the count begins where the knob was turned"
            RateChange::FromChange => from,
        };
        all.push(Setting { from, turned: position.from, knobs: position.knobs, origin });
    }
    all
}

/// The beats of the piece for which pulses are meant, each number's, up to and not the given beat of the piece; with the
/// count in which each is. What a knob passes on its way means nothing: meant is the grid of the rate that it is turned to.
///
/// Past the end of the piece it is as if a clock that has been stopped for good had gone on as it was: no sentence says what
/// numbers stand for there.
fn meant(rig: &Rig, output: usize, upto: Exact) -> Vec<(usize, Exact, Exact)> {
    let mut all = Vec::new();
    let counts = counts(rig);
    for (n, count) in counts.iter().enumerate() {
        // "What has no rate is meant for the beat of the start."
        let parts = match rig.outputs[output].timing {
            Timing::Start => &count.parts[..1],
            Timing::Stop | Timing::Run => &count.parts[..],
            Timing::Rate { .. } => &[],
        };
        all.extend(parts.iter().filter(|part| part.from < upto).map(|_| (n, Exact::from_integer(0), count.start())));
        if !parts.is_empty() {
            continue;
        }
        let mut positions = positions(rig, output, None);
        if let Some(stop) = count.parts.last().and_then(|part| part.until) {
            positions.retain(|position| position.from < stop);
        }
        let settings = settings(count, &positions);
        for (i, setting) in settings.iter().enumerate() {
            let ends = settings.get(i + 1).map(|next| next.from);
            for beat in (0..).map(|k| on_grid(setting.knobs, k)) {
                let goes_on = upto > rig.end && n == counts.len() - 1;
                let stopped = !goes_on && count.length().is_some_and(|length| beat >= length);
                let over = ends.is_some_and(|end| beat >= end);
                if over || stopped || count.piece(beat) >= upto {
                    break;
                }
                if beat >= setting.from {
                    all.push((n, beat, count.piece(beat)));
                }
            }
        }
    }
    all
}

/// The beats of the piece before its end for which pulses are meant.
pub(crate) fn beats_before_the_end(rig: &Rig, output: usize) -> Vec<Exact> {
    meant(rig, output, rig.end).into_iter().map(|(_, _, piece)| piece).collect()
}

/// A rig, and for which beats of the piece its outputs mean their pulses: worked out once, up to well past the end.
pub(crate) struct Meant<'a> {
    rig: &'a Rig,
    beats: Vec<Vec<Exact>>,
}

impl std::ops::Deref for Meant<'_> {
    type Target = Rig;

    fn deref(&self) -> &Rig {
        self.rig
    }
}

impl<'a> Meant<'a> {
    pub(crate) fn of(rig: &'a Rig) -> Self {
        let upto = rig.end + Exact::from_integer(64);
        let all = |output| meant(rig, output, upto).into_iter().map(|(_, _, piece)| piece).collect();
        let outputs = if rig.course.is_steady() { 0 } else { rig.outputs.len() };
        Self { rig, beats: (0..outputs).map(all).collect() }
    }

    /// The beat of the piece that a number stands for; below nought as the first grid has it, past the end as the last has.
    pub(crate) fn beat(&self, output: usize, k: i128) -> Exact {
        let (own, beats) = (&self.rig.outputs[output], &self.beats[output]);
        let Ok(n) = usize::try_from(k) else { return on_grid(own, k) };
        match (beats.get(n), &own.timing) {
            (Some(beat), _) => *beat,
            (None, Timing::Start | Timing::Stop | Timing::Run) => beats[beats.len() - 1],
            (None, Timing::Rate { .. }) => {
                let further = (8..).map(|n| meant(self.rig, output, self.rig.end + Exact::from_integer(1 << n)));
                let long = further.into_iter().find(|beats| beats.len() > n);
                long.expect("it goes on for ever")[n].2
            }
        }
    }

    /// The number of the last start.
    pub(crate) fn last_start(&self) -> i128 {
        starts(self).len() as i128 - 1
    }

    /// The first number that is meant for a beat of the piece or a later one.
    pub(crate) fn first_for(&self, output: usize, at_least: Exact) -> Option<i128> {
        let known = self.beats[output].iter().position(|beat| *beat >= at_least);
        let Timing::Rate { .. } = self.rig.outputs[output].timing else { return known.map(|n| n as i128) };
        let further = || {
            let all = meant(self.rig, output, at_least.max(self.rig.end) + Exact::from_integer(64));
            all.iter().position(|(_, _, piece)| *piece >= at_least)
        };
        known.or_else(further).map(|n| n as i128)
    }
}

/// The beats of the piece at which the clock begins from the one.
pub(crate) fn starts(rig: &Rig) -> Vec<Exact> {
    counts(rig).iter().map(Count::start).filter(|start| *start < rig.end).collect()
}

/// The period of what is meant at a beat of the piece.
pub(crate) fn period_at(rig: &Rig, output: usize, beat: Exact) -> Option<Exact> {
    let Timing::Rate { .. } = rig.outputs[output].timing else { return None };
    let positions = positions(rig, output, None);
    positions.iter().rfind(|position| position.from <= beat.max(Exact::from_integer(0))).map(|p| period(p.knobs))
}

/// Whether the clock is stopped at an instant.
pub(crate) fn is_stopped(rig: &Rig, tempo: Tempo, at: i64) -> bool {
    let instant = |beat: Exact| rounded(lasts(tempo, beat));
    let switched = rig.course.switches.iter().filter(|beat| instant(**beat) <= at).count();
    switched % 2 == 1 || instant(rig.end) <= at
}

/// What an output sends.
pub(crate) fn sent(rig: &Rig, output: usize, tempo: Tempo) -> Vec<Pulse> {
    let mut pulses = Vec::new();
    // "Pulse *k* is meant for beat `k·M/N`", even if the clock is stopped for good by then.
    let numbers = meant(rig, output, rig.end + Exact::from_integer(1));
    let positions = positions(rig, output, Some(tempo));
    for (n, count) in counts(rig).iter().enumerate() {
        let own = &rig.outputs[output];
        let at = |beat: Exact| lasts(tempo, beat) + own.shift;
        let mut once = |k: usize, rise: Exact, fall: Exact| {
            pulses.push(Pulse { k: k as i128, rise: rounded(rise), fall: rounded(fall), k_fall: k as i128 });
        };
        match own.timing {
            Timing::Start => {
                let rise = at(count.start());
                let early = rounded(rise) < rounded(lasts(tempo, count.start()));
                // Nor does it rise once the clock stands.
                let stop = count.parts[0].until;
                let late = stop.is_some_and(|stop| rounded(rise) >= rounded(lasts(tempo, stop)));
                if count.start() < rig.end && !early && !late {
                    once(n, rise, rise + width(own, tempo));
                }
            }
            Timing::Stop | Timing::Run => {
                // Each has a number of its own.
                let before: usize = counts(rig)[..n].iter().map(|count| count.parts.len()).sum();
                for (n, part) in (before..).zip(&count.parts).filter(|(_, part)| part.from < rig.end) {
                    // It stops "at the end of the patch, if nothing stops it before".
                    let stop = at(part.until.map_or(rig.end, |until| until.min(rig.end)));
                    if own.timing == Timing::Stop {
                        once(n, stop, stop + width(own, tempo));
                    } else {
                        once(n, at(part.from), stop);
                    }
                }
            }
            Timing::Rate { .. } => {
                let settings = settings(count, &positions);
                for (i, setting) in settings.iter().enumerate() {
                    let stopped = count.parts.last().and_then(|part| part.until);
                    let ends = settings.get(i + 1).map(|next| next.turned).into_iter().chain(stopped).min();
                    pulses.extend(of_setting(rig, tempo, count, setting, ends, &numbers));
                }
            }
        }
    }
    on_one_wire(pulses).into_iter().map(|p| Pulse { k_fall: p.k, ..p }).collect()
}

/// What is sent while the knobs stand in one way: what rises in that time.
fn of_setting(
    rig: &Rig,
    tempo: Tempo,
    count: &Count,
    setting: &Setting<'_>,
    ends: Option<Exact>,
    numbers: &[(usize, Exact, Exact)],
) -> Vec<Pulse> {
    let Timing::Rate { period, phase, .. } = setting.knobs.timing else { panic!("it has a rate") };
    let instant = |beat: Exact| rounded(lasts(tempo, beat));
    let mut pulses = Vec::new();
    for k in 0.. {
        let beat = setting.origin + on_grid(setting.knobs, k);
        let counted = lasts(tempo, beat + period * phase) + setting.knobs.shift;
        // What a stop has cut off is still due where the clock goes on.
        let within = |part: &Part| lasts(tempo, part.from) + counted - lasts(tempo, part.counted);
        let begun = |part: &&Part| rounded(within(part)) >= instant(part.from);
        let part = count.parts.iter().rfind(begun).unwrap_or(&count.parts[0]);
        let exact = within(part);
        // "nor is one sent that is meant for a beat at or past the end of the patch", nor does one rise that would at the
        // stop or when the knob is turned further.
        if count.piece(beat) >= rig.end || ends.is_some_and(|end| rounded(exact) >= instant(end)) {
            return pulses;
        }
        // "A pulse that would rise before the clock starts is not sent", nor is one that would have risen before the knob
        // was turned.
        let stands = part.until.is_some_and(|until| rounded(exact) >= instant(until));
        if rounded(exact) < instant(setting.turned) || stands {
            continue;
        }
        // A pulse that comes where none is meant counts as the one before it; "pulses keep their numbers" where it goes on.
        let meant_for = count.piece(beat);
        let number = numbers.iter().rposition(|(_, _, piece)| *piece <= meant_for).expect("the start is meant") as i128;
        let fall = exact + width(setting.knobs, tempo);
        pulses.push(Pulse { k: number, rise: rounded(exact), fall: rounded(fall), k_fall: number });
    }
    pulses
}
