//! From what is written to a course: which rig holds from which beat on, and which knobs are turned.

use crate::patch::check::fault::{Fault, Faults, Place};
use crate::patch::check::node::Node;
use crate::patch::check::show::shown;
use crate::patch::check::view::{Kind, View, undefined};
use crate::patch::fix::apply::{Clash, apply, clash};
use crate::patch::fix::refit::Refits;
use crate::patch::model::show_time;
use crate::patch::model::{Course, KnobTurn, Output, Rig, Timing};
use crate::patch::read::change::{Act, Settings, Turning};
use crate::patch::read::fields::Fields;
use crate::patch::read::output::output;
use crate::patch::read::set::Change;
use crate::patch::read::tempo_map::show_beat;
use crate::patch::read::top::Top;
use crate::time::{Beat, LONGEST_PIECE_PS, Tempo};
use num_rational::Ratio;

/// What changes in the course of one variant; voices that are heard only later are added to the rig's.
pub(in crate::patch) fn course(
    view: &View<'_>,
    top: &Top,
    source: &str,
    rig: &mut Rig,
    (faults, warnings): (&mut Faults, &mut Faults),
) -> Option<Course> {
    let before = faults.count();
    let mut now = view.clone();
    let mut course = Course { tempo_map: top.tempo_map.iter().map(|e| e.step.clone()).collect(), ..Course::default() };
    let mut refits = Refits::new(top, source, rig);
    for same in top.changes.chunk_by(|a, b| a.after == b.after) {
        let after = same[0].after;
        let all = same.iter().filter_map(|t| if let Act::Set(settings) = &t.act { Some(settings) } else { None });
        let changes: Vec<&Change> = all.clone().flat_map(|settings| &settings.changes).collect();
        if let Some(Clash { first, second }) = clash(&changes) {
            let fault = Fault::new(second.whole.clone(), format!("`{}` is set twice at one beat", shown(&second.path)))
                .label("this undoes the other")
                .context(first.whole.clone(), "the other is here")
                .help("keep one of the two, or let one come later");
            faults.push(fault);
        }
        let mut refitting: Vec<&Change> = Vec::new();
        for settings in all {
            if is_known(&now, &settings.changes, faults) {
                turn(&mut now, settings, after, &mut course, (top, source, refits.rig()), (faults, warnings));
                refitting.extend(settings.changes.iter().filter(|c| c.kind != Kind::Output));
            }
        }
        if !refitting.is_empty() {
            refits.refit(&now, after, &refitting, (faults, warnings));
        }
        let switches = same.iter().filter(|t| !matches!(t.act, Act::Set(_)));
        course.switches.extend(switches.clone().map(|t| t.after));
        course.continues.extend(switches.filter(|t| matches!(t.act, Act::Continue)).map(|t| t.after));
    }
    if faults.count() > before {
        return None;
    }
    (course.eras, course.parts) = refits.finish(faults)?;
    Some(course)
}

/// Tells what is set of something that is nowhere defined.
fn is_known(now: &View<'_>, changes: &[Change], faults: &mut Faults) -> bool {
    let before = faults.count();
    for change in changes {
        let (kind, name) = (change.kind, &change.name);
        let of_kit = kind == Kind::Voice && crate::patch::read::kit::kit().iter().any(|v| v.name == name.text);
        if now.position(kind, &name.text).is_none() && !of_kit {
            let how = format!("define it with a heading [{}.{}]", kind.key(), shown(&name.text));
            faults.push(undefined(name.at.clone(), &name.text, kind.noun(), now.names(kind), &how));
        }
    }
    faults.count() == before
}

/// Turns the knobs of outputs, and sets all else in the view.
fn turn<'a>(
    now: &mut View<'a>,
    settings: &'a Settings,
    after: Beat,
    course: &mut Course,
    (top, source, rig): (&Top, &'a str, &Rig),
    (faults, warnings): (&mut Faults, &mut Faults),
) {
    let before = faults.count();
    apply(now, &settings.changes.iter().collect::<Vec<_>>(), faults);
    if faults.count() > before {
        return;
    }
    let mut names: Vec<&str> = Vec::new();
    for change in settings.changes.iter().filter(|c| c.kind == Kind::Output) {
        let name = change.name.text.as_str();
        let Some(index) = now.position(Kind::Output, name).filter(|_| !names.contains(&name)) else { continue };
        names.push(name);
        if !matches!(rig.outputs[index].timing, Timing::Rate { .. }) {
            let message =
                format!("the output `{}` has no rate, and nothing of it can be changed in a piece", shown(name));
            let fault = Fault::new(change.whole.clone(), message)
                .label("expected an output with a rate")
                .help("an output that pulses once is as it is; change one that has a `rate`");
            faults.push(fault);
            continue;
        }
        let mut read = |view: &View<'_>| -> Option<Output> {
            let section = &view.of(Kind::Output)[index];
            let mut own = Faults::default();
            let mut fields = Fields {
                source,
                what: format!("the output `{}` from beat {} on", shown(name), show_beat(after)),
                at: change.whole.clone(),
                section,
                faults: &mut own,
                warnings,
            };
            let read = output(&mut fields, top.fastest()).ok();
            // What is faulty stays so through all later changes, and is told once.
            for fault in own.list() {
                if faults.list().iter().all(|told| told.at != fault.at) {
                    faults.push(fault.clone());
                }
            }
            read
        };
        let to = read(now);
        let rate =
            settings.changes.iter().find(|c| c.name.text == name && c.field.as_ref().is_some_and(|f| f.text == "rate"));
        let passes: Option<Vec<Output>> = match rate {
            None => Some(Vec::new()),
            Some(rate) => {
                let passed = |node: &Node| {
                    let change = Change { value: node.clone(), ..rate.clone() };
                    let mut view: View<'_> = now.clone();
                    apply(&mut view, &[&change], &mut Faults::default());
                    read(&view)
                };
                settings.passes.iter().map(passed).collect()
            }
        };
        if let (Some(to), Some(passes)) = (to, passes) {
            let (reading, dwell) = (settings.reading, settings.dwell);
            course.turns.push(KnobTurn { after, output: index, to, reading, passes, dwell });
        }
    }
}

/// Holds what changes against the length of the piece, at every tempo.
pub(in crate::patch) fn check_course(top: &Top, rig: &Rig, end: Beat, faults: &mut Faults, warnings: &mut Faults) {
    let unreached = |at: &Place, what: &str, beat: Beat| {
        let message =
            format!("{what} at beat {} is never reached: the patch ends at beat {}", show_beat(beat), show_beat(end));
        Fault::new(at.clone(), message).label("this has no effect").help("write an earlier beat, or more `bars`")
    };
    for entry in top.tempo_map.iter().filter(|e| e.step.at >= end) {
        warnings.push(unreached(&entry.at, "the change of tempo", entry.step.at));
    }
    for turning in top.changes.iter().filter(|t| t.after >= end) {
        warnings.push(unreached(&turning.at, "the change", turning.after));
    }
    for tempo in &top.tempos {
        let clockwork = rig.clockwork(*tempo);
        let last = clockwork.place(end, Ratio::from_integer(0)).map_or(i64::MAX, |at| at.0);
        if last > LONGEST_PIECE_PS {
            let at = top.tempo_map.first().map_or(0..0, |e| e.at.clone());
            let fault = Fault::new(at, format!("with this tempo map the patch lasts longer than 100 days at {tempo}"))
                .label("expected at most 100 days")
                .help("write faster tempos, or fewer `bars`");
            faults.push(fault);
            return;
        }
    }
    for (n, turn) in rig.course.turns.iter().enumerate().filter(|(_, t)| !t.passes.is_empty() && t.after < end) {
        check_dwell(top, rig, n, turn, end, faults);
    }
}

/// Tells a knob that is still on its way when the piece ends, or when it is turned again or the clock stops.
fn check_dwell(top: &Top, rig: &Rig, n: usize, turn: &KnobTurn, end: Beat, faults: &mut Faults) {
    let lasts = turn.dwell.0.saturating_mul(turn.passes.len() as i64);
    let later = rig.course.turns[n + 1..].iter().filter(|t| t.output == turn.output).map(|t| t.after);
    let stop = rig.course.switches.iter().copied().filter(|s| *s > turn.after);
    let until = later.chain(stop).min().filter(|beat| *beat < end);
    // The least time of all tempos, and the tempo.
    let left = |tempo: &Tempo| {
        let clockwork = rig.clockwork(*tempo);
        (clockwork.instant(until.unwrap_or(end)) - clockwork.instant(turn.after), *tempo)
    };
    let Some((left, tempo)) = top.tempos.iter().map(left).min().filter(|(left, _)| lasts > left.0) else { return };
    let time = |ps: i64| show_time(Ratio::from_integer(i128::from(ps)));
    let what = match until {
        Some(beat) => format!("the next change is at beat {}, {} later", show_beat(beat), time(left.0)),
        None => format!("the piece ends {} later", time(left.0)),
    };
    let passes = |t: &&Turning| matches!(&t.act, Act::Set(settings) if !settings.passes.is_empty());
    let at = top.changes.iter().filter(|t| t.after == turn.after).find(passes);
    let name = shown(&rig.outputs[turn.output].name);
    let message = format!("the knob of `{name}` is on its way for {}, and at {tempo} {what}", time(lasts));
    let fault = Fault::new(at.map_or(0..0, |t| t.at.clone()), message)
        .label(format!("expected a `dwell` with which it arrives within {}", time(left.0)))
        .help("write a shorter `dwell`, fewer rates that it passes, or more `bars`");
    faults.push(fault);
}
