use super::canvas::{Anchor, Canvas, LABEL, Room, WIDTH};
use super::frame::{Ms, PITCH, Plot, names_at_the_end, right_beside, tempo_axis};
use super::ink::COLOURS;
use super::legend::line;
use super::scale::Scale;
use super::text::{ems, figure};
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
/// below that. A component is a line at its typical delay and, where the last tempo is, a stroke from its least to its largest:
/// bands across the picture would hide the region, and each other.
#[must_use]
pub fn window(of: &WindowPicture) -> String {
    window_within(of, WIDTH)
}

/// The picture on a width of 400 units or more, which the text is not scaled to: [`NARROW`](super::NARROW) for a phone.
#[must_use]
pub fn window_within(of: &WindowPicture, width: f64) -> String {
    let height = 370.0_f64.max(132.0 + PITCH * of.components.len() as f64);
    let right = right_beside(width, of.components.iter().map(|c| c.name.as_str()));
    let plot = Plot { left: 74.0, top: 62.0, right, bottom: height - 54.0 };
    let tempos = || of.windows.iter().map(|w| w.0).chain(of.tempos.iter().copied());
    let ends = tempos().fold((f64::MAX, f64::MIN), |e, t| (e.0.min(t), e.1.max(t)));
    let ends = if ends.0 <= ends.1 { ends } else { (60.0, 180.0) };
    let x = Scale::even(ends, (plot.left, plot.right));
    let spans = of.windows.iter().flat_map(|w| &w.1).flat_map(|s| [s.0, s.1]);
    let parts = of.components.iter().flat_map(|c| [c.min_ms, c.typ_ms, c.max_ms]);
    let y = Ms::holding(spans.chain(parts), &plot);
    let outlines = outlines(of, &x, &y);
    let inside = inside(&outlines, &plot);
    // Where no part of the region is large enough for the word, it stands below with a sample.
    let below = !outlines.is_empty() && inside.is_empty();
    let mut canvas = Canvas::new(&of.name, &of.title, &said(of), (width, height + if below { BELOW } else { 0.0 }));
    canvas.heading(&of.title, &of.about);
    y.draw(&mut canvas, &plot, "delay in ms, by powers of ten");
    for outline in &outlines {
        canvas.path("hg-area hg-faint", " stroke-width=\"1\"", outline, true);
    }
    let mut names = Vec::new();
    let reaches: Vec<(f64, f64)> = of.components.iter().map(|c| (y.at(c.max_ms), y.at(c.min_ms))).collect();
    for ((n, part), lane) in of.components.iter().enumerate().zip(lanes(&reaches)) {
        let middle = y.at(part.typ_ms);
        line(&mut canvas, n, &[(plot.left, middle), (plot.right, middle)]);
        canvas.keep_clear(Room { left: plot.left, top: middle - 2.0, right: plot.right, bottom: middle + 2.0 });
        let (top, bottom) = reaches[n];
        let at = plot.right - 8.0 - LANE * (lane % LANES) as f64;
        if bottom - top >= 1.0 {
            let class = format!("hg-line hg-reach hg-s{}", n % COLOURS);
            for (from, to) in [
                ((at, top), (at, bottom)),
                ((at - 3.0, top), (at + 3.0, top)),
                ((at - 3.0, bottom), (at + 3.0, bottom)),
            ] {
                canvas.line(&class, from, to);
            }
            canvas.keep_clear(Room { left: at - 3.0, top: top - 1.0, right: at + 3.0, bottom: bottom + 1.0 });
            canvas.mark(n, (at, middle));
        }
        names.push((n, middle, part.name.clone()));
    }
    tempo_axis(&mut canvas, &x, &plot, &of.tempos);
    let left_out = names_at_the_end(&mut canvas, &plot, &names);
    debug_assert_eq!(left_out, 0, "the picture is as high as its names need");
    if outlines.is_empty() {
        let middle = f64::midpoint(plot.left, plot.right);
        canvas.label_somewhere("no delay is acceptable", &[((middle, plot.top + 16.0), Anchor::Middle)], "hg-ink");
    } else if below {
        let foot = height + BELOW - 12.0;
        let sample = [(16.0, foot - 9.0), (16.0 + 26.0, foot - 9.0), (16.0 + 26.0, foot), (16.0, foot)];
        canvas.path("hg-area hg-faint", " stroke-width=\"1\"", &sample, true);
        canvas.label(WORD, (16.0 + 32.0, foot), Anchor::Start, "hg-ink");
    } else {
        canvas.label_somewhere(WORD, &inside, "hg-ink");
    }
    canvas.finish()
}

/// What the region means.
const WORD: &str = "acceptable";
/// The room of that word below the picture.
const BELOW: f64 = 22.0;
/// From one lane of strokes to the next, and how many there are before they begin again.
const LANE: f64 = 9.0;
/// See [`LANE`].
const LANES: usize = 8;

/// The lane of each stroke: the first in which it meets no other.
fn lanes(reaches: &[(f64, f64)]) -> Vec<usize> {
    let mut all: Vec<usize> = Vec::new();
    for (n, (top, bottom)) in reaches.iter().enumerate() {
        let taken = |lane: usize| {
            let others = reaches[..n].iter().zip(&all).filter(|(_, l)| **l == lane);
            others.into_iter().any(|((t, b), _)| t - 8.0 < *bottom && *top < b + 8.0)
        };
        all.push((0..=n).find(|lane| !taken(*lane)).unwrap_or(n));
    }
    all
}

/// Places for the word that lie wholly within the region, the best first: near the middle, where it is high.
fn inside(outlines: &[Vec<(f64, f64)>], plot: &Plot) -> Vec<((f64, f64), Anchor)> {
    let middle = f64::midpoint(plot.left, plot.right);
    let half = ems(WORD) * LABEL / 2.0;
    // The upper edge goes, the lower one comes back.
    let edges = |o: &[(f64, f64)]| -> Vec<(f64, f64, f64)> {
        o.iter().zip(o.iter().rev()).take(o.len() / 2).map(|(top, bottom)| (top.0, top.1, bottom.1)).collect()
    };
    let mut all: Vec<(f64, f64, f64)> = Vec::new();
    for outline in outlines {
        let edges = edges(outline);
        let (Some(first), Some(last)) = (edges.first(), edges.last()) else { continue };
        let step = |n: i32| middle + f64::from(n) * 4.0;
        for x in (-60..=60).map(step).filter(|x| x - half >= first.0 && x + half <= last.0) {
            // The lowest of the tops and the highest of the bottoms under the word: at its ends, and at the tempos between.
            let at = |x: f64| {
                let pair = edges.windows(2).find(|p| p[0].0 <= x && x <= p[1].0)?;
                let share = if pair[1].0 > pair[0].0 { (x - pair[0].0) / (pair[1].0 - pair[0].0) } else { 0.0 };
                let mix = |a: f64, b: f64| a + share * (b - a);
                Some((mix(pair[0].1, pair[1].1), mix(pair[0].2, pair[1].2)))
            };
            let ends = [x - half, x + half].into_iter().filter_map(at);
            let between = edges.iter().filter(|e| (e.0 - x).abs() <= half).map(|e| (e.1, e.2));
            let all_of = ends.chain(between).fold((f64::MIN, f64::MAX), |r, e| (r.0.max(e.0), r.1.min(e.1)));
            all.push((x, all_of.0, all_of.1));
        }
    }
    all.retain(|(_, top, bottom)| bottom - top > LABEL + 6.0);
    let off = |(x, top, bottom): &(f64, f64, f64)| (x - middle).abs() - 4.0 * (bottom - top);
    all.sort_by(|a, b| off(a).total_cmp(&off(b)));
    let heights = |&(x, top, bottom): &(f64, f64, f64)| {
        let (first, last) = (top + 0.8 * LABEL + 2.0, bottom - 0.25 * LABEL - 2.0);
        (0..=10).map(move |n| ((x, first + (last - first) * f64::from(n) / 10.0), Anchor::Middle))
    };
    all.iter().take(40).flat_map(heights).collect()
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

    /// The word lies within the region, or below the picture: never on what is not acceptable.
    #[test]
    fn what_is_acceptable_is_said_where_it_is() {
        let word = |windows: Vec<(f64, Vec<(f64, f64)>)>| {
            let seen = read::svg(&window(&WindowPicture { windows, ..sample() }));
            seen.is_sound();
            let text = seen.texts.iter().find(|t| t.text == WORD).expect("the word");
            (text.room, seen.paths("hg-area"))
        };
        // High at every tempo: under the slanting upper edge at both of its ends, and over the lower one.
        let (room, areas) = word(vec![(50.0, vec![(0.1, 40.0)]), (160.0, vec![(0.1, 20.0)])]);
        let (from, to, foot) = (areas[0][0], areas[0][1], areas[0][2].1);
        let edge = |x: f64| from.1 + (to.1 - from.1) * (x - from.0) / (to.0 - from.0);
        assert!(room.top >= edge(room.left) && room.top >= edge(room.right), "{room:?} {areas:?}");
        assert!(room.bottom <= foot && from.0 <= room.left && room.right <= to.0, "{room:?} {areas:?}");
        // At one tempo alone, or as a sliver: below, with a sample.
        for windows in [
            vec![(50.0, vec![(0.1, 40.0)]), (160.0, vec![])],
            vec![(50.0, vec![(1.0, 1.1)]), (160.0, vec![(1.0, 1.1)])],
        ] {
            let (room, areas) = word(windows);
            assert!(room.top > 360.0 && areas.iter().any(|a| a.iter().all(|p| p.1 > 360.0)), "{room:?} {areas:?}");
        }
    }

    /// The stroke of a component reaches from its least to its largest delay.
    #[test]
    fn a_components_stroke_is_its_range() {
        let text = window(&sample());
        let seen = read::svg(&text);
        let y = seen.axis(|x| x < 74.0, &["1", "10", "0.1"]);
        let document = roxmltree::Document::parse(&text).expect("XML");
        let number =
            |n: &roxmltree::Node<'_, '_>, key: &str| n.attribute(key).expect("one").parse::<f64>().expect("a number");
        let strokes: Vec<(f64, f64, f64)> = document
            .descendants()
            .filter(|n| n.attribute("class").is_some_and(|c| c.starts_with("hg-line hg-reach")))
            .filter(|n| n.attribute("x1") == n.attribute("x2"))
            .map(|n| (number(&n, "x1"), number(&n, "y1"), number(&n, "y2")))
            .collect();
        assert_eq!(strokes.len(), 5);
        // The last reaches down to nought, which has a strip of its own.
        for ((_, top, bottom), part) in strokes.iter().zip(&sample().components).take(4) {
            assert!((top - y(part.max_ms)).abs() < 0.05 && (bottom - y(part.min_ms)).abs() < 0.05, "{}", part.name);
        }
        for (n, a) in strokes.iter().enumerate() {
            assert!(strokes[n + 1..].iter().all(|b| a.0 != b.0 || a.2 < b.1 || b.2 < a.1), "{strokes:?}");
        }
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
            read::svg(&window_within(&picture, super::super::NARROW)).is_sound();
            let text = window(&picture);
            read::svg(&text).is_sound();
            prop_assert_eq!(&text, &window(&picture));
        }
    }
}
