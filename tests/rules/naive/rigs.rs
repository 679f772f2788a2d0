//! Short ways to write a rig down in a test.

use hitgap::patch::{
    Delay, Noise, OnTie, Output, Path, Reset, ResetMode, Rig, Sequencer, Share, Source, Stage, StageKind, Step, Timing,
    Tolerance, Voice, Width,
};
use hitgap::time::{Beat, ExactPs, PS_PER_MS, PS_PER_US, Span};
use hitgap::voice::{Model, Settings, Sound};

/// A fraction.
pub(crate) fn part(numer: i128, denom: i128) -> Beat {
    Beat::new(numer, denom)
}

/// Milliseconds, exact.
pub(crate) fn ms(ms: i64) -> ExactPs {
    ExactPs::from_integer(i128::from(ms * PS_PER_MS))
}

/// Microseconds.
pub(crate) fn us(us: i64) -> Span {
    Span(us * PS_PER_US)
}

/// An output whose pulses last 5 ms.
pub(crate) fn output(name: &str, period: Beat) -> Output {
    Output {
        name: name.to_owned(),
        timing: Timing::Rate { period, phase: part(0, 1), swing: part(1, 2) },
        width: Width::Time(ms(5)),
        shift: ms(0),
    }
}

/// An output that pulses once.
pub(crate) fn start(name: &str) -> Output {
    Output { name: name.to_owned(), timing: Timing::Start, width: Width::Default, shift: ms(0) }
}

/// The same output with a phase.
pub(crate) fn with_phase(output: &Output, share: Share) -> Output {
    let mut output = output.clone();
    match &mut output.timing {
        Timing::Rate { phase, .. } => *phase = share,
        Timing::Start | Timing::Stop | Timing::Run => panic!("no period to have a phase in"),
    }
    output
}

/// A delay stage.
pub(crate) fn delay(name: &str, delay: Span) -> Stage {
    Stage { name: name.to_owned(), kind: StageKind::Delay(both_edges(delay)) }
}

/// What adds one time to rises and falls.
pub(crate) fn both_edges(delay: Span) -> Delay {
    Delay { rise: Tolerance::plain(delay), fall: Tolerance::plain(delay), swallows: Span::ZERO, one_shot: None }
}

/// A path without stages.
pub(crate) fn straight(output: usize) -> Path {
    Path { source: Source::Output(output), stages: Vec::new() }
}

/// Box notation.
pub(crate) fn steps(text: &str) -> Vec<Step> {
    let step = |c| match c {
        'x' => Step::Hit,
        'X' => Step::Accent,
        '.' => Step::Rest,
        _ => panic!("`{c}` is no step"),
    };
    text.chars().map(step).collect()
}

/// A sequencer without a reset.
pub(crate) fn sequencer(name: &str, clock: Path, pattern: &str) -> Sequencer {
    Sequencer::new(name, clock, steps(pattern), 0)
}

/// The same sequencer with a reset.
pub(crate) fn with_reset(sequencer: Sequencer, path: Path, mode: ResetMode) -> Sequencer {
    Sequencer { reset: Some(Reset { path, mode }), ..sequencer }
}

/// `next-clock` as it is when nothing more is said.
pub(crate) fn next_clock() -> ResetMode {
    ResetMode::NextClock { setup_time: Span::ZERO, on_tie: OnTie::ClockFirst }
}

/// `immediate` as it is when nothing more is said.
pub(crate) fn immediate() -> ResetMode {
    ResetMode::Immediate { holdoff: Span::from_ms(1) }
}

/// A rig of these.
pub(crate) fn rig(
    end: Beat,
    outputs: Vec<Output>,
    stages: Vec<Stage>,
    sequencers: Vec<Sequencer>,
    one: Option<usize>,
) -> Rig {
    let voice = Voice {
        name: "tap".to_owned(),
        sound: Sound::Drawn(Settings { model: Model::Click, values: Vec::new() }),
        level_db: 0.0,
        pan: 0.0,
        noise: Noise::Same,
    };
    Rig {
        end,
        outputs,
        stages,
        wires: Vec::new(),
        sequencers,
        takes: Vec::new(),
        voices: vec![voice],
        one,
        jitter: None,
        course: Default::default(),
    }
}

/// `this-clock` as it is when nothing more is said.
pub(crate) const fn this_clock() -> ResetMode {
    ResetMode::ThisClock { grace: None }
}
