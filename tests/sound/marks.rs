//! What a file says beside its samples: read by a walk through its chunks that shares nothing with the program.

use crate::wav_files::{Closed, LEAD_IN, bank, cues, decoded, spec};
use hitgap::sound::render::{Channels, Format, Gain, Info, Mark, Memory, Program, RenderError, Watch, wav};
use hitgap::time::{Instant, Span};

fn number(bytes: &[u8]) -> u32 {
    u32::from_le_bytes(bytes[..4].try_into().expect("four bytes"))
}

/// The chunks of a list or of a file, from a byte on: each begins on an even byte, and the last one ends with the whole.
fn chunks(bytes: &[u8], mut at: usize) -> Vec<(&str, &[u8])> {
    let mut all = Vec::new();
    while at < bytes.len() {
        assert_eq!(at % 2, 0, "a chunk at {at}");
        let size = number(&bytes[at + 4..]) as usize;
        all.push((std::str::from_utf8(&bytes[at..at + 4]).expect("a name"), &bytes[at + 8..at + 8 + size]));
        if size % 2 == 1 {
            assert_eq!(bytes[at + 8 + size], 0, "the pad");
        }
        at += 8 + size.next_multiple_of(2);
    }
    assert_eq!(at, bytes.len(), "the last chunk is whole");
    all
}

/// A text that ends with its only nought.
fn text(bytes: &[u8]) -> &str {
    let (last, text) = bytes.split_last().expect("a nought");
    assert!(*last == 0 && !text.contains(&0), "{bytes:?}");
    std::str::from_utf8(text).expect("UTF-8")
}

/// Layout: Multimedia Programming Interface and Data Specifications 1.0 (1991). Of the cue-points chunk a count, then for each
/// point a unique name, its position in play order, the chunk that holds it, where that chunk and its block begin, and the
/// offset of the sample in the block (as printed in the edition for OS/2); `adtl` with `labl` (the point's name, then a text with
/// a nought) and `INFO` from memory.
#[test]
fn marks_and_texts_stand_after_the_samples() {
    let labels = ["bar 1", "odd", "even", "", "größer, bar 4\u{7}\0"];
    let said = ["bar 1", "odd", "even", "", "größer, bar 4\\u{7}\\u{0}"];
    for format in [Format::Pcm16, Format::Pcm24, Format::Float32] {
        for channels in [Channels::Mono, Channels::Stereo] {
            // A file of 16 bits that is put together in memory, and one that is written block by block.
            for seconds in [1, 30] {
                let spec = spec(format, channels);
                let bank = bank(44_100);
                let end = Instant(Span::from_ms(seconds * 1_000).0);
                let program = || Program::new(&bank, cues(), LEAD_IN, end).expect("a sound program");
                let frames = program().frames();
                let at = [0, 1, 882, 30_000, frames - 1, frames];
                let mark = |(frame, label): (u64, &str)| Mark { frame, label: label.to_owned() };
                let marks = at.into_iter().zip(labels.into_iter().chain(["past the end"])).map(mark).collect();
                let marked = program().marked(marks);
                let info = Info { title: "The late bell".to_owned(), comment: "late-bell, seed 1".to_owned() };
                let (plain, full) = (Memory::default(), Memory::default());
                program().write(&spec, Gain::Auto, &plain, Watch::nobody()).expect("room");
                let written = marked.write_with(&info, (&spec, Gain::Auto), &full, Watch::nobody()).expect("room");
                let (plain, full) = (plain.into_bytes(), full.into_bytes());
                assert_eq!((written.bytes, written.marks), (full.len() as u64, 5));
                assert!(full.len() as u64 <= marked.size(&spec).expect("short"));
                assert_eq!(number(&full[4..]) as usize, full.len() - 8);
                // All but the size of the whole is as it is without them.
                assert!(full[..4] == plain[..4] && full[8..plain.len()] == plain[8..], "{format:?} {channels:?}");
                let all = chunks(&full, 12);
                let names: Vec<&str> = all.iter().map(|c| c.0).collect();
                let before = if format == Format::Float32 { &["fmt ", "fact", "data"][..] } else { &["fmt ", "data"] };
                assert_eq!(names, [before, &["cue ", "LIST", "LIST"]].concat());
                let [cue, adtl, infos] = [3, 2, 1].map(|n| all[all.len() - n].1);
                assert_eq!((number(cue), cue.len()), (5, 4 + 5 * 24));
                for ((n, point), frame) in (1..).zip(cue[4..].chunks(24)).zip(at) {
                    assert_eq!((number(point), &point[8..12]), (n, &b"data"[..]));
                    let fields = [4, 12, 16, 20].map(|field| number(&point[field..]));
                    assert_eq!(fields, [frame as u32, 0, 0, frame as u32], "mark {n}");
                }
                assert_eq!((&adtl[..4], &infos[..4]), (&b"adtl"[..], &b"INFO"[..]));
                for ((n, (name, label)), said) in (1..).zip(chunks(adtl, 4)).zip(said) {
                    assert_eq!((name, number(label), text(&label[4..])), ("labl", n, said));
                }
                let infos: Vec<(&str, &str)> = chunks(infos, 4).into_iter().map(|(n, t)| (n, text(t))).collect();
                let software = format!("hitgap {}", env!("CARGO_PKG_VERSION"));
                let expected = [("INAM", "The late bell"), ("ISFT", software.as_str()), ("ICMT", "late-bell, seed 1")];
                assert_eq!(infos, expected);
                // Two libraries that know of it or not read the same samples.
                assert!(decoded(full.clone()) == decoded(plain.clone()), "{format:?} {channels:?}");
                let length = |bytes: &[u8]| hound::WavReader::new(bytes).expect("a WAV file").duration();
                assert_eq!(u64::from(length(&full)), frames);
            }
        }
    }
}

/// By hand: at 2 bytes a frame 2,147,483,628 frames and 44 bytes of header leave 4 bytes to the bound of 4,294,967,303 bytes: one
/// mark is too much, before a sample is looked at.
#[test]
fn marks_count_for_the_bound_of_a_file() {
    let bank = bank(48_000);
    let spec = spec(Format::Pcm16, Channels::Mono);
    let frames: u64 = 2_147_483_628;
    assert_eq!(wav::size(frames, &spec).expect("fits"), 4_294_967_300);
    let ps = i128::from(frames) * 1_000_000_000_000 / 48_000;
    let end = Instant(i64::try_from(ps).expect("half a day") - LEAD_IN.0);
    let program = Program::new(&bank, Vec::new(), LEAD_IN, end).expect("silence");
    assert_eq!(program.frames(), frames);
    let program = program.marked(vec![Mark { frame: 0, label: "bar 1".to_owned() }]);
    assert!(matches!(program.size(&spec), Err(RenderError::TooLarge { .. })));
    let refused = program.write(&spec, Gain::Fixed(1.0), &Closed, Watch::nobody());
    // `cue ` of 36 bytes, `LIST` of 12, `labl` of 8, 4 and 6.
    let expected = 4_294_967_300 + 36 + 12 + 18;
    assert!(matches!(refused, Err(RenderError::TooLarge { bytes, .. }) if bytes == expected), "{refused:?}");
}
