//! What a file says of the piece: its tempo, its meter, its tracks.

use super::*;
use crate::patch::MidiTempo;

/// 60,000,000 over the tempo, rounded or cut off, is read as the tempo: of whole ones all that a file holds, of those with a
/// decimal as far as a microsecond tells them apart.
#[test]
fn a_tempo_is_the_one_that_was_meant() {
    for (tenths, last) in [(10, 10_000), (1, 2_000)] {
        for tempo in (40..=last).filter(|tempo| tempo % tenths == 0) {
            let tempo = Tempo::from_micro(tempo * 100_000).expect("a tempo");
            let exact = 60e6 / tempo.bpm();
            for micros in [exact.floor(), exact.round()] {
                assert_eq!(tempo_meant(micros as u32), Some(tempo), "{micros}");
                assert!(may_mean(micros as u32, tempo));
            }
            // Under 7.746 a microsecond is less than the millionths that a tempo is told to.
            let others = [exact as u32 + 2, exact as u32 - 1];
            assert!(tempo < Tempo::whole(8) || others.iter().all(|&micros| !may_mean(micros, tempo)), "{tempo}");
        }
    }
    // What no short decimal means is told to six: 16,777,215 µs are 3.576279 (60,000,000 over it, rounded).
    assert_eq!(tempo_meant(16_777_215).map(|t| t.to_string()), Some("3.576279".to_owned()));
    assert!(may_mean(16_777_215, "3.576279".parse().expect("a tempo")));
    assert_eq!([0, 1, 59_998].map(tempo_meant), [None; 3]);
}

#[test]
fn what_a_file_says_of_the_piece_is_what_holds_at_its_first_hit() {
    let tempo = |micros: u32| [&[0xff, 0x51, 0x03], &micros.to_be_bytes()[1..]].concat();
    let meter = |count, power| vec![0xff, 0x58, 0x04, count, power, 24, 8];
    let facts =
        |take: &Take, tracks: &[&[u8]]| read_midi(&file(1, 48, tracks), take).expect("a file").midi.expect("facts");
    let notes = track(&[&[0x30, 0x99, 36, 100], &[0x30, 0x99, 38, 100], &[0x30, 0x99, 38, 100]]);
    let silent = facts(&take(), &[&notes]);
    let usual = MidiTempo { micros: 500_000, given: false, changes: 0 };
    assert_eq!((silent.tempo, silent.meter, silent.meter_changes, silent.tracks), (Some(usual), None, 0, [1, 1]));
    // At 60 and in 2/4 from the start, at 100 and in 6/8 where the first note is, 3/4 that lasts for no tick, 5/4 behind all.
    let head = [
        [vec![0], tempo(1_000_000), vec![0], meter(2, 2)].concat(),
        [vec![0x30], tempo(600_000), vec![0], meter(3, 2), vec![0], meter(6, 3)].concat(),
        [vec![0x60], meter(5, 2), vec![0], tempo(700_000)].concat(),
    ];
    let head = track(&head.each_ref().map(Vec::as_slice));
    let found = facts(&take(), &[&head, &notes]);
    assert_eq!(found.tempo, Some(MidiTempo { micros: 600_000, given: true, changes: 1 }));
    assert_eq!((found.meter, found.meter_changes, found.tracks), (Some((6, 3)), 1, [2, 2]));
    // The take's own first hit counts, and that of a file without one is its start.
    let nobody = facts(&Take { channel: Some(1), ..take() }, &[&head, &notes]);
    assert_eq!(nobody.tempo, Some(MidiTempo { micros: 1_000_000, given: true, changes: 0 }));
    assert_eq!(nobody.meter, Some((2, 2)));
    let frames = read_midi(&file(1, 0xe728, &[&head, &notes]), &take()).expect("a file").midi.expect("facts");
    assert_eq!((frames.tempo, frames.meter), (None, Some((6, 3))));
    // A tempo that is none stands still: all that follows would sound at once.
    let still = track(&[&[&[0][..], &tempo(0)].concat()]);
    let told = fault(&file(1, 48, &[&still, &notes]), &take()).to_string();
    assert_eq!(told, "track 1, byte 22: found a tempo of 0 us a quarter note, expected 1 us or more");
}
