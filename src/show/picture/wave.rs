use super::arrow::arrow;
use super::canvas::{Anchor, Canvas, LABEL, Room, WIDTH};
use super::ink;
use super::scale::Scale;
use super::text::{figure, fitted, number};
use std::fmt::Write;

/// Sounds over one time axis, one below the other.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct WavePicture {
    /// Makes the ids within the picture: unique in a page.
    pub name: String,
    /// The heading.
    pub title: String,
    /// A line below it; may be empty.
    pub about: String,
    /// What the nought of the time axis is: `beat 16`.
    pub zero: String,
    /// The stretch of time that is shown, in milliseconds from nought.
    pub from_ms: f64,
    /// Its end.
    pub to_ms: f64,
    /// From the top down.
    pub panels: Vec<WavePanel>,
}

/// One sound.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct WavePanel {
    /// Whose it is.
    pub name: String,
    /// Samples a second.
    pub rate: u32,
    /// The sound; the first sample lies at the picture's beginning. All panels are drawn to one scale.
    pub samples: Vec<f32>,
    /// Where hits begin, in milliseconds, and who plays them.
    pub onsets: Vec<(f64, String)>,
    /// The distance that is to be marked: from, to, and what it is.
    pub gap: Option<(f64, f64, String)>,
    /// What else is to be said, such as a hit that lies outside; may be empty.
    pub note: String,
}

/// How high a panel is, with what stands over and under the wave.
const PANEL: f64 = 128.0;
/// How far a wave reaches at most, up and down.
const REACH: f64 = 36.0;

/// Draws sounds over one time axis with the beginnings of their hits.
#[must_use]
pub fn waveform(of: &WavePicture) -> String {
    let (left, right, top) = (20.0, WIDTH - 20.0, 58.0);
    let bottom = top + PANEL * of.panels.len() as f64;
    let mut canvas = Canvas::new(&of.name, &of.title, &said(of), (WIDTH, bottom + 52.0));
    canvas.heading(&of.title, &of.about);
    let x = Scale::even((of.from_ms, of.to_ms), (left, right));
    canvas.line("hg-rule hg-thin", (left, bottom), (right, bottom));
    for (value, text) in x.ticks(7) {
        let at = x.at(value);
        canvas.line("hg-grid hg-thin", (at, top), (at, bottom));
        canvas.line("hg-rule hg-thin", (at, bottom), (at, bottom + 5.0));
        canvas.label(&text, (at, bottom + 19.0), Anchor::Middle, "hg-soft");
    }
    let title = fitted(&format!("time in ms from {}", of.zero), (right - left) / LABEL);
    canvas.label(&title, (f64::midpoint(left, right), bottom + 40.0), Anchor::Middle, "hg-soft");
    let loudest =
        of.panels.iter().flat_map(|p| &p.samples).filter(|s| s.is_finite()).fold(0.0_f32, |m, s| m.max(s.abs()));
    for (n, panel) in of.panels.iter().enumerate() {
        let head = top + PANEL * n as f64;
        let middle = head + 24.0 + REACH;
        if n > 0 {
            canvas.line("hg-grid hg-thin", (left, head), (right, head));
        }
        canvas.line("hg-grid hg-thin", (left, middle), (right, middle));
        wave(&mut canvas, &x, of.from_ms, (middle, n), panel, loudest);
        let onsets: Vec<&(f64, String)> =
            panel.onsets.iter().filter(|o| (of.from_ms..=of.to_ms).contains(&o.0)).take(40).collect();
        for (at, _) in &onsets {
            let at = x.at(*at);
            let [at, high, low] = [at, head + 20.0, middle + REACH + 22.0].map(number);
            let look = "class=\"hg-rule\" stroke-width=\"1.2\" stroke-dasharray=\"4 2\"";
            canvas.raw(&format!("<path {look} d=\"M{at} {high}L{at} {low}\"/>"));
        }
        if let Some((from, to, label)) = &panel.gap {
            arrow(&mut canvas, (left, right), middle + REACH + 16.0, (x.at(*from), x.at(*to)), label);
        }
        let name = fitted(&panel.name, (right - left) * 0.4 / LABEL);
        canvas.label_over(&name, (right - 2.0, head + 16.0), Anchor::End, "hg-ink");
        let note = fitted(&panel.note, (right - left) * 0.7 / LABEL);
        canvas.label_over(&note, (right - 2.0, middle + REACH + 20.0), Anchor::End, "hg-soft");
        for (at, who) in together(&onsets, &x) {
            let who = fitted(&who, 14.0);
            let height = head + 16.0;
            let places = [
                ((at, height), Anchor::Middle),
                ((at - 3.0, height), Anchor::End),
                ((at + 3.0, height), Anchor::Start),
            ];
            canvas.label_somewhere(&who, &places, "hg-ink");
        }
    }
    canvas.finish()
}

/// Where hits begin, and whose they are: those that stand at one place have one label.
fn together(onsets: &[&(f64, String)], x: &Scale) -> Vec<(f64, String)> {
    let mut all: Vec<(f64, Vec<&str>)> = Vec::new();
    for (at, who) in onsets {
        let at = x.at(*at);
        match all.iter_mut().find(|(other, _)| (other - at).abs() < 1.5) {
            Some((_, names)) if names.contains(&who.as_str()) => {}
            Some((_, names)) => names.push(who),
            None => all.push((at, vec![who])),
        }
    }
    all.into_iter().map(|(at, names)| (at, names.join(" + "))).collect()
}

/// The wave as the outline of what lies between the smallest and the largest sample of each unit of width.
fn wave(canvas: &mut Canvas, x: &Scale, from_ms: f64, (middle, n): (f64, usize), panel: &WavePanel, loudest: f32) {
    let place = |sample: f32| {
        let share = if loudest > 0.0 && sample.is_finite() { f64::from(sample / loudest) } else { 0.0 };
        middle - REACH * share
    };
    let at = |k: usize| x.at(from_ms + 1000.0 * k as f64 / f64::from(panel.rate.max(1)));
    // Beyond the end of the picture everything lies at its edge.
    let mut columns: Vec<(f64, f64, f64)> = Vec::new();
    let mut column = f64::MIN;
    for (k, &sample) in panel.samples.iter().enumerate() {
        let (here, y) = (at(k), place(sample));
        if here >= column + 0.8 {
            // Columns meet: each begins where the last ended.
            let join = columns.last().map_or(y, |_| place(panel.samples[k - 1]));
            columns.push((here, y.min(join), y.max(join)));
            column = here;
        } else if let Some((_, high, low)) = columns.last_mut() {
            (*high, *low) = (high.min(y), low.max(y));
        }
        if here >= WIDTH - 20.0 {
            break;
        }
    }
    if columns.is_empty() {
        return;
    }
    let upper = columns.iter().map(|c| (c.0, c.1));
    let outline: Vec<(f64, f64)> = upper.chain(columns.iter().rev().map(|c| (c.0, c.2))).collect();
    let c = n % ink::COLOURS;
    canvas.path(&format!("hg-f{c} hg-s{c}"), " stroke-width=\"0.9\" stroke-linejoin=\"round\"", &outline, true);
    for (x, high, low) in columns.iter().filter(|c| c.2 - c.1 > 6.0) {
        canvas.keep_clear(Room { left: *x, top: *high, right: x + 1.0, bottom: *low });
    }
}

/// What the picture says, in words.
fn said(of: &WavePicture) -> String {
    let mut out = format!("Sound around {}, in milliseconds from there.", of.zero);
    for panel in of.panels.iter().take(6) {
        let onsets: Vec<String> =
            panel.onsets.iter().take(6).map(|(at, who)| format!("{who} at {}", figure(*at))).collect();
        let _ = write!(out, " {}: {}.", panel.name, onsets.join(", "));
        if let Some((_, _, label)) = &panel.gap {
            let _ = write!(out, " {label}.");
        }
        if !panel.note.is_empty() {
            let _ = write!(out, " {}.", panel.note);
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::super::read;
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(150))]
        #[test]
        fn labels_never_overlap(
            panels in prop::collection::vec((
                read::any_text(), prop::collection::vec(-2.0_f32..2.0, 0..300), 1_u32..100_000,
                prop::collection::vec((-50.0_f64..100.0, read::any_text()), 0..6),
                prop::option::of((-50.0_f64..100.0, -50.0_f64..100.0, read::any_text())), read::any_text(),
            ), 0..4),
            (from_ms, width) in (-20.0_f64..0.0, 0.0_f64..80.0),
            texts in (read::any_text(), read::any_text(), read::any_text(), read::any_text()),
        ) {
            let panel = |(name, samples, rate, onsets, gap, note)| WavePanel { name, rate, samples, onsets, gap, note };
            let picture = WavePicture {
                name: texts.0, title: texts.1, about: texts.2, zero: texts.3, from_ms, to_ms: from_ms + width,
                panels: panels.into_iter().map(panel).collect(),
            };
            let text = waveform(&picture);
            read::svg(&text).is_sound();
            prop_assert_eq!(&text, &waveform(&picture));
        }
    }
}
