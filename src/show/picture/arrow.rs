use super::canvas::{Anchor, Canvas, LABEL, room};
use super::text::{fitted, number};

/// Nothing stands left of an arrow's row but the picture's margin.
const MARGIN: f64 = 16.0;

/// A double arrow between two places at a height, with its label within it, beside it or over it; `left` and `right` are
/// the ends of the drawing.
pub(super) fn arrow(canvas: &mut Canvas, (left, right): (f64, f64), y: f64, (a, b): (f64, f64), label: &str) {
    let (a, b) = (a.min(b), a.max(b));
    let head = |tip: f64, to: f64| {
        let [tip, back, y, up, down] = [tip, tip + to * 6.0, y, y - 3.0, y + 3.0].map(number);
        format!("M{tip} {y}L{back} {up}L{back} {down}Z")
    };
    // Where there is no room between its ends, the arrow comes from outside.
    let inward = b - a < 16.0;
    let side = if inward { -1.0 } else { 1.0 };
    let ends = if inward { (a - 14.0, b + 14.0) } else { (a, b) };
    let ends = (ends.0.max(left - 8.0), ends.1.min(right + 8.0));
    let label = fitted(label, (right - left) / LABEL);
    let width = room(&label, (0.0, 0.0), Anchor::Start, LABEL).right;
    let base = y + 4.5;
    let mut hole = None;
    if !inward && width < b - a - 26.0 {
        let middle = f64::midpoint(a, b);
        if canvas.label(&label, (middle, base), Anchor::Middle, "hg-ink") {
            hole = Some((middle - width / 2.0 - 3.0, middle + width / 2.0 + 3.0));
        }
    } else if width < right + 12.0 - (ends.1 + 6.0) {
        canvas.label_over(&label, (ends.1 + 6.0, base), Anchor::Start, "hg-ink");
    } else if width < ends.0 - 6.0 - MARGIN.min(left) {
        canvas.label_over(&label, (ends.0 - 6.0, base), Anchor::End, "hg-ink");
    } else {
        let middle = f64::midpoint(a, b).clamp(left + width / 2.0, (right - width / 2.0).max(left + width / 2.0));
        canvas.label_over(&label, (middle, y - 4.0), Anchor::Middle, "hg-ink");
    }
    match hole {
        Some((from, to)) => {
            canvas.line("hg-rule hg-thin", (ends.0, y), (from, y));
            canvas.line("hg-rule hg-thin", (to, y), (ends.1, y));
        }
        None => canvas.line("hg-rule hg-thin", (ends.0, y), (ends.1, y)),
    }
    let heads = head(a, side) + &head(b, -side);
    canvas.raw(&format!("<path class=\"hg-ink\" d=\"{heads}\"/>"));
}
