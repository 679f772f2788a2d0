use crate::time::{Instant, Span};

/// One pulse on a wire: high from its rise up to, and not at, its fall.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Pulse {
    /// When the level goes up.
    pub rise: Instant,
    /// When it goes down.
    pub fall: Instant,
    /// Which of its output's pulses it is, from 0.
    pub number: i64,
}

impl Pulse {
    /// The pulse moved to a later moment, rise and fall alike.
    #[must_use]
    pub fn later(self, by: Span) -> Self {
        Self { rise: self.rise + by, fall: self.fall + by, number: self.number }
    }
}

/// A wire has one level: pulses that touch or overlap are one pulse (first rise, last fall, first number), and a pulse
/// without length is none.
#[derive(Clone, Debug)]
pub struct Wire<I> {
    pulses: I,
    held: Option<Pulse>,
}

impl<I: Iterator<Item = Pulse>> Wire<I> {
    /// A wire that carries these pulses, which must come in order of their rises.
    pub fn new(pulses: I) -> Self {
        Self { pulses, held: None }
    }
}

impl<I: Iterator<Item = Pulse>> Iterator for Wire<I> {
    type Item = Pulse;

    fn next(&mut self) -> Option<Pulse> {
        let mut now = self.held.take().or_else(|| self.pulses.find(|p| p.fall > p.rise))?;
        for next in self.pulses.by_ref().filter(|p| p.fall > p.rise) {
            if next.rise > now.fall {
                self.held = Some(next);
                break;
            }
            now.fall = now.fall.max(next.fall);
        }
        Some(now)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pulse(rise: i64, fall: i64, number: i64) -> Pulse {
        Pulse { rise: Instant(rise), fall: Instant(fall), number }
    }

    #[test]
    fn pulses_that_touch_or_overlap_are_one() {
        let sent = [pulse(0, 5, 0), pulse(5, 9, 1), pulse(7, 8, 2), pulse(10, 10, 3), pulse(11, 12, 4)];
        let seen: Vec<_> = Wire::new(sent.into_iter()).collect();
        assert_eq!(seen, [pulse(0, 9, 0), pulse(11, 12, 4)]);
    }
}
