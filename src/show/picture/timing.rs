use super::arrow::arrow;
use super::canvas::{Anchor, Canvas, LABEL, Room, WIDTH};
use super::scale::Scale;
use super::text::{figure, fitted, number};
use std::fmt::Write;

/// What happens on the wires around one moment.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct TimingPicture {
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
    pub lanes: Vec<Lane>,
    /// Distances, each in a row of its own below the lanes.
    pub distances: Vec<Distance>,
}

/// One row.
#[derive(Clone, Debug, PartialEq)]
pub struct Lane {
    /// What it shows.
    pub name: String,
    /// Rows of one group stand together.
    pub group: usize,
    /// What happens there.
    pub trace: Trace,
}

/// What happens in a lane.
#[derive(Clone, Debug, PartialEq)]
pub enum Trace {
    /// The level of a wire.
    Level {
        /// What it carries: its look.
        kind: Wire,
        /// Whether it is high when the picture begins.
        high: bool,
        /// Its changes in milliseconds, in order: when, and whether it rises.
        edges: Vec<(f64, bool)>,
    },
    /// Hits: when, in milliseconds, and the step that is played.
    Hits(Vec<(f64, String)>),
}

/// What a wire carries.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Wire {
    /// An output of the clock, or a clock input.
    Clock,
    /// A reset input.
    Reset,
    /// What leaves a stage or a shared point.
    Stage,
}

/// A distance between two moments.
#[derive(Clone, Debug, PartialEq)]
pub struct Distance {
    /// Where it begins: milliseconds and the number of the lane.
    pub from: (f64, usize),
    /// Where it ends.
    pub to: (f64, usize),
    /// What it is: `wren 24 ms after ox`.
    pub label: String,
}

/// From one lane to the next, and from one distance to the next.
const PITCH: f64 = 23.0;
/// Between two groups.
const BETWEEN: f64 = 7.0;
/// How high a level is.
const HIGH: f64 = 12.0;
/// Beyond so many changes a lane is a grey bar: nobody could tell them apart.
const MOST: usize = 300;

/// Draws the levels of wires and the hits of sequencers in lanes over one time axis, and distances below as arrows.
#[must_use]
pub fn timing(of: &TimingPicture) -> String {
    timing_within(of, WIDTH)
}

/// The picture on a width of 400 units or more, which the text is not scaled to: [`NARROW`](super::NARROW) for a phone.
#[must_use]
pub fn timing_within(of: &TimingPicture, width: f64) -> String {
    let mut lows = Vec::new();
    let mut y = 58.0;
    for (n, lane) in of.lanes.iter().enumerate() {
        y += PITCH + if n > 0 && of.lanes[n - 1].group != lane.group { BETWEEN } else { 0.0 };
        lows.push(y);
    }
    let lanes_end = y + 8.0;
    let bottom = lanes_end + PITCH * of.distances.len() as f64 + 4.0;
    let height = bottom + 54.0;
    let (left, right) = (if width < WIDTH { 112.0 } else { 132.0 }, width - 20.0);
    let mut canvas = Canvas::new(&of.name, &of.title, &said(of), (width, height));
    canvas.heading(&of.title, &of.about);
    let x = Scale::even((of.from_ms, of.to_ms), (left, right));
    let (unit, factor) = unit(of.to_ms - of.from_ms);
    let shown = Scale::even((of.from_ms * factor, of.to_ms * factor), (left, right));
    canvas.line("hg-rule hg-thin", (left, bottom), (right, bottom));
    for (value, text) in shown.ticks(6) {
        let at = shown.at(value);
        canvas.line("hg-grid hg-thin", (at, 64.0), (at, bottom));
        canvas.line("hg-rule hg-thin", (at, bottom), (at, bottom + 5.0));
        canvas.label(&text, (at, bottom + 19.0), Anchor::Middle, "hg-soft");
    }
    if of.from_ms <= 0.0 && of.to_ms >= 0.0 {
        let at = number(x.at(0.0));
        let (top, foot) = (number(64.0), number(bottom));
        canvas
            .raw(&format!("<path class=\"hg-faint hg-thin\" stroke-dasharray=\"3 3\" d=\"M{at} {top}L{at} {foot}\"/>"));
    }
    let title = fitted(&format!("time in {unit} from {}", of.zero), (right - left) / LABEL);
    canvas.label(&title, ((left + right) / 2.0, bottom + 40.0), Anchor::Middle, "hg-soft");
    for (n, (lane, low)) in of.lanes.iter().zip(&lows).enumerate() {
        if n > 0 && of.lanes[n - 1].group != lane.group {
            let y = low - PITCH + 2.0;
            canvas.line("hg-grid hg-thin", (16.0, y), (right, y));
        }
        canvas.label(&fitted(&lane.name, (left - 26.0) / LABEL), (16.0, low - 1.0), Anchor::Start, "hg-ink");
        match &lane.trace {
            Trace::Level { kind, high, edges } => level(&mut canvas, (&x, left, right), *low, *kind, *high, edges),
            Trace::Hits(hits) => {
                canvas.line("hg-grid hg-thin", (left, *low), (right, *low));
                for (at, _) in inside(of, hits) {
                    let at = x.at(*at);
                    canvas.line("hg-line hg-s3", (at, *low), (at, low - HIGH));
                    canvas.mark(3, (at, low - HIGH + 1.0));
                }
                for (at, step) in inside(of, hits) {
                    let text = fitted(step, 12.0);
                    let at = x.at(*at);
                    let places = [((at + 8.0, low - 2.5), Anchor::Start), ((at - 8.0, low - 2.5), Anchor::End)];
                    canvas.label_somewhere(&text, &places, "hg-soft");
                }
            }
        }
    }
    for (n, distance) in of.distances.iter().enumerate() {
        let y = lanes_end + PITCH * (n as f64 + 0.5) + 2.0;
        let (a, b) = (x.at(distance.from.0), x.at(distance.to.0));
        for (at, lane) in [(a, distance.from.1), (b, distance.to.1)] {
            let top = lows.get(lane).copied().unwrap_or(64.0);
            let [at, top, foot] = [at, top, y + 4.0].map(number);
            let look = "class=\"hg-faint hg-thin\" stroke-dasharray=\"2 2\"";
            canvas.raw(&format!("<path {look} d=\"M{at} {top}L{at} {foot}\"/>"));
        }
        arrow(&mut canvas, (left, right), y, (a, b), &distance.label);
    }
    canvas.finish()
}

fn inside<'a>(of: &'a TimingPicture, hits: &'a [(f64, String)]) -> impl Iterator<Item = &'a (f64, String)> {
    hits.iter().filter(|h| (of.from_ms..=of.to_ms).contains(&h.0)).take(MOST)
}

/// Milliseconds, or what suits a stretch better, and how many of it make a millisecond.
fn unit(ms: f64) -> (&'static str, f64) {
    match ms {
        ms if ms < 0.002 => ("ns", 1e6),
        ms if ms < 2.0 => ("µs", 1e3),
        ms if ms < 4000.0 => ("ms", 1.0),
        _ => ("s", 1e-3),
    }
}

fn level(
    canvas: &mut Canvas,
    (x, left, right): (&Scale, f64, f64),
    low: f64,
    kind: Wire,
    high: bool,
    edges: &[(f64, bool)],
) {
    let (colour, dash) = match kind {
        Wire::Clock => (0, "none"),
        Wire::Reset => (1, "none"),
        Wire::Stage => (2, "none"),
    };
    if edges.len() > MOST {
        canvas.rect("hg-grid hg-b4 hg-thin", Room { left, top: low - HIGH, right, bottom: low });
        return;
    }
    let place = |up: bool| if up { low - HIGH } else { low };
    let mut now = high;
    let mut points = vec![(left, place(high))];
    let mut raised = String::new();
    let mut since = left;
    let mut fill = |from: f64, to: f64| {
        let [from, to, low, top] = [from, to, low, low - HIGH].map(number);
        let _ = write!(raised, "M{from} {low}L{from} {top}L{to} {top}L{to} {low}Z");
    };
    for &(at, rise) in edges {
        let at = x.at(at);
        if now && !rise {
            fill(since, at);
        }
        points.extend([(at, place(now)), (at, place(rise))]);
        (now, since) = (rise, at);
    }
    if now {
        fill(since, right);
    }
    points.push((right, place(now)));
    if !raised.is_empty() {
        canvas.raw(&format!("<path class=\"hg-f{colour}\" fill-opacity=\"0.18\" d=\"{raised}\"/>"));
    }
    let more = format!(" stroke-dasharray=\"{dash}\" stroke-linejoin=\"miter\"");
    canvas.path(&format!("hg-line hg-s{colour}"), &more, &points, false);
}

/// What the picture says, in words.
fn said(of: &TimingPicture) -> String {
    let mut out = format!("Levels and hits around {}, in milliseconds from there.", of.zero);
    for lane in of.lanes.iter().take(40) {
        let told = match &lane.trace {
            Trace::Level { edges, .. } => {
                let rises = edges.iter().filter(|e| e.1).take(4).map(|e| figure(e.0)).collect::<Vec<_>>();
                if rises.is_empty() { continue } else { format!("rises at {}", rises.join(", ")) }
            }
            Trace::Hits(hits) => {
                let hits =
                    hits.iter().take(4).map(|(at, step)| format!("{step} at {}", figure(*at))).collect::<Vec<_>>();
                if hits.is_empty() { "nothing".to_owned() } else { hits.join(", ") }
            }
        };
        let _ = write!(out, " {}: {told}.", lane.name);
    }
    of.distances.iter().for_each(|d| {
        let _ = write!(out, " {}.", d.label);
    });
    out
}

#[cfg(test)]
mod tests {
    use super::super::read;
    use super::*;
    use proptest::prelude::*;

    fn any_trace() -> impl Strategy<Value = Trace> {
        let kind = prop::sample::select(vec![Wire::Clock, Wire::Reset, Wire::Stage]);
        let edges = prop::collection::vec((-3000.0_f64..3000.0, any::<bool>()), 0..40);
        let level = (kind, any::<bool>(), edges).prop_map(|(kind, high, mut edges)| {
            edges.sort_by(|a, b| a.0.total_cmp(&b.0));
            Trace::Level { kind, high, edges }
        });
        let hits = prop::collection::vec((-3000.0_f64..3000.0, read::any_text()), 0..20).prop_map(Trace::Hits);
        prop_oneof![level, hits]
    }

    /// Over its arrow a label reads as that of the arrow above: it stands in its own row, wherever the arrow lies.
    #[test]
    fn a_distance_is_labelled_in_its_own_row() {
        let label = |n: usize| format!("seven {n}.76 ms after one");
        let distance = |n: usize| Distance { from: (1.0, 0), to: (1.0 + n as f64, 0), label: label(n) };
        let lanes = vec![Lane { name: "one".into(), group: 0, trace: Trace::Hits(vec![(1.0, String::new())]) }];
        let distances: Vec<Distance> = (1..=9).map(distance).collect();
        let picture = TimingPicture { from_ms: -1.0, to_ms: 11.0, lanes, distances, ..TimingPicture::default() };
        let seen = read::svg(&timing(&picture));
        let rows: Vec<f64> =
            (1..=9).map(|n| seen.texts.iter().find(|t| t.text == label(n)).expect("a label").at.1).collect();
        assert!(rows.windows(2).all(|r| (r[1] - r[0] - PITCH).abs() < 0.1), "{rows:?}");
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(200))]
        #[test]
        fn labels_never_overlap(
            lanes in prop::collection::vec((read::any_text(), 0_usize..3, any_trace()), 0..20),
            distances in prop::collection::vec((-3000.0_f64..3000.0, -3000.0_f64..3000.0, 0_usize..20, read::any_text()), 0..6),
            (from_ms, width) in (-2000.0_f64..0.0, prop_oneof![0.00001_f64..0.1, 0.0_f64..4000.0]),
            texts in (read::any_text(), read::any_text(), read::any_text(), read::any_text()),
        ) {
            let picture = TimingPicture {
                name: texts.0, title: texts.1, about: texts.2, zero: texts.3, from_ms, to_ms: from_ms + width,
                lanes: lanes.into_iter().map(|(name, group, trace)| Lane { name, group, trace }).collect(),
                distances: distances.into_iter().map(|(a, b, lane, label)| Distance { from: (a, lane), to: (b, 0), label }).collect(),
            };
            read::svg(&timing_within(&picture, super::super::NARROW)).is_sound();
            let text = timing(&picture);
            read::svg(&text).is_sound();
            prop_assert_eq!(&text, &timing(&picture));
        }
    }
}
