use super::group::Group;
use super::parts::Part;
use crate::judge::{Input, Target};
use crate::patch::{Path, Rig, Share, Source, Tap};
use crate::time::Span;

/// One thing that somebody could do to a rig.
#[derive(Clone, Debug, PartialEq)]
pub enum Change {
    /// Play a box or a take earlier or later; by how much is worked out.
    Nudge {
        /// Index of the player.
        player: usize,
    },
    /// Plug an input in elsewhere.
    Route {
        /// The input.
        target: Target,
        /// Where it is plugged in.
        path: Path,
    },
    /// Put a part in.
    Put {
        /// Index into the parts of the catalogue.
        part: usize,
        /// Where.
        at: Place,
    },
    /// Turn a dial of the clock.
    Turn {
        /// Index of the output.
        output: usize,
        /// Which dial, and to what.
        to: Dial,
    },
    /// Set a key to a value: what the user said may be set.
    Set {
        /// As a fix has it: `sequencer.wren.reset-mode`.
        path: String,
        /// As TOML has it.
        value: String,
    },
}

/// Where a part is put.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Place {
    /// At the end of the way to one input.
    Input(Target),
    /// At the end of the way to a shared point.
    Wire(usize),
    /// At an output, before all inputs of that kind that hang on it: one part for several boxes.
    Output(usize, Input),
    /// At an output, before some of them and not the others.
    Group(Group),
}

/// A dial of a clock output, and where it stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Dial {
    /// A share of the output's own period.
    Phase(Share),
    /// A time.
    Shift(Span),
    /// How long a pulse is high.
    Width(Span),
}

/// The kinds of changes, as they are forbidden and priced.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Kind {
    /// A nudge.
    Nudge,
    /// A dial of the clock.
    Dial,
    /// A key that may be set.
    Setting,
    /// A cable plugged in elsewhere.
    Cable,
    /// A part put in.
    Part,
}

impl Kind {
    /// All of them, the cheapest first.
    pub const ALL: [Self; 5] = [Self::Nudge, Self::Dial, Self::Setting, Self::Cable, Self::Part];

    /// As it is written on the command line.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Nudge => "nudge",
            Self::Dial => "dial",
            Self::Setting => "setting",
            Self::Cable => "cable",
            Self::Part => "part",
        }
    }

    /// What it costs unless somebody says otherwise: what is turned or set is free, a cable costs a little, a part ten times that.
    #[must_use]
    pub const fn usual_cost(self) -> u64 {
        match self {
            Self::Nudge | Self::Dial | Self::Setting => 0,
            Self::Cable => 1,
            Self::Part => 10,
        }
    }
}

impl Change {
    /// Its kind.
    #[must_use]
    pub const fn kind(&self) -> Kind {
        match self {
            Self::Nudge { .. } => Kind::Nudge,
            Self::Route { .. } => Kind::Cable,
            Self::Put { .. } => Kind::Part,
            Self::Turn { .. } => Kind::Dial,
            Self::Set { .. } => Kind::Setting,
        }
    }

    /// What only one of several changes can be done to: two changes with one slot are two ways to set one thing.
    #[must_use]
    pub fn slot(&self, rig: &Rig) -> String {
        match self {
            Self::Put { at, .. } => format!("{} +", self.paths(rig, *at)),
            Self::Nudge { .. } | Self::Route { .. } | Self::Turn { .. } | Self::Set { .. } => {
                self.touched(rig, &[]).swap_remove(0)
            }
        }
    }

    fn paths(&self, rig: &Rig, at: Place) -> String {
        match at {
            Place::Input(target) => target.name(rig),
            Place::Wire(wire) => format!("wire.{}", rig.wires[wire].name),
            Place::Output(output, input) => format!("clock.{} {input:?}", rig.outputs[output].name),
            Place::Group(group) => {
                format!("clock.{} {:?} {:x}", rig.outputs[group.output].name, group.input, group.members)
            }
        }
    }

    /// The paths of the patch that it changes, and what it puts in: what somebody may want to keep as it is, or to price.
    #[must_use]
    pub fn touched(&self, rig: &Rig, parts: &[Part]) -> Vec<String> {
        match self {
            Self::Nudge { player } => match player.checked_sub(rig.sequencers.len()) {
                None => vec![format!("sequencer.{}.offset", rig.sequencers[*player].name)],
                Some(take) => vec![format!("hits.{}.offset", rig.takes[take].name)],
            },
            Self::Route { target, .. } => vec![target.name(rig)],
            Self::Put { part, at } => {
                let mut all = match at {
                    Place::Input(target) => vec![target.name(rig)],
                    Place::Wire(wire) => vec![format!("wire.{}.path", rig.wires[*wire].name)],
                    Place::Output(output, input) => shared(rig, *output, fan(rig, *output, *input)),
                    Place::Group(group) => shared(rig, group.output, group.targets(rig)),
                };
                all.extend(parts.get(*part).map(|part| format!("component.{}", part.name)));
                all
            }
            Self::Turn { output, to } => {
                let key = match to {
                    Dial::Phase(_) => "phase",
                    Dial::Shift(_) => "shift",
                    Dial::Width(_) => "width",
                };
                vec![format!("clock.{}.{key}", rig.outputs[*output].name)]
            }
            Self::Set { path, .. } => vec![path.clone()],
        }
    }
}

/// What a part that several boxes share touches.
fn shared(rig: &Rig, output: usize, targets: Vec<Target>) -> Vec<String> {
    let own = format!("clock.{}", rig.outputs[output].name);
    std::iter::once(own).chain(targets.into_iter().map(|target| target.name(rig))).collect()
}

/// The inputs of one kind that begin at an output itself.
pub(super) fn fan(rig: &Rig, output: usize, input: Input) -> Vec<Target> {
    let begins = |target: &Target| target.path(rig).is_some_and(|path| path.source == Source::Output(output));
    Target::all(rig).into_iter().filter(|t| t.input == input).filter(begins).collect()
}

/// A way as a patch has it: `"slow"`, or `["slow", "gate"]`.
pub(super) fn written(rig: &Rig, path: &Path) -> String {
    let names: Vec<String> = names(rig, path).iter().map(|name| format!("\"{name}\"")).collect();
    if names.len() == 1 { names.concat() } else { format!("[{}]", names.join(", ")) }
}

/// Where a way begins and what lies on it, by name.
#[must_use]
pub fn names(rig: &Rig, path: &Path) -> Vec<String> {
    let begins = match path.source {
        Source::Output(output) => rig.outputs[output].name.clone(),
        Source::Wire(wire) => format!("wire.{}", rig.wires[wire].name),
        Source::Sequencer { index, tap } => {
            let tap = match tap {
                Tap::Step1 => "step-1",
                Tap::End => "end",
                Tap::Hits => "hits",
                Tap::Thru => "thru",
            };
            format!("sequencer.{}.{tap}", rig.sequencers[index].name)
        }
    };
    let stages = path.stages.iter().map(|&stage| rig.stages[stage].name.clone());
    std::iter::once(begins).chain(stages).collect()
}
