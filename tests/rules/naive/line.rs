//! A serial line, and what is heard at its far end: byte by byte.

use super::signal::{Change, EVER, NEVER, Pulse, changes, pulses};
use hitgap::patch::{MidiCable, NoteOffs};

/// "sends bytes of 320 µs, one at a time, and breaks none off"
const BYTE: i64 = 320_000_000;

/// "a pulse of 160 µs"
const OWN_PULSE: i64 = 160_000_000;

/// What somebody brings to the line.
pub(crate) struct Sender {
    pub(crate) brings: Brings,
    /// Of the output or the sequencer.
    pub(crate) name: String,
    pub(crate) wire: Vec<Pulse>,
}

/// By what it comes from.
#[derive(Clone, PartialEq)]
pub(crate) enum Brings {
    Start,
    Stop,
    /// With the numbers of the pulses that say that the clock goes on.
    Run(Vec<i128>),
    Clock,
    Notes,
}

#[derive(Clone, Copy, PartialEq)]
enum Sort {
    /// A start or a continue.
    Begins,
    Stop,
    Position,
    Clock,
    /// With the status byte.
    Note(u8),
}

#[derive(Clone, Copy)]
enum Heard {
    Nothing,
    Edge,
    Pulse,
}

struct Message {
    came: i64,
    /// In `order`, and in the file.
    place: (usize, usize),
    sort: Sort,
    heard: Heard,
    change: Change,
}

/// What an edge is on the line.
fn messages(it: &MidiCable, brings: &Brings, change: Change) -> Vec<(Sort, Heard)> {
    let off = match it.note_offs {
        NoteOffs::None => None,
        NoteOffs::AsNoteOn => Some(0x90),
        NoteOffs::Own => Some(0x80),
    };
    let told = if off.is_some() { Heard::Edge } else { Heard::Pulse };
    match (brings, change.rise) {
        (Brings::Start, true) => vec![(Sort::Begins, Heard::Pulse)],
        (Brings::Stop, true) => vec![(Sort::Stop, Heard::Pulse)],
        (Brings::Clock, true) => vec![(Sort::Clock, Heard::Pulse)],
        (Brings::Start | Brings::Stop | Brings::Clock, false) => vec![],
        // "a start byte, or where the clock goes on a continue byte, with `song-position = true` after the three bytes of a
        // song position"
        (Brings::Run(goes_on), true) if goes_on.contains(&change.k) => {
            let position = it.song_position.then_some((Sort::Position, Heard::Nothing));
            position.into_iter().chain([(Sort::Begins, Heard::Nothing)]).collect()
        }
        (Brings::Run(_), true) => vec![(Sort::Begins, Heard::Edge)],
        (Brings::Run(_), false) => vec![(Sort::Stop, Heard::Edge)],
        (Brings::Notes, true) => vec![(Sort::Note(0x90), told)],
        (Brings::Notes, false) => off.map(|status| (Sort::Note(status), told)).into_iter().collect(),
    }
}

/// What each of them is heard as.
pub(crate) fn heard(it: &MidiCable, senders: &[Sender]) -> Vec<Vec<Pulse>> {
    let mut heard: Vec<Vec<Change>> = senders.iter().map(|_| Vec::new()).collect();
    let mut waiting: Vec<Message> = Vec::new();
    for (n, sender) in senders.iter().enumerate() {
        // "of one instant what `order` names first …, those not named after them, in the order of the file"
        let place = (it.order.iter().position(|name| *name == sender.name).unwrap_or(usize::MAX), n);
        let told = matches!(&sender.brings, Brings::Run(_))
            || sender.brings == Brings::Notes && it.note_offs != NoteOffs::None;
        for change in changes(&sender.wire) {
            if change.at == EVER {
                // High before the start, which was never sent.
                heard[n].extend(told.then_some(change));
                continue;
            }
            if change.at == NEVER {
                continue;
            }
            let all = messages(it, &sender.brings, change);
            waiting.extend(all.into_iter().map(|(sort, heard)| Message {
                came: change.at,
                place,
                sort,
                heard,
                change,
            }));
        }
    }
    // "Within each of these, what came first goes first"
    waiting.sort_by_key(|message| (message.came, message.place));
    let sorted = |transport: bool, clock: bool| {
        let of = |m: &&Message| {
            (transport, clock) == (!matches!(m.sort, Sort::Clock | Sort::Note(_)), m.sort == Sort::Clock)
        };
        waiting.iter().filter(of).collect::<Vec<_>>()
    };
    let (transport, clocks, notes) = (sorted(true, false), sorted(false, true), sorted(false, false));
    let (mut transport, mut clocks, mut notes) = (&transport[..], &clocks[..], &notes[..]);
    // The last start or continue, the last status byte, and the message under way with its bytes still to come.
    let (mut quiet_until, mut status, mut under_way) = (EVER, None, None::<(&Message, i32)>);
    let mut now = 0;
    loop {
        let come = |list: &[&Message]| list.first().is_some_and(|message| message.came <= now);
        // "nothing goes between its bytes"
        let split = !under_way.is_some_and(|(message, _)| message.sort == Sort::Position);
        let (message, bytes) = if split && come(transport) && transport[0].sort != Sort::Position {
            let first = transport[0];
            transport = &transport[1..];
            (first, 1)
        } else if split && !come(transport) && come(clocks) && now >= quiet_until {
            let first = clocks[0];
            clocks = &clocks[1..];
            (first, 1)
        } else if let Some(under_way) = under_way.take() {
            under_way
        } else if come(transport) {
            let first = transport[0];
            transport = &transport[1..];
            // "the next note has its status byte again"
            status = None;
            (first, 3)
        } else if come(notes) {
            let first = notes[0];
            notes = &notes[1..];
            let Sort::Note(own) = first.sort else { panic!("a note") };
            // "three bytes a note, two with running status"
            let again = it.running_status && status == Some(own);
            status = Some(own);
            (first, if again { 2 } else { 3 })
        } else {
            // Idle until something comes, or the pause is over.
            let when = [transport, clocks, notes]
                .into_iter()
                .filter_map(|list| list.first())
                .map(|first| if first.sort == Sort::Clock { first.came.max(quiet_until) } else { first.came });
            let Some(next) = when.min() else { break };
            assert!(next > now, "what could go goes");
            now = next;
            continue;
        };
        now += BYTE;
        if message.sort == Sort::Begins {
            quiet_until = now + it.start_lead.0;
        }
        if bytes > 1 {
            under_way = Some((message, bytes - 1));
            continue;
        }
        // "and it is heard when its last byte has ended"
        let change = Change { at: now, ..message.change };
        let heard = &mut heard[message.place.1];
        match message.heard {
            Heard::Nothing => {}
            Heard::Edge => heard.push(change),
            Heard::Pulse => heard.extend([change, Change { at: now + OWN_PULSE, rise: false, ..change }]),
        }
    }
    heard.iter().map(|heard| pulses(heard)).collect()
}
