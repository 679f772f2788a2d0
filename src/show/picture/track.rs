use super::canvas::{Anchor, Canvas, LABEL, Room, WIDTH};
use super::legend::{Look, dotted, legend, line, octaves, powers, ring};
use super::scale::Scale;
use super::text::{figure, fitted};
use crate::text::counted;

/// A session, trial by trial.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct TrackPicture {
    /// Makes the ids within the picture: unique in a page.
    pub name: String,
    /// The heading.
    pub title: String,
    /// A line below it; may be empty.
    pub about: String,
    /// Every trial.
    pub trials: Vec<TrackTrial>,
    /// The threshold in milliseconds, where one was found.
    pub threshold_ms: Option<f64>,
}

/// A question and what was answered.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct TrackTrial {
    /// Which staircase it belongs to, from 0.
    pub track: usize,
    /// How far apart the two hits were, in milliseconds.
    pub gap_ms: f64,
    /// Whether the answer was right.
    pub right: bool,
    /// Whether the staircase turned with it.
    pub reversal: bool,
    /// Whether it was a plain one, slipped in.
    pub catch: bool,
}

/// How trials are marked: right, wrong, slipped in.
const MARKS: [usize; 3] = [0, 1, 2];

/// Draws the gap of every trial in the order in which they were heard: a line a staircase, marks for right and wrong, rings
/// where it turned.
#[must_use]
pub fn track(of: &TrackPicture) -> String {
    let (left, right, top, bottom) = (66.0, WIDTH - 20.0, 64.0, 320.0);
    let mut canvas = Canvas::new(&of.name, &of.title, &said(of), (WIDTH, bottom + 76.0));
    canvas.heading(&of.title, &of.about);
    let ends = octaves(of.trials.iter().map(|t| t.gap_ms).chain(of.threshold_ms));
    let y = Scale::log(ends, (bottom, top));
    let x = Scale::even((0.0, of.trials.len() as f64 + 1.0), (left, right));
    for (value, text) in powers(ends, 12) {
        let at = y.at(value);
        canvas.line("hg-grid hg-thin", (left, at), (right, at));
        canvas.label(&text, (left - 6.0, at + 4.5), Anchor::End, "hg-soft");
    }
    canvas.upright("gap in ms, by octaves", (16.0, f64::midpoint(top, bottom)), bottom - top);
    canvas.line("hg-rule hg-thin", (left, bottom), (right, bottom));
    for (value, text) in x.ticks(8) {
        let at = x.at(value);
        canvas.line("hg-rule hg-thin", (at, bottom), (at, bottom + 5.0));
        canvas.label(&text, (at, bottom + 19.0), Anchor::Middle, "hg-soft");
    }
    canvas.label("trial", (f64::midpoint(left, right), bottom + 37.0), Anchor::Middle, "hg-soft");
    let place = |n: usize| (x.at(n as f64 + 1.0), y.at(of.trials[n].gap_ms));
    let own = |t: usize| (0..of.trials.len()).filter(move |n| of.trials[*n].track == t && !of.trials[*n].catch);
    let tracks = of.trials.iter().map(|t| t.track + 1).max().unwrap_or(0).min(8);
    for t in 0..tracks {
        let places: Vec<(f64, f64)> = own(t).map(place).collect();
        line(&mut canvas, t, &places);
        for pair in places.windows(2) {
            let ((a, b), (c, d)) = (pair[0], pair[1]);
            canvas.keep_clear(Room { left: a, top: b.min(d) - 2.0, right: c, bottom: b.max(d) + 2.0 });
        }
    }
    for (n, trial) in of.trials.iter().enumerate() {
        let mark = if trial.catch && trial.right { MARKS[2] } else { MARKS[usize::from(!trial.right)] };
        canvas.mark(mark, place(n));
        if trial.reversal {
            ring(&mut canvas, place(n));
        }
    }
    if let Some(ms) = of.threshold_ms {
        let at = y.at(ms);
        dotted(&mut canvas, (left, at), (right, at));
        canvas.keep_clear(Room { left, top: at - 1.5, right, bottom: at + 1.5 });
        let word = fitted(&format!("threshold {} ms", rounded(ms)), (right - left) / LABEL);
        let heights = [at + 14.0, at - 5.0, at + 32.0, at - 23.0, top + 12.0, bottom - 6.0];
        let places =
            heights.into_iter().flat_map(|h| [((right - 4.0, h), Anchor::End), ((left + 6.0, h), Anchor::Start)]);
        canvas.label_somewhere(&word, &places.collect::<Vec<_>>(), "hg-ink");
    }
    let mut row = vec![(Look::Mark(MARKS[0]), "right"), (Look::Mark(MARKS[1]), "wrong"), (Look::Ring, "it turns")];
    if of.trials.iter().any(|t| t.catch) {
        row.push((Look::Mark(MARKS[2]), "plain, slipped in"));
    }
    if tracks > 1 {
        row.extend([(Look::Line(0), "one"), (Look::Line(1), "other")]);
    }
    legend(&mut canvas, (left, bottom + 62.0), &row);
    canvas.finish()
}

/// Two places: more nobody measures.
fn rounded(ms: f64) -> String {
    figure((100.0 * ms).round() / 100.0)
}

/// What the picture says, in words.
fn said(of: &TrackPicture) -> String {
    let count = |what: &dyn Fn(&&TrackTrial) -> bool| of.trials.iter().filter(what).count();
    let (right, reversals) = (count(&|t| t.right), count(&|t| t.reversal));
    let ends = of.trials.iter().fold((f64::MAX, 0.0_f64), |e, t| (e.0.min(t.gap_ms), e.1.max(t.gap_ms)));
    let range = if of.trials.is_empty() {
        String::new()
    } else {
        format!(", gaps from {} to {} ms", rounded(ends.0), rounded(ends.1))
    };
    let found =
        of.threshold_ms.map_or_else(|| "no threshold found".into(), |ms| format!("threshold {} ms", rounded(ms)));
    let turned = counted(reversals, "time");
    format!("{}, {right} right{range}; the gap turned {turned}; {found}.", counted(of.trials.len(), "trial"))
}

#[cfg(test)]
mod tests {
    use super::super::read;
    use super::*;
    use proptest::prelude::*;

    /// Four trials by hand: the line goes through their gaps, and the second turns.
    #[test]
    fn the_line_goes_through_every_gap() {
        let trial = |gap_ms, right, reversal| TrackTrial { gap_ms, right, reversal, ..TrackTrial::default() };
        let plain = TrackTrial { gap_ms: 128.0, right: true, catch: true, ..TrackTrial::default() };
        let trials = vec![trial(32.0, true, false), trial(16.0, false, true), plain, trial(8.0, true, false)];
        let picture = TrackPicture { name: "t".into(), trials, threshold_ms: Some(11.3), ..TrackPicture::default() };
        let text = track(&picture);
        let seen = read::svg(&text);
        seen.is_sound();
        let y = seen.axis(|x| x < 66.0, &["8", "32", "128"]);
        let lines = seen.paths("hg-line");
        // The row of looks has no line of its own with one staircase.
        assert_eq!(lines.len(), 1);
        for (place, gap) in lines[0].iter().zip([32.0, 16.0, 8.0]) {
            assert!((place.1 - y(gap)).abs() < 0.05, "{gap}");
        }
        let ones = |n: u8| text.matches(&format!("hg-mark hg-f{n} ")).count();
        // One each in the row below.
        assert_eq!([ones(0), ones(1), ones(2)], [2 + 1, 1 + 1, 1 + 1]);
        assert_eq!(text.matches("A7.5").count(), 2 * 2);
        assert!(
            seen.desc.contains("4 trials, 3 right, gaps from 8 to 128 ms; the gap turned 1 time; threshold 11.3 ms")
        );
        assert!(seen.texts.iter().any(|t| t.text == "threshold 11.3 ms"));
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(100))]
        #[test]
        fn labels_never_overlap(
            trials in proptest::collection::vec((0_usize..8, 0.0_f64..2000.0, any::<(bool, bool, bool)>()), 0..150),
            threshold_ms in proptest::option::of(0.0_f64..600.0),
            texts in (read::any_text(), read::any_text(), read::any_text()),
        ) {
            let trial = |(track, gap_ms, (right, reversal, catch))| TrackTrial { track, gap_ms, right, reversal, catch };
            let trials = trials.into_iter().map(trial).collect();
            let picture = TrackPicture { name: texts.0, title: texts.1, about: texts.2, trials, threshold_ms };
            let text = track(&picture);
            read::svg(&text).is_sound();
            prop_assert_eq!(&text, &track(&picture));
        }
    }
}
