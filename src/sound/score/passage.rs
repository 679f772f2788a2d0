use super::Signpost;
use crate::sound::render::{Bank, Cue, Program, RenderError};
use crate::time::{Instant, Span};

/// Cues that become one file, and where that file ends at the soonest.
#[derive(Clone, Debug)]
pub struct Passage {
    /// What sounds.
    pub cues: Vec<Cue>,
    /// The file's end, unless a sound dies away later.
    pub end: Instant,
    /// What is marked in the file.
    pub signposts: Vec<Signpost>,
}

impl Passage {
    /// The render of these cues, after a lead-in.
    ///
    /// # Errors
    /// As [`Program::new`].
    pub fn program<'a>(&self, bank: &'a Bank, lead_in: Span) -> Result<Program<'a>, RenderError> {
        let program = Program::new(bank, self.cues.clone(), lead_in, self.end)?;
        Ok(Signpost::mark(program, &self.signposts))
    }
}
