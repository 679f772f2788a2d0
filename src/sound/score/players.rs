use super::cue_list::CueList;
use super::ensemble::Ensemble;
use super::passage::Passage;
use crate::hits::Hit;
use crate::patch::{Course, Meter, Path, Rig, Sequencer, Source, Step, Voice};
use crate::time::{Beat, Instant, Span};

/// A rig without a clock: players by name, each with the number of its voice, to whom hits are handed one by one.
#[must_use]
pub fn players(names: &[(&str, usize)], voices: Vec<Voice>) -> Rig {
    let sequencer = |&(name, voice): &(&str, usize)| {
        let clock = Path { source: Source::Output(0), stages: Vec::new() };
        Sequencer::new(name, clock, vec![Step::Accent], voice)
    };
    Rig {
        end: Meter { count: 4, unit: 4 }.bar(),
        outputs: Vec::new(),
        stages: Vec::new(),
        wires: Vec::new(),
        sequencers: names.iter().map(sequencer).collect(),
        takes: Vec::new(),
        voices,
        one: None,
        jitter: None,
        course: Course::default(),
    }
}

/// A hit at full velocity by one of a rig's players, due on a beat and heard at a time.
#[must_use]
pub fn stroke(rig: &Rig, player: usize, beat: Beat, at: Instant) -> Hit {
    let voice = rig.sequencers[player].voice;
    Hit { at, beat, due: beat, sequencer: player, step: 1, velocity: 127, level_mdb: 0, voice }
}

/// How long a file lasts after its only hit: a loudness meter hears nothing that is shorter than 0.4 s, and its short-term
/// reading takes 3 s (EBU Tech 3341).
const SOLO_END: Instant = Instant(Span::from_ms(3_000).0);

/// One hit by each player of a rig, at the clock's start, each in a file of its own. The rig is the ensemble's first.
#[must_use]
pub fn solos(rig: &Rig, ensemble: &Ensemble) -> Vec<Passage> {
    let solo = |player: usize| {
        let mut score = CueList::new(ensemble);
        score.add(0, rig, &stroke(rig, player, Beat::default(), Instant::START), Instant::START, 1.0);
        Passage { cues: score.finish(), end: SOLO_END, signposts: Vec::new() }
    };
    (0..rig.sequencers.len()).map(solo).collect()
}
