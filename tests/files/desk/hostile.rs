//! Texts that nobody meant are told as far as they can be.

use super::of;
use crate::fuzz::cases;
use crate::fuzz::edits::{edited, examples, noise};
use proptest::prelude::*;

fn told(text: &str) {
    for fix in [None, Some("phase")] {
        let desk = of(text, fix);
        for sentence in &desk.sentences {
            let inside = sentence.markup.replace("<p class=\"sentence\"", "").replace("<button type=\"button\"", "");
            let inside = inside.replace("</button>", "").replace("</p>", "");
            assert!(!inside.contains('<') && !inside.contains('\u{1b}'), "{}", sentence.markup);
        }
        for told in &desk.faults {
            assert!(told.place.is_none_or(|(start, end)| start <= end && end <= text.len()), "{told:?}");
        }
        serde_json::to_string(&desk).expect("JSON");
    }
}

proptest! {
    #![proptest_config(cases(150))]

    #[test]
    fn damaged_patches_are_told(text in edited(examples("patches", ".toml"))) {
        told(&text);
    }

    #[test]
    fn noise_is_told(text in noise()) {
        told(&text);
    }
}
