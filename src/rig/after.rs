//! From a sequencer to the ear: the stages of its `out`, which act on hits and not on levels.
//!
//! A serial line is one queue for all who name it, so that hits of several sequencers meet there: each sequencer's hits
//! go on until they come to such a line, and once all who name it have come, it sends them together.

use super::stage::audio_buffer::AudioBuffer;
use super::stage::midi_cable::{Note, send_notes};
use super::stage::passing::{HitStage, Passing, through};
use super::stage::poll::Looks;
use super::stage::{Air, Delay, Jitter, Strike};
use super::{Run, Track};
use crate::patch::{MidiCable, NoteOffs, Rig, Sequencer, StageKind};
use crate::time::{Instant, PS_PER_MS, Span};

/// How long a note is held, where its end travels too: common practice for a trigger, no source.
const NOTE: Span = Span(10 * PS_PER_MS);

/// The hits of one sequencer on their way.
struct Way<'a> {
    sequencer: &'a Sequencer,
    /// Its place in the rig.
    index: usize,
    /// Stages that are behind it.
    past: usize,
    hits: Vec<Passing>,
    lost: u64,
}

/// Sends the hits of every sequencer through its `out`.
pub(super) fn sequencers(rig: &Rig, tracks: &mut [Track], run: Run) {
    let mut ways: Vec<Way<'_>> = rig
        .sequencers
        .iter()
        .enumerate()
        .filter(|(_, s)| !s.out.is_empty())
        .map(|(index, sequencer)| Way { sequencer, index, past: 0, hits: begin(&tracks[index]), lost: 0 })
        .collect();
    loop {
        ways.iter_mut().for_each(|way| way.walk(rig, run));
        // The line that all who still have it before them have come to; where two lines are named in opposite orders
        // there is none, and one of them has to go first.
        let waiting =
            |line: usize| ways.iter().all(|w| !w.before().contains(&line) || w.before().first() == Some(&line));
        let lines: Vec<usize> = ways.iter().filter_map(|w| w.before().first().copied()).collect();
        let Some(line) = lines.iter().copied().find(|&line| waiting(line)).or(lines.first().copied()) else { break };
        if let StageKind::MidiCable(settings) = &rig.stages[line].kind {
            send(settings, line, &mut ways);
        }
    }
    for way in ways {
        let track = &mut tracks[way.index];
        track.lost = way.lost;
        let arrived = |hit: &Passing| {
            let level_mdb = (hit.level_db * 1000.0).round() as i32;
            super::Sound { at: hit.at, velocity: hit.velocity, level_mdb, ..track.sounds[hit.index] }
        };
        track.sounds = way.hits.iter().map(arrived).collect();
    }
}

fn begin(track: &Track) -> Vec<Passing> {
    let passing = |(index, s): (usize, &super::Sound)| Passing { at: s.at, velocity: s.velocity, level_db: 0.0, index };
    track.sounds.iter().enumerate().map(passing).collect()
}

impl Way<'_> {
    /// The stages that it has still before it.
    fn before(&self) -> &[usize] {
        &self.sequencer.out[self.past..]
    }

    /// Goes on to the next serial line, or to the end.
    fn walk(&mut self, rig: &Rig, run: Run) {
        let own = |stage: &&usize| !matches!(rig.stages[**stage].kind, StageKind::MidiCable(_));
        let stretch: Vec<usize> = self.before().iter().take_while(own).copied().collect();
        self.past += stretch.len();
        let mut stages: Vec<Box<dyn HitStage>> =
            stretch.iter().filter_map(|&stage| make(rig, stage, self.sequencer, run)).collect();
        self.lost += through(&mut stages, &mut self.hits).iter().sum::<u64>();
    }
}

fn make(rig: &Rig, index: usize, sequencer: &Sequencer, run: Run) -> Option<Box<dyn HitStage>> {
    let stage = &rig.stages[index];
    let device = run.chance(&format!("stage/{}", stage.name));
    let events = run.chance(&format!("stage/{}/{}", stage.name, sequencer.name));
    match &stage.kind {
        StageKind::Delay(delay) => Some(Box::new(Delay::new(delay, device))),
        StageKind::Jitter(jitter) => Some(Box::new(Jitter::new(jitter, device, events))),
        StageKind::Air(air) => Some(Box::new(Air::new(air, device))),
        StageKind::Strike(strike) => Some(Box::new(Strike::new(strike, device, events))),
        StageKind::AudioBuffer(buffer) => Some(Box::new(AudioBuffer::new(buffer, device))),
        StageKind::Poll(poll) => Some(Box::new(Looks::new(poll, device))),
        _ => None,
    }
}

/// A loop that looks for hits sees one at its next look.
impl HitStage for Looks {
    fn pass(&mut self, hit: Passing) -> Option<Passing> {
        Some(Passing { at: self.at_or_after(hit.at), ..hit })
    }
}

/// Sends the hits of all who have come to a serial line down it. Of one instant they go in the order that the line
/// gives, then in that of the file.
fn send(settings: &MidiCable, line: usize, ways: &mut [Way<'_>]) {
    let here = |w: &Way<'_>| w.before().first() == Some(&line);
    let mut order: Vec<usize> = (0..ways.len()).filter(|&w| here(&ways[w])).collect();
    let place = |w: &usize| {
        let named = settings.order.iter().position(|name| *name == ways[*w].sequencer.name);
        (named.unwrap_or(usize::MAX), *w)
    };
    order.sort_by_key(place);
    let ends = |at: Instant| (settings.note_offs != NoteOffs::None).then_some(at + NOTE);
    let mut notes: Vec<Note> = Vec::new();
    for (port, &way) in order.iter().enumerate() {
        notes.extend(ways[way].hits.iter().map(|h| Note { at: h.at, ends: ends(h.at), port }));
    }
    send_notes(settings, &mut notes);
    let mut sent = notes.iter();
    for way in order {
        let way = &mut ways[way];
        for (hit, note) in way.hits.iter_mut().zip(&mut sent) {
            hit.at = note.at;
        }
        way.hits.sort_by_key(|h| h.at);
        way.past += 1;
    }
}
