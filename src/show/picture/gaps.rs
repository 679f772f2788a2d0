use super::canvas::{Anchor, Canvas, LABEL, Room, WIDTH, room};
use super::frame::{Ms, Plot, tempo_axis};
use super::legend::{dotted, line};
use super::named::{Course, Limit, names};
use super::scale::Scale;
use super::text::{ems, exact, figure};
use std::fmt::Write;

/// How far apart hits land, over tempo.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct GapPicture {
    /// Makes the ids within the picture: unique in a page.
    pub name: String,
    /// The heading.
    pub title: String,
    /// A line below it; may be empty.
    pub about: String,
    /// The largest acceptable gap in milliseconds.
    pub max_gap_ms: f64,
    /// The names of the bands and where each begins, in milliseconds, rising; the last has no end. At most five.
    pub bands: Vec<(String, f64)>,
    /// The tempos that are played, in quarter notes a minute: they get marks.
    pub tempos: Vec<f64>,
    /// The lines; the first has the plainest look.
    pub lines: Vec<GapLine>,
}

/// One line.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct GapLine {
    /// Whose gap it is.
    pub name: String,
    /// Tempos, rising, and the size of the gap there in milliseconds. Where another step is played from one tempo to the
    /// next, a new piece begins: the line is not drawn across.
    pub pieces: Vec<Vec<(f64, f64)>>,
}

/// With more tempos than this, none has a mark: they would be a smear.
const MOST_MARKS: usize = 40;
/// How high a picture is without rows of looks below it, and where its plot begins.
const HEIGHT: f64 = 400.0;
/// See [`HEIGHT`].
const LEFT: f64 = 70.0;

/// Draws gaps over tempo: a line each, over the bands in which they are heard, on a scale of ratios.
///
/// What never changes with tempo is flat; what is a share of a period falls as one over tempo. Gaps of nought lie in a strip
/// below the scale. A name stands where its line is played last, not at the picture's edge, where nobody plays.
#[must_use]
pub fn gap_over_tempo(of: &GapPicture) -> String {
    gap_over_tempo_within(of, WIDTH)
}

/// The picture on a width of 400 units or more, which the text is not scaled to: [`NARROW`](super::NARROW) for a phone.
#[must_use]
pub fn gap_over_tempo_within(of: &GapPicture, width: f64) -> String {
    let points = || of.lines.iter().flat_map(|l| &l.pieces).flatten().copied();
    let tempos = points().map(|p| p.0).chain(of.tempos.iter().copied());
    let ends = tempos.fold((f64::MAX, f64::MIN), |e, t| (e.0.min(t), e.1.max(t)));
    let ends = if ends.0 <= ends.1 { ends } else { (60.0, 180.0) };
    let plot = Plot { left: LEFT, top: 62.0, right: right(of, width, ends), bottom: HEIGHT - 54.0 };
    let x = Scale::even(ends, (plot.left, plot.right));
    let y = Ms::holding(points().map(|p| p.1).chain([of.max_gap_ms]), &plot);
    let limit = Limit {
        y: y.at(of.max_gap_ms),
        left: plot.left,
        right: plot.right,
        words: format!("max gap {} ms", exact(of.max_gap_ms)),
    };
    let marked = if of.tempos.len() > MOST_MARKS { &[][..] } else { &of.tempos[..] };
    let courses = courses(of, marked, &x, &y);
    let names = names(&courses, &limit, width, (plot.top - 10.0, plot.bottom - 1.0));
    let mut canvas = Canvas::new(&of.name, &of.title, &said(of), (width, HEIGHT + names.height()));
    canvas.heading(&of.title, &of.about);
    let shades = shades(of, &y, &plot);
    for (n, (_, top, bottom)) in shades.iter().enumerate().filter(|(_, s)| s.2 > s.1) {
        let room = Room { left: plot.left, top: *top, right: plot.right, bottom: *bottom };
        canvas.rect(&format!("hg-b{}", n.min(4)), room);
    }
    y.draw(&mut canvas, &plot, "gap in ms, by powers of ten");
    for (_, edge) in of.bands.iter().filter(|b| b.1 > 0.0) {
        let at = y.at(*edge);
        if at > plot.top && at < plot.bottom {
            canvas.label(&figure(*edge), (plot.left - 6.0, at + 4.5), Anchor::End, "hg-soft");
        }
    }
    for tempo in marked {
        let at = x.at(*tempo);
        canvas.line("hg-grid hg-thin", (at, plot.top), (at, plot.bottom));
    }
    dotted(&mut canvas, (limit.left, limit.y), (limit.right, limit.y));
    for course in &courses {
        for places in &course.pieces {
            line(&mut canvas, course.line, places);
            for pair in places.windows(2) {
                let ((a, b), (c, d)) = (pair[0], pair[1]);
                canvas.keep_clear(Room { left: a, top: b.min(d) - 2.0, right: c, bottom: b.max(d) + 2.0 });
            }
        }
    }
    for course in &courses {
        course.marks.iter().for_each(|at| canvas.mark(course.line, *at));
    }
    tempo_axis(&mut canvas, &x, &plot, &of.tempos);
    names.draw(&mut canvas, HEIGHT);
    for (name, top, bottom) in shades.iter().filter(|s| s.2 - s.1 >= 15.0) {
        let mut places = Vec::new();
        for part in [0.5, 0.25, 0.75, 0.0, 1.0] {
            let at = (top + (bottom - top) * part + 4.5).clamp(top + 12.0, (bottom - 3.0).max(top + 12.0));
            places.extend(across(&plot, at));
        }
        // Never on the limit, nor on what leads to a name.
        let on = Room { left: limit.left, top: limit.y - 1.5, right: limit.right, bottom: limit.y + 1.5 };
        places.retain(|&(at, anchor)| {
            let own = room(name, at, anchor, LABEL);
            !own.meets(&on) && !names.leads_through(&own)
        });
        canvas.label_somewhere(name, &places, "hg-soft");
    }
    canvas.finish()
}

/// Where the plot ends: so that there is room for the longest name behind the last tempo that is played, if that is not too long.
fn right(of: &GapPicture, width: f64, (low, high): (f64, f64)) -> f64 {
    let longest = of.lines.iter().map(|l| ems(&l.name)).fold(0.0, f64::max) * LABEL;
    let last = of.lines.iter().filter_map(|l| l.last_played(&of.tempos)).map(|p| p.0).fold(low, f64::max);
    let widest = width - 14.0;
    let ends = (width - 24.0 - longest).clamp(f64::midpoint(LEFT, widest), widest);
    let share = (last - low) / (high - low).max(1e-9);
    if share > 0.0 { (LEFT + (ends - LEFT) / share).min(widest) } else { widest }
}

/// All lines that have places, with their marks.
fn courses(of: &GapPicture, marked: &[f64], x: &Scale, y: &Ms) -> Vec<Course> {
    let at = |(tempo, ms): &(f64, f64)| (x.at(*tempo), y.at(*ms));
    let course = |(n, line): (usize, &GapLine)| {
        let end = at(&line.last_played(&of.tempos)?);
        let pieces = line.pieces.iter().map(|piece| piece.iter().map(at).collect()).collect();
        let marks = line.pieces.iter().flatten().filter(|p| marked.contains(&p.0)).map(at).collect();
        Some(Course { line: n, name: line.name.clone(), pieces, end, marks })
    };
    of.lines.iter().enumerate().filter_map(course).collect()
}

impl GapLine {
    /// The last of its tempos that is played, with its gap; where none is, its last.
    fn last_played(&self, tempos: &[f64]) -> Option<(f64, f64)> {
        let points = || self.pieces.iter().flatten();
        points().rfind(|p| tempos.contains(&p.0)).or(points().next_back()).copied()
    }
}

/// Places for the name of a band at a height: from the left, and at the right.
fn across(plot: &Plot, y: f64) -> Vec<((f64, f64), Anchor)> {
    let far = |n: u8| plot.left + 6.0 + (plot.right - plot.left - 12.0) * f64::from(n) / 12.0;
    let starts = (0..=9).map(|n| ((far(n), y), Anchor::Start));
    starts.chain([((plot.right - 6.0, y), Anchor::End)]).collect()
}

/// Each band with its top and bottom in the picture; the lowest takes in the strip for nought.
fn shades<'a>(of: &'a GapPicture, y: &Ms, plot: &Plot) -> Vec<(&'a str, f64, f64)> {
    let edge = |n: usize| of.bands.get(n).map_or(plot.top, |b| y.at(b.1));
    let foot = |n: usize| if n == 0 { plot.bottom } else { edge(n) };
    of.bands.iter().enumerate().map(|(n, (name, _))| (name.as_str(), edge(n + 1), foot(n))).collect()
}

/// What the picture says, in words.
fn said(of: &GapPicture) -> String {
    let mut out = format!("The largest gap over tempo, in milliseconds; the max gap is {} ms.", exact(of.max_gap_ms));
    for line in of.lines.iter().take(8) {
        let at: Vec<&(f64, f64)> = line.pieces.iter().flatten().filter(|p| of.tempos.contains(&p.0)).collect();
        let told: Vec<String> =
            at.iter().take(6).map(|p| format!("{} at {}", gap_figure(of, p.1), figure(p.0))).collect();
        let told = if told.is_empty() { "nothing meets".to_owned() } else { told.join(", ") };
        let jumps = match line.pieces.len() {
            0 | 1 => "",
            _ => "; it jumps where another step is played",
        };
        let _ = write!(out, " {}: {told}{jumps}.", line.name);
    }
    out
}

/// A gap as it is told: whole where the figure would lie on another side of the max gap, or of the edge of a band.
fn gap_figure(of: &GapPicture, ms: f64) -> String {
    let short = figure(ms);
    let shown: f64 = short.parse().unwrap_or(ms);
    let alike = |bound: f64| shown.total_cmp(&bound) == ms.total_cmp(&bound);
    let told = of.bands.iter().map(|b| b.1).chain([of.max_gap_ms]).all(alike);
    if told { short } else { exact(ms) }
}

#[cfg(test)]
mod tests {
    use super::super::read;
    use super::*;
    use proptest::prelude::*;

    /// A picosecond over the max gap, and one under the edge of a band: six decimals would say 2 and 10.
    #[test]
    fn a_gap_is_told_on_its_side_of_the_max_gap() {
        let line = |name: &str, ms: f64| GapLine { name: name.into(), pieces: vec![vec![(120.0, ms)]] };
        let picture = GapPicture {
            max_gap_ms: 2.0,
            bands: vec![("split".into(), 5.0), ("flam".into(), 10.0)],
            tempos: vec![120.0],
            lines: vec![line("a", 2.000_000_001), line("b", 9.999_999_999), line("c", 2.0), line("d", 1.0 / 3.0)],
            ..GapPicture::default()
        };
        let said = said(&picture);
        for words in ["a: 2.000000001 at 120", "b: 9.999999999 at 120", "c: 2 at 120", "d: 0.333333 at 120"] {
            assert!(said.contains(words), "{said}");
        }
    }

    /// The longest figure at the axis reaches its title, which gives way.
    #[test]
    fn the_title_of_the_axis_gives_way_to_long_figures() {
        let of = |least: f64| {
            let pieces = vec![vec![(60.0, least), (120.0, 0.0)]];
            let lines = vec![GapLine { name: "a".into(), pieces }];
            gap_over_tempo(&GapPicture { lines, tempos: vec![60.0, 120.0], ..GapPicture::default() })
        };
        for (least, titled) in [(0.01, true), (0.000_01, false)] {
            let text = of(least);
            read::svg(&text).is_sound();
            assert_eq!(text.contains("gap in ms, by powers of ten"), titled, "{least}");
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(200))]
        #[test]
        fn labels_never_overlap(
            tempos in proptest::collection::vec(1.0_f64..1000.0, 0..20),
            lines in proptest::collection::vec((read::any_text(), proptest::collection::vec(
                proptest::collection::vec((1.0_f64..1000.0, prop_oneof![Just(0.0), 0.00001_f64..1.0, 0.0_f64..5000.0]), 0..5), 0..4)), 0..30),
            max_gap_ms in 0.0_f64..600.0,
            texts in (read::any_text(), read::any_text(), read::any_text()),
        ) {
            let lines = lines.into_iter().map(|(name, mut pieces)| {
                pieces.iter_mut().for_each(|p| p.sort_by(|a, b| a.0.total_cmp(&b.0)));
                GapLine { name, pieces }
            });
            let bands = [("one hit", 0.0), ("thicker", 1.0), ("split", 5.0), ("flam", 10.0), ("two hits", 50.0)];
            let picture = GapPicture {
                name: texts.0, title: texts.1, about: texts.2, max_gap_ms,
                bands: bands.map(|(n, ms)| (n.to_owned(), ms)).to_vec(),
                tempos, lines: lines.collect(),
            };
            read::svg(&gap_over_tempo_within(&picture, super::super::NARROW)).is_sound();
            let text = gap_over_tempo(&picture);
            read::svg(&text).is_sound();
            prop_assert_eq!(&text, &gap_over_tempo(&picture));
        }
    }
}
