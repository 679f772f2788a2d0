//! The format as others wrote it down, against the library both ways; and our own files read again.

use super::*;
use crate::hits::ReadError;
use crate::patch::{Recording, Take, TakeKind, When};
use crate::time::{Beat, Instant, Span, Tempo};
use midly::num::{u15, u24, u28};
use midly::{Format, Header, MetaMessage, Timing, TrackEvent, TrackEventKind};
use proptest::prelude::*;

mod piece;

/// Plays every note on voice 0.
fn take() -> Take {
    Take {
        name: "wren".to_owned(),
        file: "take.mid".to_owned(),
        kind: TakeKind::Midi,
        voice: Some(0),
        notes: Vec::new(),
        channel: None,
        only: None,
        velocities: 1..=127,
        grid: Some(Beat::new(1, 4)),
        offset: Span::ZERO,
        follow_tempo: false,
        recording: Recording::default(),
    }
}

/// A file of these tracks, written byte by byte: no library has a part in it.
fn file(format: u16, division: u16, tracks: &[&[u8]]) -> Vec<u8> {
    let mut bytes = b"MThd\0\0\0\x06".to_vec();
    let count = u16::try_from(tracks.len()).expect("few");
    bytes.extend([format, count, division].iter().flat_map(|n| n.to_be_bytes()));
    for track in tracks {
        bytes.extend(b"MTrk");
        bytes.extend(u32::try_from(track.len()).expect("short").to_be_bytes());
        bytes.extend(*track);
    }
    bytes
}

const END: [u8; 4] = [0x00, 0xff, 0x2f, 0x00];

fn track(events: &[&[u8]]) -> Vec<u8> {
    [events.concat(), END.to_vec()].concat()
}

/// Picoseconds of every hit.
fn times(bytes: &[u8]) -> Vec<i64> {
    let recording = read_midi(bytes, &take()).expect("a file");
    let time = |when| match when {
        When::Time(at) => at.0,
        When::Beat(_) => panic!("the take has its own times"),
    };
    recording.hits.iter().map(|hit| time(hit.when)).collect()
}

fn fault(bytes: &[u8], take: &Take) -> ReadError {
    read_midi(bytes, take).expect_err("a fault")
}

/// The table of variable-length quantities in the Standard MIDI-File Format Spec. 1.1, section 1.1. Each row can be worked out
/// by hand: seven bits a byte, all but the last with their top bit set.
const QUANTITIES: [(u32, &[u8]); 11] = [
    (0x00, &[0x00]),
    (0x40, &[0x40]),
    (0x7f, &[0x7f]),
    (0x80, &[0x81, 0x00]),
    (0x2000, &[0xc0, 0x00]),
    (0x3fff, &[0xff, 0x7f]),
    (0x4000, &[0x81, 0x80, 0x00]),
    (0x1f_ffff, &[0xff, 0xff, 0x7f]),
    (0x20_0000, &[0x81, 0x80, 0x80, 0x00]),
    (0x0800_0000, &[0xc0, 0x80, 0x80, 0x00]),
    (0x0fff_ffff, &[0xff, 0xff, 0xff, 0x7f]),
];

#[test]
fn variable_lengths_are_those_of_the_table_both_ways() {
    for (ticks, bytes) in QUANTITIES {
        let kind = TrackEventKind::Meta(MetaMessage::Text(b""));
        let events = [TrackEvent { delta: u28::new(ticks), kind }];
        let mut written = Vec::new();
        let header = Header::new(Format::SingleTrack, Timing::Metrical(u15::new(480)));
        midly::write_std(&header, [events.iter()], &mut written).expect("memory");
        // After the head of the file (14 bytes) and of its track (8).
        assert_eq!(&written[22..], [bytes, &[0xff, 0x01, 0x00]].concat(), "{ticks:x}");
        // A thousand ticks a quarter note at 1000 µs a quarter note: a tick is a microsecond.
        let tempo = [0x00, 0xff, 0x51, 0x03, 0x00, 0x03, 0xe8];
        let read = times(&file(0, 1000, &[&track(&[&tempo, bytes, &[0x99, 38, 100]])]));
        assert_eq!(read, [i64::from(ticks) * 1_000_000], "{ticks:x}");
    }
}

/// FF 51 03 and three bytes of microseconds a quarter note; 500,000 is 07 A1 20 and 120 quarter notes a minute (the Win32
/// Timing Information page, and many open writers). 174 is 344,828 µs, 128 is 468,750, 120.5 is 497,925 (60,000,000 over
/// the tempo, rounded).
#[test]
fn tempo_events_are_those_of_the_table_both_ways() {
    for (tempo, micros, bytes) in [
        ("120", 500_000, [0x07, 0xa1, 0x20]),
        ("174", 344_828, [0x05, 0x42, 0xfc]),
        ("128", 468_750, [0x07, 0x27, 0x0e]),
        ("120.5", 497_925, [0x07, 0x99, 0x05]),
    ] {
        assert_eq!(midi_tempo(tempo.parse().expect("a tempo")), Some(micros), "{tempo}");
        let event = TrackEvent { delta: u28::new(0), kind: TrackEventKind::Meta(MetaMessage::Tempo(u24::new(micros))) };
        let mut written = Vec::new();
        let header = Header::new(Format::SingleTrack, Timing::Metrical(u15::new(480)));
        midly::write_std(&header, [[event].iter()], &mut written).expect("memory");
        let by_hand = [&[0x00, 0xff, 0x51, 0x03], &bytes[..]].concat();
        assert_eq!(&written[22..], by_hand, "{tempo}");
        // A quarter note of 480 ticks (83 60) after it.
        let read = times(&file(0, 480, &[&track(&[&by_hand, &[0x83, 0x60, 0x99, 38, 100]])]));
        assert_eq!(read, [i64::from(micros) * 1_000_000], "{tempo}");
    }
    // 24 bits: the slowest is 16,777,215 µs a quarter note.
    assert_eq!(midi_tempo("3.576279".parse().expect("a tempo")), Some(16_777_215));
    assert_eq!(midi_tempo("3.576278".parse().expect("a tempo")), None);
}

#[test]
fn a_file_without_a_tempo_is_at_120() {
    // A tick of 480 lasts 1.0416667 ms then (Win32 Timing Information page): rounded once, not tick by tick.
    let notes = track(&[&[0x01, 0x99, 38, 100], &[0x01, 0x99, 38, 100], &[0x01, 0x99, 38, 100]]);
    assert_eq!(times(&file(0, 480, &[&notes])), [1_041_666_667, 2_083_333_333, 3_125_000_000]);
}

#[test]
fn ticks_count_at_the_tempo_that_holds_there() {
    // In one track a quarter note at 120 (0.5 s), then one at 60 (1 s), then at 240 (0.25 s); in another, notes on beats
    // 1, 2 and 3 and one in the middle of the second quarter note. 48 ticks a quarter note.
    let tempos = track(&[
        &[0x00, 0xff, 0x51, 0x03, 0x07, 0xa1, 0x20],
        &[0x30, 0xff, 0x51, 0x03, 0x0f, 0x42, 0x40],
        &[0x30, 0xff, 0x51, 0x03, 0x03, 0xd0, 0x90],
    ]);
    let notes = track(&[&[0x30, 0x99, 38, 100], &[0x18, 0x99, 38, 100], &[0x18, 0x99, 38, 100], &[0x30, 0x99, 38, 1]]);
    let ms = |ms: i64| ms * 1_000_000_000;
    assert_eq!(times(&file(1, 48, &[&tempos, &notes])), [ms(500), ms(1000), ms(1500), ms(1750)]);
    // A take that follows the tempo has beats, whatever tempos the file has.
    let follows = Take { follow_tempo: true, ..take() };
    let beats: Vec<When> =
        read_midi(&file(1, 48, &[&tempos, &notes]), &follows).expect("a file").hits.iter().map(|h| h.when).collect();
    let beat = |n, d| When::Beat(Beat::new(n, d));
    assert_eq!(beats, [beat(1, 1), beat(3, 2), beat(2, 1), beat(3, 1)]);
}

#[test]
fn frames_are_ticks_of_a_fixed_length() {
    let notes = track(&[&[0x81, 0x48, 0x99, 38, 100]]);
    // E728 is 25 frames of 40 ticks, a millisecond each (Win32 Timing Information page): 200 ticks are 0.2 s.
    assert_eq!(times(&file(0, 0xe728, &[&notes])), [200_000_000_000]);
    // 30 frames drop-frame are 30,000 in 1001 s: 200 ticks of 1/80 frame are 2.5 frames, 83.41667 ms.
    assert_eq!(times(&file(0, 0xe350, &[&notes])), [83_416_666_667]);
    let error = fault(&file(0, 0xe728, &[&notes]), &Take { follow_tempo: true, ..take() });
    assert!(error.to_string().contains("SMPTE"), "{error}");
}

#[test]
fn what_a_take_listens_to_is_chosen() {
    let name = |name: &[u8]| [&[0x00, 0xff, 0x03, u8::try_from(name.len()).expect("short")], name].concat();
    // Running status from the second note on; velocity 0 and a note-off are ends.
    let drums =
        track(&[&name(b"drums"), &[0x00, 0x99, 36, 100], &[0x30, 38, 90], &[0x00, 36, 0], &[0x00, 0x89, 38, 64]]);
    let bass = track(&[&name(b"bass"), &[0x00, 0x90, 36, 80], &[0x30, 40, 70]]);
    let bytes = file(1, 48, &[&drums, &bass]);
    let heard = |take: &Take| -> Vec<(usize, u8)> {
        read_midi(&bytes, take).expect("a file").hits.iter().map(|h| (h.voice, h.velocity)).collect()
    };
    assert_eq!(heard(&take()), [(0, 100), (0, 80), (0, 90), (0, 70)]);
    assert_eq!(heard(&Take { channel: Some(10), ..take() }), [(0, 100), (0, 90)]);
    assert_eq!(heard(&Take { only: Some("bass".to_owned()), ..take() }), [(0, 80), (0, 70)]);
    let mapped = Take { voice: None, notes: vec![(36, 2), (38, 1)], ..take() };
    assert_eq!(heard(&mapped), [(2, 100), (2, 80), (1, 90)]);
    let error = fault(&bytes, &Take { only: Some("hat".to_owned()), ..take() });
    assert!(error.help.contains("`bass`, `drums`"), "{error:?}");
}

#[test]
fn what_is_wrong_is_told_with_its_place() {
    let notes = track(&[&[0x00, 0x99, 38, 100]]);
    let good = file(0, 480, &[&notes]);
    let told = |bytes: &[u8], take: &Take| fault(bytes, take).to_string();
    assert_eq!(
        told(b"time_s\n1\n", &take()),
        "byte 0: found something else, expected the head of a Standard MIDI File"
    );
    assert_eq!(told(b"", &take()), "byte 0: found something else, expected the head of a Standard MIDI File");
    assert_eq!(told(&good[..good.len() - 3], &take()), "track 1, byte 27: found an end, expected a whole track");
    // A status byte that no file may have.
    let odd = track(&[&[0x00, 0x99, 38, 100], &[0x00, 0xf4]]);
    assert_eq!(
        told(&file(0, 480, &[&odd]), &take()),
        "track 1, byte 26: found bytes that are none, expected a MIDI event"
    );
    assert_eq!(told(&file(2, 480, &[&notes]), &take()), "found a MIDI file of type 2, expected one of type 0 or 1");
    assert_eq!(told(&file(0, 0, &[&notes]), &take()), "byte 12: found 0 ticks a quarter note, expected 1 or more");
    let frames = "byte 12: found -128 frames a second, expected 1 or more";
    assert_eq!(told(&file(0, 0x8028, &[&notes]), &take()), frames);
    assert_eq!(told(&[good.clone(), file(0, 0x8028, &[])].concat(), &take()), frames);
    assert_eq!(
        told(&good, &Take { grid: None, ..take() }),
        "track 1, byte 22: found a note without a due beat, expected a grid to find it on"
    );
    // 2²⁸ − 1 ticks of 16.777215 s each.
    let late = track(&[&[0x00, 0xff, 0x51, 0x03, 0xff, 0xff, 0xff], &[0xff, 0xff, 0xff, 0x7f, 0x99, 38, 100]]);
    assert_eq!(
        told(&file(0, 1, &[&late]), &take()),
        "track 1, byte 29: found a note on tick 268435455, expected at most 8640000 s (100 days)"
    );
}

#[test]
fn a_million_hits_and_no_more() {
    let notes = |count: usize| {
        let mut events = vec![0x00, 0x99, 38, 100];
        events.extend([0x01, 38, 100].iter().copied().cycle().take(3 * (count - 1)));
        track(&[&events])
    };
    let read = read_midi(&file(0, 480, &[&notes(1_000_000)]), &take()).expect("a million");
    assert_eq!(read.hits.len(), 1_000_000);
    let error = fault(&file(0, 480, &[&notes(1_000_001)]), &take());
    assert!(error.to_string().ends_with("found hit 1000001, expected at most 1000000 hits"), "{error}");
}

/// A file of our own read again.
mod again {
    use super::*;
    use crate::hits::{Hit, MidiError};
    use crate::patch::{Path, Rig, Sequencer, Source, Step, kit};

    /// A rig with a sequencer for each voice of the kit.
    fn rig() -> Rig {
        let path = || Path { source: Source::Output(0), stages: Vec::new() };
        Rig {
            end: Beat::from_integer(1),
            outputs: Vec::new(),
            stages: Vec::new(),
            wires: Vec::new(),
            sequencers: (0..4).map(|n| Sequencer::new(&format!("s{n}"), path(), vec![Step::Hit], n)).collect(),
            takes: Vec::new(),
            jitter: None,
            course: Default::default(),
            voices: kit().to_vec(),
            one: None,
        }
    }

    fn hit(at: i64, sequencer: usize, velocity: u8) -> Hit {
        let zero = Beat::from_integer(0);
        let (at, voice) = (Instant(at), sequencer);
        Hit { at, beat: zero, due: zero, sequencer, step: 1, velocity, level_mdb: 0, voice }
    }

    fn written(tempo: Tempo, hits: &[Hit]) -> Vec<u8> {
        let mut bytes = Vec::new();
        write_midi("a title", tempo, &rig(), hits, &mut bytes).expect("a file");
        bytes
    }

    #[test]
    fn keys_are_those_of_general_midi() {
        let hits: Vec<Hit> = (0..4).map(|n| hit(0, n, 100)).collect();
        let bytes = written(Tempo::whole(120), &hits);
        for (n, voice) in rig().voices.iter().enumerate() {
            let key = match voice.sound.model().expect("of the kit") {
                crate::voice::Model::Kick => 36,
                crate::voice::Model::Snare => 38,
                crate::voice::Model::Hat => 42,
                crate::voice::Model::Click => 37,
            };
            let take =
                Take { only: Some(format!("s{n}")), channel: Some(10), voice: None, notes: vec![(key, 7)], ..take() };
            assert_eq!(read_midi(&bytes, &take).expect("a file").hits.len(), 1, "{}", voice.name);
        }
    }

    #[test]
    fn gaps_longer_than_the_format_counts_are_bridged() {
        // 2²⁸ ticks at 30,720 a quarter note and 120 are 73 minutes: here are three hours.
        let three_hours = 3 * 3600 * 1_000_000_000_000;
        assert_eq!(times(&written(Tempo::whole(120), &[hit(0, 0, 1), hit(three_hours, 0, 1)])), [0, three_hours]);
    }

    #[test]
    fn what_a_file_cannot_hold_is_refused() {
        let write = |tempo: &str, at| {
            write_midi("", tempo.parse().expect("a tempo"), &rig(), &[hit(at, 1, 9)], Vec::new()).expect_err("a fault")
        };
        assert!(matches!(write("3", 0), MidiError::TooSlow(_)));
        let early = write("120", -20_000_000_000).to_string();
        assert_eq!(early, "a hit of s1 sounds at -0.020000000000 s, before the start, and a MIDI file begins there");
    }

    proptest! {
        /// Times come back within half a tick of the tempo that was written, velocities as they were, and nothing is lost
        /// or added. Notes of one key may be so near that the first ends with the second.
        #[test]
        fn hits_come_back_within_half_a_tick(
            micro in 3_576_279_u64..=1_000_000_000,
            list in proptest::collection::vec((0_i64..20_000_000_000_000, 0_usize..4, 1_u8..=127), 0..40),
        ) {
            let tempo = Tempo::from_micro(micro).expect("a tempo");
            let half = half_tick(tempo).expect("fast enough").0;
            let mut list = list;
            list.sort_unstable();
            let hits: Vec<Hit> = list.iter().map(|&(at, player, velocity)| hit(at, player, velocity)).collect();
            let bytes = written(tempo, &hits);
            for player in 0..4 {
                let take = Take { only: Some(format!("s{player}")), ..take() };
                let read = read_midi(&bytes, &take).expect("a file");
                let read: Vec<(i64, u8)> = read.hits.iter().map(|h| match h.when {
                    When::Time(at) => (at.0, h.velocity),
                    When::Beat(_) => unreachable!("the take has its own times"),
                }).collect();
                let mine: Vec<_> = list.iter().filter(|h| h.1 == player).collect();
                prop_assert_eq!(read.len(), mine.len());
                for ((at, velocity), (was, _, had)) in read.iter().zip(mine) {
                    prop_assert!((at - was).abs() <= half && velocity == had, "{at} for {was}");
                }
            }
            // Written again, the file is the same: what was rounded stays.
            let again: Vec<Hit> = (0..4).flat_map(|player| {
                let take = Take { only: Some(format!("s{player}")), ..take() };
                let read = read_midi(&bytes, &take).expect("a file");
                read.hits.iter().map(|h| match h.when {
                    When::Time(at) => hit(at.0, player, h.velocity),
                    When::Beat(_) => unreachable!("the take has its own times"),
                }).collect::<Vec<_>>()
            }).collect();
            prop_assert!(written(tempo, &again) == bytes);
        }
    }
}

proptest! {
    /// No bytes make the reader panic, and what it reads is within its bounds.
    #[test]
    fn any_bytes_are_read_or_refused(bytes in proptest::collection::vec(any::<u8>(), 0..400)) {
        let _ = read_midi(&bytes, &take());
        let _ = read_midi(&file(1, 480, &[&bytes]), &take());
        for first in 0x7f..=0xff {
            let _ = read_midi(&file(0, first << 8 | 0x28, &[&bytes]), &take());
        }
    }

    /// A sound file with a few bytes changed, cut off anywhere, is read or refused, and never ends the program.
    #[test]
    fn a_damaged_file_is_read_or_refused(
        changes in proptest::collection::vec((0_usize..100, any::<u8>()), 0..5), length in 0_usize..100,
        follow_tempo in any::<bool>(),
    ) {
        let tempo = [0x00, 0xff, 0x51, 0x03, 0x07, 0xa1, 0x20];
        let notes = [0x83, 0x60, 0x99, 38, 100, 0x10, 38, 0, 0x81, 0x00, 36, 90, 0x00, 0xf0, 0x02, 0x01, 0xf7];
        let mut bytes = file(1, 480, &[&track(&[&tempo]), &track(&[&notes])]);
        for (at, byte) in changes {
            let length = bytes.len();
            bytes[at % length] = byte;
        }
        bytes.truncate(length);
        let _ = read_midi(&bytes, &Take { follow_tempo, ..take() });
    }
}
