//! Which corners of the rules a rig comes to, so that a test can see that random rigs come to all of them.

use super::outputs::beats_before_the_end;
use super::signal::Pulse;
use super::wires::Wires;
use super::{Outcome, outputs};
use hitgap::patch::{OnTie, ResetMode, Rig};
use hitgap::time::Tempo;
use std::collections::BTreeMap;

/// Counts the rigs that come to each corner.
#[derive(Debug, Default)]
pub(crate) struct Corners(pub(crate) BTreeMap<&'static str, usize>);

impl Corners {
    /// Every corner that is looked for.
    pub(crate) const ALL: [&'static str; 19] = [
        "a gap of nought",
        "a gap of one picosecond",
        "a pulse before the start",
        "a step 1 from a reset",
        "all agree and one is off",
        "due before beat 0",
        "holdoff ends at a clock rise",
        "idle by just enough",
        "immediate: clock and reset at once",
        "next-clock: clock and reset at once, clock first",
        "next-clock: clock and reset at once, reset first",
        "one is right and one is not",
        "passes",
        "pulses that touch",
        "setup time just met",
        "several hits on one due beat",
        "this-clock: clock and reset at once",
        "this-clock: the reset at the fall",
        "two with hits and no gap",
    ];

    fn note(&mut self, corner: &'static str, there: bool) {
        assert!(Self::ALL.contains(&corner), "{corner}");
        if there {
            *self.0.entry(corner).or_default() += 1;
        }
    }

    /// Looks a rig over.
    pub(crate) fn look(&mut self, rig: &Rig, tempo: Tempo, outcome: &Outcome) {
        let gap_of = |size: i64| outcome.pairs.iter().flat_map(|p| &p.gaps).any(|gap| gap.abs() == size);
        self.note("a gap of nought", gap_of(0));
        self.note("a gap of one picosecond", gap_of(1));
        self.note("passes", outcome.passes && outcome.pairs.len() > 1);
        let right = |is: bool| outcome.accounts.iter().any(|a| a.hits > 0 && a.right == is);
        self.note("one is right and one is not", right(true) && right(false));
        self.note("all agree and one is off", right(false) && outcome.accounts.iter().all(|a| a.agrees));
        let apart = outcome.pairs.iter().any(|p| p.gaps.is_empty() && p.unpaired[0].min(p.unpaired[1]) > 0);
        self.note("two with hits and no gap", apart);
        self.note("due before beat 0", outcome.hits.iter().any(|hit| hit.due < super::Exact::from_integer(0)));
        let twice =
            |a: &super::Hit| outcome.hits.iter().filter(|b| a.due == b.due && a.sequencer == b.sequencer).count() > 1;
        self.note("several hits on one due beat", outcome.hits.iter().any(twice));

        for output in 0..rig.outputs.len() {
            let sent = outputs::sent(rig, output, tempo);
            let early = sent.first().is_none_or(|pulse| pulse.k > 0);
            self.note("a pulse before the start", early);
            let meant = beats_before_the_end(rig, output).len();
            let first = sent.first().map_or(0, |pulse| pulse.k as usize);
            self.note("pulses that touch", !sent.is_empty() && sent.len() < meant - first);
        }
        let wires = Wires::of(rig, tempo);
        for sequencer in &rig.sequencers {
            let clock = wires.path(&sequencer.clock);
            if let Some(idle) = sequencer.idle_reset {
                let just = clock.windows(2).any(|two| two[1].rise - two[0].rise == idle.0);
                self.note("idle by just enough", just);
            }
            if let Some(reset) = &sequencer.reset {
                self.look_at_a_reset(&clock, &wires.path(&reset.path), &reset.mode);
            }
        }
        for (index, account) in outcome.accounts.iter().enumerate() {
            let immediate = rig.sequencers[index].reset.as_ref();
            let immediate = immediate.is_some_and(|r| matches!(r.mode, ResetMode::Immediate { .. }));
            self.note("a step 1 from a reset", immediate && account.offsets.len() > account.pulses);
        }
    }

    fn look_at_a_reset(&mut self, clock: &[Pulse], resets: &[Pulse], mode: &ResetMode) {
        let meet = |by: i64| clock.iter().any(|c| c.rise > 0 && resets.iter().any(|r| c.rise - r.rise == by));
        match mode {
            ResetMode::ThisClock { .. } => {
                self.note("this-clock: clock and reset at once", meet(0));
                let at_fall = clock.iter().any(|c| resets.iter().any(|r| c.fall == r.rise));
                self.note("this-clock: the reset at the fall", at_fall);
            }
            ResetMode::NextClock { setup_time, on_tie } => {
                match on_tie {
                    OnTie::ClockFirst => self.note("next-clock: clock and reset at once, clock first", meet(0)),
                    OnTie::ResetFirst => {
                        self.note("next-clock: clock and reset at once, reset first", meet(0) && setup_time.0 == 0);
                    }
                }
                self.note("setup time just met", setup_time.0 > 0 && meet(setup_time.0));
            }
            ResetMode::Immediate { holdoff } => {
                self.note("immediate: clock and reset at once", meet(0));
                self.note("holdoff ends at a clock rise", holdoff.0 > 0 && meet(holdoff.0));
            }
            ResetMode::Held | ResetMode::Sampled { .. } | ResetMode::Ignored => {}
        }
    }
}
