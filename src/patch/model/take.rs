//! Hits from a file: where they are, how they are to be read, and what was read.

use super::{Meter, Rig};
use crate::time::{Beat, Instant, Span, Tempo, TempoStep};
use std::ops::RangeInclusive;
use std::sync::Arc;

/// Hits that were played or invented elsewhere; a take plays beside the sequencers.
#[derive(Clone, Debug, PartialEq)]
pub struct Take {
    /// Its name in the patch.
    pub name: String,
    /// Where its file lies, as written: relative to the patch file.
    pub file: String,
    /// What kind of file that is.
    pub kind: TakeKind,
    /// What every hit plays whose note has no voice of its own: an index into [`Rig::voices`]. Without it such hits are
    /// left out.
    pub voice: Option<usize>,
    /// MIDI keys that have a voice of their own, and the voice.
    pub notes: Vec<(u8, usize)>,
    /// The only MIDI channel to listen to, from 1 to 16.
    pub channel: Option<u8>,
    /// The only name to listen to: of the `sequencer` column of a CSV file, of the tracks of a MIDI file.
    pub only: Option<String>,
    /// The velocities to listen to.
    pub velocities: RangeInclusive<u8>,
    /// A hit whose due beat the file does not give is due on the nearest multiple of this many beats.
    pub grid: Option<Beat>,
    /// A nudge of every hit; later is positive. It acts before due beats are looked for, but where the take follows the
    /// tempo: there they are looked for among beats.
    pub offset: Span,
    /// The beats of a MIDI file are played at the tempo of the performance, instead of at the times of the file.
    pub follow_tempo: bool,
    /// What was read from the file; empty until somebody hands it in.
    pub recording: Recording,
}

/// What kind of file a take is, as its name ends.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TakeKind {
    /// `.csv`: what `hitgap hits` writes, or the columns of it that somebody has.
    Csv,
    /// `.mid` or `.midi`: a Standard MIDI File.
    Midi,
}

/// What was read from the file of a take.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Recording {
    /// The hits that the take listens to, in the order of the file; copies share them.
    pub hits: Arc<[Struck]>,
    /// What a MIDI file says besides; `None` of any other.
    pub midi: Option<MidiFacts>,
}

/// What a MIDI file says beside its notes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct MidiFacts {
    /// At which tempo its ticks count; `None` where it counts frames.
    pub tempo: Option<MidiTempo>,
    /// Beats of a bar, and the power of two that is their note value, as its first hit begins; `None` where it does not say.
    pub meter: Option<(u8, u8)>,
    /// How often another meter follows, up to its last hit.
    pub meter_changes: usize,
    /// How many tracks its head promises, and how many there are.
    pub tracks: [usize; 2],
}

/// The tempo of a MIDI file that counts beats.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct MidiTempo {
    /// Microseconds a quarter note as its first hit begins; at least 1.
    pub micros: u32,
    /// Whether the file says so; else it is what holds where a file says nothing.
    pub given: bool,
    /// How often another tempo follows, from the start of the file to its last hit.
    pub changes: usize,
}

/// What a patch file leaves open that takes may say, before it is checked as a whole.
#[derive(Clone, Debug, PartialEq)]
pub struct Outline {
    /// The takes of the original, and of each fix that has others.
    pub variants: Vec<Vec<Take>>,
    /// The tempos that are asked for or written; empty where none is.
    pub tempos: Vec<Tempo>,
    /// The meter that is written.
    pub meter: Option<Meter>,
    /// The bars that are asked for or written.
    pub bars: Option<u64>,
    /// Where the tempo changes.
    pub tempo_map: Vec<TempoStep>,
}

/// What takes say of the piece, for what nobody else says.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Recorded {
    /// The tempo with which it begins.
    pub tempo: Option<Tempo>,
    /// Bars and beats.
    pub meter: Option<Meter>,
    /// How many bars it has at least.
    pub bars: Option<u64>,
}

/// One hit of a file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Struck {
    /// When it sounds.
    pub when: When,
    /// The beat that it belongs to, where the file says.
    pub beat: Option<Beat>,
    /// The beat on which it was due, where the file says.
    pub due: Option<Beat>,
    /// The step that it is, from 1, where the file says.
    pub step: Option<usize>,
    /// From 1 to 127.
    pub velocity: u8,
    /// Index into [`Rig::voices`].
    pub voice: usize,
}

/// When a hit of a file sounds, before the take's offset.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum When {
    /// At a time from the clock's start, whatever the tempo.
    Time(Instant),
    /// On a beat, at the tempo of the performance.
    Beat(Beat),
}

impl Take {
    /// The voice that a MIDI key plays; `None` if it is left out.
    #[must_use]
    pub fn voice_of(&self, key: u8) -> Option<usize> {
        self.notes.iter().find(|(k, _)| *k == key).map(|(_, voice)| *voice).or(self.voice)
    }

    /// The one voice that all its hits play; `None` where there may be several.
    fn only_voice(&self) -> Option<usize> {
        let mut all = self.notes.iter().map(|(_, voice)| *voice).chain(self.voice);
        let first = all.next()?;
        all.all(|voice| voice == first).then_some(first)
    }
}

impl Rig {
    /// How many play: the sequencers, then the takes.
    #[must_use]
    pub fn players(&self) -> usize {
        self.sequencers.len() + self.takes.len()
    }

    /// The name of a player: a sequencer's or, counting on, a take's.
    ///
    /// # Panics
    /// If there are not so many.
    #[must_use]
    pub fn player_name(&self, player: usize) -> &str {
        match self.sequencers.get(player) {
            Some(sequencer) => &sequencer.name,
            None => &self.takes[player - self.sequencers.len()].name,
        }
    }

    /// The one voice that a player has; `None` for a take that has several, and where it is changed in the piece.
    ///
    /// # Panics
    /// If there are not so many players.
    #[must_use]
    pub fn player_voice(&self, player: usize) -> Option<usize> {
        match self.sequencers.get(player) {
            Some(sequencer) => {
                let same = |era: &super::Era| era.sequencers[player].voice == sequencer.voice;
                self.course.eras.iter().all(same).then_some(sequencer.voice)
            }
            None => {
                let voice = self.takes[player - self.sequencers.len()].only_voice()?;
                self.course.eras.iter().all(|era| era.voices[voice] == voice).then_some(voice)
            }
        }
    }
}
