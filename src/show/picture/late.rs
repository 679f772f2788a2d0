use super::canvas::{Anchor, Canvas, LABEL, Room, WIDTH};
use super::frame::{Plot, tempo_axis};
use super::legend::{Look, dotted, legend, line};
use super::scale::Scale;
use super::text::{figure, fitted};
use std::fmt::Write;

/// How late a box was measured to be over tempo, and the line that explains it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct LatePicture {
    /// Makes the ids within the picture: unique in a page.
    pub name: String,
    /// The heading.
    pub title: String,
    /// A line below it; may be empty.
    pub about: String,
    /// A point a recording.
    pub points: Vec<LatePoint>,
    /// The line: tempos, rising, with the gap there in milliseconds and the bounds of 95 %.
    pub line: Vec<(f64, f64, [f64; 2])>,
    /// What a positive gap means: `wren after the clock`.
    pub later: String,
}

/// What one recording says.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct LatePoint {
    /// Quarter notes a minute.
    pub tempo: f64,
    /// The mean of the gaps in milliseconds; negative is earlier.
    pub ms: f64,
    /// The smallest and the largest of them.
    pub range_ms: [f64; 2],
}

/// The least height of the scale, in milliseconds: under that all lies level.
const LEAST: f64 = 0.05;

/// Draws the gaps of each recording, and the line through them with its band, over tempo.
#[must_use]
pub fn late_over_tempo(of: &LatePicture) -> String {
    let plot = Plot { left: 70.0, top: 62.0, right: WIDTH - 20.0, bottom: 330.0 };
    let mut canvas = Canvas::new(&of.name, &of.title, &said(of), (WIDTH, plot.bottom + 80.0));
    canvas.heading(&of.title, &of.about);
    let tempos = of.points.iter().map(|point| point.tempo).chain(of.line.iter().map(|place| place.0));
    let ends = tempos.filter(|t| t.is_finite()).fold((f64::MAX, f64::MIN), |e, t| (e.0.min(t), e.1.max(t)));
    let ends = if ends.0 <= ends.1 { ends } else { (60.0, 180.0) };
    let x = Scale::even(
        if ends.0 < ends.1 { ends } else { (ends.0 * 0.9, ends.1 * 1.1) },
        (plot.left + 14.0, plot.right - 14.0),
    );
    let points = of.points.iter().flat_map(|point| [point.ms, point.range_ms[0], point.range_ms[1]]);
    let band = of.line.iter().flat_map(|place| [place.1, place.2[0], place.2[1]]);
    let values = points.chain(band).chain([0.0]).filter(|ms| ms.is_finite());
    let (low, high) = values.fold((f64::MAX, f64::MIN), |e, v| (e.0.min(v), e.1.max(v)));
    let room = (0.06 * (high - low)).max(0.5 * (LEAST - (high - low)));
    let y = Scale::even((low - room, high + room), (plot.bottom, plot.top));
    for (value, text) in y.ticks(6) {
        let at = y.at(value);
        canvas.line("hg-grid hg-thin", (plot.left, at), (plot.right, at));
        canvas.label(&text, (plot.left - 6.0, at + 4.5), Anchor::End, "hg-soft");
    }
    let words = fitted(&format!("ms; positive: {}", of.later), (plot.bottom - plot.top) / LABEL);
    canvas.upright(&words, (16.0, f64::midpoint(plot.top, plot.bottom)), plot.bottom - plot.top);
    if of.line.len() > 1 {
        let place = |n: usize| of.line.iter().map(move |(tempo, _, bounds)| (x.at(*tempo), y.at(bounds[n])));
        let outline: Vec<(f64, f64)> = place(0).chain(place(1).rev()).collect();
        canvas.path("hg-area", "", &outline, true);
    }
    let nought = y.at(0.0);
    dotted(&mut canvas, (plot.left, nought), (plot.right, nought));
    line(&mut canvas, 0, &of.line.iter().map(|(tempo, ms, _)| (x.at(*tempo), y.at(*ms))).collect::<Vec<_>>());
    for pair in of.line.windows(2) {
        let ((a, b, _), (c, d, _)) = (pair[0], pair[1]);
        let (top, bottom) = (y.at(b.max(d)), y.at(b.min(d)));
        canvas.keep_clear(Room { left: x.at(a), top: top - 2.0, right: x.at(c), bottom: bottom + 2.0 });
    }
    for point in &of.points {
        let at = x.at(point.tempo);
        let [low, high] = point.range_ms.map(|ms| y.at(ms));
        canvas.line("hg-rule hg-thin", (at, low), (at, high));
        for end in [low, high] {
            canvas.line("hg-rule hg-thin", (at - 4.0, end), (at + 4.0, end));
        }
        canvas.keep_clear(Room { left: at - 5.0, top: high - 1.0, right: at + 5.0, bottom: low + 1.0 });
        canvas.mark(1, (at, y.at(point.ms)));
    }
    for point in &of.points {
        let (at, height) = (x.at(point.tempo), y.at(point.ms));
        let places = [
            ((at + 8.0, height - 8.0), Anchor::Start),
            ((at - 8.0, height - 8.0), Anchor::End),
            ((at + 8.0, height + 17.0), Anchor::Start),
            ((at - 8.0, height + 17.0), Anchor::End),
        ];
        canvas.label_somewhere(&shown(point.ms), &places, "hg-ink");
    }
    tempo_axis(&mut canvas, &x, &plot, &of.points.iter().map(|point| point.tempo).collect::<Vec<_>>());
    let mut row = vec![(Look::Mark(1), "mean, from the least to the most")];
    if !of.line.is_empty() {
        row.push((Look::Line(0), "what explains it, 95 %"));
    }
    legend(&mut canvas, (plot.left, plot.bottom + 66.0), &row);
    canvas.finish()
}

/// Milliseconds to the microsecond.
fn shown(ms: f64) -> String {
    format!("{} ms", figure((1e3 * ms).round() / 1e3))
}

/// What the picture says, in words.
fn said(of: &LatePicture) -> String {
    let mut out = format!("Gaps over tempo; positive is {}.", of.later);
    for point in of.points.iter().take(12) {
        let [low, high] = point.range_ms.map(shown);
        let _ = write!(out, " {} at {}, from {low} to {high}.", shown(point.ms), figure(point.tempo));
    }
    out
}

#[cfg(test)]
mod tests {
    use super::super::read;
    use super::*;
    use proptest::prelude::*;

    /// By hand: 1 ms and 1 % of a sixteenth, which is 150/tempo ms; a mark stands on the line, as far above nought as the
    /// figures at the axis say.
    #[test]
    fn points_and_the_line_stand_where_their_figures_are() {
        let ms = |tempo: f64| 1.0 + 150.0 / tempo;
        let tempos = [60.0, 90.0, 150.0];
        let point = |tempo: f64| LatePoint { tempo, ms: ms(tempo), range_ms: [ms(tempo) - 0.5, ms(tempo) + 0.25] };
        let text = late_over_tempo(&LatePicture {
            name: "l".into(),
            points: tempos.map(point).to_vec(),
            line: tempos.map(|tempo| (tempo, ms(tempo), [ms(tempo) - 0.1, ms(tempo) + 0.1])).to_vec(),
            later: "wren after the clock".into(),
            ..LatePicture::default()
        });
        let seen = read::svg(&text);
        seen.is_sound();
        let axis = |word: &str| {
            let found = seen.texts.iter().find(|t| t.text == word && t.at.0 < 70.0);
            found.unwrap_or_else(|| panic!("no {word}: {text}")).at.1 - 4.5
        };
        let (none, two) = (axis("0"), axis("2"));
        let height = |ms: f64| none + (two - none) * ms / 2.0;
        let (first, last) = (84.0, WIDTH - 34.0);
        let across = |tempo: f64| first + (last - first) * (tempo - 60.0) / 90.0;
        let curve = &seen.paths("hg-line")[0];
        for ((x, y), tempo) in curve.iter().zip(tempos) {
            assert!((x - across(tempo)).abs() < 0.05 && (y - height(ms(tempo))).abs() < 0.05, "{tempo}");
        }
        let band = &seen.paths("hg-area")[0];
        assert!((band[0].1 - height(ms(60.0) - 0.1)).abs() < 0.05, "{band:?}");
        assert!(seen.desc.contains("3.5 ms at 60, from 3 ms to 3.75 ms"), "{}", seen.desc);
        assert!(seen.texts.iter().any(|t| t.text == "3.5 ms"));
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(100))]
        #[test]
        fn labels_never_overlap(
            points in proptest::collection::vec((1.0_f64..1000.0, -500.0_f64..500.0, 0.0_f64..20.0), 0..12),
            line in proptest::collection::vec((1.0_f64..1000.0, -500.0_f64..500.0, 0.0_f64..20.0), 0..30),
            texts in (read::any_text(), read::any_text(), read::any_text(), read::any_text()),
        ) {
            let point = |(tempo, ms, wide): (f64, f64, f64)| LatePoint { tempo, ms, range_ms: [ms - wide, ms + wide] };
            let mut line: Vec<_> = line.into_iter().map(|(tempo, ms, wide)| (tempo, ms, [ms - wide, ms + wide])).collect();
            line.sort_by(|a, b| a.0.total_cmp(&b.0));
            let picture = LatePicture {
                name: texts.0, title: texts.1, about: texts.2, later: texts.3,
                points: points.into_iter().map(point).collect(), line,
            };
            let text = late_over_tempo(&picture);
            read::svg(&text).is_sound();
            prop_assert_eq!(&text, &late_over_tempo(&picture));
        }
    }
}
