//! Knobs that are turned and a clock that is switched in the middle of a piece: by hand, and against a clock that is
//! looked at tick by tick.

use hitgap::judge::judge;
use hitgap::patch::{Asked, Patch, Rig};
use hitgap::rig::{play, play_by_edges};
use hitgap::time::{Beat, Tempo};
use proptest::prelude::*;

fn read(source: &str) -> Patch {
    Patch::parse(source, &Asked::default()).unwrap_or_else(|f| panic!("{}", f.render("test", source, false)))
}

/// One output and a sequencer on it, twelve beats at 120, and what changes.
fn rig(output: &str, changes: &str) -> Rig {
    let source = format!(
        "bars = 3\n[clock.slow]\n{output}\n[sequencer.ox]\nclock = \"slow\"\nsteps = \"xxxx\"\nvoice = \"kick\"\n{changes}"
    );
    let rig = read(&source).original.rig;
    let tempo = Tempo::whole(120);
    let (quick, edges) = (play(&rig, tempo).expect("short"), play_by_edges(&rig, tempo).expect("short"));
    assert_eq!(quick.tracks, edges.tracks, "both ways of playing agree");
    rig
}

/// The pulses of an output at 120: the beat at which each rises, in thousandths, and its number.
fn pulses(rig: &Rig, output: usize) -> Vec<(i64, i64)> {
    let performance = play(rig, Tempo::whole(120)).expect("short");
    performance.timelines[output].pulses(rig.end).map(|p| (p.rise.0 / 500_000_000, p.number)).collect()
}

fn beats(rig: &Rig) -> Vec<f64> {
    pulses(rig, 0).into_iter().map(|(thousandths, _)| thousandths as f64 / 1000.0).collect()
}

fn numbers(rig: &Rig) -> Vec<i64> {
    pulses(rig, 0).into_iter().map(|(_, number)| number).collect()
}

const TWO: &str = "rate = \"1 per 2 beats\"";
const TO_THREE: &str = "[[change]]\nafter = \"5 beats\"\nset.\"clock.slow.rate\" = \"1 per 3 beats\"\n";

#[test]
fn a_rate_that_is_changed_has_two_readings() {
    // On multiples of three from the start; from-change: three, and three again, from where it was turned.
    let on_grid = rig(TWO, TO_THREE);
    assert_eq!(beats(&on_grid), [0.0, 2.0, 4.0, 6.0, 9.0]);
    assert_eq!(numbers(&on_grid), [0, 1, 2, 3, 4]);
    let named = rig(TWO, &format!("{TO_THREE}rate-change = \"on-grid\"\n"));
    assert_eq!(on_grid, named);
    let from_change = rig(TWO, &format!("{TO_THREE}rate-change = \"from-change\"\n"));
    assert_eq!(beats(&from_change), [0.0, 2.0, 4.0, 5.0, 8.0, 11.0]);
    // Meant are beats 0, 2, 4, 6, 9. The pulse at 5 comes where none is meant and counts as the one before it.
    assert_eq!(numbers(&from_change), [0, 1, 2, 2, 3, 4]);
}

#[test]
fn a_knob_passes_other_rates_and_stray_pulses_come() {
    // A dwell of 600 ms is 1.2 beats: once a beat at 5 and 6, up to 6.2; then every third beat.
    let passing = format!("{TO_THREE}passes-through = [\"1 per beat\"]\ndwell = \"600 ms\"\n");
    let on_grid = rig(TWO, &passing);
    assert_eq!(beats(&on_grid), [0.0, 2.0, 4.0, 5.0, 6.0, 9.0]);
    assert_eq!(numbers(&on_grid), [0, 1, 2, 2, 3, 4]);
    // The count begins anew at 5 for the rate that is passed, and at 6.2 where the knob arrives.
    let anew = rig(TWO, &format!("{passing}rate-change = \"from-change\"\n"));
    assert_eq!(beats(&anew), [0.0, 2.0, 4.0, 5.0, 6.0, 6.2, 9.2]);
    assert_eq!(numbers(&anew), [0, 1, 2, 2, 3, 3, 4]);
    // Two positions, 0.6 beats each: one pulse in four beats misses both, three a beat gives 5.667, 6.
    let two = format!("{TO_THREE}passes-through = [\"1 per 4 beats\", \"3 per beat\"]\ndwell = \"300 ms\"\n");
    assert_eq!(beats(&rig(TWO, &two)), [0.0, 2.0, 4.0, 5.666, 6.0, 9.0]);
}

#[test]
fn what_is_turned_holds_from_the_beat_on() {
    let change = |what: &str| format!("[[change]]\nafter = \"4 beats\"\nset.\"clock.slow.{what}\n");
    // A tenth of two beats later, from the pulse of beat 4 on.
    assert_eq!(beats(&rig(TWO, &change("phase\" = \"10 %\"")))[..4], [0.0, 2.0, 4.2, 6.2]);
    // A tenth earlier: when the knob is turned at beat 4, beat 3.8 has gone by. The pulse is skipped.
    let back = rig(TWO, &change("phase\" = \"-10 %\""));
    assert_eq!((beats(&back), numbers(&back)), (vec![0.0, 2.0, 5.8, 7.8, 9.8], vec![0, 1, 3, 4, 5]));
    // And from there to nought: the pulse of beat 4 came at 3.8, and comes again.
    let twice = rig(&format!("{TWO}\nphase = \"-10 %\""), &change("phase\" = \"0 %\""));
    assert_eq!((beats(&twice), numbers(&twice)), (vec![1.8, 3.8, 4.0, 6.0, 8.0, 10.0], vec![1, 2, 2, 3, 4, 5]));
    // 100 ms are a fifth of a beat. A shift that is turned back skips a pulse, or sends one twice, as a phase does.
    assert_eq!(beats(&rig(TWO, &change("shift\" = \"100 ms\"")))[..4], [0.0, 2.0, 4.2, 6.2]);
    let back = rig(TWO, &change("shift\" = \"-100 ms\""));
    assert_eq!((beats(&back), numbers(&back)), (vec![0.0, 2.0, 5.8, 7.8, 9.8], vec![0, 1, 3, 4, 5]));
    let twice = rig(&format!("{TWO}\nshift = \"-100 ms\""), &change("shift\" = \"0 ms\""));
    assert_eq!((beats(&twice), numbers(&twice)), (vec![1.8, 3.8, 4.0, 6.0, 8.0, 10.0], vec![1, 2, 2, 3, 4, 5]));
    assert_eq!(beats(&rig(TWO, &change("swing\" = \"75 %\"")))[..5], [0.0, 2.0, 4.0, 7.0, 8.0]);
    let wide = rig(TWO, &change("width\" = \"50 ms\""));
    let performance = play(&wide, Tempo::whole(120)).expect("short");
    let widths = performance.timelines[0].pulses(wide.end).map(|p| (p.fall - p.rise).ms());
    assert_eq!(widths.collect::<Vec<_>>(), [5.0, 5.0, 50.0, 50.0, 50.0, 50.0]);
    // A knob that is turned again holds the other's setting.
    let both = format!(
        "{}[[change]]\nafter = \"8 beats\"\nset.\"clock.slow.rate\" = \"1 per beat\"\n",
        change("phase\" = \"10 %\"")
    );
    assert_eq!(beats(&rig(TWO, &both)), [0.0, 2.0, 4.2, 6.2, 8.1, 9.1, 10.1, 11.1]);
}

/// A knob that goes past other rates and comes back to its own has been turned: what is on the grid is on the grid again.
#[test]
fn a_knob_that_comes_back_to_its_rate_counts_as_one_that_is_set_to_it() {
    let away =
        "[[change]]\nafter = \"5 beats\"\nset.\"clock.slow.rate\" = \"1 per 3 beats\"\nrate-change = \"from-change\"\n";
    let back = "[[change]]\nafter = \"8.5 beats\"\nset.\"clock.slow.rate\" = \"1 per 3 beats\"\npasses-through = [\"1 per beat\"]\ndwell = \"100 ms\"\n";
    assert_eq!(beats(&rig(TWO, away)), [0.0, 2.0, 4.0, 5.0, 8.0, 11.0]);
    assert_eq!(beats(&rig(TWO, &format!("{away}{back}"))), [0.0, 2.0, 4.0, 5.0, 8.0, 9.0]);
}

#[test]
fn a_knob_that_is_turned_while_the_clock_stands_is_turned_where_the_count_stands() {
    let stop = "[[change]]\nafter = \"5 beats\"\nstop = true\n";
    let turn = "[[change]]\nafter = \"6 beats\"\nset.\"clock.slow.rate\" = \"1 per 3 beats\"\n";
    let goes_on = "[[change]]\nafter = \"7.5 beats\"\ncontinue = true\n";
    // Counted are 5 beats: multiples of three are 6 and 9, and from the change on 5 and 8.
    assert_eq!(beats(&rig(TWO, &format!("{stop}{turn}{goes_on}"))), [0.0, 2.0, 4.0, 8.5, 11.5]);
    let anew = format!("{stop}{turn}rate-change = \"from-change\"\n{goes_on}");
    assert_eq!(beats(&rig(TWO, &anew)), [0.0, 2.0, 4.0, 7.5, 10.5]);
    // Turned when the clock is started, it is on its way then: once a beat for 1.2 beats.
    let start = "[[change]]\nafter = \"7.5 beats\"\nstart = true\n";
    let both = "[[change]]\nafter = \"7.5 beats\"\nset.\"clock.slow.rate\" = \"1 per 3 beats\"\npasses-through = [\"1 per beat\"]\ndwell = \"600 ms\"\n";
    assert_eq!(beats(&rig(TWO, &format!("{stop}{start}{both}"))), [0.0, 2.0, 4.0, 7.5, 8.5, 10.5]);
}

/// A pulse that a shift puts behind the stop comes when the clock goes on, as one does that a phase puts there; one that is
/// meant for the stop and comes before it is sent.
#[test]
fn a_shift_is_cut_off_as_a_phase_is() {
    let switch = |word: &str| {
        format!("[[change]]\nafter = \"5 beats\"\nstop = true\n[[change]]\nafter = \"7.5 beats\"\n{word} = true\n")
    };
    // 600 ms are 1.2 beats: what is meant for 4 would come at 5.2, and the clock stands from 5 to 7.5.
    let late = format!("{TWO}\nshift = \"600 ms\"");
    assert_eq!(beats(&rig(&late, &switch("continue"))), [1.2, 3.2, 7.7, 9.7, 11.7]);
    assert_eq!(beats(&rig(&late, &switch("start"))), [1.2, 3.2, 8.7, 10.7, 12.7]);
    let early = "rate = \"1 per 5 beats\"\nshift = \"-100 ms\"";
    assert_eq!(beats(&rig(early, &switch("start"))), [4.8]);
    // And keeps its number where the clock goes on: five beats are counted at 7.5, ten at 12.5.
    let on = rig("rate = \"1 per 5 beats\"\nphase = \"-4 %\"", &switch("continue"));
    assert_eq!((beats(&on), numbers(&on)), (vec![4.8], vec![1]));
    // Three quarters of a beat late: three that are meant for before the stop come when the clock goes on.
    let cut = rig("rate = \"4 per beat\"\nshift = \"375 ms\"", &switch("continue"));
    let all: Vec<_> = beats(&cut).into_iter().zip(numbers(&cut)).collect();
    assert_eq!(all[16..20], [(4.75, 16), (7.5, 17), (7.75, 18), (8.0, 19)]);
}

#[test]
fn stop_and_start_begin_again_from_the_one() {
    let switch = "[[change]]\nafter = \"5 beats\"\nstop = true\n[[change]]\nafter = \"7.5 beats\"\nstart = true\n";
    let again = rig(TWO, switch);
    assert_eq!(beats(&again), [0.0, 2.0, 4.0, 7.5, 9.5, 11.5]);
    assert_eq!(numbers(&again), [0, 1, 2, 3, 4, 5]);
    let of = |output: &str| {
        let rig = rig(output, switch);
        let performance = play_by_edges(&rig, Tempo::whole(120)).expect("short");
        let thousandths = |at: hitgap::time::Instant| at.0 / 500_000_000;
        performance.timelines[0].pulses(rig.end).map(|p| (thousandths(p.rise), thousandths(p.fall))).collect::<Vec<_>>()
    };
    // 5 ms are a hundredth of a beat.
    assert_eq!(of("at = \"start\""), [(0, 10), (7500, 7510)]);
    assert_eq!(of("at = \"stop\""), [(5000, 5010), (12_000, 12_010)]);
    assert_eq!(of("at = \"run\""), [(0, 5000), (7500, 12_000)]);
    // A shift moves both ends of a level, past the stop too: 3 s are six beats.
    assert_eq!(of("at = \"run\"\nshift = \"3 s\""), [(6000, 11_000), (13_500, 18_000)]);
    // A pulse under way completes: half of two beats, from 4.5 past the stop at 5 to 5.5.
    assert_eq!(of("rate = \"1 per 2 beats\"\nphase = \"25 %\"\nwidth = \"50 %\"")[2], (4500, 5500));
    // One that would rise at the stop does not.
    assert_eq!(of("rate = \"1 per 5 beats\""), [(0, 10), (7500, 7510)]);
    let stays = rig(TWO, "[[change]]\nafter = \"5 beats\"\nstop = true\n");
    assert_eq!(beats(&stays), [0.0, 2.0, 4.0]);
}

/// A box without a reset does not hear that the clock begins again from the one; one with a run or start wire does.
#[test]
fn who_has_no_reset_is_off_after_a_new_start() {
    let of = |reset: &str| {
        let source = format!(
            "bars = 4\n[clock.beat]\nrate = \"1 per beat\"\n[clock.go]\nat = \"start\"\n\
             [sequencer.ox]\nclock = \"beat\"\nsteps = \"Xxxx\"\nvoice = \"kick\"\n{reset}\
             [[change]]\nafter = \"6 beats\"\nstop = true\n[[change]]\nafter = \"8 beats\"\nstart = true\n"
        );
        let patch = read(&source);
        let rig = &patch.original.rig;
        let performance = play(rig, Tempo::whole(120)).expect("short");
        let standing = judge(rig, &performance, patch.max_gap).expect("short").standings.remove(0);
        (standing.late_worst, standing.off.iter().map(|o| (o.from, o.to, o.pulses_late)).collect::<Vec<_>>())
    };
    // Six pulses, steps 1 2 3 4 1 2; the new start meets step 3 instead of 1, and the start is two pulses behind: of
    // four steps, two late and two early are one, and called late.
    let beat = Beat::from_integer;
    assert_eq!(of(""), (Some(2), vec![(beat(8), None, 2)]));
    assert_eq!(of("reset = \"go\"\nreset-mode = \"this-clock\"\n"), (Some(0), vec![]));
}

/// At 7 a beat lasts 60/7 s: 8,571,428,571,428.57 ps, rounded once, wherever in the piece it lies.
#[test]
fn how_far_somebody_is_off_is_rounded_once() {
    let source = "bars = 2\n[clock.beat]\nrate = \"1 per beat\"\n[sequencer.ox]\nclock = \"beat\"\nsteps = \"Xxxx\"\nvoice = \"kick\"\n\
                  [[change]]\nafter = \"0.5 beats\"\nstop = true\n[[change]]\nafter = \"2 beats\"\nstart = true\n";
    let patch = read(source);
    let rig = &patch.original.rig;
    let performance = play(rig, Tempo::whole(7)).expect("short");
    let standing = judge(rig, &performance, patch.max_gap).expect("short").standings.remove(0);
    assert_eq!((standing.late_worst, standing.off_by.map(|by| by.0)), (Some(-1), Some(-8_571_428_571_429)));
}

/// The classic fault: on the way from one rate to another the knob passes a faster one, a stray pulse comes, and the
/// pattern is one step early until the next reset.
#[test]
fn a_stray_pulse_is_followed_to_where_it_is_put_right() {
    let source = "bars = 8\n[clock.slow]\nrate = \"1 per 2 beats\"\n[clock.home]\nrate = \"1 per 16 beats\"\n\
        [sequencer.wren]\nclock = \"slow\"\nreset = \"home\"\nreset-mode = \"this-clock\"\nsteps = \"Xxxxxxxx\"\nvoice = \"kick\"\n\
        [[change]]\nafter = \"4 beats\"\nset.\"clock.slow.rate\" = \"1 per 4 beats\"\n\
        passes-through = [\"1 per beat\"]\ndwell = \"600 ms\"\n";
    let patch = read(source);
    let rig = &patch.original.rig;
    let performance = play(rig, Tempo::whole(120)).expect("short");
    // 4 and 5 are of the rate that is passed; 4 is meant (a multiple of four), 5 is not.
    assert_eq!(pulses(rig, 0)[..5], [(0, 0), (2000, 1), (4000, 2), (5000, 2), (8000, 3)]);
    let verdict = judge(rig, &performance, patch.max_gap).expect("short");
    let off: Vec<_> = verdict.standings[0].off.iter().map(|o| (o.from, o.to, o.pulses_late)).collect();
    assert_eq!(off, [(Beat::from_integer(5), Some(Beat::from_integer(16)), -1)]);
    assert_eq!(verdict.standings[0].late_worst, Some(-1));
}

/// One turn of a knob, for the clock that is looked at tick by tick.
#[derive(Clone, Debug)]
struct Turn {
    after: i64,
    period: i64,
    phase: i64,
    anew: bool,
}

/// Ticks of a beat.
const TICKS: i64 = 48;

/// A clock that knows nothing of grids and segments: at every tick it looks at the knob and says whether it pulses.
fn tick_by_tick(first: &Turn, turns: &[Turn], end: i64) -> Vec<(i64, i64)> {
    let (mut pulses, mut meant, mut origin) = (Vec::new(), Vec::new(), 0);
    let mut sent = Vec::new();
    // What is meant for the last beats may come a little later.
    for tick in 0..end + 192 {
        let now = turns.iter().rev().find(|t| t.after <= tick).unwrap_or(first);
        if let Some(n) = turns.iter().position(|t| t.after == tick) {
            let before = if n == 0 { first } else { &turns[n - 1] };
            if before.period != now.period {
                origin = if now.anew { tick } else { 0 };
            }
        }
        if tick % now.period == 0 {
            meant.push(tick);
        }
        let since = tick - now.phase - origin;
        if since >= 0 && since % now.period == 0 && tick - now.phase < end {
            sent.push((tick, tick - now.phase));
        }
    }
    // Its number is that of the last pulse that was meant by the beat for which it comes.
    for (tick, of) in sent {
        pulses.push((tick, meant.iter().filter(|m| **m <= of).count() as i64 - 1));
    }
    pulses
}

fn turn() -> impl Strategy<Value = Turn> {
    // Quarters of a period are written in whole per cent, and sixteenths of a beat as decimals.
    let periods = prop::sample::select(vec![12_i64, 16, 24, 48, 96, 144, 192]);
    (periods, -1_i64..=2, any::<bool>(), 1_i64..160).prop_map(|(period, quarters, anew, after)| Turn {
        after: 3 * after,
        period,
        phase: period / 4 * quarters,
        anew,
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(256))]
    #[test]
    fn a_clock_that_is_looked_at_tick_by_tick_says_the_same(first in turn(), mut turns in prop::collection::vec(turn(), 0..5)) {
        turns.sort_by_key(|t| t.after);
        turns.dedup_by_key(|t| t.after);
        let share = |t: &Turn| 100 * t.phase / t.period;
        let mut changes = String::new();
        for t in &turns {
            changes += &format!(
                "[[change]]\nafter = \"{:.6} beats\"\nset.\"clock.slow.rate\" = \"{TICKS} per {} beats\"\nset.\"clock.slow.phase\" = \"{} %\"\nrate-change = \"{}\"\n",
                t.after as f64 / TICKS as f64, t.period, share(t), if t.anew { "from-change" } else { "on-grid" },
            );
        }
        let rig = rig(&format!("rate = \"{TICKS} per {} beats\"\nphase = \"{} %\"\nwidth = \"1 us\"", first.period, share(&first)), &changes);
        let tick_ps = 500_000_000_000 / TICKS;
        let performance = play(&rig, Tempo::whole(120)).expect("short");
        let found: Vec<_> = performance.timelines[0].pulses(rig.end).map(|p| ((p.rise.0 + 1000) / tick_ps, p.number)).collect();
        prop_assert_eq!(found, tick_by_tick(&first, &turns, 12 * TICKS));
    }
}

/// `patches/wren-slips.toml`: at 60 the dial stays for 0.6 beats and no beat falls into that; at 120 for 1.2, and the pulse
/// at beat 5 is one too many.
#[test]
fn whether_a_stray_pulse_comes_depends_on_the_tempo() {
    let patch = read(include_str!("../../patches/wren-slips.toml"));
    let rig = &patch.original.rig;
    let of = |bpm| {
        let performance = play(rig, Tempo::whole(bpm)).expect("short");
        judge(rig, &performance, patch.max_gap).expect("short")
    };
    assert!(of(60).passes() && of(60).standings.iter().all(|s| s.off.is_empty()));
    let at_120 = of(120);
    let off: Vec<_> = at_120.standings[1].off.iter().map(|o| (o.from, o.to, o.pulses_late)).collect();
    assert_eq!(off, [(Beat::from_integer(5), Some(Beat::from_integer(16)), -1)]);
    assert!(!at_120.passes() && at_120.standings[0].right);
}

#[test]
fn a_reset_while_the_clock_stands_sounds_unless_it_is_told_not_to() {
    // Stopped from 2 s to 4 s at 120; the stop output resets 100 ms after the stop.
    let source = "bars = 4\n[clock.a]\nrate = \"4 per beat\"\n[clock.r]\nat = \"stop\"\nshift = \"100 ms\"\n\
                  [sequencer.s]\nclock = \"a\"\nreset = \"r\"\nreset-mode = \"immediate\"\nsteps = \"Xxxx\"\nvoice = \"kick\"\n\
                  [fix.quiet]\nset.\"sequencer.s.sounds-on-reset\" = false\n\
                  [[change]]\nafter = \"4 beats\"\nstop = true\n[[change]]\nafter = \"8 beats\"\nstart = true\n";
    let patch = read(source);
    for (variant, sounds) in [(&patch.original, true), (&patch.fixes[0], false)] {
        for performance in [play, play_by_edges].map(|play| play(&variant.rig, Tempo::whole(120)).expect("short")) {
            let between =
                performance.tracks[0].sounds.iter().filter(|s| (2_000..4_000).contains(&(s.at.0 / 1_000_000_000)));
            let between: Vec<i64> = between.map(|s| s.at.0 / 1_000_000_000).collect();
            assert_eq!(between, if sounds { vec![2_100] } else { vec![] });
            // It stops at the end of the piece as well, at 8 s.
            let after = performance.tracks[0].sounds.iter().filter(|s| s.at.0 >= 8_000_000_000_000).count();
            assert_eq!(after, usize::from(sounds));
        }
    }
}

#[test]
fn a_clock_that_continues_goes_on_from_where_it_stood() {
    let switch = "[[change]]\nafter = \"5 beats\"\nstop = true\n[[change]]\nafter = \"7.5 beats\"\ncontinue = true\n";
    // Stopped a beat after the pulse of beat 4, and a beat before the next: that comes a beat after the clock goes on.
    let on = rig(TWO, switch);
    assert_eq!(beats(&on), [0.0, 2.0, 4.0, 8.5, 10.5]);
    assert_eq!(numbers(&on), [0, 1, 2, 3, 4]);
    // One that was to come at the stop comes when it goes on; a phase that the stop has cut off is still due.
    assert_eq!(beats(&rig("rate = \"1 per 5 beats\"", switch)), [0.0, 7.5]);
    assert_eq!(beats(&rig(&format!("{TWO}\nphase = \"50 %\""), switch)), [1.0, 3.0, 7.5, 9.5, 11.5]);
    let of = |output: &str| {
        let rig = rig(output, switch);
        let performance = play_by_edges(&rig, Tempo::whole(120)).expect("short");
        let thousandths = |at: hitgap::time::Instant| at.0 / 500_000_000;
        performance.timelines[0].pulses(rig.end).map(|p| (thousandths(p.rise), thousandths(p.fall))).collect::<Vec<_>>()
    };
    assert_eq!(of("at = \"start\""), [(0, 10)]);
    assert_eq!(of("at = \"stop\""), [(5000, 5010), (12_000, 12_010)]);
    assert_eq!(of("at = \"run\""), [(0, 5000), (7500, 12_000)]);
    // What has no rate is meant for the beat of the start, whenever the clock goes on.
    for output in ["at = \"stop\"", "at = \"run\""] {
        let rig = rig(output, switch);
        let performance = play(&rig, Tempo::whole(120)).expect("short");
        let meant = numbers(&rig).into_iter().map(|number| performance.timelines[0].meant(number));
        assert_eq!(meant.collect::<Vec<_>>(), [Beat::from_integer(0); 2], "{output}");
        // So the last that is meant for that beat, or for one before the clock goes on, is the second.
        let last = [0, 6, 8].map(|beat| performance.timelines[0].last_until(Beat::from_integer(beat)));
        assert_eq!(last, [1; 3], "{output}");
    }
    // Stopped and continued twice, with a start between: the start counts anew.
    let often = "[[change]]\nafter = \"1 beat\"\nstop = true\n[[change]]\nafter = \"2 beats\"\ncontinue = true\n\
        [[change]]\nafter = \"4 beats\"\nstop = true\n[[change]]\nafter = \"4.5 beats\"\nstart = true\n\
        [[change]]\nafter = \"5 beats\"\nstop = true\n[[change]]\nafter = \"6 beats\"\ncontinue = true\n";
    assert_eq!(beats(&rig(TWO, often)), [0.0, 3.0, 4.5, 7.5, 9.5, 11.5]);
}

/// What `sweep` turns on an output stays so through all that the piece turns: a shift always, a phase until the piece sets one.
#[test]
fn what_is_swept_on_an_output_outlasts_other_turns() {
    use hitgap::judge::sweep::{Knob, Value};
    use hitgap::time::Span;

    let swept = |changes: &str, value: Value| {
        let rig = rig(TWO, changes);
        Knob::Output(0).at(&rig, value, Tempo::whole(120)).expect("it has a rate")
    };
    let shift = Value::Delay(Span::from_ms(5));
    // At 120 a hundredth of a beat is 5 ms.
    assert_eq!(beats(&swept(TO_THREE, shift)), [0.01, 2.01, 4.01, 6.01, 9.01]);
    let phase = Value::Phase(num_rational::Ratio::new(1, 100));
    assert_eq!(beats(&swept(TO_THREE, phase)), [0.02, 2.02, 4.02, 6.03, 9.03]);
    let turned = "[[change]]\nafter = \"5 beats\"\nset.\"clock.slow.phase\" = \"5 %\"\n";
    assert_eq!(beats(&swept(turned, phase)), [0.02, 2.02, 4.02, 6.1, 8.1, 10.1]);
    assert_eq!(beats(&swept(turned, shift)), [0.01, 2.01, 4.01, 6.11, 8.11, 10.11]);
}
