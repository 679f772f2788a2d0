use super::canvas::{Anchor, Canvas, LABEL, Room, WIDTH};
use super::frame::{Ms, PITCH, Plot, names_at_the_end, right_beside, tempo_axis};
use super::ink;
use super::scale::Scale;
use super::text::figure;
use std::fmt::Write;

/// Which delays are acceptable at which tempo, and what components would give.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct WindowPicture {
    /// Makes the ids within the picture: unique in a page.
    pub name: String,
    /// The heading.
    pub title: String,
    /// A line below it; may be empty.
    pub about: String,
    /// The tempos that are played, in quarter notes a minute: they get marks.
    pub tempos: Vec<f64>,
    /// For tempos in rising order, the acceptable delays there: from, to, in milliseconds, in rising order and apart. The
    /// more tempos, the truer the edges; between two they are drawn straight.
    pub windows: Vec<(f64, Vec<(f64, f64)>)>,
    /// What is held against that. The first have the plainest lines.
    pub components: Vec<Component>,
}

/// A delay that can be had.
#[derive(Clone, Debug, PartialEq)]
pub struct Component {
    /// What stands beside its bar.
    pub name: String,
    /// The least delay in milliseconds.
    pub min_ms: f64,
    /// The typical one.
    pub typ_ms: f64,
    /// The largest one.
    pub max_ms: f64,
}

/// Draws acceptable delays over tempo as a filled region and components as bars across it.
///
/// The delay runs from the bottom up on a scale of ratios; nought, where a window or a component has it, lies in a strip
/// below that.
#[must_use]
pub fn window(of: &WindowPicture) -> String {
    let height = 370.0_f64.max(132.0 + PITCH * of.components.len() as f64);
    let right = right_beside(WIDTH, of.components.iter().map(|c| c.name.as_str()));
    let plot = Plot { left: 74.0, top: 62.0, right, bottom: height - 54.0 };
    let mut canvas = Canvas::new(&of.name, &of.title, &said(of), (WIDTH, height));
    canvas.heading(&of.title, &of.about);
    let tempos = || of.windows.iter().map(|w| w.0).chain(of.tempos.iter().copied());
    let ends = tempos().fold((f64::MAX, f64::MIN), |e, t| (e.0.min(t), e.1.max(t)));
    let ends = if ends.0 <= ends.1 { ends } else { (60.0, 180.0) };
    let x = Scale::even(ends, (plot.left, plot.right));
    let spans = of.windows.iter().flat_map(|w| &w.1).flat_map(|s| [s.0, s.1]);
    let parts = of.components.iter().flat_map(|c| [c.min_ms, c.typ_ms, c.max_ms]);
    let y = Ms::holding(spans.chain(parts), &plot);
    y.draw(&mut canvas, &plot, "delay in ms, by powers of ten");
    let outlines = outlines(of, &x, &y);
    for outline in &outlines {
        canvas.path("hg-area hg-faint", " stroke-width=\"1\"", outline, true);
    }
    let mut names = Vec::new();
    for (n, part) in of.components.iter().enumerate() {
        let c = n % ink::COLOURS;
        let (top, middle, bottom) = (y.at(part.max_ms), y.at(part.typ_ms), y.at(part.min_ms));
        if bottom - top >= 1.0 {
            let [x, t, w, h] = [plot.left, top, plot.right - plot.left, bottom - top].map(super::text::number);
            canvas.raw(&format!(
                "<rect class=\"hg-f{c}\" fill-opacity=\"0.16\" x=\"{x}\" y=\"{t}\" width=\"{w}\" height=\"{h}\"/>"
            ));
        }
        let dash = format!(" stroke-dasharray=\"{}\"", ink::dash(n));
        canvas.path(&format!("hg-line hg-s{c}"), &dash, &[(plot.left, middle), (plot.right, middle)], false);
        canvas.keep_clear(Room { left: plot.left, top: middle - 2.0, right: plot.right, bottom: middle + 2.0 });
        names.push((n, middle, part.name.clone()));
    }
    tempo_axis(&mut canvas, &x, &plot, &of.tempos);
    let left_out = names_at_the_end(&mut canvas, &plot, &names);
    debug_assert_eq!(left_out, 0, "the picture is as high as its names need");
    let word = if outlines.is_empty() { "no delay is acceptable" } else { "acceptable" };
    // Within the highest outline, near its middle; else anywhere.
    let middle = f64::midpoint(plot.left, plot.right);
    let mut inside: Vec<(f64, (f64, f64))> = Vec::new();
    for outline in &outlines {
        // The upper edge goes, the lower one comes back.
        let edges = outline.iter().zip(outline.iter().rev()).take(outline.len() / 2);
        inside.extend(edges.map(|(top, bottom)| (top.0, (top.1, bottom.1))));
    }
    inside.retain(|(x, (top, bottom))| (x - middle).abs() < middle - plot.left - 50.0 && bottom - top > LABEL + 4.0);
    let off = |(x, (top, bottom)): &(f64, (f64, f64))| (x - middle).abs() - 4.0 * (bottom - top);
    inside.sort_by(|a, b| off(a).total_cmp(&off(b)));
    let heights = |(x, (top, bottom)): &(f64, (f64, f64))| {
        let (x, top, high) = (*x, *top, bottom - top);
        (1..10).map(move |n| ((x, top + high * f64::from(n) / 10.0), Anchor::Middle))
    };
    let mut places: Vec<_> = inside.iter().take(20).flat_map(heights).collect();
    places.push(((middle, plot.top + 16.0), Anchor::Middle));
    canvas.label_somewhere(word, &places, "hg-ink");
    canvas.finish()
}

/// The region as outlines: a window goes on from tempo to tempo as long as there are as many of them.
fn outlines(of: &WindowPicture, x: &Scale, y: &Ms) -> Vec<Vec<(f64, f64)>> {
    let mut all = Vec::new();
    for same in of.windows.chunk_by(|a, b| a.1.len() == b.1.len()) {
        let count = same.first().map_or(0, |w| w.1.len());
        for n in 0..count {
            let upper = same.iter().map(|(tempo, spans)| (x.at(*tempo), y.at(spans[n].1)));
            let lower = same.iter().rev().map(|(tempo, spans)| (x.at(*tempo), y.at(spans[n].0)));
            let mut outline: Vec<(f64, f64)> = upper.chain(lower).collect();
            if same.len() == 1 {
                // A single tempo would be a line without an area.
                let [(a, b), (_, d)] = [outline[0], outline[1]];
                outline = vec![(a - 4.0, b), (a + 4.0, b), (a + 4.0, d), (a - 4.0, d)];
            }
            all.push(outline);
        }
    }
    all
}

/// What the picture says, in words.
fn said(of: &WindowPicture) -> String {
    let mut out = String::from("Acceptable delays over tempo.");
    let wanted = |t: f64| of.tempos.is_empty() || of.tempos.contains(&t);
    for (tempo, spans) in of.windows.iter().filter(|w| wanted(w.0)).take(8) {
        let spans: Vec<String> = spans.iter().map(|(a, b)| format!("{} to {} ms", figure(*a), figure(*b))).collect();
        let spans = if spans.is_empty() { "none".to_owned() } else { spans.join(" and ") };
        let _ = write!(out, " At {}: {spans}.", figure(*tempo));
    }
    for Component { name, min_ms, typ_ms, max_ms } in of.components.iter().take(8) {
        let [min, typ, max] = [min_ms, typ_ms, max_ms].map(|ms| figure(*ms));
        let _ = write!(out, " {name}: {min} to {max} ms, typically {typ}.");
    }
    out
}

#[cfg(test)]
mod tests {
    use super::super::read::{self, Seen};
    use super::*;
    use proptest::prelude::*;

    fn sample() -> WindowPicture {
        let component = |name: &str, min_ms, typ_ms, max_ms| Component { name: name.into(), min_ms, typ_ms, max_ms };
        let tempos = (50..=160).step_by(2).map(f64::from);
        WindowPicture {
            name: "late-bell-window".into(),
            title: "The late bell: delay in Wren's clock".into(),
            about: "from just after the reset to the max gap of 2 ms".into(),
            tempos: vec![50.0, 80.0, 120.0, 160.0],
            windows: tempos.map(|t| (t, vec![(0.0, 2.0), (1500.0 / t, 2400.0 / t)])).collect(),
            components: vec![
                component("gate at 5 V", 0.00006, 0.000125, 0.00025),
                component("gate at 15 V", 0.00003, 0.00005, 0.0001),
                component("10 k and 47 n", 0.38, 0.47, 0.59),
                component("fast envelope", 0.9, 1.25, 1.9),
                component("polls at 1 kHz", 0.0, 0.5, 1.0),
            ],
        }
    }

    #[test]
    fn the_edges_of_the_region_are_the_windows() {
        let seen = read::svg(&window(&sample()));
        let y = seen.axis(|x| x < 74.0, &["1", "10", "0.1"]);
        let path = seen.paths("hg-area");
        assert_eq!(path.len(), 2);
        let upper = &path[1][..56];
        for (n, tempo) in (50..=160).step_by(2).enumerate() {
            let ms = 2400.0 / f64::from(tempo);
            assert!((upper[n].1 - y(ms)).abs() < 0.5, "{tempo}: {} against {}", upper[n].1, y(ms));
        }
    }

    #[test]
    fn it_says_what_it_shows() {
        let Seen { title, desc, .. } = read::svg(&window(&sample()));
        assert_eq!(title, "The late bell: delay in Wren's clock");
        assert!(
            desc.starts_with("Acceptable delays over tempo. At 50: 0 to 2 ms and 30 to 48 ms. At 80: 0 to 2"),
            "{desc}"
        );
        assert!(read::svg(&window(&WindowPicture::default())).texts.iter().any(|t| t.text == "no delay is acceptable"));
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(200))]
        #[test]
        fn labels_never_overlap(
            tempos in proptest::collection::vec(1.0_f64..1000.0, 0..30),
            spans in proptest::collection::vec((0.0_f64..5.0, 0.0_f64..80.0), 0..4),
            parts in proptest::collection::vec((read::any_text(), 0.0_f64..3.0, 0.0_f64..1.0, 0.0_f64..900.0), 0..24),
            texts in (read::any_text(), read::any_text(), read::any_text()),
        ) {
            let mut on: Vec<f64> = tempos.clone();
            on.sort_by(f64::total_cmp);
            let component = |(name, min_ms, more, most): &(String, f64, f64, f64)| Component {
                name: name.clone(), min_ms: *min_ms, typ_ms: min_ms + more, max_ms: min_ms + more + most,
            };
            let picture = WindowPicture {
                name: texts.0, title: texts.1, about: texts.2, tempos,
                windows: on.iter().map(|t| (*t, spans.iter().map(|(a, b)| (*a, a + b / t)).collect())).collect(),
                components: parts.iter().map(component).collect(),
            };
            let text = window(&picture);
            read::svg(&text).is_sound();
            prop_assert_eq!(&text, &window(&picture));
        }
    }
}
