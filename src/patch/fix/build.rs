//! From the tables of one variant to its [`Rig`].

use crate::patch::check::fault::{Fault, Faults};
use crate::patch::check::view::{Kind, MOST_OF_A_KIND, View, undefined};
use crate::patch::fix::course::course;
use crate::patch::model::{Course, Meter, Rig, Timing};
use crate::patch::read::tables::{Parts, parts, with_voices};
use crate::patch::read::top::Top;
use crate::patch::ways::check_ways;
use crate::time::Beat;

/// The fewest bars of a patch that does not say how many.
const FEWEST_BARS: u64 = 4;

/// Checks one variant and resolves its names. The end of the rig is still beat 0.
pub(in crate::patch) fn build(
    view: &View<'_>,
    top: &Top,
    source: &str,
    faults: &mut Faults,
    warnings: &mut Faults,
) -> Option<Rig> {
    view.check_names(faults);
    if Kind::ALL.iter().any(|kind| view.of(*kind).len() > MOST_OF_A_KIND) {
        return None;
    }
    let before = faults.count();
    let fastest = top.fastest();
    let read = parts(view, top, source, None, faults, warnings);
    if view.has_none(Kind::Sequencer) && view.has_none(Kind::Take) {
        let fault = Fault::new(0..0, "the patch has no sequencer: nothing would play")
            .label("expected a [sequencer.NAME] table in this file")
            .help(format!(
                "write a heading [sequencer.ox], or in one line sequencer.ox = {}",
                Kind::Sequencer.example()
            ));
        faults.push(fault);
    }
    let named = top.one.as_ref().map(|(name, at)| (view.position(Kind::Output, name), name, at));
    if let Some((None, name, at)) = &named {
        let how = match name.as_str() {
            "own" => "move one = \"own\" into a sequencer: there it declares polymetre",
            _ => "take `one` out: by default the slowest reset is the one",
        };
        faults.push(undefined((*at).clone(), name, "output", view.names(Kind::Output), how));
    }
    if faults.count() > before {
        return None;
    }
    let Parts { outputs, stages, wires, voices, sequencers, takes } = read?;
    let (sequencers, takes, voices) = with_voices(sequencers, takes, voices);
    let mut rig = Rig {
        end: Beat::from_integer(0),
        outputs,
        stages,
        wires,
        sequencers,
        takes,
        voices,
        one: None,
        jitter: top.jitter.clone(),
        course: Course::default(),
    };
    check_ways(&rig, view, fastest, faults);
    if faults.count() > before {
        return None;
    }
    rig.one = match named {
        Some((output, _, _)) => output.filter(|o| matches!(rig.outputs[*o].timing, Timing::Rate { .. })),
        None => slowest_reset(&rig).map(|(output, _)| output),
    };
    rig.course = course(view, top, source, &mut rig, (faults, warnings))?;
    Some(rig)
}

/// The slowest output with a rate that some sequencer has as its reset, and its period; the first of equal ones.
fn slowest_reset(rig: &Rig) -> Option<(usize, Beat)> {
    let mut slowest: Option<(usize, Beat)> = None;
    for (n, output) in rig.outputs.iter().enumerate() {
        let used = rig.sequencers.iter().filter_map(|s| s.reset.as_ref()).any(|r| rig.origin(&r.path) == n);
        if let (true, Timing::Rate { period, .. }) = (used, &output.timing)
            && slowest.is_none_or(|(_, longest)| *period > longest)
        {
            slowest = Some((n, *period));
        }
    }
    slowest
}

/// The bars that a rig needs by default: two periods of the slowest reset in whole bars, and at least four.
pub(in crate::patch) fn default_bars(rig: &Rig, meter: Meter) -> u64 {
    let twice = slowest_reset(rig).map_or(Beat::from_integer(0), |(_, period)| period * 2);
    let bars = (twice / meter.bar()).ceil().to_integer();
    u64::try_from(bars).unwrap_or(0).max(FEWEST_BARS)
}
