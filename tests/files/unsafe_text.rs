//! The one set of characters that nobody is shown raw, over all of Unicode, against the tables of the `regex` crate.

use hitgap::text::{is_unsafe, marked, message, plain, shown, tamed, tamed_json, unfit};
use proptest::prelude::*;
use regex::Regex;
use std::path::Path;

/// What is held to be unsafe, in that library's words.
const SET: &str = r"^[\p{Cc}\p{Cf}\p{Co}\p{Zl}\p{Zp}\p{Default_Ignorable_Code_Point}\p{Noncharacter_Code_Point}]$";

fn class(pattern: &str) -> impl Fn(char) -> bool {
    let regex = Regex::new(pattern).expect("a class");
    move |c| regex.is_match(c.encode_utf8(&mut [0; 4]))
}

/// All of Unicode but the surrogates, which no text can hold.
fn all() -> impl Iterator<Item = char> {
    '\0'..=char::MAX
}

#[test]
fn the_set_is_that_of_the_properties() {
    let expected = class(SET);
    let wrong: Vec<char> = all().filter(|&c| is_unsafe(c) != expected(c)).collect();
    assert!(wrong.is_empty(), "{wrong:?}");
}

/// Letters, figures, marks, signs and blanks are what texts are made of.
#[test]
fn what_scripts_are_written_with_stays() {
    let text = class(r"^[\p{L}\p{N}\p{P}\p{S}\p{Zs}\p{Mc}&&[^\p{Default_Ignorable_Code_Point}]]$");
    let wrong: Vec<char> = all().filter(|&c| text(c) && plain(&format!("a{c}b")) != format!("a{c}b")).collect();
    assert!(wrong.is_empty(), "{wrong:?}");
    for text in [
        "Größe, naïve, Ångström, ĉapelo",
        "日本語 한국어 中文",
        "ש\u{5c1}\u{5bc}\u{5b8}\u{591}",
        "e\u{301}\u{323}",
        "می\u{200c}خواهم",
        "क\u{94d}\u{200d}ष",
        "👩\u{200d}🚀 ❤\u{fe0f}\u{200d}🔥 🏳\u{fe0f}\u{200d}🌈 👍🏽 1\u{fe0f}\u{20e3} 🇩🇪",
    ] {
        assert_eq!((plain(text), shown(text), tamed(text)), (text.to_owned(), text.to_owned(), text.to_owned()));
        assert_eq!(unfit(text, |_| false), None);
    }
}

/// What may stand between two emoji or two letters may not stand elsewhere.
#[test]
fn joiners_and_selectors_hide_nowhere() {
    for text in [
        "a\u{200d}b",
        "\u{200d}",
        "a\u{fe0f}",
        "1\u{fe0f}",
        "🚀\u{200d}",
        "\u{200d}🚀",
        "🚀\u{fe0f}\u{fe0f}",
        "م\u{200c} م",
        "م\u{200c}\u{200c}م",
    ] {
        assert!(plain(text).contains('\u{fffd}'), "{text:?}");
    }
    let emoji = class(r"^\p{Extended_Pictographic}$");
    let wrong: Vec<char> =
        all().filter(|&c| emoji(c) && plain(&format!("{c}\u{fe0f}\u{200d}{c}")).contains('\u{fffd}')).collect();
    assert!(wrong.is_empty(), "{wrong:?}");
}

/// One letter carries a bounded number of marks, whichever they are.
#[test]
fn marks_do_not_pile_up() {
    let mark = class(r"^[\p{Mn}\p{Me}]$");
    for c in all().filter(|&c| mark(c) && !is_unsafe(c)) {
        let pile = format!("a{}b", c.to_string().repeat(100));
        for shown in [plain(&pile), shown(&pile), tamed(&pile), message(&pile, false)] {
            // A few that stand on their own, though they are called marks, take a column each.
            let wide = unicode_width::UnicodeWidthStr::width(&*c.to_string()) > 0;
            assert!(wide || shown.chars().count() < 12, "{shown:?}");
        }
    }
}

/// A text of anything, with what is unsafe as often as not.
fn any_text() -> impl Strategy<Value = String> {
    let hostile = prop::sample::select(all().filter(|&c| is_unsafe(c)).step_by(7).take(2000).collect::<Vec<_>>());
    let joiner = prop::sample::select(vec!['\u{200d}', '\u{200c}', '\u{fe0f}', '\u{1b}', '\n', '👩', 'م', '\u{301}']);
    prop::collection::vec(prop_oneof![any::<char>(), hostile, joiner], 0..80).prop_map(|c| c.into_iter().collect())
}

/// Without what may join emoji and letters.
fn raw(text: &str) -> Vec<char> {
    text.chars().filter(|&c| is_unsafe(c) && !matches!(c, '\u{200c}' | '\u{200d}' | '\u{fe0e}' | '\u{fe0f}')).collect()
}

proptest! {
    #[test]
    fn nothing_unsafe_gets_through(text in any_text()) {
        prop_assert_eq!(raw(&plain(&text)), []);
        prop_assert_eq!(raw(&shown(&text)), []);
        prop_assert_eq!(raw(&tamed(&text)).iter().filter(|&&c| c != '\n').count(), 0);
        prop_assert_eq!(raw(&message(&text, false)).iter().filter(|&&c| c != '\n' && c != '\t').count(), 0);
        prop_assert_eq!(raw(&hitgap::show::page::escape(&text)).iter().filter(|&&c| c != '\n' && c != '\t').count(), 0);
        // What has been made fit is fit.
        prop_assert_eq!(plain(&plain(&text)), plain(&text));
        prop_assert_eq!(unfit(&plain(&text), |_| false), None);
        prop_assert_eq!(marked(&text, |_| true).contains('\u{1b}'), text.contains('\u{1b}'));
        let json = tamed_json(&serde_json::to_string(&text).expect("JSON"));
        prop_assert_eq!(json.chars().filter(|&c| is_unsafe(c)).count(), 0);
        prop_assert_eq!(serde_json::from_str::<String>(&json).expect("JSON"), text);
    }

    #[test]
    fn names_of_files_and_messages_about_them_hold_to_it(text in any_text()) {
        let dir = tempfile::tempdir().expect("a folder");
        let store = hitgap::store::Store::open(dir.path(), false).expect("a store");
        let name = format!("a{}", text.replace(['/', '\\', '"'], ""));
        match store.claim(&[&name]) {
            Ok(()) => prop_assert_eq!(unfit(&name, |_| false), None),
            Err(e) => prop_assert_eq!(raw(&e.to_string()).iter().filter(|&&c| c != '\n').count(), 0),
        }
        if let Err(e) = hitgap::store::Store::open(&dir.path().join("manifest.json").join(&name), false) {
            prop_assert_eq!(raw(&e.to_string()).iter().filter(|&&c| c != '\n').count(), 0);
        }
        let _ = Path::new(&name);
    }
}
