//! A rig with a set of changes made, and the lines of a fix that say the same.

use super::catalogue::Catalogue;
use super::change::{Change, Dial, Place, written};
use super::parts::Part;
use crate::judge::{Input, Target};
use crate::patch::{Path, Rig, Sequencer, Source, Stage, Timing, Width, Wire, show_span_whole};
use crate::time::{ExactPs, Span};
use num_rational::Ratio;

/// Makes changes on a rig, or on a rig of some boxes alone. `alone` are those boxes' indices in the whole rig, which `whole` is as
/// it is written.
///
/// Where the piece changes what an input is plugged into, a fix has no say from then on: so it is here.
pub(super) fn apply<'c>(
    rig: &mut Rig,
    whole: &Rig,
    alone: Option<&[usize]>,
    parts: &[Part],
    changes: impl Iterator<Item = &'c Change> + Clone,
) {
    let here = |s: usize| match alone {
        None => Some(s),
        Some(own) => own.iter().position(|own| *own == s),
    };
    let mut plugged = Plugged { rig, here: &here, whole };
    for change in changes.clone() {
        match change {
            Change::Route { target, path } => plugged.set(*target, |_| path.clone()),
            Change::Turn { output, to } => turn(plugged.rig, *output, *to),
            Change::Nudge { .. } | Change::Put { .. } | Change::Set { .. } => {}
        }
    }
    for change in changes.clone() {
        let Change::Put { part, at } = change else { continue };
        let (output, targets) = match at {
            Place::Output(output, input) => {
                let every = |sequencer| Target { sequencer, input: *input };
                (output, (0..whole.sequencers.len()).map(every).collect())
            }
            Place::Group(group) => (&group.output, group.targets(whole)),
            Place::Input(_) | Place::Wire(_) => continue,
        };
        let stage = plugged.add(&parts[*part]);
        let path = Path { source: Source::Output(*output), stages: vec![stage] };
        let wire = plugged.rig.wires.len();
        let shared = Wire { name: format!("{}-shared", parts[*part].name), path };
        plugged.rig.course.eras.iter_mut().for_each(|era| era.wires.push(shared.clone()));
        plugged.rig.wires.push(shared);
        plugged.begin(*output, &targets, wire);
    }
    for change in changes {
        let Change::Put { part, at } = change else { continue };
        match at {
            Place::Input(target) => {
                let stage = plugged.add(&parts[*part]);
                plugged.set(*target, |path| {
                    let mut path = path.clone();
                    path.stages.push(stage);
                    path
                });
            }
            Place::Wire(wire) => {
                let stage = plugged.add(&parts[*part]);
                let written = plugged.whole.wires[*wire].path.clone();
                let eras = plugged.rig.course.eras.iter_mut().map(|era| &mut era.wires[*wire].path);
                for path in std::iter::once(&mut plugged.rig.wires[*wire].path).chain(eras) {
                    if *path == written {
                        path.stages.push(stage);
                    }
                }
            }
            Place::Output(..) | Place::Group(_) => {}
        }
    }
}

/// A rig whose inputs are plugged in anew.
struct Plugged<'a> {
    rig: &'a mut Rig,
    here: &'a dyn Fn(usize) -> Option<usize>,
    whole: &'a Rig,
}

impl Plugged<'_> {
    /// A stage for a part: one more, or that of the patch that lies idle.
    fn add(&mut self, part: &Part) -> usize {
        if let Some(stage) = part.stage {
            return stage;
        }
        let stage = Stage { name: part.name.clone(), kind: part.kind.clone() };
        self.rig.course.eras.iter_mut().for_each(|era| era.stages.push(stage.clone()));
        self.rig.stages.push(stage);
        self.rig.stages.len() - 1
    }

    /// Plugs an input in elsewhere, from the start until the piece itself plugs it anew.
    fn set(&mut self, target: Target, to: impl Fn(&Path) -> Path) {
        let Some(index) = (self.here)(target.sequencer) else { return };
        let Some(now) = way(&mut self.rig.sequencers[index], target.input) else { return };
        let (before, after) = (now.clone(), to(now));
        *now = after.clone();
        for era in &mut self.rig.course.eras {
            if let Some(path) = way(&mut era.sequencers[index], target.input)
                && *path == before
            {
                *path = after.clone();
            }
        }
    }

    /// Lets those of these inputs that hang on an output hang on a shared point instead.
    fn begin(&mut self, output: usize, targets: &[Target], wire: usize) {
        for &target in targets {
            self.set(target, |path| match path.source {
                Source::Output(own) if own == output => {
                    Path { source: Source::Wire(wire), stages: path.stages.clone() }
                }
                _ => path.clone(),
            });
        }
    }
}

fn way(sequencer: &mut Sequencer, input: Input) -> Option<&mut Path> {
    match input {
        Input::Clock => Some(&mut sequencer.clock),
        Input::Reset => sequencer.reset.as_mut().map(|reset| &mut reset.path),
    }
}

fn turn(rig: &mut Rig, output: usize, to: Dial) {
    let exact = |span: Span| ExactPs::from_integer(i128::from(span.0));
    let output = &mut rig.outputs[output];
    match (to, &mut output.timing) {
        (Dial::Phase(share), Timing::Rate { phase, .. }) => *phase = share,
        (Dial::Shift(shift), _) => output.shift = exact(shift),
        (Dial::Width(width), _) => output.width = Width::Time(exact(width)),
        (Dial::Phase(_), _) => {}
    }
}

/// The paths and values of a fix that makes a set of changes. `nudges` are the offsets that are to be written.
pub(super) fn lines(
    whole: &Rig,
    catalogue: &Catalogue,
    set: &[u16],
    nudges: &[(usize, Span)],
) -> Vec<(String, String)> {
    let changes = || set.iter().map(|&n| &catalogue.offers[usize::from(n)].change);
    let mut lines: Vec<(String, String)> = Vec::new();
    for change in changes() {
        match change {
            Change::Set { path, value } => lines.push((path.clone(), value.clone())),
            Change::Turn { to, .. } => {
                let value = match to {
                    Dial::Phase(share) => share_text(*share),
                    Dial::Shift(span) | Dial::Width(span) => show_span_whole(*span),
                };
                lines.push((change.touched(whole, &[]).swap_remove(0), format!("\"{value}\"")));
            }
            Change::Nudge { .. } | Change::Route { .. } | Change::Put { .. } => {}
        }
    }
    for (player, offset) in nudges {
        let path = Change::Nudge { player: *player }.touched(whole, &[]).swap_remove(0);
        lines.push((path, format!("\"{}\"", show_span_whole(*offset))));
    }
    // The rig as it becomes says the ways; names of what is new must be free.
    let mut rig = whole.clone();
    apply(&mut rig, whole, None, &catalogue.parts, changes());
    let mut taken: Vec<String> = whole.stages.iter().map(|stage| stage.name.to_ascii_lowercase()).collect();
    let added = changes().filter_map(|change| match change {
        Change::Put { part, .. } => catalogue.parts[*part].written.as_ref(),
        _ => None,
    });
    // Shared parts are added first.
    let shared = |change: &&Change| matches!(change, Change::Put { at: Place::Output(..) | Place::Group(_), .. });
    let in_turn = changes().filter(shared).chain(changes().filter(|change| !shared(change)));
    let written_by: Vec<&String> = in_turn
        .filter_map(|change| match change {
            Change::Put { part, .. } => catalogue.parts[*part].written.as_ref(),
            _ => None,
        })
        .collect();
    debug_assert_eq!(added.count(), written_by.len());
    for (stage, text) in (whole.stages.len()..rig.stages.len()).zip(written_by) {
        let name = free(&rig.stages[stage].name, &mut taken);
        lines.push((format!("stage.{name}"), text.clone()));
        rig.stages[stage].name = name;
    }
    let mut taken: Vec<String> = whole.wires.iter().map(|wire| wire.name.to_ascii_lowercase()).collect();
    for wire in 0..rig.wires.len() {
        if wire < whole.wires.len() {
            if rig.wires[wire].path != whole.wires[wire].path {
                let path = format!("wire.{}.path", rig.wires[wire].name);
                lines.push((path, written(&rig, &rig.wires[wire].path)));
            }
        } else {
            rig.wires[wire].name = free(&rig.wires[wire].name, &mut taken);
            let path = written(&rig, &rig.wires[wire].path);
            lines.push((format!("wire.{}", rig.wires[wire].name), format!("{{ path = {path} }}")));
        }
    }
    for (s, sequencer) in rig.sequencers.iter().enumerate() {
        let own = &whole.sequencers[s];
        if sequencer.clock != own.clock {
            lines.push((format!("sequencer.{}.clock", own.name), written(&rig, &sequencer.clock)));
        }
        if let (Some(reset), Some(before)) = (&sequencer.reset, &own.reset)
            && reset.path != before.path
        {
            lines.push((format!("sequencer.{}.reset", own.name), written(&rig, &reset.path)));
        }
    }
    lines
}

fn free(name: &str, taken: &mut Vec<String>) -> String {
    let numbered = (2..).map(|n| format!("{name}-{n}"));
    let is_free = |name: &String| !taken.contains(&name.to_ascii_lowercase());
    let found = std::iter::once(name.to_owned()).chain(numbered).find(is_free).unwrap_or_default();
    taken.push(found.to_ascii_lowercase());
    found
}

/// A share as a patch has it, to a millionth of a per cent.
pub fn share_text(share: Ratio<i128>) -> String {
    let millionths = crate::time::round_half_up(share * 100_000_000);
    let (sign, size) = (if millionths < 0 { "-" } else { "" }, millionths.abs());
    let text = format!("{sign}{}.{:06}", size / 1_000_000, size % 1_000_000);
    format!("{} %", text.trim_end_matches('0').trim_end_matches('.'))
}
