//! What pictures of a listener's answers share: gaps by octaves, and a row that says what marks are.

use super::canvas::{Anchor, Canvas, LABEL};
use super::ink;
use super::text::{ems, figure, number};

/// The ends of a scale that holds all these gaps with some room, two octaves at least. Between a microsecond and a thousand
/// seconds.
pub(super) fn octaves(gaps: impl Iterator<Item = f64>) -> (f64, f64) {
    let fit = |ms: f64| ms.clamp(1e-3, 1e6);
    let ends = gaps.filter(|g| g.is_finite()).fold((f64::MAX, 0.0_f64), |e, g| (e.0.min(fit(g)), e.1.max(fit(g))));
    let (low, high) = if ends.0 <= ends.1 { ends } else { (1.0, 64.0) };
    let (low, high) = (low / 1.3, high * 1.3);
    let short = (4.0 * low / high).max(1.0).sqrt();
    (low / short, high * short)
}

/// Powers of two between two ends, `most` at most.
pub(super) fn powers((low, high): (f64, f64), most: usize) -> Vec<(f64, String)> {
    let first = libm::ceil(libm::log2(low) - 1e-9);
    let count = (libm::floor(libm::log2(high) + 1e-9) - first + 1.0).max(0.0) as usize;
    let step = count.div_ceil(most.max(1)).max(1);
    (0..count).step_by(step).map(|n| libm::exp2(first + n as f64)).map(|ms| (ms, figure(ms))).collect()
}

/// What stands before a word of the row.
#[derive(Clone, Copy, Debug)]
pub(super) enum Look {
    /// The mark of a line of this number.
    Mark(usize),
    /// A ring around a mark.
    Ring,
    /// A line of this number.
    Line(usize),
}

/// A ring around a place.
pub(super) fn ring(canvas: &mut Canvas, (x, y): (f64, f64)) {
    let [left, right, y] = [x - 7.5, x + 7.5, y].map(number);
    canvas.raw(&format!(
        "<path class=\"hg-rule hg-thin\" d=\"M{left} {y}A7.5 7.5 0 0 1 {right} {y}A7.5 7.5 0 0 1 {left} {y}Z\"/>"
    ));
}

/// A row of looks and what each means; what does not fit in is left out.
pub(super) fn legend(canvas: &mut Canvas, (left, y): (f64, f64), all: &[(Look, &str)]) {
    let mut x = left;
    for (look, word) in all {
        let wide = if matches!(look, Look::Line(_)) { 26.0 } else { 12.0 };
        let end = x + wide + 6.0 + ems(word) * LABEL;
        if end > canvas.width() - 8.0 {
            continue;
        }
        let middle = (x + wide / 2.0, y - 4.5);
        match *look {
            Look::Mark(n) => canvas.mark(n, middle),
            Look::Ring => ring(canvas, middle),
            Look::Line(n) => line(canvas, n, &[(x, middle.1), (x + wide, middle.1)]),
        }
        canvas.label(word, (x + wide + 6.0, y), Anchor::Start, "hg-ink");
        x = end + 18.0;
    }
}

/// A line of a number, in its colour and dash.
pub(super) fn line(canvas: &mut Canvas, n: usize, places: &[(f64, f64)]) {
    let dash = format!(" stroke-dasharray=\"{}\"", ink::dash(n));
    canvas.path(&format!("hg-line hg-s{}", n % ink::COLOURS), &dash, places, false);
}

/// A dotted line for a figure that was found.
pub(super) fn dotted(canvas: &mut Canvas, from: (f64, f64), to: (f64, f64)) {
    let [a, b, c, d] = [from.0, from.1, to.0, to.1].map(number);
    let look = "class=\"hg-rule\" stroke-width=\"1.4\" stroke-dasharray=\"1 2.5\"";
    canvas.raw(&format!("<path {look} d=\"M{a} {b}L{c} {d}\"/>"));
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn octaves_hold_what_they_are_given() {
        let (low, high) = octaves([3.0, 20.0].into_iter());
        assert!(low < 3.0 && high > 20.0);
        let words: Vec<String> = powers((low, high), 12).into_iter().map(|t| t.1).collect();
        assert_eq!(words, ["4", "8", "16"]);
        let words: Vec<String> = powers((0.25, 128.0), 12).into_iter().map(|t| t.1).collect();
        assert_eq!(words, ["0.25", "0.5", "1", "2", "4", "8", "16", "32", "64", "128"]);
        assert!(powers((0.001, 1e6), 12).len() <= 12);
        // One gap, and none.
        let (low, high) = octaves(std::iter::once(5.0));
        assert!(high / low >= 4.0 * (1.0 - 1e-12) && (low * high - 25.0).abs() < 1e-9);
        assert!(octaves(std::iter::empty()).0 > 0.0);
    }
}
