//! Names of lines in pictures over tempo: read back from the picture, each must stand where its line is played last, nearer to
//! that than to any other line, and clear of the max gap's line and words. Distances are taken to close points of lines, not by
//! the picture's own formula.

use hitgap::patch::{Asked, Patch, Variant};
use hitgap::show::picture::{GapLine, GapPicture, NARROW, WIDTH, gap_over_tempo_within};
use hitgap::show::scene;
use proptest::prelude::*;

type Place = (f64, f64);

/// A box: left, top, right, bottom.
type Box4 = [f64; 4];

/// What of a picture is looked at.
struct Seen {
    texts: Vec<(String, Place, Box4)>,
    /// Lines by their looks, in the order in which they are drawn: piece by piece.
    lines: Vec<(String, Vec<Vec<Place>>)>,
    /// Strokes that lead to names.
    leaders: Vec<[Place; 2]>,
    /// The line of the max gap.
    limit: [Place; 2],
}

/// Below this stand the rows of looks.
const FOOT: f64 = 395.0;

fn seen(svg: &str) -> Seen {
    let document = roxmltree::Document::parse(svg).expect("XML");
    let number =
        |n: &roxmltree::Node<'_, '_>, key: &str| n.attribute(key).expect("a figure").parse::<f64>().expect("one");
    let (mut texts, mut leaders, mut limit) = (Vec::new(), Vec::new(), None);
    let mut lines: Vec<(String, Vec<Vec<Place>>)> = Vec::new();
    for node in document.descendants() {
        let class = node.attribute("class").unwrap_or_default();
        if node.has_tag_name("text") {
            let text = node.text().unwrap_or_default().to_owned();
            let (x, y) = (number(&node, "x"), number(&node, "y"));
            // Half its size is what a letter takes on an average, in fonts that are not wide: a box that is surely covered.
            let wide = 6.5 * text.chars().count() as f64;
            let left = match node.attribute("text-anchor") {
                None => x,
                Some("middle") => x - wide / 2.0,
                Some(_) => x - wide,
            };
            if node.attribute("transform").is_none() {
                texts.push((text, (x, y), [left, y - 9.0, left + wide, y + 2.0]));
            }
        } else if class.contains("hg-lead") {
            leaders.push([(number(&node, "x1"), number(&node, "y1")), (number(&node, "x2"), number(&node, "y2"))]);
        } else if node.has_tag_name("path") {
            let d = node.attribute("d").unwrap_or_default();
            let pair = |p: &str| p.split_once(' ').map(|(x, y)| (x.parse().expect("x"), y.parse().expect("y")));
            let places = || d.trim_start_matches('M').split('L').filter_map(pair).collect::<Vec<Place>>();
            let dash = node.attribute("stroke-dasharray").unwrap_or_default();
            if class == "hg-rule" && limit.is_none() {
                limit = Some([places()[0], places()[1]]);
            } else if class.starts_with("hg-line hg-s") && places()[0].1 < FOOT {
                let look = format!("{class} {dash}");
                match lines.iter_mut().find(|l| l.0 == look) {
                    Some((_, pieces)) => pieces.push(places()),
                    None => lines.push((look, vec![places()])),
                }
            }
        }
    }
    Seen { texts, lines, leaders, limit: limit.expect("the line of the max gap") }
}

/// Points of a way, at most half a unit apart.
fn points(way: &[Place]) -> Vec<Place> {
    let between = |s: &[Place]| -> Vec<Place> {
        let count = ((s[1].0 - s[0].0).hypot(s[1].1 - s[0].1) * 2.0).ceil().max(1.0) as usize;
        let share = |n: usize| n as f64 / count as f64;
        (0..=count).map(|n| (s[0].0 + share(n) * (s[1].0 - s[0].0), s[0].1 + share(n) * (s[1].1 - s[0].1))).collect()
    };
    way.iter().copied().chain(way.windows(2).flat_map(between)).collect()
}

fn away((x, y): Place, [left, top, right, bottom]: Box4) -> f64 {
    (left - x).max(x - right).max(0.0).hypot((top - y).max(y - bottom).max(0.0))
}

fn nearest(way: &[Place], to: Box4) -> f64 {
    points(way).into_iter().map(|p| away(p, to)).fold(f64::MAX, f64::min)
}

/// Holds a picture against its figures; gives back how many names stand at their lines, and how many below.
fn names_are_true(of: &GapPicture, width: f64) -> [usize; 2] {
    let seen = seen(&gap_over_tempo_within(of, width));
    let drawn: Vec<&GapLine> = of.lines.iter().filter(|l| l.pieces.iter().any(|p| !p.is_empty())).collect();
    assert_eq!(seen.lines.len(), drawn.len());
    let mut count = [0, 0];
    let words =
        seen.texts.iter().find(|t| t.0.starts_with("max gap ") && t.0.ends_with(" ms")).expect("the max gap's words");
    for (n, line) in drawn.iter().enumerate() {
        let text = seen.texts.iter().find(|t| t.0 == line.name);
        let Some((name, at, room)) = text else { panic!("no name `{}`", line.name) };
        let pieces = &seen.lines[n].1;
        if at.1 > FOOT {
            count[1] += 1;
            continue;
        }
        count[0] += 1;
        // Where it is played last, by the figures' own places.
        let figures = line.pieces.iter().filter(|p| !p.is_empty()).flatten();
        let places: Vec<Place> = pieces.iter().flatten().copied().collect();
        let played = figures.zip(&places).filter(|((tempo, _), _)| of.tempos.contains(tempo)).last();
        let end = played.map_or(*places.last().expect("places"), |(_, place)| *place);
        assert!((4.0..=16.0).contains(&(at.0 - end.0)), "{name} at {at:?}, played last at {end:?}");
        let to = |all: &Vec<Vec<Place>>| all.iter().map(|p| nearest(p, *room)).fold(f64::MAX, f64::min);
        let own = to(pieces);
        for (m, (_, other)) in seen.lines.iter().enumerate().filter(|(m, _)| *m != n) {
            // Boxes here are somewhat smaller than those that are kept clear, on every side.
            assert!(to(other) > own - 1.5, "{name} reads as the name of `{}`: {own} and {}", drawn[m].name, to(other));
        }
        let far = nearest(&seen.limit, *room);
        assert!(far > 1.0 && far > own - 1.5, "{name} stands at the max gap's line");
        if own > 12.0 {
            let led = |l: &[Place; 2]| {
                (0.0..12.0).contains(&(at.0 - l[1].0))
                    && nearest(pieces.concat().as_slice(), [l[0].0, l[0].1, l[0].0, l[0].1]) < 8.0
            };
            assert!(seen.leaders.iter().any(led), "{name} is {own} from its line, and nothing leads there");
        }
    }
    for (n, (name, _, room)) in seen.texts.iter().enumerate() {
        let meets = |o: &Box4| room[0] < o[2] && o[0] < room[2] && room[1] < o[3] && o[1] < room[3];
        if let Some(other) = seen.texts[n + 1..].iter().find(|t| meets(&t.2)) {
            panic!("{name} and {} overlap", other.0);
        }
        if seen.limit[0].0 < room[2] && room[0] < seen.limit[1].0 {
            assert!(nearest(&seen.limit, *room) > 0.5, "{name} stands on the max gap's line");
        }
    }
    for leader in &seen.leaders {
        let [a, b] = seen.limit;
        assert!(
            (leader[0].1 - a.1) * (leader[1].1 - a.1) > 0.0 || leader[0].0 > b.0,
            "a leader crosses the max gap's line"
        );
        for (name, _, room) in &seen.texts {
            assert!(nearest(leader, *room) > 0.5, "a leader crosses `{name}`");
        }
        assert!(nearest(leader, words.2) > 0.5);
    }
    count
}

#[test]
fn names_of_all_examples_stand_at_their_own_lines() {
    let (mut patches, mut count) = (0, [0, 0]);
    for entry in std::fs::read_dir(std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("patches")).expect("examples")
    {
        let path = entry.expect("an entry").path();
        let name = path.file_stem().expect("a name").to_string_lossy().into_owned();
        // A list of components and a lesson are no patches; one patch names a file of hits, which only the command reads.
        let other = ["components", "taken-by-hand"].contains(&name.as_str()) || name.ends_with(".lesson");
        if path.extension().is_none_or(|e| e != "toml") || other {
            continue;
        }
        let text = std::fs::read_to_string(&path).expect("an example");
        let patch = Patch::parse(&text, &Asked::default()).expect("a patch");
        let all: Vec<&Variant> = std::iter::once(&patch.original).chain(&patch.fixes).collect();
        let range = scene::tempo_range(&text, &patch);
        let picture = scene::gap_picture((&name, &name), &all, &patch.tempos, range, patch.max_gap, &scene::NEVER);
        for width in [WIDTH, NARROW] {
            let found = names_are_true(&picture, width);
            count = [count[0] + found[0], count[1] + found[1]];
        }
        patches += 1;
    }
    // Few lines are so close that their names have to stand below.
    assert!(patches > 15 && count[0] > 4 * count[1], "{patches} {count:?}");
}

/// The phase of 1 % of two beats: at 160, the last tempo that is played, 7.5 ms and not the 6 ms
/// of the picture's edge at 200 (1200/tempo, a closed form).
#[test]
fn a_name_stands_at_the_last_tempo_that_is_played() {
    let tempos: Vec<f64> = (0..=48).map(|n| 40.0 + f64::from(n) * 160.0 / 48.0).collect();
    let line = |name: &str, gap: fn(f64) -> f64| GapLine {
        name: name.into(),
        pieces: vec![tempos.iter().map(|&t| (t, gap(t))).collect()],
    };
    let picture = GapPicture {
        max_gap_ms: 2.0,
        tempos: vec![80.0, 120.0, 160.0],
        lines: vec![line("phase", |t| 1200.0 / t), line("gate", |_| 0.04)],
        ..GapPicture::default()
    };
    for width in [WIDTH, NARROW] {
        assert_eq!(names_are_true(&picture, width), [2, 0]);
        let seen = seen(&gap_over_tempo_within(&picture, width));
        let edge = seen.lines[0].1[0].last().expect("an end").0;
        let at = |tempo: f64| 70.0 + (edge - 70.0) * (tempo - 40.0) / 160.0;
        let name = seen.texts.iter().find(|t| t.0 == "phase").expect("a name");
        // Eight units behind the mark.
        assert!((name.1.0 - at(160.0) - 8.0).abs() < 0.1, "{:?} {}", name.1, at(160.0));
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(150))]
    /// Lines of all shapes, near each other and far apart, with breaks, over tempos of which some are played.
    #[test]
    fn names_stand_at_their_own_lines(
        lines in prop::collection::vec(
            (prop_oneof![Just(0.0), 0.01_f64..0.1, 1.0_f64..3.0, 5.0_f64..5.5, 1.0_f64..3000.0], -1.0_f64..1.0, 1_usize..30, 0_usize..6),
            1..9,
        ),
        played in prop::collection::btree_set(0_usize..=24, 1..6),
        max_gap_ms in prop_oneof![Just(2.0), 0.01_f64..50.0],
        narrow in any::<bool>(),
    ) {
        let tempo = |n: usize| 60.0 + 5.0 * n as f64;
        let line = |(n, (gap, slope, long, from)): (usize, (f64, f64, usize, usize))| {
            let points: Vec<(f64, f64)> = (from..=24).map(|k| (tempo(k), gap * (tempo(k) / 120.0).powf(slope))).collect();
            let name = format!("{}{n}", "line-".repeat(1 + long / 12));
            // Where another step is played, the line breaks; some end early.
            let pieces = points.chunks(long.max(2)).map(<[_]>::to_vec).take(1 + long % 7).collect();
            GapLine { name, pieces }
        };
        let bands = [("one hit", 0.0), ("thicker", 1.0), ("split", 5.0), ("flam", 10.0), ("two hits", 50.0)];
        let picture = GapPicture {
            max_gap_ms,
            bands: bands.map(|(n, ms)| (n.to_owned(), ms)).to_vec(),
            tempos: played.into_iter().map(tempo).collect(),
            lines: lines.into_iter().enumerate().map(line).collect(),
            ..GapPicture::default()
        };
        names_are_true(&picture, if narrow { NARROW } else { WIDTH });
    }
}
