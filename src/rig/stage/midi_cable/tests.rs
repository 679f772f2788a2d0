use super::super::out::alone;
use super::super::trial::{check_books, down, rises, up};
use super::*;
use crate::patch::NoteOffs::{AsNoteOn, None as NoOffs, Own};
use proptest::prelude::*;

const US: i64 = 1_000_000;
const NOTES_AND_CLOCK: [Carries; 2] = [Carries::Notes, Carries::Pulses];

fn cable(running_status: bool, note_offs: NoteOffs) -> patch::MidiCable {
    patch::MidiCable {
        running_status,
        note_offs,
        start_lead: Span::from_ms(1),
        song_position: false,
        order: Vec::new(),
    }
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
    // Of one instant the real-time byte goes first.
    assert_eq!(at(0), (1_280, 320));
    // After the byte under way; the note is 320 µs later. At a boundary, at once.
    assert_eq!(at(1), (1_280, 640));
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
    // Start at 960 to 1,280, a byte of the second note to 1,600, stop to 1,920, the rest of the note to 2,240; and the clock,
    // which comes with the start, once 1 ms has passed since the start: at 2,280.
    assert_eq!(left, [vec![960, 1_120], vec![2_240, 2_400], vec![2_600, 2_760], vec![1_280, 1_920]]);
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

/// The bytes that a line sends, each with the microsecond at which it begins. A message is an instant in microseconds, the
/// port and what it is; all are in order of time.
fn bytes(settings: &patch::MidiCable, messages: &[(i64, MessageKind)]) -> Vec<(i64, &'static str)> {
    let mut line = SerialLine::new(settings.running_status, settings.start_lead);
    let (mut log, mut part, mut now) = (Vec::new(), 0, 0);
    let mut messages = messages.iter().peekable();
    loop {
        while let Some((_, kind)) = messages.next_if(|m| m.0 <= now) {
            line.bring(Instant(now * US), Message { kind: *kind, port: 0, cause: up(0, 0), heard: Received::Nothing });
        }
        if let Some(sent) = line.attend(Instant(now * US)) {
            assert_eq!(sent.ends, Instant((now + 320) * US));
            let name = match sent.message.kind {
                MessageKind::Go => "go",
                MessageKind::Stop => "FC",
                MessageKind::Clock => "F8",
                MessageKind::Position => ["F2", "lsb", "msb"][part],
                MessageKind::Note(_) => "note",
            };
            part = if sent.last || !matches!(sent.message.kind, MessageKind::Position) { 0 } else { part + 1 };
            log.push((now, name));
        }
        let due = [messages.peek().map(|m| m.0), line.due().map(|due| due.0 / US)];
        let Some(next) = due.into_iter().flatten().min() else { return log };
        now = next;
    }
}

/// A start is sent before the clock byte of its instant, and that one after the pause; the next is on time again. MIDI 1.0:
/// the sequence begins with the first clock after the start (second-hand, see the top of the stage); 320 µs a byte
/// (IEC 63035:2017 §4.1) and arithmetic.
#[test]
fn a_start_byte_by_byte() {
    let clock = |at| (at, MessageKind::Clock);
    let at_120 = [clock(0), (0, MessageKind::Go), clock(20_833), clock(41_667)];
    let lead = |lead| patch::MidiCable { start_lead: lead, ..cable(false, NoOffs) };
    let sent = |settings: &patch::MidiCable, messages: &[(i64, MessageKind)]| bytes(settings, messages);
    let by_default = cable(false, NoOffs);
    assert_eq!(sent(&by_default, &at_120), [(0, "go"), (1_320, "F8"), (20_833, "F8"), (41_667, "F8")]);
    assert_eq!(sent(&lead(Span::ZERO), &at_120)[..2], [(0, "go"), (320, "F8")]);
    assert_eq!(sent(&lead(Span(5_000 * US)), &at_120)[..2], [(0, "go"), (5_320, "F8")]);
    // What comes within the pause waits for its end, in its order; what comes after it does not.
    let soon = [(0, MessageKind::Go), clock(500), clock(900), clock(2_000)];
    assert_eq!(sent(&by_default, &soon), [(0, "go"), (1_320, "F8"), (1_640, "F8"), (2_000, "F8")]);
    // Sent ahead by the start and the pause, it keeps nobody waiting.
    assert_eq!(sent(&by_default, &[(0, MessageKind::Go), clock(1_320)]), [(0, "go"), (1_320, "F8")]);
    // A stop goes before the clock byte of its instant, too, and asks for no pause.
    assert_eq!(sent(&by_default, &[clock(0), (0, MessageKind::Stop)]), [(0, "FC"), (320, "F8")]);
    // The pause is the clock's: notes go meanwhile, and a clock byte goes between their bytes.
    let note = (0, MessageKind::Note(NOTE_ON));
    let with_notes = [note, clock(0), (0, MessageKind::Go), note];
    let log = sent(&by_default, &with_notes);
    let times: Vec<i64> = log.iter().map(|byte| byte.0).collect();
    assert_eq!(times, (0..8).map(|n| n * 320).collect::<Vec<_>>());
    let names: Vec<&str> = log.iter().map(|byte| byte.1).collect();
    // The pause ends at 1,320, within a byte of a note.
    assert_eq!(names, ["go", "note", "note", "note", "note", "F8", "note", "note"]);
}

/// A song position is three bytes before the continue, which is before the clock byte of its instant.
#[test]
fn a_continue_with_its_song_position_byte_by_byte() {
    let go_on = [(0, MessageKind::Clock), (0, MessageKind::Position), (0, MessageKind::Go)];
    let all = [(0, "F2"), (320, "lsb"), (640, "msb"), (960, "go"), (2_280, "F8")];
    assert_eq!(bytes(&cable(false, NoOffs), &go_on), all);
    // It waits for the note under way, and the note after it has its status byte again.
    let note = |at| (at, MessageKind::Note(NOTE_ON));
    let among = [note(0), note(0), (100, MessageKind::Position), (100, MessageKind::Go), (100, MessageKind::Clock)];
    let names: Vec<&str> = bytes(&cable(true, NoOffs), &among).iter().map(|byte| byte.1).collect();
    let (n, position) = (["note"; 3], ["F2", "lsb", "msb"]);
    assert_eq!(names, [&n[..], &position[..], &["go"], &n[..], &["F8"]].concat());
    // Nothing goes between its bytes.
    let late = [(0, MessageKind::Position), (100, MessageKind::Stop), (200, MessageKind::Clock)];
    let names: Vec<&str> = bytes(&cable(true, NoOffs), &late).iter().map(|byte| byte.1).collect();
    assert_eq!(names, ["F2", "lsb", "msb", "FC", "F8"]);
}

/// What `order` names first goes first, among bytes of one instant and one sort; what it does not name keeps the ports' order.
#[test]
fn order_sorts_what_comes_at_one_instant() {
    let ports = [Carries::Pulses, Carries::Pulses, Carries::Pulses, Carries::Starts];
    let ends = |order: &[&str]| {
        let settings =
            patch::MidiCable { order: order.iter().map(|n| (*n).to_owned()).collect(), ..cable(false, NoOffs) };
        let names = ["sync", "home", "bar", "go"].map(|name| vec![(Instant(i64::MIN), name.to_owned())]);
        let mut cable = MidiCable::new(&settings, &ports).with_names(names.to_vec());
        let edges: Vec<_> = (0..4).map(|port| (port, up(0, 0))).collect();
        alone(&mut cable, 4, &edges).0.iter().map(|left| left[0].at.0 / US).collect::<Vec<_>>()
    };
    assert_eq!(ends(&[]), [1_640, 1_960, 2_280, 320]);
    assert_eq!(ends(&["home"]), [1_960, 1_640, 2_280, 320]);
    // A start goes before clock bytes whatever is named.
    assert_eq!(ends(&["bar", "sync", "go"]), [1_960, 2_280, 1_640, 320]);
}

#[test]
fn who_stands_at_a_port_may_change() {
    let settings = patch::MidiCable { order: vec!["late".to_owned()], ..cable(false, NoOffs) };
    let name = |at: i64, name: &str| (Instant(at), name.to_owned());
    let names = vec![vec![name(i64::MIN, "a")], vec![name(i64::MIN, "b"), name(1_000 * US, "late")]];
    let mut cable = MidiCable::new(&settings, &[Carries::Pulses; 2]).with_names(names);
    let edges = [0, 1_000].map(|at| [(0, up(at * US, 0)), (1, up(at * US, 0))]).concat();
    let left = alone(&mut cable, 2, &edges).0;
    let ends: Vec<_> = left.iter().map(|left| rises(left).into_iter().map(|at| at / US).collect::<Vec<_>>()).collect();
    assert_eq!(ends, [[320, 1_640], [640, 1_320]]);
}

/// What somebody sends.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Sends {
    Note,
    Clock,
    Start,
    Stop,
    Continue,
}

const ALL: [Sends; 5] = [Sends::Note, Sends::Clock, Sends::Start, Sends::Stop, Sends::Continue];

/// A line that looks at every byte through all that was ever sent. `events` are `(µs, what)` in order of time; of one instant
/// the lower `place` goes first, then the order of the list. Says when each is heard; a continue is not.
fn byte_by_byte(settings: &patch::MidiCable, events: &[(i64, Sends)], place: &[usize]) -> Vec<Option<i64>> {
    // Of each message: sort (0 transport, 1 clock, 2 note), when it came, its place, the event, whether it is a position.
    let mut waits = Vec::new();
    for (n, (at, what)) in events.iter().enumerate() {
        let sort = match what {
            Sends::Start | Sends::Stop | Sends::Continue => 0,
            Sends::Clock => 1,
            Sends::Note => 2,
        };
        if *what == Sends::Continue && settings.song_position {
            waits.push((0, *at, place[n], n, 0));
        }
        waits.push((sort, *at, place[n], n, 1));
    }
    waits.sort_unstable();
    let mut heard = vec![None; events.len()];
    let (mut now, mut quiet_until, mut has_status) = (0, 0, false);
    // A note or a song position of which bytes are still to come.
    let mut rest: Option<(usize, i32, bool)> = None;
    loop {
        let transport = waits.iter().position(|w| w.0 == 0 && w.1 <= now);
        let clock = waits.iter().position(|w| w.0 == 1 && w.1 <= now).filter(|_| now >= quiet_until);
        let note = waits.iter().position(|w| w.0 == 2 && w.1 <= now);
        let of_one_byte = match (rest, transport) {
            (Some((_, _, true)), _) => None,
            (_, Some(n)) => Some(n).filter(|n| waits[*n].4 == 1),
            (_, None) => clock,
        };
        if let Some(n) = of_one_byte {
            let (.., event, _) = waits.remove(n);
            now += 320;
            if matches!(events[event].1, Sends::Start | Sends::Continue) {
                quiet_until = now + settings.start_lead.0 / US;
            }
            heard[event] = Some(now);
        } else if let Some((event, bytes, position)) = rest {
            now += 320;
            if bytes == 1 && !position {
                heard[event] = Some(now);
            }
            rest = (bytes > 1).then_some((event, bytes - 1, position));
        } else if let Some(n) = transport {
            rest = Some((waits.remove(n).3, 3, true));
            has_status = false;
        } else if let Some(n) = note {
            rest = Some((waits.remove(n).3, if settings.running_status && has_status { 2 } else { 3 }, false));
            has_status = true;
        } else {
            let comes = waits.iter().map(|w| if w.0 == 1 { w.1.max(quiet_until) } else { w.1 });
            let Some(next) = comes.filter(|at| *at > now).min() else { break };
            now = next;
        }
    }
    heard.iter_mut().zip(events).filter(|(_, e)| e.1 == Sends::Continue).for_each(|(heard, _)| *heard = None);
    heard
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(1000))]

    /// Against a line that decides at every byte. Every event has a port of its own.
    #[test]
    fn the_line_is_the_one_that_decides_byte_by_byte(
        list in proptest::collection::vec((prop_oneof![Just(0_i64), 0..1_500_i64], 0..5_usize, 0..6_usize), 1..30),
        running in any::<bool>(), song_position in any::<bool>(), lead_us in prop_oneof![Just(1_000_i64), 0..3_000_i64],
    ) {
        let start_lead = Span(lead_us * US);
        // The first three names are in the order.
        let order: Vec<String> = ["c", "a", "b"].map(str::to_owned).into();
        let settings = patch::MidiCable { start_lead, song_position, order, ..cable(running, NoOffs) };
        let mut at = 0;
        let events: Vec<_> = list.iter().map(|(gap, what, _)| { at += gap; (at, ALL[*what]) }).collect();
        let names: Vec<&str> = list.iter().map(|(_, _, name)| ["a", "b", "c", "d", "e", "f"][*name]).collect();
        let place: Vec<usize> =
            names.iter().map(|name| ["c", "a", "b"].iter().position(|n| n == name).unwrap_or(usize::MAX)).collect();
        let ports: Vec<_> = events.iter().map(|(_, what)| match what {
            Sends::Note => Carries::Notes,
            Sends::Clock => Carries::Pulses,
            Sends::Start => Carries::Starts,
            Sends::Stop => Carries::Stops,
            Sends::Continue => Carries::Level,
        }).collect();
        let edges: Vec<_> = events.iter().enumerate().map(|(n, (at, _))| (n, up(at * US, 7))).collect();
        let names = names.iter().map(|name| vec![(Instant(0), (*name).to_owned())]).collect();
        let mut cable = MidiCable::new(&settings, &ports).with_continues(vec![7]).with_names(names);
        let (left, _) = alone(&mut cable, ports.len(), &edges);
        let ends: Vec<Option<i64>> = left.iter().map(|edges| edges.first().map(|e| e.at.0 / US)).collect();
        prop_assert_eq!(ends, byte_by_byte(&settings, &events, &place));
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
