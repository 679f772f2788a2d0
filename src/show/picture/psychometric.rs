use super::canvas::{Anchor, Canvas, LABEL, Room, WIDTH};
use super::legend::{Look, dotted, legend, line, octaves, powers};
use super::scale::Scale;
use super::text::{figure, fitted};
use std::fmt::Write;

/// How the share of right answers grows with the gap.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct CurvePicture {
    /// Makes the ids within the picture: unique in a page.
    pub name: String,
    /// The heading.
    pub title: String,
    /// A line below it; may be empty.
    pub about: String,
    /// What was answered, gaps rising.
    pub points: Vec<CurvePoint>,
    /// Names and, in milliseconds and shares, places of fitted curves, gaps rising.
    pub curves: Vec<(String, Vec<(f64, f64)>)>,
    /// The share that guessing gives.
    pub guess: f64,
    /// The threshold: its gap in milliseconds and the share of right answers there, where one was found.
    pub threshold: Option<(f64, f64)>,
    /// The 95 % interval of its gap.
    pub between_ms: Option<[f64; 2]>,
}

/// Answers at one gap, or at a few that are close.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct CurvePoint {
    /// In milliseconds, above 0: the axis is logarithmic.
    pub gap_ms: f64,
    /// The raw share of right answers.
    pub share: f64,
    /// Wilson's 95 % interval of it.
    pub between: [f64; 2],
    /// How many answers.
    pub trials: u32,
}

/// The mark of raw shares.
const MARK: usize = 3;

/// Draws raw shares with their intervals, and the fitted curves.
#[must_use]
pub fn psychometric(of: &CurvePicture) -> String {
    let (left, right, top, bottom) = (66.0, WIDTH - 20.0, 64.0, 320.0);
    let mut canvas = Canvas::new(&of.name, &of.title, &said(of), (WIDTH, bottom + 76.0));
    canvas.heading(&of.title, &of.about);
    let ends = octaves(of.points.iter().map(|p| p.gap_ms).chain(of.between_ms.into_iter().flatten()));
    let x = Scale::log(ends, (left, right));
    let y = Scale::even((0.0, 100.0), (bottom, top));
    for (value, text) in y.ticks(5) {
        let at = y.at(value);
        canvas.line("hg-grid hg-thin", (left, at), (right, at));
        canvas.label(&text, (left - 6.0, at + 4.5), Anchor::End, "hg-soft");
    }
    canvas.upright("right answers in %", (16.0, f64::midpoint(top, bottom)), bottom - top);
    canvas.line("hg-rule hg-thin", (left, bottom), (right, bottom));
    for (value, text) in powers(ends, 12) {
        let at = x.at(value);
        canvas.line("hg-rule hg-thin", (at, bottom), (at, bottom + 5.0));
        canvas.label(&text, (at, bottom + 19.0), Anchor::Middle, "hg-soft");
    }
    canvas.label("gap in ms, by octaves", (f64::midpoint(left, right), bottom + 37.0), Anchor::Middle, "hg-soft");
    let chance = y.at(100.0 * of.guess);
    dotted(&mut canvas, (left, chance), (right, chance));
    canvas.keep_clear(Room { left, top: chance - 1.5, right, bottom: chance + 1.5 });
    for (n, (_, places)) in of.curves.iter().enumerate().take(3) {
        let inside = places.iter().filter(|p| p.0 >= ends.0 && p.0 <= ends.1);
        let places: Vec<(f64, f64)> = inside.map(|(ms, share)| (x.at(*ms), y.at(100.0 * share))).collect();
        line(&mut canvas, n, &places);
        for pair in places.windows(2) {
            let ((a, b), (c, d)) = (pair[0], pair[1]);
            canvas.keep_clear(Room { left: a, top: b.min(d) - 2.0, right: c, bottom: b.max(d) + 2.0 });
        }
    }
    for point in &of.points {
        let at = x.at(point.gap_ms);
        let [low, high] = point.between.map(|share| y.at(100.0 * share));
        canvas.line("hg-faint hg-thin", (at, low), (at, high));
        for end in [low, high] {
            canvas.line("hg-faint hg-thin", (at - 3.0, end), (at + 3.0, end));
        }
        canvas.keep_clear(Room { left: at - 4.0, top: high - 1.0, right: at + 4.0, bottom: low + 1.0 });
        canvas.mark(MARK, (at, y.at(100.0 * point.share)));
    }
    if let Some((ms, share)) = of.threshold {
        let (at, height) = (x.at(ms), y.at(100.0 * share));
        dotted(&mut canvas, (at, height), (at, bottom));
        if let Some(ends) = of.between_ms {
            let [low, high] = ends.map(|ms| x.at(ms));
            // Just above the axis, where curves and shares seldom are.
            canvas.line("hg-rule hg-mark", (low, bottom - 6.0), (high, bottom - 6.0));
            for end in [low, high] {
                canvas.line("hg-rule hg-mark", (end, bottom - 10.0), (end, bottom - 2.0));
            }
            canvas.keep_clear(Room { left: low, top: bottom - 10.0, right: high, bottom });
        }
        canvas.keep_clear(Room { left: at - 1.5, top: height, right: at + 1.5, bottom });
        let word = fitted(&format!("threshold {} ms", figure((100.0 * ms).round() / 100.0)), (right - left) / LABEL);
        let heights = [bottom - 16.0, bottom - 34.0, bottom - 52.0, top + 14.0];
        let places = heights.into_iter().flat_map(|h| [((at + 6.0, h), Anchor::Start), ((at - 6.0, h), Anchor::End)]);
        canvas.label_somewhere(&word, &places.collect::<Vec<_>>(), "hg-ink");
    }
    let guess = [(right - 4.0, chance - 5.0), (right - 4.0, chance + 14.0), (right - 4.0, chance + 32.0)];
    let starts = [(left + 6.0, chance - 5.0), (left + 6.0, chance + 14.0)].map(|at| (at, Anchor::Start));
    let places: Vec<_> = guess.map(|at| (at, Anchor::End)).into_iter().chain(starts).collect();
    canvas.label_somewhere("guessing", &places, "hg-soft");
    let mut row = vec![(Look::Mark(MARK), "share, 95 % interval")];
    row.extend(of.curves.iter().enumerate().take(3).map(|(n, c)| (Look::Line(n), c.0.as_str())));
    legend(&mut canvas, (left, bottom + 62.0), &row);
    canvas.finish()
}

/// What the picture says, in words.
fn said(of: &CurvePicture) -> String {
    let mut out = format!("The share of right answers over the gap; guessing gives {} %.", (100.0 * of.guess).round());
    for p in of.points.iter().take(12) {
        let gap = figure((100.0 * p.gap_ms).round() / 100.0);
        let _ = write!(out, " {gap} ms: {} % of {}.", (100.0 * p.share).round(), p.trials);
    }
    match of.threshold {
        Some((ms, share)) => {
            let gap = figure((100.0 * ms).round() / 100.0);
            let _ = write!(out, " The threshold is {gap} ms, at {} %.", figure((10_000.0 * share).round() / 100.0));
        }
        None => out.push_str(" No threshold was found."),
    }
    out
}

#[cfg(test)]
mod tests {
    use super::super::read;
    use super::*;
    use proptest::prelude::*;

    /// By hand: a curve and shares that lie on it, and bars as long as they say.
    #[test]
    fn shares_and_curves_stand_where_their_figures_are() {
        let shares = [(2.0, 0.4), (4.0, 0.5), (8.0, 0.9)];
        let point = |(gap_ms, share)| CurvePoint { gap_ms, share, between: [share - 0.1, share + 0.05], trials: 20 };
        let picture = CurvePicture {
            name: "c".into(),
            points: shares.map(point).to_vec(),
            curves: vec![("logistic".into(), shares.to_vec())],
            guess: 1.0 / 3.0,
            threshold: Some((6.0, 0.8)),
            between_ms: Some([4.0, 8.0]),
            ..CurvePicture::default()
        };
        let text = psychometric(&picture);
        let seen = read::svg(&text);
        seen.is_sound();
        let label = |word: &str, low: f64, high: f64| {
            let found = seen.texts.iter().find(|t| t.text == word && (low..high).contains(&t.at.0));
            found.unwrap_or_else(|| panic!("no {word}")).at
        };
        let (none, all) = (label("0", 0.0, 66.0).1 - 4.5, label("100", 0.0, 66.0).1 - 4.5);
        let height = |share: f64| none + (all - none) * share;
        let (two, eight) = (label("2", 66.0, 560.0).0, label("8", 66.0, 560.0).0);
        let place = |ms: f64| two + (eight - two) * (ms / 2.0).log2() / 2.0;
        let curve = &seen.paths("hg-line")[0];
        for ((x, y), (ms, share)) in curve.iter().zip(shares) {
            assert!((x - place(ms)).abs() < 0.05 && (y - height(share)).abs() < 0.05, "{ms}");
        }
        let document = roxmltree::Document::parse(&text).expect("XML");
        let number =
            |n: &roxmltree::Node<'_, '_>, key: &str| n.attribute(key).expect("one").parse::<f64>().expect("a number");
        let bars: Vec<_> = document
            .descendants()
            .filter(|n| n.attribute("class") == Some("hg-faint hg-thin") && n.attribute("x1") == n.attribute("x2"))
            .collect();
        assert_eq!(bars.len(), 3);
        for (bar, (ms, share)) in bars.iter().zip(shares) {
            let ends = [number(bar, "y1"), number(bar, "y2")];
            assert!((number(bar, "x1") - place(ms)).abs() < 0.05, "{ms}");
            assert!((ends[0] - height(share - 0.1)).abs() < 0.05 && (ends[1] - height(share + 0.05)).abs() < 0.05);
        }
        assert!(seen.desc.contains("4 ms: 50 % of 20.") && seen.desc.ends_with("The threshold is 6 ms, at 80 %."));
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(100))]
        #[test]
        fn labels_never_overlap(
            points in proptest::collection::vec((0.0_f64..3000.0, 0.0_f64..1.0, 0_u32..1000), 0..30),
            curves in proptest::collection::vec((read::any_text(), proptest::collection::vec((0.01_f64..500.0, 0.0_f64..1.0), 0..20)), 0..4),
            threshold in proptest::option::of((0.01_f64..600.0, 0.0_f64..1.0)),
            between_ms in proptest::option::of((0.01_f64..600.0, 0.01_f64..600.0)),
            guess in 0.0_f64..1.0,
            texts in (read::any_text(), read::any_text(), read::any_text()),
        ) {
            let point = |(gap_ms, share, trials)| CurvePoint { gap_ms, share, between: [share * 0.5, share], trials };
            let picture = CurvePicture {
                name: texts.0, title: texts.1, about: texts.2, points: points.into_iter().map(point).collect(), curves, guess,
                threshold, between_ms: between_ms.map(|(a, b)| [a, b]),
            };
            let text = psychometric(&picture);
            read::svg(&text).is_sound();
            prop_assert_eq!(&text, &psychometric(&picture));
        }
    }
}
