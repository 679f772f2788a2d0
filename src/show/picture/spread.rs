use super::canvas::{Anchor, Canvas, LABEL, Room, WIDTH};
use super::scale::Scale;
use super::text::{exact, fitted, number};
use std::fmt::Write;

/// How often which gap came in many runs.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct SpreadPicture {
    /// Makes the ids within the picture: unique in a page.
    pub name: String,
    /// The heading.
    pub title: String,
    /// A line below it; may be empty.
    pub about: String,
    /// Signed gaps in milliseconds, rising, and how often each came.
    pub gaps: Vec<(f64, u64)>,
    /// Marks: their labels and gaps in milliseconds, rising.
    pub marks: Vec<(String, f64)>,
    /// The largest acceptable gap in milliseconds, without its sign; infinite where nothing is asked for.
    pub max_gap_ms: f64,
    /// What a positive gap means: `wren after ox`.
    pub later: String,
    /// And a negative one.
    pub earlier: String,
}

/// So many columns.
const COLUMNS: usize = 60;

/// Draws how gaps are spread: columns of equal width, and marks where shares of all lie.
#[must_use]
pub fn spread(of: &SpreadPicture) -> String {
    let (left, right, top, bottom) = (66.0, WIDTH - 24.0, 106.0, 300.0);
    let mut canvas = Canvas::new(&of.name, &of.title, &said(of), (WIDTH, bottom + 54.0));
    canvas.heading(&of.title, &of.about);
    let values = || of.gaps.iter().filter(|g| g.1 > 0).map(|g| g.0).chain(of.marks.iter().map(|m| m.1));
    let ends = values().fold((f64::MAX, f64::MIN), |e, v| (e.0.min(v), e.1.max(v)));
    let ends = if ends.0 <= ends.1 { ends } else { (-1.0, 1.0) };
    let room = ((ends.1 - ends.0) * 0.06).max(0.001);
    let ends = (ends.0 - room, ends.1 + room);
    let x = Scale::even(ends, (left, right));
    let total: u64 = of.gaps.iter().map(|g| g.1).sum();
    let width = (ends.1 - ends.0) / COLUMNS as f64;
    let mut columns = vec![0_u64; COLUMNS];
    for (gap, n) in &of.gaps {
        columns[(((gap - ends.0) / width) as usize).min(COLUMNS - 1)] += n;
    }
    let share = |n: u64| 100.0 * n as f64 / total.max(1) as f64;
    let most = columns.iter().copied().max().unwrap_or(0);
    let y = Scale::even((0.0, (share(most) * 1.05).max(0.1)), (bottom, top));
    for (value, text) in y.ticks(5) {
        let at = y.at(value);
        canvas.line("hg-grid hg-thin", (left, at), (right, at));
        canvas.label(&text, (left - 6.0, at + 4.5), Anchor::End, "hg-soft");
    }
    canvas.upright("share of all gaps in %", (16.0, f64::midpoint(top, bottom)), bottom - top);
    for (n, &count) in columns.iter().enumerate().filter(|(_, n)| **n > 0) {
        let place = |n: usize| left + (right - left) * n as f64 / COLUMNS as f64;
        // What came once is still to be seen.
        let high = y.at(share(count)).min(bottom - 1.0);
        let column = Room { left: place(n) + 0.4, top: high, right: place(n + 1) - 0.4, bottom };
        canvas.rect("hg-f0", column);
        canvas.keep_clear(column);
    }
    canvas.line("hg-rule hg-thin", (left, bottom), (right, bottom));
    for (value, text) in x.ticks(6) {
        let at = x.at(value);
        canvas.line("hg-rule hg-thin", (at, bottom), (at, bottom + 5.0));
        canvas.label(&text, (at, bottom + 19.0), Anchor::Middle, "hg-soft");
    }
    let title = format!("gap in ms; positive: {}, negative: {}", of.later, of.earlier);
    let title = fitted(&title, (WIDTH - 32.0) / LABEL);
    canvas.label(&title, (WIDTH / 2.0, bottom + 40.0), Anchor::Middle, "hg-soft");
    for limit in [-of.max_gap_ms, of.max_gap_ms].into_iter().filter(|l| *l > ends.0 && *l < ends.1) {
        let [at, high, low] = [x.at(limit), top - 6.0, bottom].map(number);
        let look = "class=\"hg-rule\" stroke-width=\"1.4\" stroke-dasharray=\"1 2.5\"";
        canvas.raw(&format!("<path {look} d=\"M{at} {high}L{at} {low}\"/>"));
    }
    // In two rows by turns: neighbours are often close. No label stands on the line of another.
    let row_of = |n: usize| top - 36.0 + 16.0 * (n % 2) as f64;
    for (n, (_, gap)) in of.marks.iter().enumerate().take(9) {
        let at = x.at(*gap);
        canvas.keep_clear(Room { left: at - 1.5, top: row_of(n) + 3.5, right: at + 1.5, bottom });
    }
    for (n, (label, gap)) in of.marks.iter().enumerate().take(9) {
        let at = x.at(*gap);
        let row = row_of(n);
        let [place, high, low] = [at, row + 4.0, bottom].map(number);
        let look = "class=\"hg-line hg-s1\" stroke-dasharray=\"7 4\"";
        canvas.raw(&format!("<path {look} d=\"M{place} {high}L{place} {low}\"/>"));
        canvas.mark(1, (at, bottom));
        let label = fitted(label, 14.0);
        let rows = [row, top - 20.0, top - 36.0];
        let places = rows
            .into_iter()
            .flat_map(|y| [((at, y), Anchor::Middle), ((at - 4.0, y), Anchor::End), ((at + 4.0, y), Anchor::Start)]);
        canvas.label_somewhere(&label, &places.collect::<Vec<_>>(), "hg-ink");
    }
    let limit = x.at(of.max_gap_ms);
    if of.max_gap_ms > ends.0 && of.max_gap_ms < ends.1 {
        let label = format!("max gap {} ms", exact(of.max_gap_ms));
        let heights = [top + 8.0, top + 40.0, top + 72.0].into_iter();
        let places = heights.flat_map(|y| [((limit + 5.0, y), Anchor::Start), ((limit - 5.0, y), Anchor::End)]);
        canvas.label_somewhere(&label, &places.collect::<Vec<_>>(), "hg-ink");
    }
    canvas.finish()
}

/// What the picture says, in words.
fn said(of: &SpreadPicture) -> String {
    let total: u64 = of.gaps.iter().map(|g| g.1).sum();
    let mut out = format!("How often which gap came, of {total}; positive is {}.", of.later);
    of.marks.iter().take(9).for_each(|(label, _)| {
        let _ = write!(out, " {label}.");
    });
    if of.max_gap_ms.is_finite() {
        let _ = write!(out, " The max gap is {} ms.", exact(of.max_gap_ms));
    }
    out
}

#[cfg(test)]
mod tests {
    use super::super::read;
    use super::*;
    use proptest::prelude::*;

    /// Marks close together, as the 95 and 99 % of many runs are: each label is clear of the lines of the others.
    #[test]
    fn no_label_stands_on_the_line_of_another() {
        let gaps: Vec<(f64, u64)> = (0..100).map(|n| (25.0 + f64::from(n) / 10.0, 5)).collect();
        let marks = [27.69, 29.98, 32.34, 33.38].map(|gap| (format!("5 %: {gap} ms"), gap)).to_vec();
        let picture = SpreadPicture { name: "s".into(), gaps, marks, max_gap_ms: 40.0, ..SpreadPicture::default() };
        let text = spread(&picture);
        let seen = read::svg(&text);
        let lines = seen.paths("hg-s1");
        assert_eq!(lines.len(), 4);
        for (label, _) in &picture.marks {
            let room = &seen.texts.iter().find(|t| t.text == *label).expect("a label").room;
            for line in &lines {
                let on = room.left < line[0].0 && line[0].0 < room.right && room.bottom > line[0].1 + 0.1;
                assert!(!on, "{label} {room:?} {line:?}");
            }
        }
    }

    /// A thousand gaps from 1 to 5 ms, twice as many in the upper half: columns add up to all, each is as high as its share,
    /// and marks stand where their figures are.
    #[test]
    fn columns_are_shares_of_all() {
        let gaps: Vec<(f64, u64)> =
            (0..400).map(|n| (1.0 + f64::from(n) / 100.0, if n < 200 { 1 } else { 4 })).collect();
        let marks = vec![("5 %".to_owned(), 1.5), ("95 %".to_owned(), 4.75)];
        let picture = SpreadPicture { name: "s".into(), gaps, marks, max_gap_ms: 2.0, ..SpreadPicture::default() };
        let text = spread(&picture);
        let seen = read::svg(&text);
        let label = |word: &str, low: f64, high: f64| {
            let found = seen.texts.iter().find(|t| t.text == word && (low..high).contains(&t.at.0));
            found.unwrap_or_else(|| panic!("no {word}")).at
        };
        // Labels at the left stand 4.5 units below their lines.
        let (none, one) = (label("0", 0.0, 66.0).1 - 4.5, label("1", 0.0, 66.0).1 - 4.5);
        let document = roxmltree::Document::parse(&text).expect("XML");
        let number =
            |n: &roxmltree::Node<'_, '_>, key: &str| n.attribute(key).expect("one").parse::<f64>().expect("a number");
        let columns = document.descendants().filter(|n| n.attribute("class") == Some("hg-f0"));
        let shares: Vec<f64> = columns.map(|c| number(&c, "height") / (none - one)).collect();
        // Half a hundredth of a unit is lost in each of sixty columns.
        assert!((shares.iter().sum::<f64>() - 100.0).abs() < 0.05, "{shares:?}");
        let (two, four) = (label("2", 66.0, 600.0).0, label("4", 66.0, 600.0).0);
        let place = |ms: f64| two + (ms - 2.0) * (four - two) / 2.0;
        let marks = seen.paths("hg-s1");
        for (mark, ms) in marks.iter().zip([1.5, 4.75]) {
            assert!((mark[0].0 - place(ms)).abs() < 0.5, "{ms}");
        }
        assert_eq!(marks.len(), 2);
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(200))]
        #[test]
        fn labels_never_overlap(
            gaps in prop::collection::vec((prop_oneof![-0.5_f64..0.5, -3000.0_f64..3000.0], 0_u64..100_000), 0..60),
            marks in prop::collection::vec((read::any_text(), -50.0_f64..50.0), 0..8),
            max_gap_ms in 0.0_f64..100.0,
            texts in (read::any_text(), read::any_text(), read::any_text(), read::any_text()),
        ) {
            let mut gaps = gaps;
            gaps.sort_by(|a, b| a.0.total_cmp(&b.0));
            let picture = SpreadPicture {
                name: texts.0.clone(), title: texts.1, about: texts.2, later: texts.3, earlier: texts.0, gaps, marks, max_gap_ms,
            };
            let text = spread(&picture);
            read::svg(&text).is_sound();
            prop_assert_eq!(&text, &spread(&picture));
        }
    }
}
