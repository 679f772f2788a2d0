//! Where the time goes: contributions by hand from the settings, and that they add up to every lateness.

use hitgap::judge::{Cause, PathPoint, breakdown, contributions, judge};
use hitgap::patch::{Asked, Patch, Variant};
use hitgap::rig::{Run, play_run};
use hitgap::time::{Span, Tempo};

fn patch(text: &str) -> Patch {
    Patch::parse(text, &Asked::default()).unwrap_or_else(|e| panic!("{e}"))
}

fn us(time: i64) -> Span {
    Span(time * 1_000_000)
}

/// Everything that only moves time, each by a figure that is written in the patch: at 120 a sixteenth lasts 125 ms, so
/// that 2 % are 2500 µs. Speed of sound at 20 °C: 343.2 m/s (ISO 9613-1), so 3.432 m last 10 ms. A solenoid of 8 mm at
/// 2 m/s takes 2·8/2 = 8 ms at full velocity (uniform acceleration, closed form).
#[test]
fn each_setting_adds_what_it_says() {
    let patch = patch(
        r#"
        tempos = [120]
        bars = 2
        [clock.sixteenths]
        rate = "4 per beat"
        phase = "2 %"
        shift = "300 us"
        [stage.gate]
        kind = "delay"
        delay = "40 us"
        [stage.wire]
        kind = "delay"
        delay = { min = "1 us", typ = "2 us", max = "5 us" }
        [stage.arm]
        kind = "strike"
        stroke = "8 mm"
        speed = "2 m/s"
        [stage.room]
        kind = "air"
        distance = "3.432 m"
        temperature = "20 C"
        [sequencer.ox]
        clock = "sixteenths"
        steps = "X"
        voice = "kick"
        [sequencer.wren]
        clock = ["sixteenths", "gate", "wire"]
        steps = "X"
        voice = "snare"
        latency = "700 us"
        offset = "-100 us"
        out = ["arm", "room"]
        "#,
    );
    let rig = &patch.original.rig;
    let all = breakdown(rig, Tempo::whole(120), 1, 200).expect("it plays");
    let [ox, wren] = &all[..] else { panic!("two sequencers") };
    let (ox, wren) = (ox.as_ref().expect("it plays"), wren.as_ref().expect("it plays"));
    let said: Vec<(Cause, Span)> = ox.parts.iter().map(|(cause, reached)| (*cause, reached.typical)).collect();
    assert_eq!(said, [(Cause::Phase, us(2500)), (Cause::Shift, us(300))]);
    assert_eq!(ox.period, Some(us(125_000)));
    assert_eq!((ox.total.least, ox.total.typical, ox.total.most), (us(2800), us(2800), us(2800)));
    let said: Vec<(Cause, Span)> = wren.parts.iter().map(|(cause, reached)| (*cause, reached.typical)).collect();
    assert_eq!(said[..2], [(Cause::Phase, us(2500)), (Cause::Shift, us(300))]);
    assert_eq!(said[2..4], [(Cause::Way(1, PathPoint::Stage(0)), us(40)), (Cause::Way(2, PathPoint::Stage(1)), us(2))]);
    assert_eq!(said[4..6], [(Cause::Latency, us(700)), (Cause::Offset, us(-100))]);
    assert_eq!(said[6], (Cause::Out(0, 2), us(8000)));
    // 343.2 m/s is rounded in the table: within 0.02 %.
    assert!((said[7].1.0 - us(10_000).0).abs() < us(2).0 && said[7].0 == Cause::Out(1, 3), "{said:?}");
    // What is drawn stays within its sheet, and comes near both ends in 200 runs.
    let (_, wire) = wren.parts.iter().find(|p| p.0 == Cause::Way(2, PathPoint::Stage(1))).expect("the wire");
    assert!(wire.least >= us(1) && wire.most <= us(5) && wire.most.0 - wire.least.0 > us(3).0, "{wire:?}");
}

/// A multiplier puts pulses where they are meant to be; a divider and a box that hands pulses on add nothing of their own.
#[test]
fn what_only_counts_adds_nothing() {
    let patch = patch(
        r#"
        tempos = [100]
        bars = 4
        [clock.beats]
        rate = "1 per beat"
        [stage.quadruple]
        kind = "multiply"
        by = 4
        [stage.half]
        kind = "divide"
        by = 2
        [stage.gate]
        kind = "delay"
        delay = "3 ms"
        [sequencer.ox]
        clock = ["beats", "gate", "quadruple"]
        steps = "X..."
        voice = "kick"
        [sequencer.wren]
        clock = ["sequencer.ox.thru", "half", "gate"]
        steps = "X."
        voice = "snare"
        "#,
    );
    for (sequencer, gates) in [(0, 1), (1, 2)] {
        let all = breakdown(&patch.original.rig, Tempo::whole(100), 1, 0).expect("it plays");
        let own = all[sequencer].as_ref().expect("it plays");
        let gate = |p: &&(Cause, _)| matches!(p.0, Cause::Way(_, PathPoint::Stage(2)));
        assert_eq!(own.parts.iter().filter(gate).count(), gates, "{own:?}");
        assert!(own.parts.iter().filter(gate).all(|(_, reached)| reached.typical == Span::from_ms(3)), "{own:?}");
        // The multiplier is silent before it knows a period, so the box may count off the one; nothing else adds.
        let others = own.parts.iter().filter(|p| !gate(p)).map(|p| p.0);
        assert!(others.into_iter().all(|cause| cause == Cause::Counting), "{own:?}");
    }
}

/// A stage that is set anew on the way adds now the one, now the other; who is plugged anew is not taken apart, and who has
/// nothing to do with either is as ever.
#[test]
fn a_way_that_stays_is_taken_apart_whatever_is_set_on_it() {
    let patch = patch(
        r#"
        bars = 4
        [clock.beats]
        rate = "1 per beat"
        [stage.gate]
        kind = "delay"
        delay = "1 ms"
        [stage.room]
        kind = "air"
        distance = "343.2 cm"
        [sequencer.ox]
        clock = "beats"
        steps = "X."
        voice = "kick"
        latency = "2 ms"
        [sequencer.wren]
        clock = ["beats", "gate"]
        steps = "X."
        voice = "snare"
        out = ["room"]
        [sequencer.moth]
        clock = ["beats", "gate"]
        steps = "X."
        voice = "hat"
        [[change]]
        after = "8 beats"
        set."stage.gate.delay" = "4 ms"
        set."stage.room.distance" = "686.4 cm"
        set."sequencer.moth.clock" = "beats"
        "#,
    );
    let all = breakdown(&patch.original.rig, Tempo::whole(120), 1, 0).expect("it plays");
    let said = |n: usize| all[n].as_ref().expect("taken apart").parts.clone();
    let ms = |least: i64, most: i64| (Span::from_ms(least), Span::from_ms(most));
    let ends = |parts: &[(Cause, hitgap::judge::Reached)]| -> Vec<_> {
        parts.iter().map(|(cause, reached)| (*cause, (reached.least, reached.most))).collect()
    };
    assert_eq!(ends(&said(0)), [(Cause::Latency, ms(2, 2))]);
    // 343.2 m/s at 20 °C: 10 and 20 ms.
    assert_eq!(ends(&said(1)), [(Cause::Way(1, PathPoint::Stage(0)), ms(1, 4)), (Cause::Out(0, 1), ms(10, 20))]);
    let total = all[1].as_ref().expect("taken apart").total;
    assert_eq!((total.least, total.most), ms(11, 24));
    assert!(all[2].is_none(), "plugged anew");
}

/// Every hit of every example, typical and drawn, at every tempo: the parts add up to the lateness that `check` reports,
/// least and most of it.
#[test]
fn parts_add_up_to_the_lateness_that_is_reported() {
    let (mut looked_at, mut changed) = (0, 0);
    for entry in std::fs::read_dir("patches").expect("the examples") {
        let path = entry.expect("an entry").path();
        let text = std::fs::read_to_string(&path).expect("a text");
        // Lists of components and lessons are no patches; takes need their files, and have no way.
        let Ok(patch) = Patch::parse(&text, &Asked::default()) else { continue };
        let variants: Vec<&Variant> = std::iter::once(&patch.original).chain(&patch.fixes).collect();
        for variant in variants.into_iter().filter(|v| v.rig.takes.is_empty()) {
            let changes = !variant.rig.course.eras.is_empty();
            for &tempo in &patch.tempos {
                for run in [Run::Typical, Run::Drawn { seed: 7, number: 3 }] {
                    let performance = play_run(&variant.rig, tempo, run).expect("it plays");
                    let verdict = judge(&variant.rig, &performance, patch.max_gap).expect("it is judged");
                    let all = contributions(&variant.rig, tempo, run).expect("it plays");
                    for (standing, hits) in verdict.standings.iter().zip(&all) {
                        // A way that is plugged anew is not taken apart.
                        if changes && hits.is_empty() {
                            continue;
                        }
                        changed += usize::from(changes);
                        assert_eq!(standing.hits, hits.len(), "{} {}", path.display(), variant.name);
                        let sums: Vec<i64> = hits.iter().map(|h| h.iter().map(|(_, t)| t.0).sum()).collect();
                        let ends = sums.iter().min().zip(sums.iter().max()).map(|(a, b)| (Span(*a), Span(*b)));
                        let said = standing.lateness.map(|s| (s.min, s.max));
                        assert_eq!(ends, said, "{} {} {tempo} {run:?}", path.display(), variant.name);
                        looked_at += hits.len();
                    }
                }
            }
        }
    }
    assert!(looked_at > 5_000 && changed > 0, "{looked_at} {changed}");
}
