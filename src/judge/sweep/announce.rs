use crate::time::{Instant, PS_PER_MS, Span};

/// A patch whose two voices announce: a low tone for ten, a high one for one.
pub const ANNOUNCER: &str = include_str!("announcer.toml");

/// The voice of the low tone among those of the [`ANNOUNCER`]; the other is the high one.
pub const LOW_TONE: usize = 0;

/// From one tone to the next: slow enough to count.
const APART: Span = Span(180 * PS_PER_MS);
/// Between the low and the high ones, and after the last.
const PAUSE: Span = Span(400 * PS_PER_MS);

/// The tones that announce a number from 1 on: whether it is a low one, a low one for each ten, then high ones.
#[must_use]
pub fn tones(number: usize) -> Vec<bool> {
    let (tens, ones) = (number / 10, number % 10);
    std::iter::repeat_n(true, tens).chain(std::iter::repeat_n(false, ones)).collect()
}

/// When each tone of a number sounds, from an instant on, and when what is announced begins.
#[must_use]
pub fn announce(number: usize, from: Instant) -> (Vec<(Instant, bool)>, Instant) {
    let mut now = from;
    let mut all: Vec<(Instant, bool)> = Vec::new();
    for low in tones(number) {
        if all.last().is_some_and(|(_, before)| *before && !low) {
            now = now + Span(PAUSE.0 - APART.0);
        }
        all.push((now, low));
        now = now + APART;
    }
    (all, now + PAUSE)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_number_is_counted_in_tens_and_ones() {
        assert_eq!(tones(3), [false; 3]);
        assert_eq!(tones(20), [true; 2]);
        let (all, begins) = announce(12, Instant::START);
        let at: Vec<(f64, bool)> = all.iter().map(|(at, low)| ((*at - Instant::START).ms(), *low)).collect();
        assert_eq!(at, [(0.0, true), (400.0, false), (580.0, false)]);
        assert_eq!((begins - Instant::START).ms(), 1160.0);
    }
}
