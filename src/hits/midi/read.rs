use crate::hits::csv_read::{nobody, not_too_large, too_many};
use crate::hits::error::FilePlace;
use crate::hits::number::{LAST_BEAT, MOST_SECONDS, bounded};
use crate::hits::{MOST_HITS, ReadError};
use crate::patch::{MidiFacts, MidiTempo, Recording, Struck, Take, When};
use crate::time::{Beat, Instant, round_half_up};
use midly::{EventIter, Format, Fps, MetaMessage, MidiMessage, Timing, TrackEventKind};
use num_rational::Ratio;
use std::collections::BTreeSet;

/// Microseconds a quarter note where a file gives no tempo: 120 quarter notes a minute (Standard MIDI Files 1.0: without a
/// tempo or a time signature, 120 beats a minute and 4/4 are assumed).
const USUAL_TEMPO: u32 = 500_000;

/// The most tracks: as many as the head of a file can count.
const MOST_TRACKS: usize = 65_535;

/// Reads a take from the bytes of a Standard MIDI File: a hit for each note that begins.
///
/// Its times are exact: tempo events count in whole microseconds a quarter note, ticks are fractions of one, and each hit
/// is rounded once to the nearest picosecond. Files that count frames (SMPTE) have no beats and mind no tempo.
///
/// # Errors
/// The first fault, with its place.
pub fn read_midi(bytes: &[u8], take: &Take) -> Result<Recording, ReadError> {
    not_too_large(bytes)?;
    let file = File { bytes };
    head(bytes)?;
    let (header, tracks) = midly::parse(bytes).map_err(|_| no_head())?;
    let mut all: Vec<EventIter<'_>> = Vec::new();
    for track in tracks {
        let track = track.map_err(|_| {
            let help = "the file may be cut off: copy or export it again";
            let place = FilePlace::Byte { at: bytes.len(), track: Some(all.len() + 1) };
            ReadError::new(place, "an end", "a whole track", help)
        })?;
        if all.len() == MOST_TRACKS {
            let (found, expected) = (format!("track {}", MOST_TRACKS + 1), format!("at most {MOST_TRACKS} tracks"));
            return Err(ReadError::new(FilePlace::Whole, found, expected, "export the file with fewer tracks"));
        }
        all.push(track);
    }
    if header.format == Format::Sequential {
        let help = "save it as type 0 or 1";
        return Err(ReadError::new(FilePlace::Whole, "a MIDI file of type 2", "one of type 0 or 1", help));
    }
    let found = all.len();
    let clock = match header.timing {
        Timing::Metrical(ticks) if ticks.as_int() == 0 => {
            return Err(division("0 ticks a quarter note"));
        }
        Timing::Timecode(_, 0) => return Err(division("0 ticks a frame")),
        Timing::Metrical(ticks) => Clock::metrical(i128::from(ticks.as_int()), &file, &all)?,
        Timing::Timecode(fps, ticks) => Clock::frames(fps, ticks),
    };
    if take.follow_tempo && clock.ticks_per_beat.is_none() {
        let help = "take `follow-tempo` out: the times of the file hold at every tempo";
        return Err(ReadError::new(
            FilePlace::Whole,
            "a file that counts frames (SMPTE)",
            "one that counts beats",
            help,
        ));
    }
    let meters = meters(&file, &all)?;
    let hits = Hits { take, clock: &clock, file: &file }.read(all)?;
    let heard = [hits.first(), hits.last()].map(|hit| hit.map_or(0, |(tick, _)| *tick));
    let (meter, meter_changes) = holding(&meters, heard);
    let promised = u16::from_be_bytes([bytes[10], bytes[11]]);
    let midi = MidiFacts {
        tempo: clock.ticks_per_beat.is_some().then(|| clock.tempo(heard)),
        meter: meter.copied(),
        meter_changes,
        tracks: [usize::from(promised), found],
    };
    Ok(Recording { hits: hits.into_iter().map(|(_, hit)| hit).collect(), midi: Some(midi) })
}

fn too_many_events(what: &str, place: FilePlace) -> ReadError {
    let (found, expected) = (format!("{what} event {}", MOST_HITS + 1), format!("at most {MOST_HITS} {what} events"));
    ReadError::new(place, found, expected, format!("export the file with fewer changes of {what}"))
}

/// From which tick on a meter is: beats of a bar, and the power of two that is their note value.
type Meters = Vec<(u64, (u8, u8))>;

/// The meters of a file that says any, and from which tick on each is; of several at one tick the last holds.
fn meters(file: &File<'_>, tracks: &[EventIter<'_>]) -> Result<Meters, ReadError> {
    let mut meters = Meters::new();
    for (n, events) in tracks.iter().enumerate() {
        let (mut events, mut tick) = (events.clone(), 0_u64);
        while let Some((delta, kind)) = file.next(n, &mut events)? {
            tick += u64::from(delta);
            if let TrackEventKind::Meta(MetaMessage::TimeSignature(count, unit, ..)) = kind {
                if meters.len() == MOST_HITS {
                    return Err(too_many_events("meter", file.place(n, &events)));
                }
                meters.push((tick, (count, unit)));
            }
        }
    }
    meters.sort_by_key(|(tick, _)| *tick);
    Ok(meters)
}

/// Of values and the ticks from which on each is, in order: that which holds at the first of two ticks, and how many others
/// come after one another from the start to the second. What holds for no tick is none.
fn holding<T: PartialEq>(all: &[(u64, T)], [first, last]: [u64; 2]) -> (Option<&T>, usize) {
    let at_first = all.partition_point(|(tick, _)| *tick <= first).checked_sub(1);
    let next = |n: usize| all.get(n + 1).map_or(u64::MAX, |(tick, _)| *tick);
    let held = all.iter().enumerate().filter(|(n, (tick, _))| *tick < last.max(1) && *tick < next(*n));
    let held: Vec<&T> = held.map(|(_, (_, value))| value).collect();
    (at_first.map(|n| &all[n].1), held.windows(2).filter(|two| two[0] != two[1]).count())
}

fn no_head() -> ReadError {
    let help = "look whether this is a MIDI file; a .csv file must end in .csv";
    ReadError::new(FilePlace::Byte { at: 0, track: None }, "something else", "the head of a Standard MIDI File", help)
}

/// Looks at every head of the file, of which there should be one. Of −128 frames a second the library would find the
/// opposite, which a byte does not hold, and panic; and it unwraps other files, in which heads lie elsewhere.
fn head(bytes: &[u8]) -> Result<(), ReadError> {
    if !bytes.starts_with(b"MThd") {
        return Err(no_head());
    }
    let mut rest = bytes;
    while let Some((chunk, behind)) = rest.split_first_chunk::<8>() {
        let [a, b, c, d, length @ ..] = chunk;
        let end = usize::try_from(u32::from_be_bytes(length.to_owned())).unwrap_or(usize::MAX).min(behind.len());
        if [*a, *b, *c, *d] == *b"MThd" && behind[..end].get(4) == Some(&0x80) {
            return Err(division("-128 frames a second"));
        }
        rest = &behind[end..];
    }
    Ok(())
}

fn division(found: &str) -> ReadError {
    let place = FilePlace::Byte { at: 12, track: None };
    ReadError::new(place, found, "1 or more", "export the file again")
}

/// The file, to say where in it something stands.
struct File<'a> {
    bytes: &'a [u8],
}

impl File<'_> {
    /// The byte at which a track's reader stands.
    fn place(&self, track: usize, events: &EventIter<'_>) -> FilePlace {
        let at = (events.unread().as_ptr() as usize).wrapping_sub(self.bytes.as_ptr() as usize);
        FilePlace::Byte { at: at.min(self.bytes.len()), track: Some(track + 1) }
    }

    /// The next event of a track.
    fn next<'a>(
        &self,
        track: usize,
        events: &mut EventIter<'a>,
    ) -> Result<Option<(u32, TrackEventKind<'a>)>, ReadError> {
        let place = self.place(track, events);
        match events.next() {
            None => Ok(None),
            Some(Ok(event)) => Ok(Some((event.delta.as_int(), event.kind))),
            Some(Err(_)) => {
                let help = "the file may be damaged: copy or export it again";
                Err(ReadError::new(place, "bytes that are none", "a MIDI event", help))
            }
        }
    }
}

/// What a tick of the file lasts.
struct Clock {
    /// `None` where the file counts frames.
    ticks_per_beat: Option<i128>,
    /// Where a tempo begins, in ticks; what has passed until there; and what each tick adds, in units.
    pieces: Vec<Piece>,
    /// Units in a picosecond, as a fraction of whole numbers: time = units · up / down.
    up: i128,
    down: i128,
}

#[derive(Clone, Copy)]
struct Piece {
    tick: u64,
    passed: i128,
    each: i128,
}

impl Clock {
    /// A file that counts beats: a unit is a microsecond of a quarter note, times a tick.
    fn metrical(ticks_per_beat: i128, file: &File<'_>, tracks: &[EventIter<'_>]) -> Result<Self, ReadError> {
        let mut tempos: Vec<(u64, u32)> = Vec::new();
        for (n, events) in tracks.iter().enumerate() {
            let (mut events, mut tick) = (events.clone(), 0_u64);
            loop {
                let place = file.place(n, &events);
                let Some((delta, kind)) = file.next(n, &mut events)? else { break };
                tick += u64::from(delta);
                if let TrackEventKind::Meta(MetaMessage::Tempo(tempo)) = kind {
                    if tempo.as_int() == 0 {
                        let help = "all that follows would sound at once: give the file a tempo where it was made";
                        let found = "a tempo of 0 us a quarter note";
                        return Err(ReadError::new(place, found, "1 us or more", help));
                    }
                    if tempos.len() == MOST_HITS {
                        return Err(too_many_events("tempo", place));
                    }
                    tempos.push((tick, tempo.as_int()));
                }
            }
        }
        // Of several at one tick the last holds: stable, in the order of the tracks.
        tempos.sort_by_key(|(tick, _)| *tick);
        let mut pieces = vec![Piece { tick: 0, passed: 0, each: i128::from(USUAL_TEMPO) }];
        for (tick, each) in tempos {
            let last = pieces[pieces.len() - 1];
            let passed = last.passed + i128::from(tick - last.tick) * last.each;
            pieces.push(Piece { tick, passed, each: i128::from(each) });
        }
        Ok(Self { ticks_per_beat: Some(ticks_per_beat), pieces, up: 1_000_000, down: ticks_per_beat })
    }

    /// A file that counts frames: a unit is a tick. Drop-frame 30 runs at 30,000 frames in 1001 seconds.
    fn frames(fps: Fps, ticks: u8) -> Self {
        let (over, under) = match fps {
            Fps::Fps29 => (30_000, 1001),
            fps => (i128::from(fps.as_int()), 1),
        };
        let pieces = vec![Piece { tick: 0, passed: 0, each: 1 }];
        Self { ticks_per_beat: None, pieces, up: 1_000_000_000_000 * under, down: over * i128::from(ticks) }
    }

    /// The tempo, for a file whose first and last hits are at these ticks.
    fn tempo(&self, [first, last]: [u64; 2]) -> MidiTempo {
        let all: Vec<(u64, i128)> = self.pieces.iter().map(|piece| (piece.tick, piece.each)).collect();
        let (micros, changes) = holding(&all, [first, last]);
        let micros = micros.and_then(|micros| u32::try_from(*micros).ok()).unwrap_or(USUAL_TEMPO);
        // The first piece is what holds where nothing is said.
        MidiTempo { micros, given: self.pieces.get(1).is_some_and(|piece| piece.tick <= first), changes }
    }

    /// The time of a tick, rounded once; `None` past the days that a piece may last.
    fn time(&self, tick: u64) -> Option<Instant> {
        let piece = self.pieces[self.pieces.partition_point(|p| p.tick <= tick) - 1];
        let units = piece.passed + i128::from(tick - piece.tick) * piece.each;
        bounded(round_half_up(Ratio::new_raw(units.checked_mul(self.up)?, self.down)))
    }
}

struct Hits<'a> {
    take: &'a Take,
    clock: &'a Clock,
    file: &'a File<'a>,
}

impl Hits<'_> {
    /// All that the take listens to, with their ticks, in order.
    fn read(&self, tracks: Vec<EventIter<'_>>) -> Result<Vec<(u64, Struck)>, ReadError> {
        let mut hits: Vec<(u64, Struck)> = Vec::new();
        let mut names: BTreeSet<String> = BTreeSet::new();
        let mut heard = false;
        for (n, mut events) in tracks.into_iter().enumerate() {
            if let Some(only) = &self.take.only {
                let name = self.name(n, events.clone())?;
                if name != *only {
                    if names.len() < 32 {
                        names.insert(name);
                    }
                    continue;
                }
            }
            heard = true;
            let mut tick = 0_u64;
            loop {
                let place = self.file.place(n, &events);
                let Some((delta, kind)) = self.file.next(n, &mut events)? else { break };
                tick += u64::from(delta);
                if let Some((voice, velocity)) = self.struck(&kind) {
                    if hits.len() == MOST_HITS {
                        return Err(too_many(place));
                    }
                    hits.push((tick, self.hit(tick, voice, velocity, place)?));
                }
            }
        }
        if let (Some(only), false) = (&self.take.only, heard) {
            return Err(nobody(only, "track", &names));
        }
        // Several tracks are one take; what falls on one tick stays in the order of the file.
        hits.sort_by_key(|(tick, _)| *tick);
        Ok(hits)
    }

    /// What a track is called: its first name.
    fn name(&self, track: usize, mut events: EventIter<'_>) -> Result<String, ReadError> {
        while let Some((_, kind)) = self.file.next(track, &mut events)? {
            if let TrackEventKind::Meta(MetaMessage::TrackName(name)) = kind {
                return Ok(String::from_utf8_lossy(name).into_owned());
            }
        }
        Ok(String::new())
    }

    /// The voice and the velocity of a note that begins, if the take listens to it. With velocity 0 it ends.
    fn struck(&self, kind: &TrackEventKind<'_>) -> Option<(usize, u8)> {
        let TrackEventKind::Midi { channel, message: MidiMessage::NoteOn { key, vel } } = kind else { return None };
        let listens = self.take.channel.is_none_or(|only| only == channel.as_int() + 1)
            && self.take.velocities.contains(&vel.as_int());
        let voice = self.take.voice_of(key.as_int()).filter(|_| listens && vel.as_int() > 0)?;
        Some((voice, vel.as_int()))
    }

    fn hit(&self, tick: u64, voice: usize, velocity: u8, place: FilePlace) -> Result<Struck, ReadError> {
        if self.take.grid.is_none() {
            let help = "write grid = \"4 per beat\" into the [hits] table";
            return Err(ReadError::new(place, "a note without a due beat", "a grid to find it on", help));
        }
        let far = |found: String, expected: String| {
            ReadError::new(place.clone(), found, expected, "cut the recording into shorter ones")
        };
        let beat = self.clock.ticks_per_beat.map(|ticks| Beat::new(i128::from(tick), ticks));
        let when = match beat.filter(|_| self.take.follow_tempo) {
            Some(beat) if beat > Beat::from_integer(LAST_BEAT) => {
                return Err(far(format!("a note on beat {}", beat.floor()), format!("at most {LAST_BEAT}")));
            }
            Some(beat) => When::Beat(beat),
            None => When::Time(self.clock.time(tick).ok_or_else(|| {
                far(format!("a note on tick {tick}"), format!("at most {MOST_SECONDS} s (100 days)"))
            })?),
        };
        Ok(Struck { when, beat: None, due: None, step: None, velocity, voice })
    }
}
