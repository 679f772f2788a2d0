//! Takes: lists of hits as CSV, and MIDI files.

use super::edits::{edited, examples, noise};
use super::{cases, is_plain};
use hitgap::hits::{list, read as read_hits, write_csv, write_midi};
use hitgap::judge::judge;
use hitgap::patch::{Asked, Patch, Recording, Rig};
use hitgap::rig::play;
use hitgap::time::{Span, Tempo};
use proptest::prelude::*;

/// A patch with a take of each way to read one.
fn patch(file: &str) -> Patch {
    let takes: String = [
        "",
        "only = \"wren\"\nmin-velocity = 60\n",
        "grid = \"4 per beat\"\n",
        "grid = \"3 per beat\"\noffset = \"-7 ms\"\nchannel = 10\n",
    ]
    .iter()
    .enumerate()
    .filter(|(n, _)| *n < 3 || file.ends_with("mid"))
    .map(|(n, keys)| format!("[hits.take{n}]\nfile = \"{file}\"\nvoice = \"kick\"\n{keys}"))
    .collect();
    let follows = if file.ends_with("mid") {
        format!(
            "[hits.follows]\nfile = \"{file}\"\nnotes = {{ 36 = \"kick\", 38 = \"snare\" }}\ngrid = \"4 per beat\"\nfollow-tempo = true\n"
        )
    } else {
        String::new()
    };
    let text = format!(
        "bars = 2\n[clock.c]\nrate = \"4 per beat\"\n[sequencer.ox]\nclock = \"c\"\nsteps = \"x...\"\nvoice = \"kick\"\n{takes}{follows}"
    );
    Patch::parse(&text, &Asked::default()).unwrap_or_else(|faults| panic!("{}", faults.render("a.toml", &text, false)))
}

/// Reads a file in every way in which a take may, and judges what it holds.
pub(crate) fn read(bytes: &[u8], file: &str) {
    let mut rig = patch(file).original.rig;
    for take in 0..rig.takes.len() {
        match read_hits(bytes, &rig.takes[take]) {
            Ok(recording) => rig.takes[take].recording = recording,
            Err(error) => {
                assert!(!error.help.is_empty() && !error.expected.is_empty());
                is_plain(&format!("{error}{}", error.help));
                rig.takes[take].recording = Recording::default();
            }
        }
    }
    for tempo in [1, 120, 1000].map(Tempo::whole) {
        heard(&rig, tempo);
    }
}

fn heard(rig: &Rig, tempo: Tempo) {
    let performance = play(rig, tempo).expect("a clock and a box");
    let hits = list(rig, &performance);
    judge(rig, &performance, Span::from_ms(2)).expect("within a hundred days");
    let mut csv = Vec::new();
    write_csv(rig, &hits, &mut csv).expect("memory");
    is_plain(std::str::from_utf8(&csv).expect("text"));
    if let Err(error) = write_midi("a", tempo, rig, &hits, std::io::sink()) {
        is_plain(&error.to_string());
    }
}

/// A MIDI file that `hitgap` writes itself, and one with all kinds of events.
fn midi_files() -> Vec<Vec<u8>> {
    let rig = patch("a.csv").original.rig;
    let tempo = Tempo::whole(97);
    let performance = play(&rig, tempo).expect("a clock and a box");
    let mut own = Vec::new();
    write_midi("a title", tempo, &rig, &list(&rig, &performance), &mut own).expect("a file");
    let track = |events: &[u8]| [&b"MTrk\0\0\0"[..], &[events.len() as u8], events].concat();
    let tempos = b"\0\xff\x03\x04wren\0\xff\x51\x03\x07\xa1\x20\x83\x60\xff\x51\x03\x0f\x42\x40\0\xff\x2f\0";
    let notes =
        b"\0\x99\x24\x64\x60\x26\x40\x81\x40\x89\x24\0\0\xf0\x03\x01\x02\xf7\0\xe9\0\x40\x10\x99\x26\x7f\0\xff\x2f\0";
    let other = [b"MThd\0\0\0\x06\0\x01\0\x02\x01\xe0".to_vec(), track(tempos), track(notes)].concat();
    let timecode = own
        .iter()
        .enumerate()
        .map(|(n, b)| match n {
            12 => 0xe7,
            13 => 40,
            _ => *b,
        })
        .collect();
    vec![own, other, timecode]
}

fn edited_midi() -> impl Strategy<Value = Vec<u8>> {
    let edit = (0_u8..6, any::<usize>(), any::<usize>(), any::<u8>());
    (prop::sample::select(midi_files()), prop::collection::vec(edit, 0..8)).prop_map(|(mut bytes, edits)| {
        for (what, at, to, with) in edits {
            if bytes.is_empty() {
                break;
            }
            let (at, to) = (at % bytes.len(), to % bytes.len());
            match what {
                0 => bytes[at] = with,
                1 => bytes[at] = [0, 1, 0x7f, 0x80, 0xff, 0xf0, 0xf7, 0x90][usize::from(with) % 8],
                2 => bytes.truncate(at),
                3 => bytes.insert(at, with),
                4 => bytes.swap(at, to),
                _ => {
                    let piece = bytes[at.min(to)..at.max(to).min(at.min(to) + 64)].to_vec();
                    bytes.splice(at..at, piece);
                }
            }
        }
        bytes
    })
}

fn lists() -> Vec<String> {
    let mut all = examples("patches", ".csv");
    all.push(
        "time_s,beat,due_beat,sequencer,step,velocity\n0.512,1,1.000000000,wren,1,127\n-0.5,,0.333333333,ox,,\n"
            .to_owned(),
    );
    all
}

proptest! {
    #![proptest_config(cases(128))]

    #[test]
    fn edited_lists_are_answered(text in prop_oneof![4 => edited(lists()), 1 => noise()]) {
        read(text.as_bytes(), "a.csv");
    }

    #[test]
    fn edited_midi_files_are_answered(bytes in prop_oneof![8 => edited_midi(), 1 => prop::collection::vec(any::<u8>(), 0..200)]) {
        read(&bytes, "a.mid");
        read(&bytes, "a.csv");
    }
}

#[test]
fn the_midi_files_that_are_edited_are_good() {
    let rig = patch("a.mid").original.rig;
    for bytes in midi_files() {
        let read = read_hits(&bytes, &rig.takes[2]);
        assert!(read.is_ok_and(|r| !r.hits.is_empty()));
    }
}
