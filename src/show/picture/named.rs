//! Names of lines, each at the last place of its line that is played, and nearer to that line than to any other.
//!
//! A name that can stand nowhere so goes to a row of looks below the picture: better there than beside another's line. The
//! limit, with its own words, comes first: no name and no leader crosses either.

use super::canvas::{Anchor, Canvas, LABEL, Room, room};
use super::legend::{dotted, line};
use super::text::{ems, fitted};

type Place = (f64, f64);

/// A line with its name.
pub(super) struct Course {
    /// The number of its look.
    pub(super) line: usize,
    pub(super) name: String,
    /// Places from left to right.
    pub(super) pieces: Vec<Vec<Place>>,
    /// Where its name belongs.
    pub(super) end: Place,
    /// Its marks.
    pub(super) marks: Vec<Place>,
}

/// What is played must stay below this line, which goes across the plot.
pub(super) struct Limit {
    pub(super) y: f64,
    pub(super) left: f64,
    pub(super) right: f64,
    pub(super) words: String,
}

/// A text that has found its place.
struct Placed {
    at: Place,
    text: String,
    room: Room,
    /// From the line to the text, where that had to move.
    leader: Option<[Place; 2]>,
}

/// Where all names stand.
pub(super) struct Names {
    limit: Option<Placed>,
    placed: Vec<Placed>,
    /// What stands below: the number of a line's look, or none for the limit's.
    below: Vec<(Option<usize>, String)>,
    width: f64,
}

/// From a line's place to the beginning of its name, beside it and with a leader.
const BESIDE: f64 = 8.0;
const LED: f64 = 14.0;
/// A name within this of its line needs no leader.
const NEAR: f64 = 8.0;
/// How long the stroke of a look is, and from one row of them to the next.
const STROKE: f64 = 26.0;
const ROW: f64 = 18.0;

/// Finds places within a picture of a width, between a top and a bottom.
pub(super) fn names(courses: &[Course], limit: &Limit, width: f64, (top, bottom): (f64, f64)) -> Names {
    let mut names = Names { limit: None, placed: Vec::new(), below: Vec::new(), width };
    let text = fitted(&limit.words, (width - 80.0) / LABEL);
    names.limit = place_limit(courses, limit, &text, (top, bottom));
    if names.limit.is_none() {
        names.below.push((None, text));
    }
    let mut open: Vec<&Course> = courses.iter().filter(|c| ems(&c.name) > 0.0).collect();
    for offers in [beside as fn(&Course) -> Vec<Place>, led] {
        open.retain(|course| {
            let fit = |at: &Place| names.fits(courses, limit, course, *at, (top, bottom));
            let found = offers(course).iter().find_map(fit);
            let none = found.is_none();
            names.placed.extend(found);
            none
        });
    }
    names.below.extend(open.iter().map(|c| (Some(c.line), c.name.clone())));
    names
}

/// Over the line, under it, and behind its end.
fn beside(course: &Course) -> Vec<Place> {
    let (x, y) = course.end;
    [-7.0, 15.0, 4.5].map(|down| (x + BESIDE, y + down)).to_vec()
}

/// Further up and down, by turns.
fn led(course: &Course) -> Vec<Place> {
    let (x, y) = course.end;
    let up_and_down = |n: u32| [-6.0, 6.0].map(|step| (x + LED, y + 4.5 + step * f64::from(n)));
    (2..=14).flat_map(up_and_down).collect()
}

/// Over or under the limit, left of the names, and nearer to it than to any line.
fn place_limit(courses: &[Course], limit: &Limit, text: &str, (top, bottom): (f64, f64)) -> Option<Placed> {
    let ends = courses.iter().map(|c| c.end.0).fold(limit.left, f64::max);
    let last = if ends > limit.left { ends - BESIDE } else { limit.right - 6.0 };
    let first = limit.left + 6.0 + ems(text) * LABEL;
    let across = (0..60).map(|n| last - 8.0 * f64::from(n)).take_while(|x| *x >= first);
    let mut places = across.flat_map(|x| [(x, limit.y - 5.0), (x, limit.y + 14.0)]);
    places.find_map(|at| {
        let own = room(text, at, Anchor::End, LABEL);
        let clear = own.top >= top
            && own.bottom <= bottom
            && courses.iter().all(|c| c.distance(&own) > 4.0 && !c.marks.iter().any(|m| own.meets(&around(*m))));
        clear.then(|| Placed { at: (own.left, at.1), text: text.to_owned(), room: own, leader: None })
    })
}

impl Names {
    /// The name of a line at a place, if it may stand there.
    fn fits(
        &self,
        courses: &[Course],
        limit: &Limit,
        course: &Course,
        at: Place,
        (top, bottom): (f64, f64),
    ) -> Option<Placed> {
        let own = room(&course.name, at, Anchor::Start, LABEL);
        let apart = limit.distance(&own);
        let near = course.distance(&own);
        // What stands nearer to another line reads as the name of that.
        let others = || courses.iter().filter(|c| c.line != course.line);
        let clear = own.right <= self.width - 4.0
            && own.top >= top
            && own.bottom <= bottom
            && near > 0.5
            && apart > 2.0
            && apart >= near - 0.01
            && others().all(|c| c.distance(&own) >= near - 0.01)
            && !courses.iter().flat_map(|c| &c.marks).any(|m| own.meets(&around(*m)))
            && !self.texts().any(|other| other.room.meets(&own))
            && !self.leaders().any(|[a, b]| distance(&own, a, b) < 2.0);
        let leader = (near > NEAR).then(|| [toward(course.end, middle(&own), 6.0), middle(&own)]);
        let free = |[a, b]: [Place; 2]| {
            !limit.crossed(a, b)
                && !self.texts().any(|other| distance(&other.room, a, b) < 2.0)
                && !self.leaders().any(|[c, d]| cross((a, b), (c, d)))
                && !others().flat_map(|c| &c.marks).any(|m| distance(&around(*m), a, b) <= 0.0)
                && !others().flat_map(Course::segments).any(|(c, d)| cross((a, b), (c, d)))
        };
        let stands = clear && leader.is_none_or(free);
        stands.then(|| Placed { at, text: course.name.clone(), room: own, leader })
    }

    fn texts(&self) -> impl Iterator<Item = &Placed> {
        self.placed.iter().chain(&self.limit)
    }

    fn leaders(&self) -> impl Iterator<Item = [Place; 2]> {
        self.placed.iter().filter_map(|p| p.leader)
    }

    /// Whether a text would stand on a leader.
    pub(super) fn leads_through(&self, room: &Room) -> bool {
        self.leaders().any(|[a, b]| distance(room, a, b) < 2.0)
    }

    /// How much higher than the picture its rows of looks make it.
    pub(super) fn height(&self) -> f64 {
        self.rows().last().map_or(0.0, |(row, ..)| ROW * (*row as f64 + 1.0))
    }

    /// The row, the place in it and the text of what stands below.
    fn rows(&self) -> Vec<(usize, f64, String)> {
        let (mut row, mut x) = (0, 16.0);
        let mut all = Vec::new();
        for (_, name) in &self.below {
            let text = fitted(name, (self.width - 32.0 - STROKE - 6.0) / LABEL);
            let wide = STROKE + 6.0 + ems(&text) * LABEL;
            if x > 16.0 && x + wide > self.width - 16.0 {
                (row, x) = (row + 1, 16.0);
            }
            all.push((row, x, text));
            x += wide + 18.0;
        }
        all
    }

    /// Draws all; the rows of looks begin below `foot`.
    pub(super) fn draw(&self, canvas: &mut Canvas, foot: f64) {
        for placed in self.texts() {
            if let Some([from, to]) = placed.leader {
                canvas.line("hg-faint hg-thin hg-lead", from, to);
            }
            canvas.label_over(&placed.text, placed.at, Anchor::Start, "hg-ink");
        }
        for ((look, _), (row, x, text)) in self.below.iter().zip(self.rows()) {
            let y = foot + ROW * row as f64 + 8.0;
            let stroke = [(x, y - 4.5), (x + STROKE, y - 4.5)];
            match look {
                Some(n) => {
                    line(canvas, *n, &stroke);
                    canvas.mark(*n, (x + STROKE / 2.0, y - 4.5));
                }
                None => dotted(canvas, stroke[0], stroke[1]),
            }
            canvas.label(&text, (x + STROKE + 6.0, y), Anchor::Start, "hg-ink");
        }
    }
}

impl Course {
    fn segments(&self) -> impl Iterator<Item = (Place, Place)> {
        // A piece of one place is a mark and no line.
        let ends = |p: &Vec<Place>| if let [only] = p[..] { Some((only, only)) } else { None };
        self.pieces.iter().flat_map(move |p| p.windows(2).map(|s| (s[0], s[1])).chain(ends(p)))
    }

    fn distance(&self, room: &Room) -> f64 {
        self.segments().map(|(a, b)| distance(room, a, b)).fold(f64::MAX, f64::min)
    }
}

impl Limit {
    fn distance(&self, room: &Room) -> f64 {
        distance(room, (self.left, self.y), (self.right, self.y))
    }

    fn crossed(&self, a: Place, b: Place) -> bool {
        cross((a, b), ((self.left, self.y), (self.right, self.y)))
    }
}

/// The room of a mark.
fn around((x, y): Place) -> Room {
    Room { left: x - 5.0, top: y - 5.0, right: x + 5.0, bottom: y + 5.0 }
}

/// Just before a text, half its height up.
fn middle(room: &Room) -> Place {
    (room.left - 3.0, f64::midpoint(room.top, room.bottom))
}

/// A little way from one place to another.
fn toward(from: Place, to: Place, by: f64) -> Place {
    let (dx, dy) = (to.0 - from.0, to.1 - from.1);
    let long = dx.hypot(dy).max(by);
    (from.0 + dx * by / long, from.1 + dy * by / long)
}

/// How far a rectangle is from a stretch of a line: nought where that goes through.
fn distance(room: &Room, a: Place, b: Place) -> f64 {
    let corners = [(room.left, room.top), (room.right, room.top), (room.right, room.bottom), (room.left, room.bottom)];
    let inside = |p: Place| (room.left..=room.right).contains(&p.0) && (room.top..=room.bottom).contains(&p.1);
    let through = (0..4).any(|n| cross((a, b), (corners[n], corners[(n + 1) % 4])));
    if inside(a) || inside(b) || through {
        return 0.0;
    }
    let to_room = |p: Place| {
        let over = |v: f64, low: f64, high: f64| (low - v).max(v - high).max(0.0);
        over(p.0, room.left, room.right).hypot(over(p.1, room.top, room.bottom))
    };
    let to_line = |p: Place| {
        let (dx, dy) = (b.0 - a.0, b.1 - a.1);
        let long = dx * dx + dy * dy;
        let along = if long > 0.0 { (((p.0 - a.0) * dx + (p.1 - a.1) * dy) / long).clamp(0.0, 1.0) } else { 0.0 };
        (p.0 - a.0 - along * dx).hypot(p.1 - a.1 - along * dy)
    };
    corners.map(to_line).into_iter().chain([to_room(a), to_room(b)]).fold(f64::MAX, f64::min)
}

/// Whether two stretches of lines meet.
fn cross((a, b): (Place, Place), (c, d): (Place, Place)) -> bool {
    let side = |p: Place, q: Place, r: Place| (q.0 - p.0) * (r.1 - p.1) - (q.1 - p.1) * (r.0 - p.0);
    let apart = |p: Place, q: Place, r: Place, s: Place| side(p, q, r) * side(p, q, s) > 0.0;
    let over = |f: fn(Place) -> f64| f(a).max(f(b)) < f(c).min(f(d)) || f(c).max(f(d)) < f(a).min(f(b));
    !over(|p| p.0) && !over(|p| p.1) && !apart(a, b, c, d) && !apart(c, d, a, b)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: beside, over, at a corner (3, 4, 5), across, and within.
    #[test]
    fn distances_are_those_by_hand() {
        let room = Room { left: 0.0, top: 0.0, right: 10.0, bottom: 4.0 };
        for (a, b, far) in [
            ((12.0, -9.0), (12.0, 9.0), 2.0),
            ((-50.0, 7.0), (50.0, 7.0), 3.0),
            ((13.0, 8.0), (40.0, 60.0), 5.0),
            ((-5.0, -1.0), (15.0, 5.0), 0.0),
            ((2.0, 1.0), (3.0, 2.0), 0.0),
            ((-3.0, -4.0), (-3.0, -4.0), 5.0),
            // Past the corner at 45 degrees: half the diagonal of a square of 2.
            ((10.0, -2.0), (12.0, 0.0), 2.0_f64.sqrt()),
        ] {
            assert!((distance(&room, a, b) - far).abs() < 1e-9, "{a:?} {b:?}: {}", distance(&room, a, b));
        }
        assert!(cross(((0.0, 0.0), (2.0, 2.0)), ((0.0, 2.0), (2.0, 0.0))));
        assert!(!cross(((0.0, 0.0), (1.0, 1.0)), ((3.0, 0.0), (2.0, 2.0))));
    }

    fn flat(line: usize, name: &str, y: f64) -> Course {
        let places = vec![(70.0, y), (300.0, y), (400.0, y)];
        Course { line, name: name.into(), pieces: vec![places], end: (300.0, y), marks: vec![(300.0, y)] }
    }

    fn limit(y: f64) -> Limit {
        Limit { y, left: 70.0, right: 400.0, words: "max gap 2 ms".into() }
    }

    /// Three lines 6 apart: the name of the one in the middle could only stand beside another's.
    #[test]
    fn a_name_that_would_stand_beside_another_line_goes_below() {
        let courses = [flat(0, "upper", 100.0), flat(1, "middle", 106.0), flat(2, "lower", 112.0)];
        let names = names(&courses, &limit(200.0), 560.0, (52.0, 345.0));
        let stand: Vec<&str> = names.placed.iter().map(|p| p.text.as_str()).collect();
        assert_eq!(stand, ["upper", "lower"]);
        assert_eq!(names.below, [(Some(1), "middle".to_owned())]);
        assert!(names.placed[0].room.bottom < 100.0 && names.placed[1].room.top > 112.0);
        assert!((names.height() - ROW).abs() < 1e-9);
    }

    /// Lines that are one have their names on both sides, and further ones are led to it.
    #[test]
    fn lines_that_are_one_have_their_names_around_it() {
        let courses = [flat(0, "one", 100.0), flat(1, "two", 100.0), flat(2, "three", 100.0)];
        let names = names(&courses, &limit(200.0), 560.0, (52.0, 345.0));
        assert_eq!(names.placed.len(), 3);
        assert!(names.below.is_empty());
        let led: Vec<bool> = names.placed.iter().map(|p| p.leader.is_some()).collect();
        assert_eq!(led, [false, false, true]);
    }

    /// A line just over the limit has its name on its own side, and one on it has none across it.
    #[test]
    fn the_limit_and_its_words_stay_clear() {
        for y in [180.0, 188.0, 190.0, 194.0, 200.0, 206.0, 212.0, 220.0] {
            let courses = [flat(0, "a line of a longer name", y)];
            let names = names(&courses, &limit(200.0), 560.0, (52.0, 345.0));
            // Words that the line itself would cross, or read as its name, stand below.
            assert_eq!(names.limit.is_none(), y == 200.0, "{y}");
            for placed in &names.placed {
                assert!(names.limit.as_ref().is_none_or(|words| !placed.room.meets(&words.room)), "{y}");
                assert!(distance(&placed.room, (70.0, 200.0), (400.0, 200.0)) > 1.5, "{y}");
            }
            assert_eq!(names.texts().count() + names.below.len(), 2, "{y}");
        }
    }
}
