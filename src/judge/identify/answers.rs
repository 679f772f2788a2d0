use super::Plan;
use crate::patch::shown;

/// The letter of an answer, from its place among what may be heard.
#[must_use]
pub fn letter(answer: usize) -> char {
    char::from(b'a' + u8::try_from(answer.min(25)).unwrap_or(25))
}

/// Why a text does not answer a plan.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum AnswerError {
    /// Not one answer a trial.
    #[error("found {found} of {expected} answers: each setting has one")]
    Count {
        /// How many answers there are.
        found: usize,
        /// How many trials there are.
        expected: usize,
    },
    /// No letter of what may be heard.
    #[error("`{}` is not an answer to trial {trial}", shown(.text))]
    Letter {
        /// What was found.
        text: String,
        /// The trial, from 1.
        trial: usize,
        /// The last letter that it takes.
        last: char,
    },
}

impl AnswerError {
    /// What to do, for after `help: `.
    #[must_use]
    pub fn help(&self) -> String {
        match self {
            Self::Count { .. } => {
                "write a letter for each setting, such as b,a,a, and ? where you are not sure".to_owned()
            }
            Self::Letter { last, .. } => format!("write a letter from a to {last}, or ?"),
        }
    }
}

impl Plan {
    /// Reads what was heard in each trial: letters with commas between, `?` for one that is not sure.
    ///
    /// # Errors
    /// Unless there is one answer a trial, each a letter of what may be heard in it.
    pub fn read_answers(&self, text: &str) -> Result<Vec<Option<usize>>, AnswerError> {
        let parts: Vec<&str> = text.split(',').map(str::trim).collect();
        if parts.len() != self.steps.len() {
            return Err(AnswerError::Count { found: parts.len(), expected: self.steps.len() });
        }
        let read = |(n, part): (usize, &&str)| {
            if *part == "?" {
                return Ok(None);
            }
            let heard = self.steps[n].heard.len();
            (0..heard).find(|&answer| *part == letter(answer).to_string()).map(Some).ok_or_else(|| {
                AnswerError::Letter { text: (*part).to_owned(), trial: n + 1, last: letter(heard.saturating_sub(1)) }
            })
        };
        parts.iter().enumerate().map(read).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::super::TestBench;
    use super::*;
    use crate::time::Tempo;

    #[test]
    fn answers_are_read_back_from_their_letters() {
        let bench = TestBench::straight().expect("the bench");
        let plan = Plan::new(&bench.rig, bench.player, Tempo::whole(60)).expect("played").expect("trials");
        for group in &plan.groups {
            let text: Vec<String> = group.answers.iter().map(|&a| letter(a).to_string()).collect();
            let answers = plan.read_answers(&text.join(" , ")).expect("letters");
            assert!(plan.left(&answers).any(|left| left.habits == group.habits), "{text:?}");
        }
        let trials = plan.steps.len();
        let unsure = vec!["?"; trials].join(",");
        assert_eq!(plan.read_answers(&unsure), Ok(vec![None; trials]));
        assert_eq!(
            plan.read_answers(&format!("{unsure},a")),
            Err(AnswerError::Count { found: trials + 1, expected: trials })
        );
        let last = letter(plan.steps[0].heard.len() - 1);
        let beyond = letter(plan.steps[0].heard.len()).to_string();
        let wrong = plan.read_answers(&unsure.replacen('?', &beyond, 1));
        assert_eq!(wrong, Err(AnswerError::Letter { text: beyond, trial: 1, last }));
    }
}
