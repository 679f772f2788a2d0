use crate::hits::Hit;
use crate::patch::Rig;
use crate::time::{Instant, Span, Tempo, round_half_up};
use crate::voice::{Model, Sound};
use midly::num::{u4, u7, u15, u24, u28};
use midly::{Format, Header, MetaMessage, MidiMessage, Timing, TrackEvent, TrackEventKind};
use num_rational::Ratio;
use std::io::{self, Write};

/// Ticks a quarter note of the files that are written: a multiple of all usual divisions (96, 120, 192, 240, 384, 480,
/// 960, 1920), and near the most that the format holds (32,767), so that a tick at 120 lasts 16.3 µs.
pub const TICKS_PER_BEAT: u16 = 30_720;

/// The channel of percussion: 10, counted from 1, by General MIDI.
const PERCUSSION: u4 = u4::new(9);
/// The most ticks between two events, which take 28 bits.
const MOST_DELTA: u64 = (1 << 28) - 1;
/// How long a note is held, unless it begins anew before: a thirty-second of a quarter note. Drums mind no end.
const HELD: u64 = TICKS_PER_BEAT as u64 / 32;

/// The reasons for which hits cannot be written as a MIDI file.
#[derive(Debug, thiserror::Error)]
pub enum MidiError {
    /// A file begins with the clock.
    #[error("a hit of {name} sounds at {at} s, before the start, and a MIDI file begins there")]
    BeforeStart {
        /// Who plays it.
        name: String,
        /// The time of the hit, from the clock's start: below zero.
        at: Instant,
    },
    /// A tempo event has 24 bits.
    #[error("a MIDI file holds no tempo under 3.576279 quarter notes a minute, and this one is {0}")]
    TooSlow(Tempo),
    /// What the writer says.
    #[error("{0}")]
    Write(#[from] io::Error),
}

/// A tempo as a file holds it: microseconds a quarter note, rounded to the nearest; `None` if it is too slow for that.
///
/// The tempo that is written then is off by up to half a microsecond a quarter note: 174 becomes 344,828 µs or 173.999791,
/// which is 1.2 millionths. Times are not: ticks are counted at the tempo that is written.
#[must_use]
pub fn midi_tempo(tempo: Tempo) -> Option<u32> {
    let micros = round_half_up(tempo.beat_ps() / 1_000_000);
    u32::try_from(micros).ok().filter(|m| *m < 1 << 24)
}

/// Microseconds in a minute, times the millionths that a tempo counts in.
const MICRO_PER_MINUTE: u64 = 60_000_000 * 1_000_000;

/// The tempo that a file means by whole microseconds a quarter note: of those whose quarter note is less than a microsecond
/// off, rounded or cut off, the one with the fewest decimals. 434,783 is 138, and not 137.999876. `None` past 1 to 1000
/// quarter notes a minute.
#[must_use]
pub fn tempo_meant(micros: u32) -> Option<Tempo> {
    let micros = u64::from(micros);
    let exact = (MICRO_PER_MINUTE + micros / 2).checked_div(micros)?;
    let mut rounded = (0..=6).rev().map(|places| 10_u64.pow(places)).map(|unit| (exact + unit / 2) / unit * unit);
    let near = |micro: &u64| (micro * micros).abs_diff(MICRO_PER_MINUTE) < *micro;
    Tempo::from_micro(rounded.find(near).unwrap_or(exact))
}

/// Whether a file that writes so many microseconds a quarter note may mean this tempo.
#[must_use]
pub fn may_mean(micros: u32, tempo: Tempo) -> bool {
    let near = (tempo.micro() * u64::from(micros)).abs_diff(MICRO_PER_MINUTE) < tempo.micro();
    near || tempo_meant(micros) == Some(tempo)
}

/// Half a tick at a tempo, rounded up: how far a written hit may be from where it was.
#[must_use]
pub fn half_tick(tempo: Tempo) -> Option<Span> {
    let tick = i64::from(midi_tempo(tempo)?) * 1_000_000;
    Some(Span((tick + 2 * i64::from(TICKS_PER_BEAT) - 1) / (2 * i64::from(TICKS_PER_BEAT))))
}

/// The key of what is played from a file, which may be any drum: low floor tom of General MIDI.
const OTHER_KEY: u8 = 41;

/// The key of a voice on the percussion channel: bass drum 1, acoustic snare, closed hi-hat, side stick of General MIDI
/// level 1, as the documentation of the `midi-msg` crate lists them (`GMPercussionMap`).
fn key(sound: &Sound) -> u7 {
    u7::new(match sound.model() {
        Some(Model::Kick) => 36,
        Some(Model::Snare) => 38,
        Some(Model::Hat) => 42,
        Some(Model::Click) => 37,
        None => OTHER_KEY,
    })
}

/// Writes a hit list as a Standard MIDI File of type 1: a track with the title and the tempo, then one for each player
/// with its name and a note for each of its hits, on the percussion channel.
///
/// # Errors
/// If a hit comes before the start, if the tempo is too slow for the format, or what the writer says.
pub fn write_midi(title: &str, tempo: Tempo, rig: &Rig, hits: &[Hit], out: impl Write) -> Result<(), MidiError> {
    let micros = midi_tempo(tempo).ok_or(MidiError::TooSlow(tempo))?;
    let header = Header::new(Format::Parallel, Timing::Metrical(u15::new(TICKS_PER_BEAT)));
    let mut first = Track::new(title);
    first.add(0, TrackEventKind::Meta(MetaMessage::Tempo(u24::new(micros))));
    let mut tracks = vec![first.end()];
    for player in 0..rig.players() {
        let mut track = Track::new(rig.player_name(player));
        for (tick, kind) in notes(rig, hits.iter().filter(|h| h.sequencer == player), micros)? {
            track.add(tick, kind);
        }
        tracks.push(track.end());
    }
    midly::write_std(&header, tracks.iter().map(|track| track.iter()), out)?;
    Ok(())
}

/// The notes of a player, in order of ticks, the ends of one tick before the beginnings.
fn notes<'h>(
    rig: &Rig,
    hits: impl Iterator<Item = &'h Hit>,
    micros: u32,
) -> Result<Vec<(u64, TrackEventKind<'static>)>, MidiError> {
    let mut begins: Vec<(u64, u7, u8)> = Vec::new();
    for hit in hits {
        let tick = tick(hit.at, micros)
            .ok_or_else(|| MidiError::BeforeStart { name: rig.player_name(hit.sequencer).to_owned(), at: hit.at })?;
        begins.push((tick, key(&rig.voices[hit.voice].sound), hit.velocity));
    }
    begins.sort_by_key(|(tick, ..)| *tick);
    // A note ends before the next with its key begins: looked for from the end.
    let mut next = [u64::MAX; 128];
    let mut events: Vec<(u64, bool, TrackEventKind<'static>)> = Vec::with_capacity(2 * begins.len());
    for &(tick, key, velocity) in begins.iter().rev() {
        let note = |message| TrackEventKind::Midi { channel: PERCUSSION, message };
        let following = &mut next[usize::from(key.as_int())];
        let end = (tick + HELD).min(*following);
        events.push((tick, true, note(MidiMessage::NoteOn { key, vel: u7::new(velocity) })));
        // Two of one key on one tick are both struck, and end together.
        if end > tick {
            events.push((end, false, note(MidiMessage::NoteOff { key, vel: u7::new(0) })));
        }
        *following = tick;
    }
    events.reverse();
    events.sort_by_key(|(tick, begins, _)| (*tick, *begins));
    Ok(events.into_iter().map(|(tick, _, kind)| (tick, kind)).collect())
}

/// The tick nearest to a time, at a tempo as it is written; `None` before the start.
fn tick(at: Instant, micros: u32) -> Option<u64> {
    let exact = Ratio::new(i128::from(at.0) * i128::from(TICKS_PER_BEAT), i128::from(micros) * 1_000_000);
    u64::try_from(round_half_up(exact)).ok()
}

/// A track being written.
struct Track<'a> {
    events: Vec<TrackEvent<'a>>,
    /// Where its last event stands.
    tick: u64,
}

impl<'a> Track<'a> {
    fn new(name: &'a str) -> Self {
        let name = TrackEventKind::Meta(MetaMessage::TrackName(name.as_bytes()));
        Self { events: vec![TrackEvent { delta: u28::new(0), kind: name }], tick: 0 }
    }

    /// Adds an event that is no earlier than the last. Where it is further away than the format counts, texts without a
    /// word stand between.
    fn add(&mut self, tick: u64, kind: TrackEventKind<'a>) {
        let mut delta = tick - self.tick;
        while delta > MOST_DELTA {
            let kind = TrackEventKind::Meta(MetaMessage::Text(b""));
            self.events.push(TrackEvent { delta: u28::max_value(), kind });
            delta -= MOST_DELTA;
        }
        self.events.push(TrackEvent { delta: u28::new(u32::try_from(delta).unwrap_or(u32::MAX)), kind });
        self.tick = tick;
    }

    fn end(mut self) -> Vec<TrackEvent<'a>> {
        self.events.push(TrackEvent { delta: u28::new(0), kind: TrackEventKind::Meta(MetaMessage::EndOfTrack) });
        self.events
    }
}
