//! From a sequencer to the ear: the stages of its `out`, which act on hits and not on levels.
//!
//! A serial line is one queue for all who name it, so that hits of several sequencers meet there: each sequencer's hits
//! go on until they come to such a line, and once all who name it have come, it sends them together.

use super::stage::audio_buffer::AudioBuffer;
use super::stage::midi_cable::{Note, send_notes_through};
use super::stage::passing::{HitStage, Passing, through};
use super::stage::poll::Looks;
use super::stage::{Air, Delay, Jitter, Strike};
use super::{Later, Run, Track};
use crate::patch::{MidiCable, NoteOffs, Rig, Sequencer, StageKind};
use crate::time::{Instant, PS_PER_MS, Span};
use std::cmp::Reverse;
use std::collections::{BTreeMap, BinaryHeap};

/// How long a note is held, where its end travels too: common practice for a trigger, no source.
const NOTE: Span = Span(10 * PS_PER_MS);

/// The hits of one sequencer on their way.
struct Way<'a> {
    sequencer: &'a Sequencer,
    /// Its index among the sequencers of the rig.
    index: usize,
    /// Stages that are behind it.
    past: usize,
    hits: Vec<Passing>,
    lost: u64,
}

/// Sends the hits of every sequencer through its `out`; `later` is what the rig is later on.
pub(super) fn sequencers(rig: &Rig, later: &[Later], tracks: &mut [Track], run: Run) {
    let mut ways: Vec<Way<'_>> = Vec::new();
    for (index, sequencer) in rig.sequencers.iter().enumerate() {
        if later.iter().any(|l| l.rig.sequencers[index].out != sequencer.out) {
            replugged(rig, later, index, &mut tracks[index], run);
        } else if !sequencer.out.is_empty() {
            ways.push(Way { sequencer, index, past: 0, hits: begin(&tracks[index]), lost: 0 });
        }
    }
    loop {
        ways.iter_mut().for_each(|way| way.walk(rig, later, run));
        // The line that all who still have it before them have come to; where two lines are named in opposite orders
        // there is none, and one of them has to go first.
        let waiting =
            |line: usize| ways.iter().all(|w| !w.before().contains(&line) || w.before().first() == Some(&line));
        let lines: Vec<usize> = ways.iter().filter_map(|w| w.before().first().copied()).collect();
        let Some(line) = lines.iter().copied().find(|&line| waiting(line)).or(lines.first().copied()) else { break };
        let settings = |at: Instant| {
            let now = later.iter().rev().find(|l| l.at <= at).map_or(rig, |l| &l.rig);
            match &now.stages[line].kind {
                StageKind::MidiCable(settings) => settings,
                _ => unreachable!("who waits, waits for a serial line, and no stage changes its kind"),
            }
        };
        send(&settings, line, &mut ways);
    }
    for way in ways {
        arrive(&mut tracks[way.index], &way.hits, way.lost);
    }
}

/// Writes down when and how hits have come to the ear.
fn arrive(track: &mut Track, hits: &[Passing], lost: u64) {
    track.lost = lost;
    let arrived = |hit: &Passing| {
        let level_mdb = (hit.level_db * 1000.0).round() as i32;
        super::Sound { at: hit.at, velocity: hit.velocity, level_mdb, ..track.sounds[hit.index] }
    };
    track.sounds = hits.iter().map(arrived).collect();
}

/// Sends the hits of one sequencer, whose `out` is plugged anew in the piece, one after the other: each goes the whole
/// way that was plugged in when it left. A checked patch has no serial line on such a way.
fn replugged(rig: &Rig, later: &[Later], index: usize, track: &mut Track, run: Run) {
    let mut stages: BTreeMap<usize, Refitted<'_>> = BTreeMap::new();
    let out = |at: Instant| {
        let now = later.iter().rev().find(|l| l.at <= at).map_or(rig, |l| &l.rig);
        &now.sequencers[index].out
    };
    let mut hits: Vec<(Passing, &[usize])> =
        begin(track).into_iter().map(|hit| (hit, out(hit.at).as_slice())).collect();
    let mut turns: BinaryHeap<Reverse<(Instant, usize)>> =
        hits.iter().enumerate().map(|(n, (hit, _))| Reverse((hit.at, n))).collect();
    let (mut arrived, mut lost) = (Vec::new(), 0);
    while let Some(Reverse((_, n))) = turns.pop() {
        let (hit, way) = hits[n];
        let Some((&next, rest)) = way.split_first() else {
            arrived.push(hit);
            continue;
        };
        if !stages.contains_key(&next)
            && let Some(stage) = make(rig, later, next, &rig.sequencers[index], run)
        {
            stages.insert(next, stage);
        }
        match stages.get_mut(&next).map_or(Some(hit), |stage| stage.pass(hit)) {
            Some(passed) => {
                hits[n] = (passed, rest);
                turns.push(Reverse((passed.at, n)));
            }
            None => lost += 1,
        }
    }
    arrive(track, &arrived, lost);
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
    fn walk(&mut self, rig: &Rig, later: &[Later], run: Run) {
        let own = |stage: &&usize| !matches!(rig.stages[**stage].kind, StageKind::MidiCable(_));
        let stretch: Vec<usize> = self.before().iter().take_while(own).copied().collect();
        self.past += stretch.len();
        let mut stages: Vec<Refitted<'_>> =
            stretch.iter().filter_map(|&stage| make(rig, later, stage, self.sequencer, run)).collect();
        self.lost += through(&mut stages, &mut self.hits).iter().sum::<u64>();
    }
}

/// A stage, and what it is set to later on.
#[derive(Debug)]
struct Refitted<'a> {
    stage: Box<dyn HitStage + 'a>,
    /// In order of time.
    to_come: &'a [Later],
    index: usize,
    kind: &'a StageKind,
}

impl HitStage for Refitted<'_> {
    fn pass(&mut self, hit: Passing) -> Option<Passing> {
        while let Some((later, rest)) = self.to_come.split_first().filter(|(later, _)| later.at <= hit.at) {
            let kind = &later.rig.stages[self.index].kind;
            if kind != self.kind {
                self.stage.refit(kind, later.at);
            }
            (self.kind, self.to_come) = (kind, rest);
        }
        self.stage.pass(hit)
    }

    fn refit(&mut self, kind: &StageKind, at: Instant) {
        self.stage.refit(kind, at);
    }
}

fn make<'a>(rig: &'a Rig, later: &'a [Later], index: usize, sequencer: &Sequencer, run: Run) -> Option<Refitted<'a>> {
    let stage = &rig.stages[index];
    let device = run.chance(&format!("stage/{}", stage.name));
    let events = run.chance(&format!("stage/{}/{}", stage.name, sequencer.name));
    let made: Box<dyn HitStage> = match &stage.kind {
        StageKind::Delay(delay) => Box::new(Delay::new(delay, device)),
        StageKind::Jitter(jitter) => Box::new(Jitter::new(jitter, device, events)),
        StageKind::Air(air) => Box::new(Air::new(air, device)),
        StageKind::Strike(strike) => Box::new(Strike::new(strike, device, events)),
        StageKind::AudioBuffer(buffer) => Box::new(AudioBuffer::new(buffer, device)),
        StageKind::Poll(poll) => Box::new(Looks::new(poll, device)),
        _ => return None,
    };
    Some(Refitted { stage: made, to_come: later, index, kind: &stage.kind })
}

/// A loop that looks for hits sees one at its next look.
impl HitStage for Looks {
    fn pass(&mut self, hit: Passing) -> Option<Passing> {
        Some(Passing { at: self.at_or_after(hit.at), ..hit })
    }

    fn refit(&mut self, kind: &StageKind, at: Instant) {
        if let StageKind::Poll(settings) = kind {
            self.turn(settings, at);
        }
    }
}

/// Sends the hits of all who have come to a serial line down it. Of one instant they go in the order that the line
/// gives, then in that of the file.
fn send<'s>(settings: &impl Fn(Instant) -> &'s MidiCable, line: usize, ways: &mut [Way<'_>]) {
    let here = |w: &Way<'_>| w.before().first() == Some(&line);
    let order: Vec<usize> = (0..ways.len()).filter(|&w| here(&ways[w])).collect();
    let order_at = |at: Instant| {
        let place = |w: &usize| {
            let named = settings(at).order.iter().position(|name| *name == ways[*w].sequencer.name);
            (named.unwrap_or(usize::MAX), *w)
        };
        let mut order = order.clone();
        order.sort_by_key(place);
        order
    };
    let ends = |at: Instant| (settings(at).note_offs != NoteOffs::None).then_some(at + NOTE);
    let mut notes: Vec<Note> = Vec::new();
    // Each at its place in the order that holds when it comes.
    let (mut held, mut places): (Option<&MidiCable>, Vec<usize>) = (None, Vec::new());
    for &way in &order {
        for h in &ways[way].hits {
            let now = settings(h.at);
            if !held.is_some_and(|held| std::ptr::eq(held, now)) {
                (held, places) = (Some(now), order_at(h.at));
            }
            let port = places.iter().position(|w| *w == way).unwrap_or(0);
            notes.push(Note { at: h.at, ends: ends(h.at), port });
        }
    }
    send_notes_through(settings, &mut notes);
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
