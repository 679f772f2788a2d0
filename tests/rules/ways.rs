//! Whatever ways a patch has, it is refused with a reason, or the event loop can order it and plays it to its end.

use hitgap::patch::{Asked, Patch};
use hitgap::rig::play_by_edges;
use proptest::prelude::*;

const STAGES: usize = 5;
const WIRES: usize = 3;
const SEQUENCERS: usize = 3;

/// Where a path begins, by a number: half of them at the clock, or hardly any patch would be good.
fn source(pick: usize) -> String {
    let taps = ["step-1", "end", "hits", "thru"];
    let others = WIRES + 4 * SEQUENCERS;
    match pick % (2 * others) {
        n if n < WIRES => format!("wire.w{n}"),
        n if n < others => format!("sequencer.s{}.{}", (n - WIRES) / 4, taps[n % 4]),
        n => format!("c{}", n % 2),
    }
}

fn path((from, stages): &(usize, Vec<usize>)) -> String {
    let mut seen = Vec::new();
    let mut text = format!("[\"{}\"", source(*from));
    for stage in stages {
        if !seen.contains(stage) {
            text += &format!(", \"t{stage}\"");
            seen.push(*stage);
        }
    }
    text + "]"
}

/// Only what lets a loop come to rest once the clock is silent: with an `or` and a delay a pulse would go round for ever.
fn stage(kind: usize, side: &(usize, Vec<usize>)) -> String {
    let side = path(side);
    match kind {
        0 => "kind = \"delay\"\ndelay = \"10 ms\"".to_owned(),
        1 => "kind = \"delay\"\ndelay = { max = \"20 ms\" }".to_owned(),
        2 => format!("kind = \"logic\"\ndoes = \"and\"\nwith = {side}"),
        3 => format!("kind = \"logic\"\ndoes = \"and\"\nwith = {side}\ndelay = \"7 ms\""),
        4 => format!("kind = \"divide\"\nby = 2\nreset = {side}"),
        5 => "kind = \"rc\"\nr = \"100 kohm\"\nc = \"100 nF\"\nthreshold-rise = \"3 V\"".to_owned(),
        6 => "kind = \"rc\"\nr = \"100 kohm\"\nc = \"100 nF\"\nthreshold-rise = \"3 V\"\nthreshold-fall = \"1 V\"".to_owned(),
        7 => "kind = \"poll\"\nperiod = \"5 ms\"".to_owned(),
        8 => "kind = \"poll\"\nperiod = \"5 ms\"\nsamples = 2".to_owned(),
        9 => "kind = \"envelope\"\nattack = \"5 ms\"\ndecay = \"5 ms\"\npeak = \"8 V\"\nthreshold-rise = \"4 V\"\nthreshold-fall = \"2 V\"".to_owned(),
        10 => "kind = \"midi-cable\"".to_owned(),
        _ => "kind = \"logic\"\ndoes = \"not\"\ndelay = \"3 ms\"".to_owned(),
    }
}

fn a_path() -> impl Strategy<Value = (usize, Vec<usize>)> {
    (any::<usize>(), proptest::collection::vec(0..STAGES, 0..3))
}

/// The way to a second input: seldom through a stage, that might be the same.
fn a_side() -> impl Strategy<Value = (usize, Vec<usize>)> {
    (any::<usize>(), prop_oneof![4 => Just(Vec::new()), 1 => proptest::collection::vec(0..STAGES, 1..3)])
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(2000))]

    #[test]
    fn what_is_not_refused_can_be_played(
        stages in proptest::collection::vec((0_usize..12, a_side()), STAGES),
        wires in proptest::collection::vec(a_path(), WIRES),
        sequencers in proptest::collection::vec((a_path(), a_path(), 0_usize..4, any::<bool>()), SEQUENCERS),
    ) {
        let mut text = "bars = 1\n[clock.c0]\nrate = \"4 per beat\"\n[clock.c1]\nrate = \"1 per 2 beats\"\n".to_owned();
        for (n, (kind, side)) in stages.iter().enumerate() {
            text += &format!("[stage.t{n}]\n{}\n", stage(*kind, side));
        }
        for (n, wire) in wires.iter().enumerate() {
            text += &format!("[wire.w{n}]\npath = {}\n", path(wire));
        }
        for (n, (clock, reset, mode, gathers)) in sequencers.iter().enumerate() {
            let mode = ["this-clock", "next-clock", "sampled", "ignored"][*mode];
            let gathers = if *gathers { "gathers = \"2 ms\"\n" } else { "" };
            text += &format!(
                "[sequencer.s{n}]\nclock = {}\nreset = {}\nreset-mode = \"{mode}\"\n{gathers}steps = \"x.x\"\nvoice = \"kick\"\n",
                path(clock), path(reset),
            );
        }
        match Patch::parse(&text, &Asked::default()) {
            // In debug builds the event loop asserts that every node has a turn.
            Ok(patch) => {
                let played = play_by_edges(&patch.original.rig, patch.tempos[0]);
                prop_assert!(played.is_ok_and(|p| p.tracks.len() == SEQUENCERS));
            }
            Err(faults) => {
                let good = ["a loop without delay", "nothing ever starts the loop", "a stage is on the way"];
                for fault in faults.list() {
                    prop_assert!(good.iter().any(|start| fault.message.starts_with(start)), "{}", fault.message);
                }
            }
        }
    }
}
