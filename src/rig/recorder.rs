use super::{Counting, Move, Ones, Play, Settled, Sound, Timeline, Track};
use crate::patch::{ResetMode, Rig, Sequencer};
use crate::time::{Beat, Instant};

/// Writes down what a machine plays.
#[derive(Debug)]
pub(super) struct Recorder<'a> {
    sequencer: &'a Sequencer,
    ones: Ones<'a>,
    track: Track,
    /// Clock rises in the stretch of the last one.
    in_last_stretch: u32,
    first_reset: Option<Instant>,
    /// When the clock stops, starts again, stops …; empty where a reset sounds meanwhile too.
    switches: Vec<Instant>,
    all_switches: &'a [Beat],
    /// Nobody asks how its counting stands.
    only_sounds: bool,
}

/// The instants at which the clock is switched, the end of the piece among them if it runs until then.
fn instants(switches: &[Beat], end: Beat, clock: &Timeline) -> Vec<Instant> {
    let before = switches.iter().copied().take_while(|beat| *beat < end);
    let runs = before.clone().count() % 2 == 0;
    before.chain(runs.then_some(end)).map(|beat| clock.ideal_of(beat)).collect()
}

impl<'a> Recorder<'a> {
    pub(super) fn new(
        rig: &'a Rig,
        sequencer: &'a Sequencer,
        timelines: &'a [Timeline],
        counting: &'a Counting,
    ) -> Self {
        let ones = Ones::new(rig, sequencer, timelines, counting);
        let silent = !sequencer.sounds_on_reset;
        let clock = &timelines[rig.origin(&sequencer.clock)];
        let switches = if silent { instants(&rig.course.switches, rig.end, clock) } else { Vec::new() };
        Self {
            sequencer,
            ones,
            track: Track::default(),
            in_last_stretch: 0,
            first_reset: None,
            switches,
            all_switches: &rig.course.switches,
            only_sounds: false,
        }
    }

    /// Writes down only what sounds from here on.
    pub(super) fn only_sounds(&mut self) {
        self.only_sounds = true;
    }

    /// Gives away what has sounded since the last time.
    pub(super) fn hand_over(&mut self, sounds: &mut Vec<Sound>) {
        sounds.append(&mut self.track.sounds);
    }

    /// The sequencer is set anew: from here on its plays are held against its new pattern and its new clock.
    pub(super) fn refit(
        &mut self,
        rig: &Rig,
        sequencer: &'a Sequencer,
        timelines: &'a [Timeline],
        counting: &'a Counting,
    ) {
        if sequencer == self.sequencer && self.ones.counts(counting) {
            return;
        }
        let settled = self.ones.last();
        self.ones = Ones::new(rig, sequencer, timelines, counting);
        debug_assert_eq!(self.ones.last(), settled, "the ones are those of the whole piece");
        if sequencer.sounds_on_reset != self.sequencer.sounds_on_reset {
            let clock = &timelines[rig.origin(&sequencer.clock)];
            let all = || instants(self.all_switches, rig.end, clock);
            self.switches = if sequencer.sounds_on_reset { Vec::new() } else { all() };
        }
        self.sequencer = sequencer;
    }

    pub(super) fn rise(&mut self, number: i64) {
        self.track.pulses += 1;
        if self.ones.of(number).0 == self.ones.last() {
            self.in_last_stretch = self.in_last_stretch.saturating_add(1);
        }
    }

    /// The reset input rises.
    pub(super) fn reset(&mut self, at: Instant) {
        let obeyed = self.sequencer.reset.as_ref().is_some_and(|r| r.mode != ResetMode::Ignored);
        self.first_reset = self.first_reset.or(obeyed.then_some(at));
    }

    /// Writes down what a reset plays by itself: without a sound where the clock is stopped and the sequencer is so set.
    pub(super) fn note_of_reset(&mut self, play: Option<Play>) {
        // Switched an odd number of times, the clock stands.
        let stopped = play.is_some_and(|p| self.switches.partition_point(|s| *s <= p.at) % 2 == 1);
        let before = self.track.sounds.len();
        self.note(play);
        if stopped {
            self.track.sounds.truncate(before);
        }
    }

    /// Writes a play down, and where the counting stands.
    pub(super) fn note(&mut self, play: Option<Play>) {
        let Some(Play { at, pulse, step }) = play else { return };
        if self.track.reset_acted.is_none() && self.first_reset.is_some() {
            self.track.reset_acted = Some(at);
        }
        let (one, pulses_late) = self.ones.offset(pulse, step);
        if !self.only_sounds {
            self.stands(at, pulse, Settled { one, pulses_late });
        }
        if let Some(velocity) = self.sequencer.steps[step].velocity() {
            self.track.sounds.push(Sound {
                at: at + self.sequencer.latency + self.sequencer.offset,
                pulse,
                due: pulse - pulses_late,
                step: u16::try_from(step + 1).unwrap_or(u16::MAX),
                velocity,
                level_mdb: 0,
            });
        }
    }

    /// Writes down where the counting stands.
    fn stands(&mut self, at: Instant, pulse: i64, settled: Settled) {
        self.settle(settled);
        let pulses_late = settled.pulses_late;
        let moves = &mut self.track.moves;
        if moves.last().map_or(0, |last| last.pulses_late) != pulses_late {
            // What stood only for a moment, between two events of one pulse, did not stand.
            if moves.last().is_some_and(|last| last.pulse == pulse) {
                moves.pop();
            }
            if moves.last().map_or(0, |last| last.pulses_late) != pulses_late {
                moves.push(Move { at, pulse, pulses_late });
            }
        }
    }

    /// The last play of a stretch is the one that counts. A reset that runs ahead of a late clock can make stretches
    /// overlap by a pulse or two, hence the look back.
    fn settle(&mut self, new: Settled) {
        match self.track.settled.iter_mut().rev().take_while(|s| s.one >= new.one).find(|s| s.one == new.one) {
            Some(old) => old.pulses_late = new.pulses_late,
            None => {
                let place = self.track.settled.partition_point(|s| s.one < new.one);
                self.track.settled.insert(place, new);
            }
        }
    }

    pub(super) fn close(mut self) -> Track {
        let sounds = &mut self.track.sounds;
        if !sounds.is_sorted_by_key(|s| s.at) {
            // What is set to come sooner may come before what was on its way.
            sounds.sort_by_key(|s| s.at);
        }
        let settled = &mut self.track.settled;
        let cut_short = settled.last().is_some_and(|s| s.one == self.ones.last()) && self.in_last_stretch < 2;
        if cut_short && settled.len() > 1 {
            settled.pop();
        }
        self.track
    }
}
