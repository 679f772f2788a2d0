use super::super::out::alone;
use super::super::trial::{check_books, down, rises, up};
use super::*;
use crate::patch::NoteOffs::{AsNoteOn, None as NoOffs, Own};
use proptest::prelude::*;

const US: i64 = 1_000_000;
const NOTES_AND_CLOCK: [Carries; 2] = [Carries::Notes, Carries::Pulses];

fn cable(running_status: bool, note_offs: NoteOffs) -> patch::MidiCable {
    patch::MidiCable { running_status, note_offs, order: Vec::new() }
}

/// In microseconds, the edges that leave each channel.
fn run(settings: &patch::MidiCable, ports: &[Carries], edges: &[(usize, Edge)]) -> Vec<Vec<i64>> {
    let (left, _) = alone(&mut MidiCable::new(settings, ports), ports.len(), edges);
    left.iter().map(|edges| edges.iter().map(|e| e.at.0 / US).collect()).collect()
}

#[test]
fn eight_notes_of_one_instant_are_a_run() {
    // IEC 63035:2017 §4.1 and arithmetic: complete at 0.96 … 7.68 ms (spread 6.72), and with running status at
    // 0.96 … 5.44 ms (spread 4.48).
    for (running, step, last) in [(false, 960, 7_680), (true, 640, 5_440)] {
        let edges: Vec<_> = (0..8).map(|port| (port, up(0, 0))).collect();
        let left = run(&cable(running, NoOffs), &[Carries::Notes; 8], &edges);
        let rises: Vec<i64> = left.iter().map(|edges| edges[0]).collect();
        assert_eq!(rises, (0..8).map(|n| 960 + n * step).collect::<Vec<_>>());
        assert_eq!(rises[7], last);
        // The listener's own pulses of half a byte.
        assert!(left.iter().all(|edges| edges[1] - edges[0] == 160));
        let mut notes: Vec<_> = (0..8).map(|port| Note { at: Instant(0), ends: None, port }).collect();
        send_notes(&cable(running, NoOffs), &mut notes);
        assert_eq!(notes.iter().map(|n| n.at.0 / US).collect::<Vec<_>>(), rises);
    }
}

#[test]
fn note_offs_take_their_time_too() {
    // On at 0, off at 1 ms, on again at 2 ms. As note-ons of velocity 0 they run under one status: 2 bytes; with a
    // status of their own each change costs a third byte.
    let edges = [(0, up(0, 0)), (0, down(1_000 * US, 0)), (0, up(2_000 * US, 1)), (0, down(9_000 * US, 1))];
    let ports = [Carries::Notes];
    assert_eq!(run(&cable(true, AsNoteOn), &ports, &edges), [[960, 1_640, 2_640, 9_640]]);
    assert_eq!(run(&cable(true, Own), &ports, &edges), [[960, 1_960, 2_960, 9_960]]);
    assert_eq!(run(&cable(false, AsNoteOn), &ports, &edges), [[960, 1_960, 2_960, 9_960]]);
    assert_eq!(run(&cable(true, NoOffs), &ports, &edges), [[960, 1_120, 2_640, 2_800]]);
}

#[test]
fn a_real_time_byte_goes_between_the_bytes_of_a_message() {
    let at = |clock_us: i64| {
        let left = run(&cable(true, NoOffs), &NOTES_AND_CLOCK, &[(0, up(0, 0)), (1, up(clock_us * US, 0))]);
        (left[0][0], left[1][0])
    };
    // After the byte under way; the note is 320 µs later. At a boundary, at once.
    assert_eq!(at(0), (1_280, 640));
    assert_eq!(at(100), (1_280, 640));
    assert_eq!(at(320), (1_280, 640));
    assert_eq!(at(321), (1_280, 960));
    assert_eq!(at(640), (1_280, 960));
    // During the last byte it is too late to delay the note.
    assert_eq!(at(641), (960, 1_280));
    assert_eq!(at(960), (960, 1_280));
    assert_eq!(at(961), (960, 1_281));
}

#[test]
fn real_time_bytes_go_before_what_waits_and_keep_their_own_order() {
    let ports = [Carries::Notes, Carries::Notes, Carries::Pulses, Carries::Level];
    let edges = [(0, up(0, 0)), (1, up(0, 0)), (2, up(700 * US, 0)), (3, up(700 * US, 0)), (3, down(1_300 * US, 0))];
    let left = run(&cable(true, NoOffs), &ports, &edges);
    // Clock at 960 to 1,280, start to 1,600, stop to 1,920, then the second note.
    assert_eq!(left, [vec![960, 1_120], vec![2_560, 2_720], vec![1_280, 1_440], vec![1_600, 1_920]]);
    // On an idle line a note that comes during a real-time byte waits for its end.
    let left = run(&cable(true, NoOffs), &NOTES_AND_CLOCK, &[(1, up(0, 0)), (0, up(100 * US, 0))]);
    assert_eq!(left, [[1_280, 1_440], [320, 480]]);
}

#[test]
fn levels_before_the_start_are_known_where_the_line_tells_them() {
    let ports = [Carries::Notes, Carries::Pulses, Carries::Level];
    let settled = |offs| MidiCable::new(&cable(true, offs), &ports).settled(&[true; 3]);
    assert_eq!((settled(NoOffs), settled(Own)), (vec![false, false, true], vec![true, false, true]));
}

/// A line byte by byte: at the end of each, what goes next? Gives the end of each event in the order of `events`,
/// which are `(µs, real-time?)` of one instant in order.
fn byte_by_byte(running: bool, events: &[(i64, bool)]) -> Vec<i64> {
    let mut ends = vec![0; events.len()];
    let (mut notes, mut clocks): (Vec<usize>, Vec<usize>) = (Vec::new(), Vec::new());
    let (mut current, mut first, mut next, mut now) = (None::<(usize, i64)>, true, 0, 0);
    loop {
        while next < events.len() && events[next].0 <= now {
            if events[next].1 {
                clocks.push(next);
            } else {
                notes.push(next);
            }
            next += 1;
            // What comes to an idle line begins before the next of its instant is looked at.
            if next < events.len() && current.is_none() && events[next - 1].0 == now {
                break;
            }
        }
        if !clocks.is_empty() {
            let n = clocks.remove(0);
            now += 320;
            ends[n] = now;
        } else if let Some((n, left)) = current {
            now += 320;
            ends[n] = now;
            current = (left > 1).then_some((n, left - 1));
        } else if !notes.is_empty() {
            let bytes = if running && !first { 2 } else { 3 };
            first = false;
            let n = notes.remove(0);
            now += 320;
            current = Some((n, bytes - 1));
        } else if next < events.len() {
            now = now.max(events[next].0);
        } else {
            return ends;
        }
    }
}

proptest! {
    /// Against a line that decides at every byte.
    #[test]
    fn the_line_is_the_one_that_decides_byte_by_byte(
        gaps in proptest::collection::vec((1_i64..1_500, any::<bool>()), 1..30), running in any::<bool>(),
    ) {
        let mut at = 0;
        let events: Vec<_> = gaps.iter().map(|(gap, clock)| { at += gap; (at, *clock) }).collect();
        let edges: Vec<_> = events
            .iter()
            .enumerate()
            .map(|(n, (at, _))| (n, up(at * US, 0)))
            .collect();
        let ports: Vec<_> = events.iter().map(|(_, clock)| NOTES_AND_CLOCK[usize::from(*clock)]).collect();
        let left = run(&cable(running, NoOffs), &ports, &edges);
        let ends: Vec<i64> = left.iter().map(|edges| edges[0]).collect();
        prop_assert_eq!(ends, byte_by_byte(running, &events));
    }

    /// Notes of several sequencers after the fact are the same as edges at the ports, and never overtake.
    #[test]
    fn notes_after_the_fact_are_edges_at_ports(
        list in proptest::collection::vec((0_usize..4, 0_i64..4, 1_i64..3_000), 1..40), running in any::<bool>(),
        offs in 0_usize..3,
    ) {
        let settings = cable(running, [NoOffs, AsNoteOn, Own][offs]);
        let mut free = [0; 4];
        let mut notes: Vec<Note> = Vec::new();
        let mut at = 0;
        for (port, gap, width) in list {
            at = (at + gap * 500).max(free[port]);
            notes.push(Note { at: Instant(at * US), ends: Some(Instant((at + width) * US)), port });
            free[port] = at + width + 1;
        }
        let mut edges: Vec<(Instant, usize, bool, i64)> = Vec::new();
        for (n, note) in notes.iter().enumerate() {
            edges.push((note.at, note.port, true, n as i64));
            edges.extend(note.ends.map(|e| (e, note.port, false, n as i64)));
        }
        edges.sort_unstable();
        let edges: Vec<_> =
            edges.iter().map(|(at, port, rise, number)| (*port, Edge { at: *at, rise: *rise, number: *number })).collect();
        let (left, tally) = alone(&mut MidiCable::new(&settings, &[Carries::Notes; 4]), 4, &edges);
        for (port, left) in left.iter().enumerate() {
            let came: Vec<_> = edges.iter().filter(|(p, _)| *p == port).copied().collect();
            check_books(&came, left, tally);
        }
        let mut sent = notes.clone();
        send_notes(&settings, &mut sent);
        for (port, left) in left.iter().enumerate() {
            let of_port: Vec<i64> = sent.iter().filter(|n| n.port == port).map(|n| n.at.0).collect();
            prop_assert_eq!(rises(left), of_port);
        }
        for (before, after) in notes.iter().zip(&sent) {
            // Two bytes at least from the sending, and in the order in which they were sent.
            prop_assert!(after.at.0 - before.at.0 >= 640 * US);
        }
        let mut order: Vec<_> = notes.iter().zip(&sent).map(|(b, a)| (b.at, b.port, a.at)).collect();
        order.sort_unstable();
        prop_assert!(order.windows(2).all(|w| w[0].2 < w[1].2));
    }
}
