//! The rules of the rig a second time: deliberately naive, slow and obvious, written from the text of the design alone.
//!
//! Each piece of code stands under the sentence that it carries out. Nothing here is shared with the program but the
//! plain data of a checked patch. Every number is a fraction until it is rounded, and every list is searched from its
//! beginning.

pub(crate) mod changing;
pub(crate) mod corners;
pub(crate) mod gaps;
mod inputs;
mod line;
pub(crate) mod one;
pub(crate) mod outputs;
pub(crate) mod random;
pub(crate) mod rigs;
pub(crate) mod sequencer;
pub(crate) mod signal;
pub(crate) mod stages;
pub(crate) mod turning;
pub(crate) mod whole;
pub(crate) mod wires;

use hitgap::patch::Rig;
use hitgap::time::Tempo;
use num_rational::Ratio;

/// An exact number: a beat, or a time in picoseconds before it is rounded. A test build stops where one would not fit.
pub(crate) type Exact = Ratio<i128>;

/// All that the rules say about one variant at one tempo.
#[derive(Debug)]
pub(crate) struct Outcome {
    /// In order of time, then of sequencer name, then of step.
    pub(crate) hits: Vec<Hit>,
    /// One a sequencer, in the order of the file.
    pub(crate) accounts: Vec<one::Account>,
    /// One a pair of sequencers, in the order of the file.
    pub(crate) pairs: Vec<gaps::Pair>,
    /// How many pulses the inputs of each sequencer did not see.
    pub(crate) unseen: Vec<usize>,
    /// How many pulses went into each stage and did not come out, over all its channels.
    pub(crate) missing: Vec<i128>,
    /// Whether the variant passes.
    pub(crate) passes: bool,
    /// Whether there is to be a warning that all are off, and all alike.
    pub(crate) all_late_alike: bool,
}

/// One sounding of a voice.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Hit {
    /// Picoseconds since the clock started.
    pub(crate) at: i64,
    /// The beat of its pulse.
    pub(crate) beat: Exact,
    /// The beat on which its step was due.
    pub(crate) due: Exact,
    /// Index into the rig's sequencers.
    pub(crate) sequencer: usize,
    /// From 1.
    pub(crate) step: usize,
    /// 100 or 127.
    pub(crate) velocity: u8,
}

/// Works everything out.
pub(crate) fn work_out(rig: &Rig, tempo: Tempo, max_gap_ps: i64) -> Outcome {
    let beats_of_the_one = one::beats_of_the_one(rig);
    let mut hits = Vec::new();
    let mut accounts = Vec::new();
    let wires = wires::Wires::of(rig, tempo);
    let rig = &wires.rig;
    for (index, sequencer) in rig.sequencers.iter().enumerate() {
        let sequencer::Played { plays, seen, .. } = &wires.played[index];
        // "`one = "own"` in a sequencer declares polymetre: for it only the start counts."
        let ones = if sequencer.own_one { turning::starts(rig) } else { beats_of_the_one.clone() };
        let account = one::account(rig, tempo, sequencer, seen, plays, &ones);
        for (play, offset) in plays.iter().zip(&account.offsets) {
            // "`sounds-on-reset`: whether a step that a reset plays sounds while the clock is stopped"
            let silent = play.by_reset && !sequencer.sounds_on_reset && turning::is_stopped(rig, tempo, play.at);
            if let Some(velocity) = sequencer.steps[play.step - 1].velocity().filter(|_| !silent) {
                hits.push(Hit {
                    // "A hit sounds at the event that caused it, plus `latency`", and "`offset` (a nudge, may be negative)".
                    at: play.at + sequencer.latency.0 + sequencer.offset.0,
                    beat: wires::beat_of(rig, &sequencer.clock, play.k),
                    // "The *due beat* of a hit is the beat on which its step was due, nearest to it: that of pulse
                    // `k − offset`."
                    due: wires::beat_of(rig, &sequencer.clock, play.k - offset),
                    sequencer: index,
                    step: play.step,
                    velocity,
                });
            }
        }
        accounts.push(account);
    }
    // "in order of time, then of sequencer name, then of step"
    hits.sort_by_key(|h| (h.at, rig.sequencers[h.sequencer].name.clone(), h.step));
    for (index, account) in accounts.iter_mut().enumerate() {
        let own = || hits.iter().filter(|h| h.sequencer == index);
        account.hits = own().count();
        // "Lateness is against the ideal time of the due beat."
        account.lateness = own().map(|h| h.at - outputs::rounded(outputs::lasts(tempo, h.due))).collect();
        account.lateness.sort_unstable();
    }
    let all_late_alike = one::decide_who_agrees(&mut accounts);
    let pairs = gaps::all_pairs(rig, &hits);
    let passes = gaps::passes(&accounts, &pairs, max_gap_ps);
    let unseen = wires.played.iter().map(|played| played.unseen).collect();
    Outcome { hits, accounts, pairs, unseen, missing: wires.went_missing(), passes, all_late_alike }
}
