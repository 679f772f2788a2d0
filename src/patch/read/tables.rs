//! All named tables of one variant, read.

use crate::patch::check::fault::Faults;
use crate::patch::check::show::shown;
use crate::patch::check::view::{Kind, MOST_OF_A_KIND, Section, View};
use crate::patch::model::{Output, Sequencer, Stage, Take, Voice, Wire};
use crate::patch::read::fields::Fields;
use crate::patch::read::{
    kit::kit, output::output, sequencer, sequencer::sequencer, stage::stage, take, take::take, top::Top, voice::voice,
    wire::wire,
};

/// The takes of a variant as a variant has them; none where they cannot be read.
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
    pub(in crate::patch) sequencers: Vec<sequencer::Unvoiced>,
    pub(in crate::patch) takes: Vec<take::Unvoiced>,
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
pub(in crate::patch) fn with_voices(
    sequencers: Vec<sequencer::Unvoiced>,
    takes: Vec<take::Unvoiced>,
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
