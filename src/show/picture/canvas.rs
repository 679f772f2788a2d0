//! One picture being written: elements in order, and the room that its labels take.

use super::text::{ems, escaped, fitted, id, number};
use super::{ink, mark};
use std::fmt::Write;

/// A picture is this wide unless it is drawn for a narrow column, in units of its own: as pixels on a page, a label of 13
/// is legible from some 400 pixels on.
pub const WIDTH: f64 = 560.0;
/// How wide it is for a phone: on 320 pixels a label of 13 then has 10.4.
pub const NARROW: f64 = 400.0;
/// Sizes of text.
pub(super) const HEADING: f64 = 16.0;
/// See [`HEADING`].
pub(super) const LABEL: f64 = 13.0;
/// Bold text is wider by no more than this.
const BOLD: f64 = 1.15;

/// On which side of its place a label stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Anchor {
    Start,
    Middle,
    End,
}

/// A rectangle: left, top, right, bottom.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Room {
    pub(super) left: f64,
    pub(super) top: f64,
    pub(super) right: f64,
    pub(super) bottom: f64,
}

impl Room {
    pub(super) fn meets(&self, other: &Self) -> bool {
        self.left < other.right && other.left < self.right && self.top < other.bottom && other.top < self.bottom
    }

    fn within(&self, width: f64, height: f64) -> bool {
        self.left >= 0.0 && self.top >= 0.0 && self.right <= width && self.bottom <= height
    }
}

/// The room of a text whose base line begins, is centred or ends at a place: as wide as the widest font makes it.
pub(super) fn room(text: &str, (x, y): (f64, f64), anchor: Anchor, size: f64) -> Room {
    let width = ems(text) * size;
    let left = match anchor {
        Anchor::Start => x,
        Anchor::Middle => x - width / 2.0,
        Anchor::End => x - width,
    };
    Room { left, top: y - 0.8 * size, right: left + width, bottom: y + 0.25 * size }
}

pub(super) struct Canvas {
    id: String,
    title: String,
    desc: String,
    width: f64,
    height: f64,
    body: String,
    labels: Vec<Room>,
    /// What labels had better keep clear of.
    busy: Vec<Room>,
}

impl Canvas {
    /// An empty picture. `name` makes its ids, and must be unique in a page; title and description are what it says to
    /// those who do not see it.
    pub(super) fn new(name: &str, title: &str, desc: &str, (width, height): (f64, f64)) -> Self {
        Self {
            id: id(name),
            title: escaped(title),
            desc: escaped(desc),
            width,
            height,
            body: String::new(),
            labels: Vec::new(),
            busy: Vec::new(),
        }
    }

    /// Writes an element as it is: nothing in it may come from a user.
    pub(super) fn raw(&mut self, element: &str) {
        self.body.push_str(element);
        self.body.push('\n');
    }

    pub(super) fn width(&self) -> f64 {
        self.width
    }

    pub(super) fn rect(&mut self, class: &str, room: Room) {
        let (w, h) = (room.right - room.left, room.bottom - room.top);
        let [x, y, w, h] = [room.left, room.top, w, h].map(number);
        self.raw(&format!("<rect class=\"{class}\" x=\"{x}\" y=\"{y}\" width=\"{w}\" height=\"{h}\"/>"));
    }

    pub(super) fn line(&mut self, class: &str, from: (f64, f64), to: (f64, f64)) {
        let [a, b, c, d] = [from.0, from.1, to.0, to.1].map(number);
        self.raw(&format!("<line class=\"{class}\" x1=\"{a}\" y1=\"{b}\" x2=\"{c}\" y2=\"{d}\"/>"));
    }

    /// A line or, if it ends in `Z`, an outline through points.
    pub(super) fn path(&mut self, class: &str, more: &str, points: &[(f64, f64)], closed: bool) {
        let mut d = String::new();
        for (n, (x, y)) in points.iter().enumerate() {
            let _ = write!(d, "{}{} {}", if n == 0 { 'M' } else { 'L' }, number(*x), number(*y));
        }
        if closed {
            d.push('Z');
        }
        self.raw(&format!("<path class=\"{class}\"{more} d=\"{d}\"/>"));
    }

    /// The mark of a line of a number.
    pub(super) fn mark(&mut self, line: usize, at: (f64, f64)) {
        let (c, d) = (line % ink::COLOURS, mark::shape(line, at));
        self.raw(&format!("<path class=\"hg-mark hg-f{c} hg-halo\" d=\"{d}\"/>"));
        self.keep_clear(Room { left: at.0 - 4.0, top: at.1 - 4.0, right: at.0 + 4.0, bottom: at.1 + 4.0 });
    }

    /// Labels that have a choice are not put here.
    pub(super) fn keep_clear(&mut self, room: Room) {
        self.busy.push(room);
    }

    /// Whether a label would stand within the picture and on no other.
    pub(super) fn is_free(&self, room: &Room) -> bool {
        room.within(self.width, self.height) && !self.labels.iter().any(|other| other.meets(room))
    }

    /// The heading and, below it, smaller, what is to be known; both cut to the picture's width.
    pub(super) fn heading(&mut self, heading: &str, about: &str) {
        let width = self.width - 32.0;
        let heading = fitted(heading, width / HEADING / BOLD);
        let (x, y) = (16.0, 25.0);
        let end = x + ems(&heading) * HEADING * BOLD;
        self.labels.push(Room { left: x, top: y - HEADING, right: end, bottom: y + 5.0 });
        self.text_at((x, y), Anchor::Start, "hg-ink", HEADING, " font-weight=\"600\"", &heading);
        if !about.is_empty() {
            let about = fitted(about, width / LABEL);
            self.label(&about, (x, 45.0), Anchor::Start, "hg-soft");
        }
    }

    /// Writes a label if it stands free, and says whether it did.
    pub(super) fn label(&mut self, text: &str, at: (f64, f64), anchor: Anchor, class: &str) -> bool {
        let room = room(text, at, anchor, LABEL);
        if text.is_empty() || !self.is_free(&room) {
            return false;
        }
        self.labels.push(room);
        self.text_at(at, anchor, class, LABEL, "", text);
        true
    }

    /// Text over what is drawn: with a halo of the ground.
    pub(super) fn label_over(&mut self, text: &str, at: (f64, f64), anchor: Anchor, class: &str) -> bool {
        let room = room(text, at, anchor, LABEL);
        if text.is_empty() || !self.is_free(&room) {
            return false;
        }
        self.labels.push(room);
        let halo = " stroke-width=\"3\" stroke-linejoin=\"round\" paint-order=\"stroke\"";
        self.text_at(at, anchor, &format!("{class} hg-halo"), LABEL, halo, text);
        true
    }

    /// Writes a label at the first of some places that is free and clear of what is drawn; else at the first that is free.
    pub(super) fn label_somewhere(&mut self, text: &str, places: &[((f64, f64), Anchor)], class: &str) -> bool {
        let clear = |r: &Room| !self.busy.iter().any(|b| b.meets(r));
        let free = |(at, anchor): &&((f64, f64), Anchor)| self.is_free(&room(text, *at, *anchor, LABEL));
        let best = places.iter().filter(free).find(|(at, anchor)| clear(&room(text, *at, *anchor, LABEL)));
        match best.or_else(|| places.iter().find(free)).copied() {
            Some((at, anchor)) => self.label_over(text, at, anchor, class),
            None => false,
        }
    }

    /// A label that reads upwards, centred at a place.
    pub(super) fn upright(&mut self, text: &str, (x, y): (f64, f64), length: f64) {
        let text = fitted(text, length / LABEL);
        let half = ems(&text) * LABEL / 2.0;
        let room = Room { left: x - 0.8 * LABEL, top: y - half, right: x + 0.25 * LABEL, bottom: y + half };
        // Figures of many digits, such as 0.0001, reach as far.
        if !self.is_free(&room) {
            return;
        }
        self.labels.push(room);
        let turn = format!(" transform=\"rotate(-90 {} {})\"", number(x), number(y));
        self.text_at((x, y), Anchor::Middle, "hg-soft", LABEL, &turn, &text);
    }

    fn text_at(&mut self, (x, y): (f64, f64), anchor: Anchor, class: &str, size: f64, more: &str, text: &str) {
        let side = match anchor {
            Anchor::Start => "",
            Anchor::Middle => " text-anchor=\"middle\"",
            Anchor::End => " text-anchor=\"end\"",
        };
        let ([x, y, size], text) = ([x, y, size].map(number), escaped(text));
        self.raw(&format!(
            "<text class=\"{class}\" x=\"{x}\" y=\"{y}\" font-size=\"{size}\"{side}{more}>{text}</text>"
        ));
    }

    /// The whole file.
    pub(super) fn finish(self) -> String {
        let Self { id, title, desc, width, height, body, .. } = self;
        let (w, h, style) = (number(width), number(height), ink::style());
        format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" class=\"hg-fig\" viewBox=\"0 0 {w} {h}\" role=\"img\" \
             aria-labelledby=\"{id}-title {id}-desc\">\n<title id=\"{id}-title\">{title}</title>\n\
             <desc id=\"{id}-desc\">{desc}</desc>\n<style>{style}</style>\n\
             <rect class=\"hg-ground\" width=\"{w}\" height=\"{h}\"/>\n{body}</svg>\n"
        )
    }
}
