use crate::patch::{Delay, Path, ResetMode, Rig, Sequencer, Source, Stage, StageKind, Tolerance, shown};
use crate::time::Span;

/// The place where the delay goes: the end of the way to one input of a sequencer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Target {
    /// Index into the rig's sequencers.
    pub sequencer: usize,
    /// The input at the end of the path.
    pub input: Input,
}

/// One of the two inputs of a sequencer.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Input {
    /// The one that counts steps.
    Clock,
    /// The one that goes back to step 1.
    Reset,
}

/// The faults for which a text names no path that could be delayed.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum TargetError {
    /// It is not of the form `sequencer.NAME.clock`.
    #[error("`{}` is not a path that can be delayed", shown(.text))]
    Form {
        /// What was asked for.
        text: String,
        /// The sequencer that it names, or else the first.
        sequencer: String,
    },
    /// No sequencer has the name.
    #[error("there is no sequencer `{}`", shown(.name))]
    Unknown {
        /// What was asked for.
        name: String,
        /// The sequencers there are.
        known: Vec<String>,
    },
    /// The sequencer has no reset, or takes no notice of it.
    #[error("the sequencer `{0}` has no reset that it obeys: a delay there changes nothing")]
    NoReset(String),
}

impl TargetError {
    /// What to do, for after `help: `.
    #[must_use]
    pub fn help(&self) -> String {
        match self {
            Self::Form { sequencer, .. } => {
                format!("write sequencer.{sequencer}.clock, or sequencer.{sequencer}.reset")
            }
            Self::Unknown { known, .. } => {
                let all: Vec<String> = known.iter().map(|k| format!("sequencer.{k}.clock")).collect();
                format!("write one of {}", all.join(", "))
            }
            Self::NoReset(name) => format!("write sequencer.{name}.clock"),
        }
    }
}

impl Target {
    /// Reads `sequencer.NAME.clock` or `sequencer.NAME.reset`.
    ///
    /// # Errors
    /// See [`TargetError`].
    pub fn parse(rig: &Rig, text: &str) -> Result<Self, TargetError> {
        let parts: Vec<&str> = text.trim().split('.').collect();
        let form = || {
            let named = rig.sequencers.iter().find(|s| parts.contains(&s.name.as_str())).or(rig.sequencers.first());
            let sequencer = named.map_or_else(|| "NAME".to_owned(), |s| s.name.clone());
            TargetError::Form { text: text.to_owned(), sequencer }
        };
        let ["sequencer", name, input] = parts[..] else { return Err(form()) };
        let input = match input {
            "clock" => Input::Clock,
            "reset" => Input::Reset,
            _ => return Err(form()),
        };
        let Some(sequencer) = rig.sequencers.iter().position(|s| s.name == name) else {
            let known = rig.sequencers.iter().map(|s| s.name.clone()).collect();
            return Err(TargetError::Unknown { name: name.to_owned(), known });
        };
        let target = Self { sequencer, input };
        if target.is_obeyed(rig) { Ok(target) } else { Err(TargetError::NoReset(name.to_owned())) }
    }

    /// Every input of a rig at which a delay changes anything: of each box the clock, and the reset where it obeys one.
    #[must_use]
    pub fn all(rig: &Rig) -> Vec<Self> {
        let both = |sequencer| [Input::Clock, Input::Reset].map(|input| Self { sequencer, input });
        (0..rig.sequencers.len()).flat_map(both).filter(|target| target.is_obeyed(rig)).collect()
    }

    /// Whether the box takes notice of what comes there.
    pub(super) fn is_obeyed(self, rig: &Rig) -> bool {
        let obeys = |s: &Sequencer| s.reset.as_ref().is_some_and(|r| r.mode != ResetMode::Ignored);
        self.input == Input::Clock || rig.ever(self.sequencer).any(obeys)
    }

    /// The input as it is written in a patch and on the command line: `sequencer.wren.clock`.
    #[must_use]
    pub fn name(self, rig: &Rig) -> String {
        let input = if self.input == Input::Clock { "clock" } else { "reset" };
        format!("sequencer.{}.{input}", rig.sequencers[self.sequencer].name)
    }

    /// The other input of the same box.
    pub(super) const fn other(self) -> Self {
        let input = match self.input {
            Input::Clock => Input::Reset,
            Input::Reset => Input::Clock,
        };
        Self { input, ..self }
    }

    /// The way to the input, the first that there is in the course of the piece; `None` for the reset of a box that has none.
    #[must_use]
    pub fn path(self, rig: &Rig) -> Option<&Path> {
        match self.input {
            Input::Clock => Some(&rig.sequencers[self.sequencer].clock),
            Input::Reset => rig.ever(self.sequencer).find_map(|s| s.reset.as_ref().map(|r| &r.path)),
        }
    }

    /// The rig with a delay more at the end of the path.
    #[must_use]
    pub fn delayed(self, rig: &Rig, delay: Span) -> Rig {
        self.with(rig, &pure(delay)).0
    }

    /// The rig with one more stage at the end of the path, and the stage's index. It is there in every era: what is plugged
    /// into the input later on comes through it too.
    pub(super) fn with(self, rig: &Rig, kind: &StageKind) -> (Rig, usize) {
        let mut rig = rig.clone();
        let slot = rig.stages.len();
        let put = |stages: &mut Vec<Stage>, sequencers: &mut [Sequencer]| {
            stages.push(Stage { name: Stage::ADDED.to_owned(), kind: kind.clone() });
            let sequencer = &mut sequencers[self.sequencer];
            let path = match self.input {
                Input::Clock => Some(&mut sequencer.clock),
                Input::Reset => sequencer.reset.as_mut().map(|reset| &mut reset.path),
            };
            path.into_iter().for_each(|path| path.stages.push(slot));
        };
        put(&mut rig.stages, &mut rig.sequencers);
        rig.course.eras.iter_mut().for_each(|era| put(&mut era.stages, &mut era.sequencers));
        (rig, slot)
    }

    /// The rig with this box alone, where nothing that comes to it depends on a box: the same comes to its inputs.
    pub(super) fn alone(self, rig: &Rig) -> Option<(Self, Rig)> {
        let all = vec![true; rig.sequencers.len()];
        let hangs = |rig: &Rig| {
            [self, self.other()].iter().filter_map(|t| t.path(rig)).any(|path| path_hangs(rig, path, &all, 0))
        };
        if rig.in_turn().iter().any(|rig| hangs(rig) || self.shares_queue(rig)) {
            return None;
        }
        let mut alone = Rig { takes: Vec::new(), ..rig.clone() };
        let eras = alone.course.eras.iter_mut().map(|era| &mut era.sequencers);
        for sequencers in std::iter::once(&mut alone.sequencers).chain(eras) {
            *sequencers = vec![sequencers.swap_remove(self.sequencer)];
        }
        Some((Self { sequencer: 0, ..self }, alone))
    }

    /// Whether another box stands in a queue that is on the way to an input of this one: without it the queue would be another.
    fn shares_queue(self, rig: &Rig) -> bool {
        let ways = |s: &Sequencer| {
            let paths = std::iter::once(&s.clock).chain(s.reset.as_ref().map(|reset| &reset.path));
            paths.flat_map(|path| queues(rig, path, 0)).collect::<Vec<_>>()
        };
        let own = ways(&rig.sequencers[self.sequencer]);
        let others = rig.sequencers.iter().enumerate().filter(|(n, _)| *n != self.sequencer);
        let mut others = others.flat_map(|(_, s)| ways(s).into_iter().chain(s.out.iter().copied()).collect::<Vec<_>>());
        !own.is_empty() && others.any(|stage| own.contains(&stage))
    }

    /// The other sequencers that may get something else to play when this path is delayed: all that hang on its box, if
    /// only in one era.
    pub(super) fn followers(self, rig: &Rig) -> Vec<usize> {
        let mut hangs = vec![false; rig.sequencers.len()];
        hangs[self.sequencer] = true;
        let rigs = rig.in_turn();
        // A chain is at most as long as there are sequencers.
        for _ in 0..rig.sequencers.len() {
            for rig in &rigs {
                for (n, sequencer) in rig.sequencers.iter().enumerate() {
                    let mut paths = std::iter::once(&sequencer.clock).chain(sequencer.reset.as_ref().map(|r| &r.path));
                    if paths.any(|path| path_hangs(rig, path, &hangs, 0)) {
                        hangs[n] = true;
                    }
                }
            }
        }
        (0..hangs.len()).filter(|&n| hangs[n] && n != self.sequencer).collect()
    }
}

/// Sets a stage to something else, in every era.
pub(super) fn set(rig: &mut Rig, stage: usize, kind: StageKind) {
    rig.course.eras.iter_mut().for_each(|era| era.stages[stage].kind = kind.clone());
    rig.stages[stage].kind = kind;
}

/// Whether what comes down a path depends on some of the sequencers. `depth` ends one that runs in a circle.
fn path_hangs(rig: &Rig, path: &Path, hangs: &[bool], depth: usize) -> bool {
    way_hangs(rig, path, hangs, (depth, &mut Vec::new()))
}

/// The same; `seen` are the queues that have been asked already.
fn way_hangs(rig: &Rig, path: &Path, hangs: &[bool], (depth, seen): (usize, &mut Vec<usize>)) -> bool {
    if depth > rig.wires.len() + rig.stages.len() + 1 {
        return false;
    }
    let begins = match path.source {
        Source::Output(_) => false,
        Source::Sequencer { index, .. } => hangs[index],
        Source::Wire(wire) => way_hangs(rig, &rig.wires[wire].path, hangs, (depth + 1, &mut *seen)),
    };
    let mut second = |stage: &usize| match &rig.stages[*stage].kind {
        StageKind::Logic(logic) => {
            logic.with.as_ref().is_some_and(|p| way_hangs(rig, p, hangs, (depth + 1, &mut *seen)))
        }
        StageKind::Divide(divide) => {
            divide.reset.as_ref().is_some_and(|p| way_hangs(rig, p, hangs, (depth + 1, &mut *seen)))
        }
        // One queue for all who name it: what comes out hangs on all that goes in.
        StageKind::MidiCable(_) => queue_hangs(rig, *stage, hangs, (depth + 1, &mut *seen)),
        _ => false,
    };
    begins || path.stages.iter().any(&mut second)
}

/// Whether what comes out of a queue depends on some of the sequencers: their hits go into it, or what they send does.
fn queue_hangs(rig: &Rig, queue: usize, hangs: &[bool], (depth, seen): (usize, &mut Vec<usize>)) -> bool {
    if seen.contains(&queue) {
        return false;
    }
    seen.push(queue);
    let hits = rig.sequencers.iter().zip(hangs).any(|(s, hangs)| *hangs && s.out.contains(&queue));
    let inputs = rig.sequencers.iter().flat_map(|s| std::iter::once(&s.clock).chain(s.reset.as_ref().map(|r| &r.path)));
    let seconds = rig.stages.iter().filter_map(|stage| stage.kind.second().map(|(_, path)| path));
    let mut all = inputs.chain(seconds).chain(rig.wires.iter().map(|wire| &wire.path));
    hits || all.any(|path| {
        let place = path.stages.iter().position(|stage| *stage == queue);
        place.is_some_and(|place| {
            let before = Path { source: path.source, stages: path.stages[..place].to_vec() };
            way_hangs(rig, &before, hangs, (depth, &mut *seen))
        })
    })
}

/// The queues on a way, those of shared points and second inputs among them. `depth` ends one that runs in a circle.
fn queues(rig: &Rig, path: &Path, depth: usize) -> Vec<usize> {
    if depth > rig.wires.len() + rig.stages.len() + 1 {
        return Vec::new();
    }
    let mut all = match path.source {
        Source::Wire(wire) => queues(rig, &rig.wires[wire].path, depth + 1),
        Source::Output(_) | Source::Sequencer { .. } => Vec::new(),
    };
    for &stage in &path.stages {
        let kind = &rig.stages[stage].kind;
        if matches!(kind, StageKind::MidiCable(_)) {
            all.push(stage);
        }
        all.extend(kind.second().into_iter().flat_map(|(_, path)| queues(rig, path, depth + 1)));
    }
    all
}

/// A stage that delays rises and falls alike.
pub(super) fn pure(delay: Span) -> StageKind {
    StageKind::Delay(Delay {
        rise: Tolerance::plain(delay),
        fall: Tolerance::plain(delay),
        swallows: Span::ZERO,
        one_shot: None,
    })
}
