//! Lessons, and the Markdown in them.

use super::edits::{edited, examples, noise};
use super::patches::tell;
use super::{cases, is_plain};
use hitgap::patch::Lesson;
use hitgap::show::page::markdown;
use proptest::prelude::*;

/// The only tags that a teacher's text may become.
const TAGS: [&str; 17] =
    ["p", "h4", "h5", "h6", "blockquote", "pre", "code", "ul", "ol", "li", "em", "strong", "a", "br", "hr", "h3", "h2"];

pub(crate) fn read(source: &str) {
    match Lesson::parse(source) {
        Err(faults) => tell(&faults, source),
        Ok(lesson) => {
            is_plain(&lesson.title);
            for chapter in &lesson.chapters {
                is_plain(&chapter.heading);
                let more = [&chapter.listen_for, &chapter.question, &chapter.answer].into_iter().flatten();
                std::iter::once(&chapter.text).chain(more).for_each(|text| read_markdown(text));
            }
        }
    }
}

/// Turns a text into markup, in which there is nothing but what was asked for.
pub(crate) fn read_markdown(text: &str) {
    let markup = markdown(text);
    // An `&` becomes five characters, a heading of one character some forty.
    assert!(markup.len() <= 64 * (text.len() + 1), "{} bytes from {}", markup.len(), text.len());
    for tag in markup.split('<').skip(1) {
        let name = tag.trim_start_matches('/').split([' ', '>']).next().unwrap_or_default();
        assert!(TAGS.contains(&name), "<{name}");
        let inside = tag.split('>').next().unwrap_or_default();
        let quotes = inside.matches('"').count();
        assert!(quotes % 2 == 0 && !inside.contains('\''), "<{inside}>");
        if name == "a" && !tag.starts_with('/') {
            assert!(inside.to_ascii_lowercase().contains("href=\"http"), "<{inside}>");
        }
    }
}

fn texts() -> Vec<String> {
    let mut all = examples("patches", ".lesson.toml");
    all.extend([
        "# A\n\n*b* **c** `d` [e](https://f.g) ![h](i)\n\n> j\n\n1. k\n   - l\n\n---\n\n```\nm\n```\n".to_owned(),
        "<script>a</script> <b onclick='x'> [y](javascript:z) [q]: http://w 'v'\n[q] &amp; &#0; \\\n".to_owned(),
        "[".repeat(200) + &"*_`".repeat(60) + &">".repeat(100),
    ]);
    all
}

proptest! {
    #![proptest_config(cases(256))]

    #[test]
    fn edited_lessons_are_answered(text in edited([examples("patches", ".lesson.toml"), examples("tests/bad-lessons", ".toml")].concat())) {
        read(&text);
    }

    #[test]
    fn any_text_becomes_harmless_markup(text in prop_oneof![edited(texts()), noise()]) {
        read_markdown(&text);
        read(&text);
    }
}
