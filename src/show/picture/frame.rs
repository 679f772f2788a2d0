//! What two pictures share: milliseconds over tempo, with a strip for nought below the scale of ratios.

use super::canvas::{Anchor, Canvas, LABEL, NARROW, room};
use super::ink;
use super::scale::{Scale, step, step_below};
use super::text::{fitted, number};

/// Where the drawing stands.
#[derive(Clone, Copy, Debug)]
pub(super) struct Plot {
    pub(super) left: f64,
    pub(super) top: f64,
    pub(super) right: f64,
    pub(super) bottom: f64,
}

/// How high the strip for nought is.
const STRIP: f64 = 28.0;
/// From one label to the next below it.
pub(super) const PITCH: f64 = 16.0;

/// Milliseconds from the bottom up.
#[derive(Clone, Copy, Debug)]
pub(super) struct Ms {
    scale: Scale,
    /// Where nought lies, where there is one.
    zero: Option<f64>,
}

impl Ms {
    /// A scale of ratios that holds all these figures, of which none is negative.
    pub(super) fn holding(values: impl Iterator<Item = f64>, plot: &Plot) -> Self {
        let (mut low, mut high, mut zero) = (f64::MAX, 0.0_f64, false);
        for value in values.filter(|v| v.is_finite()) {
            if value > 0.0 {
                (low, high) = (low.min(value), high.max(value));
            } else {
                zero = true;
            }
        }
        let (low, high) = if high > 0.0 { (low, high) } else { (0.1, 10.0) };
        // Room on both sides, and a decade at least. Under a nanosecond nothing is told.
        let mut ends = (step_below((low * 0.75).max(1e-6)), step(high * 1.3));
        if ends.1 < ends.0 * 10.0 {
            ends = (step_below(ends.0 / 3.0), step(ends.1 * 3.0));
        }
        let foot = if zero { plot.bottom - STRIP } else { plot.bottom };
        Self { scale: Scale::log(ends, (foot, plot.top)), zero: zero.then_some(plot.bottom - 10.0) }
    }

    /// Where a figure lies; nought and less lie in the strip.
    pub(super) fn at(&self, ms: f64) -> f64 {
        match self.zero {
            Some(zero) if ms <= 0.0 => zero,
            _ => self.scale.at(ms),
        }
    }

    /// Ticks, figures and the axis's title.
    pub(super) fn draw(&self, canvas: &mut Canvas, plot: &Plot, title: &str) {
        for (value, text) in self.scale.ticks(9) {
            let y = self.at(value);
            canvas.line("hg-grid hg-thin", (plot.left, y), (plot.right, y));
            canvas.label(&text, (plot.left - 6.0, y + 4.5), Anchor::End, "hg-soft");
        }
        if let Some(zero) = self.zero {
            let y = self.scale.at(0.0);
            canvas.line("hg-faint hg-thin", (plot.left, y), (plot.right, y));
            // The strokes of a scale that does not go on.
            for up in [0.0, 4.0] {
                canvas.line("hg-faint hg-thin", (plot.left - 4.0, y + 4.0 - up), (plot.left + 4.0, y - up));
            }
            canvas.label("0", (plot.left - 6.0, zero + 4.5), Anchor::End, "hg-soft");
        }
        canvas.upright(title, (16.0, (plot.top + plot.bottom) / 2.0), plot.bottom - plot.top);
    }
}

/// Tempos from left to right: those asked for have a mark each and, where there is room, their figure; where there are
/// many, round figures stand there instead.
pub(super) fn tempo_axis(canvas: &mut Canvas, x: &Scale, plot: &Plot, tempos: &[f64]) {
    canvas.line("hg-rule hg-thin", (plot.left, plot.bottom), (plot.right, plot.bottom));
    let y = plot.bottom + 19.0;
    let mut ticks: Vec<(f64, String)> = tempos.iter().map(|&t| (t, super::text::figure(t))).collect();
    ticks.sort_by(|a, b| a.0.total_cmp(&b.0));
    let rooms: Vec<_> = ticks.iter().map(|(t, text)| room(text, (x.at(*t), y), Anchor::Middle, LABEL)).collect();
    let crowded = rooms.windows(2).any(|r| r[0].right + 3.0 > r[1].left);
    if crowded || ticks.is_empty() {
        ticks = x.ticks(6);
    }
    for &tempo in tempos.iter().filter(|_| tempos.len() <= 200) {
        let at = x.at(tempo);
        canvas.line("hg-rule hg-thin", (at, plot.bottom), (at, plot.bottom + 6.0));
    }
    for (tempo, text) in ticks {
        let at = x.at(tempo);
        if crowded {
            canvas.line("hg-grid hg-thin", (at, plot.bottom), (at, plot.bottom + 4.0));
        }
        canvas.label(&text, (at, y), Anchor::Middle, "hg-soft");
    }
    let strokes = if canvas.width() > NARROW { "; strokes: the tempos played" } else { "" };
    let title = fitted(&format!("tempo in quarter notes a minute{strokes}"), (canvas.width() - 32.0) / LABEL);
    let middle = (plot.left + plot.right) / 2.0;
    let half = super::text::ems(&title) * LABEL / 2.0;
    canvas.label(&title, (middle.max(16.0 + half), y + 20.0), Anchor::Middle, "hg-soft");
}

/// Where a plot ends so that the longest name at its right has room, if that is not too long: between four and five
/// sevenths of the picture's width.
pub(super) fn right_beside<'a>(width: f64, names: impl Iterator<Item = &'a str>) -> f64 {
    let longest = names.map(super::text::ems).fold(0.0, f64::max) * LABEL;
    (width - 8.0 - 46.0 - longest - 1.0).clamp(width * 4.0 / 7.0, width * 5.0 / 7.0)
}

/// Names at the right of a plot, each as near as may be to where it belongs, with a stroke that leads there.
///
/// Each has the number of its line and the place at which that ends. What does not fit in is left out; how many is given
/// back.
pub(super) fn names_at_the_end(canvas: &mut Canvas, plot: &Plot, names: &[(usize, f64, String)]) -> usize {
    let mut order: Vec<usize> = (0..names.len()).collect();
    order.sort_by(|&a, &b| names[a].1.total_cmp(&names[b].1).then(a.cmp(&b)));
    let fit = (((plot.bottom - plot.top) / PITCH) as usize + 1).min(names.len());
    // Those whose number is small are kept.
    order.retain(|&n| n < fit);
    let wanted: Vec<f64> = order.iter().map(|&n| names[n].1).collect();
    let places = apart(&wanted, PITCH, (plot.top, plot.bottom));
    let width = canvas.width() - 8.0 - (plot.right + 46.0);
    for (&n, y) in order.iter().zip(places) {
        let (line, end, name) = &names[n];
        let c = line % ink::COLOURS;
        let [x, e, y1, k] = [plot.right, *end, y, plot.right + 42.0].map(number);
        let (from, to) = (number(plot.right + 4.0), number(plot.right + 16.0));
        canvas.raw(&format!("<path class=\"hg-faint hg-thin\" d=\"M{x} {e}L{from} {e}L{to} {y1}\"/>"));
        let dash = ink::dash(*line);
        canvas.raw(&format!("<path class=\"hg-line hg-s{c}\" stroke-dasharray=\"{dash}\" d=\"M{to} {y1}L{k} {y1}\"/>"));
        canvas.mark(*line, (plot.right + 29.0, y));
        canvas.label(&fitted(name, width / LABEL), (plot.right + 46.0, y + 4.5), Anchor::Start, "hg-ink");
    }
    names.len() - fit
}

/// Places in order that are at least a pitch apart and as near as may be to those that were wanted, which rise.
pub(super) fn apart(wanted: &[f64], pitch: f64, (low, high): (f64, f64)) -> Vec<f64> {
    let mut places: Vec<f64> = wanted.iter().map(|w| w.clamp(low, high)).collect();
    for n in 1..places.len() {
        places[n] = places[n].max(places[n - 1] + pitch);
    }
    let mut most = high;
    for place in places.iter_mut().rev() {
        *place = place.min(most);
        most = *place - pitch;
    }
    places
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn places_are_apart_and_within(mut wanted in proptest::collection::vec(-50.0_f64..400.0, 0..20)) {
            wanted.sort_by(f64::total_cmp);
            let places = apart(&wanted, 16.0, (0.0, 320.0));
            prop_assert!(places.windows(2).all(|p| p[1] - p[0] >= 16.0 - 1e-9));
            prop_assert!(places.iter().all(|p| (-1e-9..=320.0).contains(p)), "{:?}", places);
        }
    }
}
