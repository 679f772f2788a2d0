//! Boxes, stages and chains: results worked out by hand, at 60 quarter notes a minute, so that a beat is a second.

use super::both;
use crate::naive::rigs::{
    both_edges, immediate, ms, next_clock, output, part, rig, sequencer, start, straight, this_clock, with_reset,
};
use hitgap::patch::{
    Delay, Divide, Does, FiresOn, Logic, MidiCable, Multiply, NoteOffs, Output, Path, Poll, Reads, ResetMode, Rig,
    Sequencer, Source, Stage, StageKind, Tap, Timing, Tolerance, Width, Wire,
};
use hitgap::time::{PS_PER_MS, Span, Tempo};

/// What a sequencer plays: milliseconds and step.
fn plays(rig: &Rig, index: usize) -> Vec<(f64, usize)> {
    let outcome = both(rig, Tempo::whole(60), Span::from_ms(2));
    let own = outcome.hits.iter().filter(|h| h.sequencer == index);
    own.map(|h| (h.at as f64 / PS_PER_MS as f64, h.step)).collect()
}

/// A pulse of 100 ms a beat for six beats, a reset of 5 ms a bar, and one box.
fn one_box(mode: Option<ResetMode>) -> Rig {
    let mut clock = output("clock", part(1, 1));
    clock.width = Width::Time(ms(100));
    let it = sequencer("wren", straight(0), "xxxxxxx");
    let it = match mode {
        Some(mode) => with_reset(it, straight(1), mode),
        None => it,
    };
    rig(part(6, 1), vec![clock, output("home", part(4, 1))], vec![], vec![it], None)
}

fn stage(kind: StageKind) -> Stage {
    Stage { name: "stage".to_owned(), kind }
}

fn not(delay: Span) -> StageKind {
    StageKind::Logic(Logic { does: Does::Not, with: None, delay: Tolerance::plain(delay), swallows: Span::ZERO })
}

#[test]
fn a_polled_input_misses_what_is_between_two_looks() {
    let mut rig = one_box(None);
    // Looks every 400 ms: at 0, 400, 800, 1200, 1600 and 2000 ms. A pulse of 1 ms at 1 s is over by the next one.
    rig.outputs[0].width = Width::Time(ms(1));
    let (period, phase) = (Span::from_ms(400), Some(Span::ZERO));
    rig.stages = vec![stage(StageKind::Poll(Poll { period, phase, drift: 0.0, reads: Reads::Level, samples: 1 }))];
    rig.sequencers[0].poll = Some(0);
    assert_eq!(plays(&rig, 0), [(0.0, 1), (2000.0, 2), (4000.0, 3)]);
}

#[test]
fn a_pulse_just_long_enough_is_seen_when_it_is() {
    let mut rig = one_box(None);
    rig.sequencers[0].min_high = Span::from_ms(100);
    assert_eq!(plays(&rig, 0)[..2], [(100.0, 1), (1100.0, 2)]);
    rig.sequencers[0].min_high = Span(100 * PS_PER_MS + 1);
    assert_eq!(plays(&rig, 0), []);
}

#[test]
fn thru_is_the_wire_itself() {
    let mut rig = one_box(None);
    rig.sequencers[0].gathers = Span::from_ms(10);
    let thru = Path { source: Source::Sequencer { index: 0, tap: Tap::Thru }, stages: vec![] };
    rig.sequencers.push(sequencer("moth", thru, "xxxxxxx"));
    assert_eq!(plays(&rig, 0)[..2], [(10.0, 1), (1010.0, 2)]);
    assert_eq!(plays(&rig, 1)[..2], [(0.0, 1), (1000.0, 2)]);
}

#[test]
fn levels_settle_through_a_wire_and_two_gates() {
    let mut rig = one_box(None);
    rig.stages = vec![stage(not(Span::from_ms(1)))];
    rig.wires = vec![Wire { name: "point".to_owned(), path: Path { source: Source::Output(0), stages: vec![0] } }];
    rig.sequencers[0].clock = Path { source: Source::Wire(0), stages: vec![0] };
    assert_eq!(plays(&rig, 0)[..2], [(2.0, 1), (1002.0, 2)]);
}

#[test]
fn pulses_that_touch_behind_a_slow_fall_are_one() {
    let mut rig = one_box(None);
    let kind = |fall| {
        let (rise, fall) = (Tolerance::plain(Span::ZERO), Tolerance::plain(Span(fall)));
        StageKind::Delay(Delay { rise, fall, swallows: Span::ZERO, one_shot: None })
    };
    rig.sequencers[0].clock.stages = vec![0];
    // The first falls at 1 s, where the second rises; a picosecond less leaves a gap.
    rig.stages = vec![stage(kind(900 * PS_PER_MS))];
    assert_eq!(plays(&rig, 0), [(0.0, 1)]);
    rig.stages = vec![stage(kind(900 * PS_PER_MS - 1))];
    assert_eq!(plays(&rig, 0).len(), 6);
}

#[test]
fn a_reset_that_is_high_from_before_the_start_holds() {
    let mut rig = one_box(Some(ResetMode::Held));
    // Behind the `not` high until 1.5 s and again from 4.5 s.
    let mut run = start("run");
    (run.shift, run.width) = (ms(1500), Width::Time(ms(3000)));
    rig.outputs[1] = run;
    rig.stages = vec![stage(not(Span::ZERO))];
    rig.sequencers[0].reset =
        Some(hitgap::patch::Reset { path: Path { source: Source::Output(1), stages: vec![0] }, mode: ResetMode::Held });
    assert_eq!(plays(&rig, 0), [(2000.0, 1), (3000.0, 2), (4000.0, 3), (4500.0, 1)]);
}

#[test]
fn a_gathered_reset_that_has_ended_holds_nothing() {
    let mut rig = one_box(Some(ResetMode::Held));
    rig.sequencers[0].gathers = Span::from_ms(10);
    // Reset and clock rise at 0, the reset falls at 5 ms; all is handled at 10 ms, the reset first.
    let played = [(10.0, 1), (10.0, 2), (1010.0, 3), (2010.0, 4), (3010.0, 5), (4010.0, 1), (4010.0, 2), (5010.0, 3)];
    assert_eq!(plays(&rig, 0), played);
}

#[test]
fn a_divider_behind_a_multiplier_keeps_the_beats() {
    let mut rig = one_box(None);
    let divide = Divide { by: 2, fires_on: FiresOn::First, reset: None, power_up: 0 };
    rig.stages = vec![stage(StageKind::Multiply(Multiply { by: 3 })), stage(StageKind::Divide(divide))];
    rig.sequencers[0].clock.stages = vec![0, 1];
    // Thirds of a beat from beat 1 on, and every second of them.
    let outcome = both(&rig, Tempo::whole(60), Span::from_ms(2));
    let beats: Vec<_> = outcome.hits.iter().map(|h| h.beat).collect();
    assert_eq!(beats[..4], [part(1, 1), part(5, 3), part(7, 3), part(3, 1)]);
}

#[test]
fn six_pulses_make_a_step() {
    let delayed = |pulses_per_step| {
        let mut rig =
            one_box(Some(ResetMode::NextClock { setup_time: Span::ZERO, on_tie: hitgap::patch::OnTie::ClockFirst }));
        // The reset of beat 4 comes 40 ms before it, and the one of beat 0 is before the start.
        rig.stages = vec![stage(StageKind::Delay(both_edges(Span::from_ms(40))))];
        rig.sequencers[0] = Sequencer { pulses_per_step, ..rig.sequencers[0].clone() };
        rig.sequencers[0].clock.stages = vec![0];
        rig
    };
    // Pulses 0 to 5: a step every three, and again from the reset.
    assert_eq!(plays(&delayed(3), 0), [(40.0, 1), (3040.0, 2), (4040.0, 1)]);
    let mut goes_on = delayed(3);
    goes_on.sequencers[0].reset_clears_count = false;
    // Pulse 4 plays step 1 all the same, and pulse 6 would be the next step.
    assert_eq!(plays(&goes_on, 0), [(40.0, 1), (3040.0, 2), (4040.0, 1)]);
    goes_on.end = part(8, 1);
    assert_eq!(plays(&goes_on, 0)[3], (6040.0, 2));
    let mut cleared = delayed(3);
    cleared.end = part(8, 1);
    assert_eq!(plays(&cleared, 0)[3], (7040.0, 2));
}

#[test]
fn a_filter_as_long_as_its_delay_lets_touching_pulses_touch() {
    // A rise counts once it has been high for 5 ms, and leaves 5 ms late: at the very instant at which it counts. The fall of
    // the pulse before leaves then too, 905 ms after 100 ms. "Pulses that touch are one", so that the box sees the clock
    // rise once and stay high; it would be wrong to see a fall and a rise at 1005 ms. A picosecond less is a gap.
    let mut rig = one_box(None);
    let kind = |fall| {
        let (rise, fall) = (Tolerance::plain(Span::from_ms(5)), Tolerance::plain(Span(fall)));
        StageKind::Delay(Delay { rise, fall, swallows: Span::from_ms(5), one_shot: None })
    };
    rig.sequencers[0].clock.stages = vec![0];
    rig.stages = vec![stage(kind(905 * PS_PER_MS))];
    assert_eq!(plays(&rig, 0), [(5.0, 1)]);
    rig.stages = vec![stage(kind(905 * PS_PER_MS - 1))];
    assert_eq!(plays(&rig, 0)[..3], [(5.0, 1), (1005.0, 2), (2005.0, 3)]);
}

#[test]
fn a_filter_as_long_as_its_delay_is_heard_with_all_else_of_its_instant() {
    // The clock's own pulse comes at 1000 ms, and the reset, sent at 995 ms, counts and leaves then too. The box reads a
    // reset of its own instant before the clock, whatever the two have passed: pulse 1 is step 1.
    let mut rig = one_box(Some(ResetMode::ThisClock { grace: None }));
    let mut early = start("early");
    (early.shift, early.width) = (ms(995), Width::Time(ms(20)));
    rig.outputs[1] = early;
    let five = Tolerance::plain(Span::from_ms(5));
    let filter = Delay { rise: five, fall: five, swallows: Span::from_ms(5), one_shot: None };
    rig.stages = vec![stage(StageKind::Delay(filter))];
    rig.sequencers[0].reset.as_mut().expect("one").path.stages = vec![0];
    assert_eq!(plays(&rig, 0)[..3], [(0.0, 1), (1000.0, 1), (2000.0, 2)]);
}

#[test]
fn a_debouncer_tells_a_box_with_all_else_of_its_instant() {
    // Looks at 0, 250, 500, 750 and 1000 ms: a reset from 700 ms on is seen by those at 750 and 1000, and counts at 1000.
    let mut rig = one_box(Some(ResetMode::ThisClock { grace: None }));
    let mut early = start("early");
    (early.shift, early.width) = (ms(700), Width::Time(ms(600)));
    rig.outputs[1] = early;
    let (period, phase) = (Span::from_ms(250), Some(Span::ZERO));
    rig.stages = vec![stage(StageKind::Poll(Poll { period, phase, drift: 0.0, reads: Reads::Level, samples: 2 }))];
    rig.sequencers[0].reset.as_mut().expect("one").path.stages = vec![0];
    assert_eq!(plays(&rig, 0)[..3], [(0.0, 1), (1000.0, 1), (2000.0, 2)]);
}

#[test]
fn a_flag_passes_short_pulses_on_and_their_falls_before_a_later_look() {
    // Looks every 400 ms. Pulses of 1 ms rise at 0, 1000, 2000, ... and are seen at 0, 1200, 2000, 3200, 4000 and 5200 ms.
    let mut rig = one_box(None);
    rig.outputs[0].width = Width::Time(ms(1));
    let (period, phase) = (Span::from_ms(400), Some(Span::ZERO));
    rig.stages = vec![stage(StageKind::Poll(Poll { period, phase, drift: 0.0, reads: Reads::Latched, samples: 1 }))];
    rig.sequencers[0].poll = Some(0);
    let seen = [0.0, 1200.0, 2000.0, 3200.0, 4000.0, 5200.0];
    assert_eq!(plays(&rig, 0), (1..).zip(seen).map(|(step, at)| (at, step)).collect::<Vec<_>>());
    // A box that counts falls hears each a picosecond before the look after that.
    rig.sequencers[0].clock_edge = hitgap::patch::EdgeKind::Fall;
    let falls = [399.999_999_999, 1_599.999_999_999, 2_399.999_999_999];
    assert_eq!(plays(&rig, 0)[..3], [(falls[0], 1), (falls[1], 2), (falls[2], 3)]);
}

#[test]
fn run_and_stop_are_shifted() {
    // The piece ends at 6 s.
    let mut rig = one_box(None);
    let mut run = start("run");
    (run.timing, run.shift) = (hitgap::patch::Timing::Run, ms(20));
    rig.outputs[0] = run.clone();
    assert_eq!(plays(&rig, 0), [(20.0, 1)]);
    rig.sequencers[0].clock_edge = hitgap::patch::EdgeKind::Fall;
    assert_eq!(plays(&rig, 0), [(6020.0, 1)]);
    (run.timing, run.width) = (hitgap::patch::Timing::Stop, Width::Time(ms(3)));
    rig.outputs[0] = run;
    assert_eq!(plays(&rig, 0), [(6023.0, 1)]);
    rig.sequencers[0].clock_edge = hitgap::patch::EdgeKind::Rise;
    assert_eq!(plays(&rig, 0), [(6020.0, 1)]);
}

/// A serial box as it is wired everywhere: 24 clock bytes a beat and the start down one cable, for two beats.
fn serial_box(mode: ResetMode, timing: Timing, lead: Span) -> Rig {
    let line = MidiCable {
        running_status: false,
        note_offs: NoteOffs::None,
        start_lead: lead,
        song_position: false,
        order: Vec::new(),
    };
    let down = |output| Path { source: Source::Output(output), stages: vec![0] };
    let it = Sequencer { pulses_per_step: 6, ..with_reset(sequencer("moth", down(0), "xxxx"), down(1), mode) };
    let run = Output { timing, ..start("run") };
    rig(part(2, 1), vec![output("sync", part(1, 24)), run], vec![stage(StageKind::MidiCable(line))], vec![it], None)
}

/// Start byte 0 to 0.32 ms, the pause, clock byte of 0.32 ms: that is step 1, once, and the box is right. From then on a step
/// is six clocks, 250 ms, and 0.32 ms late. MIDI 1.0 has the sequence begin with the first clock after the start.
#[test]
fn a_serial_box_byte_by_byte() {
    let rest = [250.32, 500.32, 750.32, 1000.32, 1250.32, 1500.32, 1750.32];
    let expected = |first: f64| [first].into_iter().chain(rest).zip([1, 2, 3, 4].repeat(2)).collect::<Vec<_>>();
    let long_enough = ResetMode::Immediate { holdoff: Span::from_ms(2) };
    for timing in [Timing::Run, Timing::Start] {
        for (lead, first) in [(Span::from_ms(1), 1.64), (Span::ZERO, 0.64), (Span::from_ms(3), 3.64)] {
            for mode in [next_clock(), this_clock()] {
                let plain = serial_box(mode, timing.clone(), lead);
                let mut behind = plain.clone();
                // Behind shared points, which is how several boxes hang on one socket.
                behind.wires = vec![
                    Wire { name: "clock".to_owned(), path: straight(0) },
                    Wire { name: "start".to_owned(), path: straight(1) },
                ];
                behind.sequencers[0].clock.source = Source::Wire(0);
                behind.sequencers[0].reset.as_mut().expect("one").path.source = Source::Wire(1);
                let mut named = plain.clone();
                let StageKind::MidiCable(line) = &mut named.stages[0].kind else { panic!("a cable") };
                line.order = ["sync", "run"].map(str::to_owned).into();
                for rig in [&plain, &behind, &named] {
                    assert_eq!(plays(rig, 0), expected(first), "{timing:?} {lead:?} {:?}", rig.sequencers[0].reset);
                    let account = &both(rig, Tempo::whole(60), Span::from_ms(2)).accounts[0];
                    assert_eq!((account.worst, account.right), (Some(0), true));
                }
            }
        }
        // A box that plays at the start itself takes the clock byte that belongs to it for the next one, unless its holdoff
        // reaches over it.
        let early = |mode| plays(&serial_box(mode, timing.clone(), Span::from_ms(1)), 0);
        assert_eq!(early(long_enough.clone())[..2], [(0.32, 1), (250.32, 2)]);
        // The start counts as the first of its six pulses: the step ends a clock too soon, after five of them.
        let early = early(immediate());
        let soon = 5_000.0 / 24.0 + 0.32;
        assert!(early[0] == (0.32, 1) && early[1].1 == 2 && (early[1].0 - soon).abs() < 1e-6, "{early:?}");
    }
    // A clock that sends its start ahead: nobody waits.
    let mut ahead = serial_box(next_clock(), Timing::Run, Span::from_ms(1));
    ahead.outputs[0].shift = ms(132) / 100;
    assert_eq!(plays(&ahead, 0)[..2], [(1.64, 1), (251.64, 2)]);
}

/// Whoever stands first in the file: one more box on the cable, before it or after it, that hears the clock or the start.
#[test]
fn the_start_goes_first_whatever_the_order_of_the_tables() {
    let plain = serial_box(next_clock(), Timing::Run, Span::from_ms(1));
    let down = |output| Path { source: Source::Output(output), stages: vec![0] };
    let two = |other: usize, before: usize| {
        let mut rig = plain.clone();
        rig.sequencers.insert(before, sequencer("ox", down(other), "xxxx"));
        plays(&rig, 1 - before)[..2].to_vec()
    };
    // One start byte, the pause, a clock byte each, in the order of the file.
    assert_eq!(two(0, 0), [(1.96, 1), (250.64, 2)]);
    assert_eq!(two(0, 1), [(1.64, 1), (250.32, 2)]);
    // A start byte each, the pause, one clock byte.
    assert_eq!(two(1, 0), [(1.96, 1), (250.32, 2)]);
    assert_eq!(two(1, 1), [(1.96, 1), (250.32, 2)]);
}
