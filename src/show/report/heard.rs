//! What a listener hears, in a sentence, and what that means for a patch. The training page says the same in
//! `page/parts/words`.

use super::words::plain;
use crate::ear::{Estimate, NoThreshold, Session, Task};

/// A gap as people say it: two figures, and none of them idle.
pub(super) fn about_ms(ms: f64) -> String {
    to_places(ms, if ms >= 9.95 { 0 } else { 1 + i32::from(ms < 0.995) })
}

/// An end of an interval: whole milliseconds, but for small ones.
fn end_ms(ms: f64) -> String {
    to_places(ms, i32::from(ms < 2.95) + i32::from(ms < 0.295))
}

/// Halves go up, as they do on the page.
fn to_places(ms: f64, places: i32) -> String {
    let unit = 10_f64.powi(places);
    format!("{}", (ms * unit).round() / unit)
}

/// `kick and snare at 90`, and whose bar was played.
fn with_what(session: &Session) -> String {
    let sounds = session.voices.iter().map(|v| plain(v)).collect::<Vec<_>>().join(" and ");
    let bar = session.pattern.as_ref().map_or_else(String::new, |p| format!(", in the bar of `{}`", plain(p)));
    format!("{sounds} at {}{bar}", session.tempo_bpm)
}

/// What the listener hears, or that there is no figure and why; then what that means for a patch. A line each.
pub(super) fn heard(session: &Session, estimate: &Estimate) -> [String; 2] {
    let what = with_what(session);
    match &estimate.threshold {
        Err(why) => [format!("No threshold found, {what}: {why}."), after(why).to_owned()],
        Ok(at) => {
            let about = about_ms(libm::exp(*at));
            let between = estimate.ln_between().map_or_else(String::new, |between| {
                let [low, high] = between.map(libm::exp);
                format!(" ({} to {})", end_ms(low), end_ms(high))
            });
            let said = match session.task {
                Task::TwoOrOne => format!("You hear a gap of about {about} ms{between}, {what}."),
                Task::WhichFirst => format!("You hear who comes first from about {about} ms on{between}, {what}."),
                Task::TightOrLoose => format!("You hear a bar as loose from about {about} ms on{between}, {what}."),
            };
            [said, meaning(session.task, &about)]
        }
    }
}

/// What a threshold means for a patch.
fn meaning(task: Task, about: &str) -> String {
    match task {
        Task::TwoOrOne => format!(
            "For a patch that is `max-gap = \"{about} ms\"`: write it at the top, or `--save ear.toml` here and then `hitgap check PATCH\n\
             --ear ear.toml`. Larger gaps you mostly hear; two like drums change their colour at smaller ones too."
        ),
        Task::WhichFirst => {
            "This sets no max gap: a split is heard before its order is. Train `two or one` for that.".to_owned()
        }
        Task::TightOrLoose => {
            "This sets no max gap, but says from where on a groove suffers. Train `two or one` for the max gap."
                .to_owned()
        }
    }
}

/// What to do where there is no threshold.
fn after(why: &NoThreshold) -> &'static str {
    match why {
        NoThreshold::TooShort { .. } | NoThreshold::TooFew { .. } => {
            "Go on with the session on its page, and save it again."
        }
        NoThreshold::AtFloor { .. } | NoThreshold::LikelyBelow { .. } => {
            "Leave the max gap of your patch at its usual 2 ms or below: your ears are better than that."
        }
        NoThreshold::AtCeiling { .. } | NoThreshold::LikelyAbove { .. } | NoThreshold::LikeGuessing => {
            "Rest, take headphones, and train once more. Until then the usual max gap of 2 ms is a fair one."
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Two figures for the gap; the ends whole from three milliseconds on. By hand.
    #[test]
    fn gaps_are_said_in_two_figures() {
        let about: Vec<String> = [0.254, 0.994, 0.996, 2.0, 6.8047, 9.94, 9.96, 12.5, 127.9].map(about_ms).to_vec();
        assert_eq!(about, ["0.25", "0.99", "1", "2", "6.8", "9.9", "10", "13", "128"]);
        let ends: Vec<String> = [0.25, 0.31, 1.031, 2.94, 2.96, 3.7345, 9.7588].map(end_ms).to_vec();
        assert_eq!(ends, ["0.25", "0.3", "1", "2.9", "3", "4", "10"]);
    }
}
