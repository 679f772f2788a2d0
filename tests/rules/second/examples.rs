//! The examples of the design, with the figures that it gives of them.

use super::{at, gap_ms, late, spread_of};
use crate::naive::rigs::{
    delay, next_clock, output, part, rig, sequencer, start, straight, this_clock, us, with_phase, with_reset,
};
use hitgap::patch::{Rig, Sequencer};

/// The first example of the design: Ox takes the pulse that is high, Wren waits for the next.
pub(crate) fn late_bell() -> Rig {
    rig(
        part(32, 1),
        vec![
            output("sixteenths", part(1, 4)),
            output("slow", part(2, 1)),
            output("home", part(16, 1)),
            with_phase(&output("later", part(2, 1)), part(1, 100)),
        ],
        vec![delay("or-gate", us(40))],
        vec![
            with_reset(sequencer("ox", straight(0), "X...x...x...x..."), straight(2), this_clock()),
            with_reset(sequencer("wren", straight(1), "Xxxxxxxx"), straight(2), next_clock()),
        ],
        Some(2),
    )
}

/// Section 8's JSON example: 16 pulses, 16 hits, paired 16, unpaired [17, 0], 0, 2400 and 2400 ms.
#[test]
fn late_bell_is_two_beats_late() {
    let outcome = at(50, &late_bell());
    let wren = &outcome.accounts[1];
    assert_eq!((wren.pulses, wren.hits, wren.worst, wren.last, wren.agrees), (16, 16, Some(1), Some(1), false));
    let ox = &outcome.accounts[0];
    assert_eq!((ox.pulses, ox.hits, ox.worst, ox.last, ox.agrees), (128, 32, Some(0), Some(0), true));
    let pair = &outcome.pairs[0];
    assert_eq!((pair.gaps.len(), pair.unpaired), (16, [17, 0]));
    let gaps = gap_ms(&outcome);
    assert_eq!((gaps[0], gaps[1], gaps[15]), (0.0, 2400.0, 2400.0));
    assert_eq!(spread_of(&pair.gaps), Some((0, 2 * 2_400_000_000_000, 2_400_000_000_000)));
    assert!(!outcome.passes);
}

/// Section 5: "the phase fix puts it right and flams (24, 15, 10, 7.5 ms at the four tempos)".
#[test]
fn a_phase_step_mends_the_late_bell_and_flams() {
    let mut fixed = late_bell();
    fixed.sequencers[1].clock = straight(3);
    for (bpm, size) in [(50, 24.0), (80, 15.0), (120, 10.0), (160, 7.5)] {
        let outcome = at(bpm, &fixed);
        assert_eq!(gap_ms(&outcome), vec![size; 16], "at {bpm}");
        assert!(outcome.accounts.iter().all(|a| a.right && a.agrees));
        assert!(!outcome.passes);
    }
}

/// Section 5: "the gate puts it right to 0.04 ms at any tempo".
#[test]
fn a_gate_mends_the_late_bell_at_any_tempo() {
    let mut fixed = late_bell();
    fixed.sequencers[1].clock.stages = vec![0];
    for bpm in [1, 50, 80, 120, 160, 1000] {
        let outcome = at(bpm, &fixed);
        assert_eq!(gap_ms(&outcome), vec![0.04; 16], "at {bpm}");
        assert!(outcome.accounts.iter().all(|a| a.right && a.agrees));
        assert!(outcome.passes);
    }
}

/// Section 10: "2.5, 2, 1.25, 0.94 ms at 60, 75, 120, 160".
#[test]
fn on_sixteenths_the_same_phase_is_a_sliver() {
    let mut fixed = late_bell();
    fixed.outputs[3] = with_phase(&output("later", part(1, 4)), part(1, 100));
    fixed.sequencers[1] = with_reset(sequencer("wren", straight(3), "X...x...x...x..."), straight(2), next_clock());
    for (bpm, size, passes) in [(60, 2.5, false), (75, 2.0, true), (120, 1.25, true), (160, 0.9375, true)] {
        let outcome = at(bpm, &fixed);
        assert_eq!(gap_ms(&outcome), vec![size; 32], "at {bpm}");
        assert!(outcome.accounts.iter().all(|a| a.right));
        assert_eq!(outcome.passes, passes, "at {bpm}");
    }
}

/// Section 10: Moth "wakes on step 7" and the phrase stays turned round until `run` is wired to a reset.
#[test]
fn moth_wakes_on_seven() {
    let moth = Sequencer { power_up_step: 7, ..sequencer("moth", straight(0), "x.x.x.x.x.x.x.X.") };
    let mut rig = rig(
        part(16, 1),
        vec![output("sixteenths", part(1, 4)), start("run")],
        vec![],
        vec![moth.clone(), sequencer("ox", straight(0), "x...x...x...x...")],
        None,
    );
    let outcome = at(120, &rig);
    assert_eq!(outcome.hits[0].step, 7);
    assert_eq!((late(&outcome, 0), late(&outcome, 1)), (vec![(0, -6)], vec![(0, 0)]));
    assert!(!outcome.accounts[0].agrees && outcome.accounts[1].agrees && !outcome.passes);
    // Six sixteenths early: Ox sounds 750 ms later at 120.
    assert!(gap_ms(&outcome).iter().all(|gap| *gap == 750.0));

    rig.sequencers[0] = with_reset(moth, straight(1), this_clock());
    let outcome = at(120, &rig);
    assert_eq!(outcome.hits[0].step, 1);
    assert!(gap_ms(&outcome).iter().all(|gap| *gap == 0.0) && outcome.passes);
}
