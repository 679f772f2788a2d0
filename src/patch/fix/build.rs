//! From the tables of one variant to its [`Rig`].

use crate::patch::check::fault::{Fault, Faults};
use crate::patch::check::show::shown;
use crate::patch::check::view::{Kind, MOST_OF_A_KIND, Section, View, undefined};
use crate::patch::fix::course::course;
use crate::patch::model::{Course, Meter, Output, Rig, Sequencer, Stage, Take, Timing, Voice, Wire};
use crate::patch::read::fields::Fields;
use crate::patch::read::top::Top;
use crate::patch::read::{
    kit::kit, output::output, sequencer::sequencer, stage::stage, take::take, voice::voice, wire::wire,
};
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

/// The takes of a variant as [`build`] makes them; none where they cannot be read.
pub(in crate::patch) fn takes(view: &View<'_>, top: &Top, source: &str) -> Vec<Take> {
    if view.has_none(Kind::Take) || Kind::ALL.iter().any(|kind| view.of(*kind).len() > MOST_OF_A_KIND) {
        return Vec::new();
    }
    let (faults, warnings) = (&mut Faults::default(), &mut Faults::warnings());
    let mut all = Sections { view, source, from: None, faults, warnings };
    let voices = all.read(Kind::Voice, |fields| voice(fields, kit(), top.noise).ok());
    let sequencers = all.read(Kind::Sequencer, |fields| sequencer(fields, view).ok());
    let takes = all.read(Kind::Take, |fields| take(fields, view).ok());
    let read = voices.zip(sequencers).zip(takes);
    read.map_or_else(Vec::new, |((voices, sequencers), takes)| with_voices(sequencers, takes, with_kit(voices, top)).1)
}

/// The voices of the file, then those of the kit.
fn with_kit(of_file: Vec<Voice>, top: &Top) -> Vec<Voice> {
    of_file.into_iter().chain(kit().iter().map(|v| Voice { noise: top.noise, ..v.clone() })).collect()
}

/// What the tables of a variant say, voices still as names.
pub(in crate::patch) struct Parts {
    pub(in crate::patch) outputs: Vec<Output>,
    pub(in crate::patch) stages: Vec<Stage>,
    pub(in crate::patch) wires: Vec<Wire>,
    /// Those of the file, then those of the kit.
    pub(in crate::patch) voices: Vec<Voice>,
    pub(in crate::patch) sequencers: Vec<crate::patch::read::sequencer::Unvoiced>,
    takes: Vec<crate::patch::read::take::Unvoiced>,
}

/// Reads all tables, so that the faults of all are told; `from` is the beat from which they are so.
pub(in crate::patch) fn parts(
    view: &View<'_>,
    top: &Top,
    source: &str,
    from: Option<&str>,
    faults: &mut Faults,
    warnings: &mut Faults,
) -> Option<Parts> {
    let mut all = Sections { view, source, from, faults, warnings };
    let fastest = top.fastest();
    let outputs = all.read(Kind::Output, |fields| output(fields, fastest).ok());
    let stages = all.read(Kind::Stage, |fields| stage(fields, view).ok());
    let wires = all.read(Kind::Wire, |fields| wire(fields, view).ok());
    let voices = all.read(Kind::Voice, |fields| voice(fields, kit(), top.noise).ok());
    let sequencers = all.read(Kind::Sequencer, |fields| sequencer(fields, view).ok());
    let takes = all.read(Kind::Take, |fields| take(fields, view).ok());
    Some(Parts {
        outputs: outputs?,
        stages: stages?,
        wires: wires?,
        voices: with_kit(voices?, top),
        sequencers: sequencers?,
        takes: takes?,
    })
}

struct Sections<'s, 'v> {
    view: &'s View<'v>,
    from: Option<&'s str>,
    source: &'v str,
    faults: &'s mut Faults,
    warnings: &'s mut Faults,
}

impl<'v> Sections<'_, 'v> {
    /// Reads every table of a kind, so that the faults of all are told; all of them or nothing.
    fn read<T>(&mut self, kind: Kind, read: impl Fn(&mut Fields<'_, 'v>) -> Option<T>) -> Option<Vec<T>> {
        let one = |section: &Section<'v>| {
            if section.broken {
                return None;
            }
            let mut fields = Fields {
                source: self.source,
                what: match self.from {
                    None => format!("the {} `{}`", kind.noun(), shown(&section.name.text)),
                    Some(beat) => {
                        format!("the {} `{}` from beat {beat} on", kind.noun(), shown(&section.name.text))
                    }
                },
                at: section.name.at.clone(),
                section,
                faults: self.faults,
                warnings: self.warnings,
            };
            read(&mut fields)
        };
        let all: Vec<Option<T>> = self.view.of(kind).iter().map(one).collect();
        all.into_iter().collect()
    }
}

/// Gives the sequencers and the takes their voices by index; voices that nothing plays are left out.
fn with_voices(
    sequencers: Vec<crate::patch::read::sequencer::Unvoiced>,
    takes: Vec<crate::patch::read::take::Unvoiced>,
    of_patch: Vec<Voice>,
) -> (Vec<Sequencer>, Vec<Take>, Vec<Voice>) {
    let mut voices: Vec<Voice> = Vec::new();
    for voice in of_patch {
        let played = sequencers.iter().any(|s| s.voice == voice.name) || takes.iter().any(|t| t.plays(&voice.name));
        // A voice of the file hides that of the kit with its name.
        if played && voices.iter().all(|v| v.name != voice.name) {
            voices.push(voice);
        }
    }
    let index = |name: &str| voices.iter().position(|v| v.name == name).unwrap_or(0);
    let sequencers = sequencers.into_iter().map(|s| Sequencer { voice: index(&s.voice), ..s.sequencer }).collect();
    let takes = takes.into_iter().map(|take| take.voiced(index)).collect();
    (sequencers, takes, voices)
}

/// The place among a rig's voices of one as it is in a later era; it is added if it is not there.
pub(in crate::patch) fn voice_at(all: &mut Vec<Voice>, of_era: &[Voice], name: &str) -> usize {
    // A voice of the file hides that of the kit with its name.
    let Some(voice) = of_era.iter().find(|v| v.name == name) else { return 0 };
    all.iter().position(|v| v == voice).unwrap_or_else(|| {
        all.push(voice.clone());
        all.len() - 1
    })
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
