//! The secrets of one run: who has one may look in.

use rand::TryRng;
use rand::rngs::SysRng;
use std::fmt::Write;
use std::io;
use std::sync::{Mutex, PoisonError};

/// A secret of 256 bits, as 64 figures of base 16.
#[derive(Clone)]
pub(super) struct Secret(String);

impl Secret {
    /// From what the system has for secrets.
    ///
    /// # Errors
    /// Where the system gives none.
    fn new() -> io::Result<Self> {
        let mut bytes = [0_u8; 32];
        SysRng.try_fill_bytes(&mut bytes).map_err(|e| io::Error::other(e.to_string()))?;
        let mut text = String::new();
        bytes.iter().for_each(|byte| {
            let _ = write!(text, "{byte:02x}");
        });
        Ok(Self(text))
    }

    /// Whether a text is this secret. How long it takes says nothing of where the two differ.
    pub(super) fn is(&self, text: &str) -> bool {
        let (own, other) = (self.0.as_bytes(), text.as_bytes());
        let differ = own.iter().zip(other).fold(0, |differ, (a, b)| differ | std::hint::black_box(a ^ b));
        own.len() == other.len() && differ == 0
    }

    pub(super) fn text(&self) -> &str {
        &self.0
    }
}

/// All secrets of a run.
pub(super) struct Keys {
    /// What is printed, for whoever reads the terminal.
    printed: Secret,
    /// What a browser is started with. Other users may see how programs are started, so it opens once.
    handed: Mutex<Option<Secret>>,
    /// What a browser that was let in shows from then on.
    pub(super) cookie: Secret,
}

impl Keys {
    /// New ones.
    ///
    /// # Errors
    /// Where the system gives none.
    pub(super) fn new() -> io::Result<Self> {
        Ok(Self { printed: Secret::new()?, handed: Mutex::new(Some(Secret::new()?)), cookie: Secret::new()? })
    }

    /// The secret for the terminal, and that for a browser's start.
    pub(super) fn outward(&self) -> [String; 2] {
        let handed = self.handed.lock().unwrap_or_else(PoisonError::into_inner);
        [&self.printed, handed.as_ref().unwrap_or(&self.printed)].map(|secret| secret.text().to_owned())
    }

    /// Whether this secret lets in.
    pub(super) fn opens(&self, text: &str) -> bool {
        let mut handed = self.handed.lock().unwrap_or_else(PoisonError::into_inner);
        let once = handed.as_ref().is_some_and(|secret| secret.is(text));
        if once {
            *handed = None;
        }
        self.printed.is(text) || once
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_secret_is_itself_alone() {
        let (one, other) = (Secret::new().expect("a secret"), Secret::new().expect("a secret"));
        assert!(one.text().len() == 64 && one.is(one.text()) && !one.is(other.text()));
        assert!(!one.is("") && !one.is(&one.text()[..63]) && !one.is(&format!("{}0", one.text())));
    }

    #[test]
    fn what_a_browser_is_started_with_opens_once() {
        let keys = Keys::new().expect("secrets");
        let [printed, handed] = keys.outward();
        assert!(keys.opens(&handed) && !keys.opens(&handed));
        assert!(keys.opens(&printed) && keys.opens(&printed) && !keys.opens(keys.cookie.text()));
    }
}
