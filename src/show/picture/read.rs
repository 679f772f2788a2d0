//! For tests: a picture read back by a library that is not ours, and laws that hold for each.

use super::canvas::{Anchor, Room, room};
use super::text::ems;
use proptest::prelude::*;

pub(super) struct Text {
    pub(super) text: String,
    pub(super) at: (f64, f64),
    pub(super) room: Room,
}

pub(super) struct Seen {
    pub(super) title: String,
    pub(super) desc: String,
    pub(super) texts: Vec<Text>,
    source: String,
    size: (f64, f64),
}

type Point = (f64, f64);

pub(super) fn svg(source: &str) -> Seen {
    let document = roxmltree::Document::parse(source).unwrap_or_else(|e| panic!("{e}\n{source}"));
    let root = document.root_element();
    let view: Vec<f64> =
        root.attribute("viewBox").expect("a view").split(' ').map(|n| n.parse().expect("a number")).collect();
    let labelled = root.attribute("aria-labelledby").expect("a label");
    assert_eq!(root.attribute("role"), Some("img"));
    let of = |n: usize| {
        let id = labelled.split(' ').nth(n);
        let node = root.children().find(|c| c.attribute("id") == id && id.is_some()).expect("what labels it");
        node.text().unwrap_or_default().to_owned()
    };
    let mut texts = Vec::new();
    for node in root.descendants().filter(|n| n.has_tag_name("text")) {
        let number = |key: &str| node.attribute(key).expect("a figure").parse::<f64>().expect("a number");
        let (x, y, size) = (number("x"), number("y"), number("font-size"));
        let text = node.text().unwrap_or_default().to_owned();
        let anchor = match node.attribute("text-anchor") {
            None => Anchor::Start,
            Some("middle") => Anchor::Middle,
            Some(other) => {
                assert_eq!(other, "end");
                Anchor::End
            }
        };
        let mut own = room(&text, (x, y), anchor, size);
        if let Some(turn) = node.attribute("transform") {
            assert!(turn.starts_with("rotate(-90 ") && anchor == Anchor::Middle);
            let half = ems(&text) * size / 2.0;
            own = Room { left: x - 0.8 * size, top: y - half, right: x + 0.25 * size, bottom: y + half };
        }
        texts.push(Text { text, at: (x, y), room: own });
    }
    Seen { title: of(0), desc: of(1), texts, source: source.to_owned(), size: (view[2], view[3]) }
}

impl Seen {
    /// What holds for every picture, whatever it was given.
    pub(super) fn is_sound(&self) {
        let document = roxmltree::Document::parse(&self.source).expect("read before");
        let mut ids = std::collections::BTreeSet::new();
        for node in document.descendants().filter(roxmltree::Node::is_element) {
            let known = ["svg", "title", "desc", "style", "rect", "line", "path", "text", "g"];
            assert!(known.contains(&node.tag_name().name()), "{}", node.tag_name().name());
            node.attribute("class")
                .into_iter()
                .flat_map(str::split_whitespace)
                .for_each(|c| assert!(c.starts_with("hg-"), "{c}"));
            if let Some(id) = node.attribute("id") {
                assert!(id.starts_with("hg-") && ids.insert(id.to_owned()), "{id}");
            }
            for attribute in node.attributes() {
                let value = attribute.value();
                // Ids are made of the picture's name, which may be called anything.
                let named = ["id", "aria-labelledby"].contains(&attribute.name());
                assert!(named || !value.contains("NaN") && !value.contains("inf"), "{value}");
                let drawn = ["x", "y", "x1", "x2", "y1", "y2", "width", "height", "cx", "cy"];
                if drawn.contains(&attribute.name()) {
                    let value: f64 = value.parse().expect("a number");
                    let most = self.size.0.max(self.size.1);
                    assert!((-0.01..=most + 0.01).contains(&value), "{value} lies outside");
                }
            }
        }
        for (n, a) in self.texts.iter().enumerate() {
            let own = a.room;
            let inside = own.left >= -0.01 && own.top >= -0.01 && own.right <= self.size.0 + 0.01;
            assert!(inside && own.bottom <= self.size.1 + 0.01, "`{}` is cut off", a.text);
            for b in &self.texts[n + 1..] {
                // Two decimals are written.
                let smaller = Room {
                    left: own.left + 0.02,
                    top: own.top + 0.02,
                    right: own.right - 0.02,
                    bottom: own.bottom - 0.02,
                };
                assert!(!smaller.meets(&b.room), "`{}` and `{}` overlap", a.text, b.text);
            }
        }
    }

    /// The points of all paths that have a class, those of straight lines and outlines only.
    pub(super) fn paths(&self, class: &str) -> Vec<Vec<Point>> {
        let document = roxmltree::Document::parse(&self.source).expect("read before");
        let has = |n: &roxmltree::Node<'_, '_>| n.attribute("class").is_some_and(|c| c.split(' ').any(|c| c == class));
        let of = |d: &str| -> Vec<Point> {
            let pairs = d.trim_start_matches('M').trim_end_matches('Z').split(['L', 'M']);
            let pair = |p: &str| p.split_once(' ').map(|(x, y)| (x.parse().expect("x"), y.parse().expect("y")));
            pairs.map(|p| pair(p).expect("a point")).collect()
        };
        document
            .descendants()
            .filter(|n| n.has_tag_name("path") && has(n))
            .filter_map(|n| n.attribute("d"))
            .map(of)
            .collect()
    }

    /// From the labels of a scale of ratios at the left, which place a figure has: found from two labels, and held against
    /// a third.
    pub(super) fn axis(&self, stands: impl Fn(f64) -> bool, labels: &[&str; 3]) -> impl Fn(f64) -> f64 {
        let find = |word: &str| {
            let label = self.texts.iter().find(|t| t.text == word && stands(t.at.0));
            (word.parse::<f64>().expect("a figure").log10(), label.unwrap_or_else(|| panic!("no `{word}`")).at.1 - 4.5)
        };
        let [(v0, y0), (v1, y1), (v2, y2)] = labels.map(find);
        let place = move |value: f64| y0 + (value.log10() - v0) * (y1 - y0) / (v1 - v0);
        assert!((place(10_f64.powf(v2)) - y2).abs() < 0.05);
        place
    }
}

/// Titles and names of all kinds.
pub(super) fn any_text() -> impl Strategy<Value = String> {
    prop_oneof![
        "[a-z]{0,12}",
        any::<String>(),
        Just("<script>alert(\"1\")</script>&amp;]]>".to_owned()),
        Just("\u{202e}שלום עולם مرحبا \u{0}\u{b}\u{fffe}".to_owned()),
        Just("WWWW 🥁 mmmm ".repeat(800)),
    ]
}
