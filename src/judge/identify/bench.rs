use super::BENCH;
use crate::patch::{Asked, Faults, Patch, Rig, shown};

/// The test bench on which a box is tried: a rig, the place of the box in it, and the voices that answer.
#[derive(Clone, Debug)]
pub struct TestBench {
    /// The rig, with the clock of the bench's own patch.
    pub rig: Rig,
    /// The box: its place among the rig's sequencers.
    pub player: usize,
    /// The rig whose voices sound: a low one for step 1, a high one for the others, a tick for the clock.
    pub voices: Rig,
}

/// Why a box of a patch cannot be tried.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum BenchError {
    /// The bench's own patch has faults; it has none.
    #[error("{0}")]
    Patch(Faults),
    /// The patch has no sequencers.
    #[error("the patch has takes only, and no box that reads a reset")]
    NoBox,
    /// The patch has several sequencers, and none was named.
    #[error("the patch has several sequencers")]
    Several {
        /// Their names, at least two.
        known: Vec<String>,
    },
    /// No sequencer has the name.
    #[error("there is no sequencer `{}` in the patch", shown(.name))]
    Unknown {
        /// What was asked for.
        name: String,
        /// The sequencers there are.
        known: Vec<String>,
    },
    /// The sequencer has no reset whose way could be tried.
    #[error("`{}` has no reset in the patch", shown(.0))]
    NoReset(String),
    /// Clock and reset cannot be set apart.
    #[error("the clock and the reset of `{}` come from one output", shown(.0))]
    OneOutput(String),
}

impl BenchError {
    /// What to do, for after `help: `; empty where there is nothing.
    #[must_use]
    pub fn help(&self) -> String {
        match self {
            Self::Patch(_) => String::new(),
            Self::NoBox => "name another patch".to_owned(),
            Self::Several { known } => {
                let first = known.first().map_or("NAME", String::as_str);
                format!("say which is the box, such as --sequencer {first}: it has {}", known.join(", "))
            }
            Self::Unknown { known, .. } => format!("it has {}", known.join(", ")),
            Self::NoReset(_) => "give it one, with any reset-mode: it is replaced".to_owned(),
            Self::OneOutput(_) => "try it on straight cables: hitgap identify".to_owned(),
        }
    }
}

impl TestBench {
    /// A box on straight cables, of which nothing else is known.
    ///
    /// # Errors
    /// [`BenchError::Patch`], which never comes.
    pub fn straight() -> Result<Self, BenchError> {
        let rig = Patch::parse(BENCH, &Asked::default()).map_err(BenchError::Patch)?.original.rig;
        Ok(Self { rig: rig.clone(), player: super::BOX, voices: rig })
    }

    /// A box of a patch's original, with all that lies on the way to its inputs; `name` may be left out where it is the only
    /// sequencer. Its clock has the timing of the bench's own.
    ///
    /// # Errors
    /// If there is no such box, or its clock and its reset do not come from two outputs.
    pub fn in_patch(patch: &Patch, name: Option<&str>) -> Result<Self, BenchError> {
        let bench = Self::straight()?;
        let mut rig = patch.original.rig.clone();
        let player = player(&rig, name)?;
        let clock = rig.origin(&rig.sequencers[player].clock);
        rig.outputs[clock].timing = bench.rig.outputs[0].timing.clone();
        Ok(Self { rig, player, voices: bench.voices })
    }
}

/// The place of the box that is named, or the only one.
fn player(rig: &Rig, name: Option<&str>) -> Result<usize, BenchError> {
    let known = || rig.sequencers.iter().map(|s| s.name.clone()).collect();
    let name = match (name, rig.sequencers.as_slice()) {
        (Some(name), _) => name,
        (None, [only]) => only.name.as_str(),
        (None, []) => return Err(BenchError::NoBox),
        (None, [..]) => return Err(BenchError::Several { known: known() }),
    };
    let unknown = || BenchError::Unknown { name: name.to_owned(), known: known() };
    let player = rig.sequencers.iter().position(|s| s.name == name).ok_or_else(unknown)?;
    let sequencer = &rig.sequencers[player];
    let reset = sequencer.reset.as_ref().ok_or_else(|| BenchError::NoReset(name.to_owned()))?;
    if rig.origin(&sequencer.clock) == rig.origin(&reset.path) {
        return Err(BenchError::OneOutput(name.to_owned()));
    }
    Ok(player)
}
