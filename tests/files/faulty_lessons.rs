//! Faulty lessons, each named after what is wrong with it, and the whole diagnostic that each must give.
//!
//! `HITGAP_BLESS=1 cargo test --test lesson_bad` writes the diagnostics anew; read every change before it is kept.

use crate::diagnostics;

use hitgap::patch::{ChapterContent, Lesson};

#[test]
fn every_faulty_lesson_gives_its_diagnostic() {
    diagnostics::hold("bad-lessons", 10, Lesson::parse);
}

#[test]
fn a_lesson_is_read_as_it_is_written() {
    let lesson = Lesson::parse(
        "title = \"A lesson\"\nnote = \"*so*\"\n[[chapter]]\nheading = \"One\"\ntext = '''a\n\nb'''\nlisten-for = \"c\"\n\
         question = \"d\"\nanswer = \"e\"\npatch = \"p/q.toml\"\nfixes = [\"x\", \"x+y\"]\ntempos = [60, 97.5, 60.0]\n\
         bars = 12\nloop = 4\nrun = 20\n\n[[chapter]]\nheading = \"Two\"\ntext = \"f\"\n\
         flam = { voices = \"kick,hat\", phases = [\"1 %\", \"-2 %\"], rate = \"1 per 8 beats\" }\n",
    )
    .expect("a lesson");
    assert_eq!((lesson.title.as_str(), lesson.note.as_deref()), ("A lesson", Some("*so*")));
    let [one, two] = &lesson.chapters[..] else { panic!("two chapters") };
    assert_eq!((one.heading.as_str(), one.text.as_str()), ("One", "a\n\nb"));
    let more = [&one.listen_for, &one.question, &one.answer].map(|w| w.as_deref());
    assert_eq!(more, [Some("c"), Some("d"), Some("e")]);
    let tempos: Vec<String> = one.tempos.iter().map(ToString::to_string).collect();
    assert_eq!((tempos, one.looped.as_ref().map(|l| l.text.as_str())), (vec!["60".into(), "97.5".into()], Some("4")));
    let ChapterContent::Patch(patch) = &one.played else { panic!("a patch") };
    let fixes: Vec<&str> = patch.fixes.iter().map(|f| f.text.as_str()).collect();
    assert_eq!((patch.file.text.as_str(), fixes), ("p/q.toml", vec!["x", "x+y"]));
    assert_eq!((patch.bars, patch.run), (Some(12), Some(20)));
    let ChapterContent::Flam(flam) = &two.played else { panic!("a flam") };
    let apart: Vec<&str> = flam.apart.iter().map(|f| f.text.as_str()).collect();
    assert_eq!((apart, flam.shares), (vec!["1 %", "-2 %"], true));
    assert_eq!((flam.voices.text.as_str(), flam.rate.text.as_str()), ("kick,hat", "1 per 8 beats"));
    assert!(two.tempos.is_empty() && two.question.is_none());
}

#[test]
fn bounds_hold() {
    let chapter = "[[chapter]]\nheading = \"One\"\ntext = \"a\"\npatch = \"b.toml\"\n";
    let of = |n: usize| format!("title = \"A\"\n{}", chapter.repeat(n));
    assert_eq!(Lesson::parse(&of(64)).expect("64 chapters").chapters.len(), 64);
    assert!(Lesson::parse(&of(65)).expect_err("65").to_string().contains("65 chapters"));
    let large = format!("title = \"{}\"\n", "a".repeat(1 << 20));
    assert!(Lesson::parse(&large).expect_err("1 MiB").to_string().contains("bytes"));
}
