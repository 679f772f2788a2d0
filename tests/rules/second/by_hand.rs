//! Results worked out by hand from the text of the design; the times in them are at 60 quarter notes a minute where
//! nothing else is said, so that a beat is a second.

use super::examples::late_bell;
use super::{at, gap_ms, late};
use crate::naive::rigs::{
    immediate, ms, next_clock, output, part, rig, sequencer, steps, straight, this_clock, us, with_phase, with_reset,
};
use hitgap::patch::{OnTie, ResetMode, Rig, Sequencer, Timing, Width};
use hitgap::time::{ExactPs, PS_PER_MS, Span};

/// What the first sequencer plays: milliseconds and step.
fn plays(rig: &Rig) -> Vec<(f64, usize)> {
    let outcome = at(60, rig);
    outcome.hits.iter().filter(|h| h.sequencer == 0).map(|h| (h.at as f64 / PS_PER_MS as f64, h.step)).collect()
}

/// What the first sequencer plays: the beat of the pulse and the due beat.
fn dues(rig: &Rig) -> Vec<(String, String)> {
    let outcome = at(60, rig);
    outcome.hits.iter().filter(|h| h.sequencer == 0).map(|h| (h.beat.to_string(), h.due.to_string())).collect()
}

/// One sequencer, a clock of one pulse a beat that is 100 ms wide, a reset once per 4 beats that is moved, at 60.
fn alone(pattern: &str, reset_shift: ExactPs, mode: ResetMode) -> Rig {
    let mut clock = output("clock", part(1, 1));
    clock.width = Width::Time(ms(100));
    let mut home = output("home", part(4, 1));
    home.shift = reset_shift;
    let wren = with_reset(sequencer("wren", straight(0), pattern), straight(1), mode);
    rig(part(6, 1), vec![clock, home], vec![], vec![wren], Some(1))
}

const PS: ExactPs = ExactPs::new_raw(1, 1);

#[test]
fn this_clock_takes_the_pulse_that_is_high() {
    let play = |shift| plays(&alone("xxxxxxx", shift, this_clock()));
    let whole_beats =
        |steps: [usize; 6]| steps.iter().enumerate().map(|(k, step)| (k as f64 * 1000.0, *step)).collect::<Vec<_>>();
    // "If it rises at `tr` itself, it plays step 1 and nothing else."
    assert_eq!(play(ms(0)), whole_beats([1, 2, 3, 4, 1, 2]));
    // "If that pulse has been played already as another step, step 1 is played at `tr`, and the wrong hit has sounded.
    // If it has been played as step 1, nothing happens." The first reset meets a step 1.
    let again = [(0.0, 1), (1000.0, 2), (2000.0, 3), (3000.0, 4), (4000.0, 5), (4010.0, 1), (5000.0, 2)];
    assert_eq!(play(ms(10)), again);
    // "(rise ≤ `tr` < fall)": a picosecond before the fall is high.
    assert_eq!(play(ms(100) - PS)[5].1, 1);
    // "If the clock input is low, the sequencer is armed." So it is at the fall.
    assert_eq!(play(ms(100)), whole_beats([1, 1, 2, 3, 4, 1]));
    // A picosecond early: the pulse at beat 4 is armed. (The first reset would rise before the start.)
    assert_eq!(play(-PS), whole_beats([1, 2, 3, 4, 1, 2]));
}

#[test]
fn a_second_reset_in_one_pulse_changes_nothing_for_this_clock() {
    let mut rig = alone("xxxxxxx", ms(10), this_clock());
    rig.outputs[1].timing = Timing::Rate { period: part(1, 50), phase: part(0, 1), swing: part(1, 2) };
    rig.end = part(3, 2);
    // Resets at 10, 30, 50, 70 and 90 ms of each pulse.
    assert_eq!(plays(&rig), [(0.0, 1), (1000.0, 1)]);
}

#[test]
fn next_clock_waits_for_the_setup_time() {
    let play = |shift, setup_time, on_tie| {
        plays(&alone("xxxxxxx", shift, ResetMode::NextClock { setup_time, on_tie }))
            .iter()
            .map(|(_, step)| *step)
            .collect::<Vec<_>>()
    };
    // Equal instants: "an ordinary step, unless `on-tie = "reset-first"` … and `setup-time` is 0".
    assert_eq!(play(ms(0), Span(0), OnTie::ClockFirst), [1, 1, 2, 3, 4, 1]);
    assert_eq!(play(ms(0), Span(0), OnTie::ResetFirst), [1, 2, 3, 4, 1, 2]);
    assert_eq!(play(ms(0), Span(1), OnTie::ResetFirst), [1, 1, 2, 3, 4, 1]);
    // "`tc > tr` and `tc − tr ≥ setup-time`": equal is enough, a picosecond less is not.
    assert_eq!(play(-ms(2), Span::from_ms(2), OnTie::ClockFirst), [1, 2, 3, 4, 1, 2]);
    assert_eq!(play(-ms(2) + PS, Span::from_ms(2), OnTie::ClockFirst), [1, 2, 3, 4, 5, 1]);
    assert_eq!(play(-PS, Span(0), OnTie::ClockFirst), [1, 2, 3, 4, 1, 2]);
}

#[test]
fn one_step_1_clears_all_pending_resets() {
    // Two resets a beat apart, both pending at the next clock, of which one is old enough.
    let mut rig =
        alone("xxxxxxx", ms(0), ResetMode::NextClock { setup_time: us(1_500_000), on_tie: OnTie::ClockFirst });
    rig.outputs[1].timing = Timing::Rate { period: part(1, 1), phase: part(0, 1), swing: part(1, 2) };
    // Resets at 0, 1, 2 … s. The one of 0 s has waited long enough at 2 s, where those of 0 and 1 s go; the one of 2 s
    // (read after the clock) at 4 s.
    assert_eq!(plays(&rig).iter().map(|(_, step)| *step).collect::<Vec<_>>(), [1, 2, 1, 2, 1, 2]);
}

#[test]
fn immediate_ignores_the_clock_for_a_while() {
    let play = |shift, holdoff| plays(&alone("xxxxxxx", shift, ResetMode::Immediate { holdoff }));
    let one = Span::from_ms(1);
    let steps = |plays: Vec<(f64, usize)>| plays.iter().map(|(_, step)| *step).collect::<Vec<_>>();
    // Equal instants: played by the reset, the rise ignored, even without any holdoff ("both ends included").
    assert_eq!(steps(play(ms(0), one)), [1, 2, 3, 4, 1, 2]);
    assert_eq!(steps(play(ms(0), Span(0))), [1, 2, 3, 4, 1, 2]);
    // A millisecond ahead: the far end is included too. One picosecond more is not.
    assert_eq!(play(-ms(1), one)[3..], [(3000.0, 4), (3999.0, 1), (5000.0, 2)]);
    assert_eq!(steps(play(-ms(1) - PS, one)), [1, 2, 3, 4, 1, 2, 3]);
    // Behind the clock: the wrong step sounds first.
    assert_eq!(play(ms(1), one)[4..], [(3000.0, 4), (4000.0, 5), (4001.0, 1), (5000.0, 2)]);
}

#[test]
fn immediate_heeds_no_reset_soon_after_step_1() {
    // Four steps, so that the clock plays step 1 at each reset's beat by itself.
    let play = |shift| plays(&alone("xxxx", shift, immediate()));
    // "A reset less than `holdoff` after step 1 was last played does nothing."
    assert_eq!(play(ms(1) - PS), [(0.0, 1), (1000.0, 2), (2000.0, 3), (3000.0, 4), (4000.0, 1), (5000.0, 2)]);
    assert_eq!(
        play(ms(1)),
        [(0.0, 1), (1.0, 1), (1000.0, 2), (2000.0, 3), (3000.0, 4), (4000.0, 1), (4001.0, 1), (5000.0, 2)]
    );
}

#[test]
fn ignored_resets_have_no_effect() {
    let rig = alone("xxxxxxx", ms(0), ResetMode::Ignored);
    assert_eq!(plays(&rig).iter().map(|(_, step)| *step).collect::<Vec<_>>(), [1, 2, 3, 4, 5, 6]);
    // At the second one, pulse 4 plays step 5: 4 − 4 − 4 = −4, and 3 by sevens.
    assert_eq!(late(&at(60, &rig), 0), [(0, 0), (1, 3)]);
}

#[test]
fn silence_resets() {
    let mut rig = alone("xxxxxxx", ms(0), ResetMode::Ignored);
    let mut play = |idle| {
        rig.sequencers[0].idle_reset = Some(idle);
        plays(&rig).iter().map(|(_, step)| *step).collect::<Vec<_>>()
    };
    assert_eq!(play(Span::from_ms(1000)), [1, 1, 1, 1, 1, 1]);
    assert_eq!(play(Span(1000 * PS_PER_MS + 1)), [1, 2, 3, 4, 5, 6]);

    // "after power-up or the last rise, ignored ones included": the rise at 4 s is ignored, and the one at 5 s comes
    // one second after it, not two after the one at 3 s.
    let mut rig = alone("xxxxxxx", -ms(1), immediate());
    rig.sequencers[0].idle_reset = Some(Span::from_ms(1500));
    assert_eq!(plays(&rig)[3..], [(3000.0, 4), (3999.0, 1), (5000.0, 2)]);
    // The first rise after a long wait from power-up.
    rig.outputs[0].shift = ms(1500);
    rig.sequencers[0].reset = None;
    rig.sequencers[0].power_up_step = 3;
    assert_eq!(plays(&rig)[..2], [(1500.0, 1), (2500.0, 2)]);
    rig.outputs[0].shift = ms(1500) - PS;
    assert_eq!(plays(&rig)[0].1, 3);
}

#[test]
fn a_pulse_before_the_start_keeps_its_number() {
    let mut rig = alone("xxxxxxx", ms(0), ResetMode::Ignored);
    rig.outputs[0] = with_phase(&output("clock", part(1, 1)), part(-1, 4));
    // Pulse 0 would rise at −250 ms; pulse 1 plays step 1 and stands one pulse late: it is due where pulse 0 was.
    assert_eq!(plays(&rig)[0], (750.0, 1));
    assert_eq!(dues(&rig)[0], ("1".to_owned(), "0".to_owned()));
    assert_eq!(at(60, &rig).accounts[0].pulses, 5);
    // Half a picosecond early is rounded to the start itself, and a little more is not: floor(exact + 1/2).
    rig.outputs[0] = output("clock", part(1, 1));
    rig.outputs[0].shift = ExactPs::new(-1, 2);
    assert_eq!(plays(&rig).len(), 6);
    rig.outputs[0].shift = ExactPs::new(-2, 3);
    assert_eq!(plays(&rig).len(), 5);
}

#[test]
fn nothing_is_sent_for_the_end_or_later() {
    let mut rig = alone("xxxxxxx", ms(0), ResetMode::Ignored);
    rig.end = part(5, 1);
    assert_eq!(plays(&rig).len(), 5);
    // Meant for a beat before the end, though it rises after it.
    rig.outputs[0] = with_phase(&rig.outputs[0], part(1, 2));
    rig.outputs[0].shift = ms(600);
    assert_eq!(plays(&rig).last(), Some(&(5100.0, 5)));
}

#[test]
fn swing_is_meant() {
    let mut rig = alone("xx", ms(0), this_clock());
    rig.outputs[0].timing = Timing::Rate { period: part(1, 2), phase: part(0, 1), swing: part(2, 3) };
    rig.end = part(2, 1);
    let third = 2.0 / 3.0 * 1000.0;
    let played = plays(&rig);
    assert!((played[1].0 - third).abs() < 1e-9 && (played[3].0 - third - 1000.0).abs() < 1e-9);
    let due: Vec<String> = dues(&rig).into_iter().map(|(_, due)| due).collect();
    assert_eq!(due, ["0", "2/3", "1", "5/3"]);
    // One pulse late at the start: due where pulse −1 is meant to be, at 2·(−1)·P + s·2P.
    rig.sequencers[0].reset = None;
    rig.sequencers[0].power_up_step = 2;
    assert_eq!(dues(&rig)[0], ("0".to_owned(), "-1/3".to_owned()));
    // One of three early: due where pulse 1 is meant to be.
    rig.sequencers[0].steps = steps("xxx");
    assert_eq!(dues(&rig)[0], ("0".to_owned(), "2/3".to_owned()));
}

#[test]
fn half_a_pattern_off_counts_as_late() {
    // "reduced modulo *n* to above −n/2 up to n/2": two steps of four are +2, never −2.
    let mut rig = alone("xxxx", ms(0), ResetMode::Ignored);
    rig.one = None;
    rig.sequencers[0].power_up_step = 3;
    assert_eq!(late(&at(60, &rig), 0), [(0, 2)]);
    rig.sequencers[0].power_up_step = 2;
    assert_eq!(late(&at(60, &rig), 0), [(0, -1)]);
    rig.sequencers[0].power_up_step = 4;
    assert_eq!(late(&at(60, &rig), 0), [(0, 1)]);
}

#[test]
fn a_step_1_from_a_reset_is_due_on_the_beat_of_the_reset() {
    // Immediate, 300 ms behind: step 1 sounds late, and belongs to the first pulse meant for beat 4 or later.
    let rig = alone("xxxxxxx", ms(300), immediate());
    let beat = |n: i32| n.to_string();
    let expected: Vec<_> = [0, 0, 1, 2, 3, 4, 4, 5].map(|n| (beat(n), beat(n))).to_vec();
    // At 4 s the clock plays step 5, due 4: 4 − 4 − 4 is −4, by sevens 3: due on pulse 1.
    let mut expected = expected;
    expected[5].1 = beat(1);
    assert_eq!(dues(&rig), expected);
}

#[test]
fn a_last_stretch_of_one_pulse_is_left_out() {
    let mut rig = alone("xxxxxxx", ms(0), next_clock());
    assert_eq!(late(&at(60, &rig), 0), [(0, 1), (1, 1)]);
    rig.end = part(5, 1);
    assert_eq!(late(&at(60, &rig), 0), [(0, 1)]);
    rig.end = part(1, 1);
    assert_eq!(late(&at(60, &rig), 0), [(0, 0)]);
}

#[test]
fn all_late_alike_agree() {
    // Pulse 0 would rise before the start, so that both begin with pulse 1.
    let early = with_phase(&output("early", part(2, 1)), part(-1, 100));
    let both = vec![sequencer("ox", straight(0), "xxxxxxxx"), sequencer("wren", straight(0), "xxxxxxxx")];
    let alike = rig(part(32, 1), vec![early], vec![], both, None);
    let outcome = at(50, &alike);
    assert!(outcome.accounts.iter().all(|a| a.last == Some(1) && !a.right && a.agrees) && outcome.passes);

    // Equal in pulses is not equal in beats.
    let mut mixed = late_bell();
    mixed.sequencers[0] = Sequencer { name: "ox".to_owned(), clock: straight(0), ..mixed.sequencers[1].clone() };
    let outcome = at(50, &mixed);
    assert_eq!((outcome.accounts[0].last, outcome.accounts[1].last), (Some(1), Some(1)));
    assert!(outcome.accounts.iter().all(|a| !a.agrees) && !outcome.passes);
}

#[test]
fn each_of_several_hits_on_one_due_beat_counts_with_each_of_the_other() {
    // Wren plays step 1 at 0 s and again at 2.4 s, both due on beat 0, and Ox plays there once.
    let outcome = at(50, &late_bell());
    let gaps = gap_ms(&outcome);
    assert_eq!((gaps.len(), gaps[0], gaps[1]), (16, 0.0, 2400.0));
    assert!(!outcome.passes);
}

#[test]
fn two_that_are_late_alike_pass() {
    // Two of Wren: each plays step 1 at 0 s and again at 2.4 s, all four due on beat 0, and always together.
    let mut twins = late_bell();
    twins.sequencers[0] = Sequencer { name: "ox".to_owned(), ..twins.sequencers[1].clone() };
    let outcome = at(50, &twins);
    assert!(outcome.accounts.iter().all(|a| !a.right && a.agrees));
    let gaps = gap_ms(&outcome);
    assert_eq!((gaps.len(), outcome.pairs[0].unpaired), (2 + 14, [0, 0]));
    assert!(gaps.iter().all(|gap| *gap == 0.0));
    assert!(outcome.passes && outcome.all_late_alike);
}

#[test]
fn polymetre_stands_for_itself() {
    // Seven against eight, nobody resets the seven: only the start counts for it.
    let mut rig = late_bell();
    rig.sequencers[0] = Sequencer { own_one: true, ..sequencer("ox", straight(1), "xxxxxxx") };
    rig.sequencers[1] = sequencer("wren", straight(1), "xxxxxxxx");
    let outcome = at(50, &rig);
    assert_eq!((late(&outcome, 0), late(&outcome, 1)), (vec![(0, 0)], vec![(0, 0), (1, 0)]));
    assert!(outcome.passes);
    rig.sequencers[0].own_one = false;
    assert_eq!(late(&at(50, &rig), 0), [(0, 0), (1, -1)]);
}

#[test]
fn who_never_plays_or_never_meets_does_not_pass() {
    let outputs = vec![output("beat", part(1, 1)), with_phase(&output("off", part(1, 1)), part(1, 2))];
    let one = rig(part(4, 1), outputs, vec![], vec![sequencer("ox", straight(0), "xx")], None);
    assert!(at(60, &one).passes);
    let silent = Rig { sequencers: vec![sequencer("ox", straight(0), "..")], ..one.clone() };
    assert!(!at(60, &silent).passes);
    let apart = |b| Rig {
        sequencers: vec![sequencer("ox", straight(0), "x."), sequencer("wren", straight(0), b)],
        ..one.clone()
    };
    assert!(!at(60, &apart(".x")).passes);
    assert!(at(60, &apart("xx")).passes);
}
