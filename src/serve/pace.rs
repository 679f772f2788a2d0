//! How many requests are answered: a page turned by hand needs few, and a script that runs wild gets no more.

use super::guard::Refusal;
use axum::http::StatusCode;
use std::sync::{Mutex, PoisonError};
use std::time::Instant;

/// So many at once, and so many more a second.
const AT_ONCE: f64 = 400.0;
const A_SECOND: f64 = 200.0;

/// What is left of what may be asked for, and when that was so.
#[derive(Debug)]
pub(super) struct Pace(Mutex<(f64, Instant)>);

impl Pace {
    pub(super) fn new() -> Self {
        Self(Mutex::new((AT_ONCE, Instant::now())))
    }

    /// Lets a request pass, or says that there are too many.
    pub(super) fn admit(&self) -> Result<(), Refusal> {
        self.admit_at(Instant::now())
    }

    fn admit_at(&self, now: Instant) -> Result<(), Refusal> {
        let mut state = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let (left, since) = *state;
        let left = (left + now.saturating_duration_since(since).as_secs_f64() * A_SECOND).min(AT_ONCE);
        *state = ((left - 1.0).max(0.0), now);
        if left < 1.0 { Err((StatusCode::TOO_MANY_REQUESTS, "too many at once")) } else { Ok(()) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::time::Duration;

    #[test]
    fn a_second_brings_so_many_more() {
        let (pace, now) = (Pace::new(), Instant::now());
        let passed = |at| (0..1_000).filter(|_| pace.admit_at(at).is_ok()).count();
        assert_eq!(
            [passed(now), passed(now + Duration::from_secs(1)), passed(now + Duration::from_secs(60))],
            [400, 200, 400]
        );
    }
}
