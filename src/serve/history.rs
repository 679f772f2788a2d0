//! Every state of a text, back to the first byte: what each change took out and put in.

use std::time::{Duration, Instant};

/// A text, and the way that it has come.
#[derive(Debug)]
pub(super) struct History {
    text: String,
    /// As it began.
    first: Box<str>,
    done: Vec<Step>,
    undone: Vec<Step>,
    /// What was turned last, and when.
    turned: Option<(String, Instant)>,
}

/// At a place, what was there and what is.
#[derive(Debug)]
struct Step {
    at: usize,
    was: Box<str>,
    is: Box<str>,
}

/// Turns of one word within so long of each other are one step.
const ONE_TURN: Duration = Duration::from_secs(1);

impl Step {
    /// What leads from one text to another: all between the first and the last byte that differ.
    fn between(was: &str, is: &str) -> Self {
        let alike = |(a, b): &(u8, u8)| a == b;
        let mut at = was.bytes().zip(is.bytes()).take_while(alike).count();
        while !was.is_char_boundary(at) {
            at -= 1;
        }
        let (rest, new) = (&was[at..], &is[at..]);
        let mut tail = rest.bytes().rev().zip(new.bytes().rev()).take_while(alike).count();
        while !rest.is_char_boundary(rest.len() - tail) || !new.is_char_boundary(new.len() - tail) {
            tail -= 1;
        }
        Self { at, was: rest[..rest.len() - tail].into(), is: new[..new.len() - tail].into() }
    }

    fn back(&self, text: &mut String) {
        text.replace_range(self.at..self.at + self.is.len(), &self.was);
    }

    fn forth(&self, text: &mut String) {
        text.replace_range(self.at..self.at + self.was.len(), &self.is);
    }
}

impl History {
    /// Begins with a text.
    pub(super) fn new(text: String) -> Self {
        Self { first: text.as_str().into(), text, done: Vec::new(), undone: Vec::new(), turned: None }
    }

    pub(super) fn text(&self) -> &str {
        &self.text
    }

    /// The text with which it began.
    pub(super) fn first(&self) -> &str {
        &self.first
    }

    /// The text so many steps ago; `None` where there were fewer.
    pub(super) fn ago(&self, steps: usize) -> Option<String> {
        let from = self.done.len().checked_sub(steps)?;
        let mut text = self.text.clone();
        self.done[from..].iter().rev().for_each(|step| step.back(&mut text));
        Some(text)
    }

    /// How many steps lead back, and forth.
    pub(super) fn steps(&self) -> [usize; 2] {
        [self.done.len(), self.undone.len()]
    }

    /// Another text from now on. What turns the same `word` again, soon after, is one step with that.
    pub(super) fn push(&mut self, text: String, word: Option<&str>, now: Instant) {
        let again = self.turned.as_ref().is_some_and(|(last, at)| {
            Some(last.as_str()) == word && now.duration_since(*at) < ONE_TURN && self.undone.is_empty()
        });
        if again && let Some(last) = self.done.pop() {
            last.back(&mut self.text);
        }
        self.turned = word.map(|word| (word.to_owned(), now));
        if text == self.text {
            return;
        }
        self.undone.clear();
        self.done.push(Step::between(&self.text, &text));
        self.text = text;
    }

    /// Goes a step back; whether there was one.
    pub(super) fn undo(&mut self) -> bool {
        self.turned = None;
        let Some(step) = self.done.pop() else { return false };
        step.back(&mut self.text);
        self.undone.push(step);
        true
    }

    /// Goes a step forth again; whether there was one.
    pub(super) fn redo(&mut self) -> bool {
        self.turned = None;
        let Some(step) = self.undone.pop() else { return false };
        step.forth(&mut self.text);
        self.done.push(step);
        true
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn back_and_forth_lead_to_every_text(texts in prop::collection::vec("[aäß€x\n]{0,8}", 1..20)) {
            let mut history = History::new(texts[0].clone());
            let mut all = vec![texts[0].clone()];
            for text in &texts[1..] {
                history.push(text.clone(), None, Instant::now());
                if all.last() != Some(text) {
                    all.push(text.clone());
                }
            }
            prop_assert_eq!(history.steps(), [all.len() - 1, 0]);
            for (steps, text) in all.iter().rev().enumerate() {
                prop_assert_eq!(history.ago(steps), Some(text.clone()));
            }
            prop_assert_eq!((history.ago(all.len()), history.first()), (None, all[0].as_str()));
            for text in all.iter().rev() {
                prop_assert_eq!(history.text(), text);
                history.undo();
            }
            for text in &all {
                prop_assert_eq!(history.text(), text);
                history.redo();
            }
        }
    }

    #[test]
    fn one_turn_of_one_word_is_one_step() {
        let (mut history, now) = (History::new("1".to_owned()), Instant::now());
        for (text, word, ms) in
            [("2", "a", 0), ("3", "a", 900), ("4", "a", 1_800), ("5", "b", 1_900), ("6", "b", 3_000)]
        {
            history.push(text.to_owned(), Some(word), now + Duration::from_millis(ms));
        }
        let mut back = Vec::new();
        while history.undo() {
            back.push(history.text().to_owned());
        }
        assert_eq!(back, ["5", "4", "1"]);
        // Turned back to where it was, it is no step at all.
        history.push("2".to_owned(), Some("a"), now);
        history.push("1".to_owned(), Some("a"), now);
        assert_eq!(history.steps(), [0, 0]);
    }
}
