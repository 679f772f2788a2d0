//! What a patch says of a whole rig, read: stages, wires, chains, and the inputs of a sequencer.

mod stages;

use hitgap::patch::{
    Asked, EdgeKind, Patch, Path, Reset, ResetMode, Rig, Sequencer, Source, StageKind, Step, Tap, Timing, Width,
};
use hitgap::time::Span;

/// An output, a sequencer on it, and whatever else is said.
fn patch(more: &str) -> Patch {
    let source = format!(
        "[clock.c]\nrate = \"4 per beat\"\n[sequencer.ox]\nclock = \"c\"\nsteps = \"x.\"\nvoice = \"kick\"\n{more}"
    );
    Patch::parse(&source, &Asked::default()).unwrap_or_else(|f| panic!("{}", f.render("a.toml", &source, false)))
}

fn rig(more: &str) -> Rig {
    let patch = patch(more);
    assert!(patch.warnings.is_empty(), "{}", patch.warnings);
    patch.original.rig
}

/// The stage that these lines describe; most tests let nothing through it.
fn stage(lines: &str) -> StageKind {
    let mut patch = patch(&format!("[stage.s]\n{lines}"));
    let mut told = patch.warnings.list().iter().map(|w| w.message.as_str());
    assert!(told.all(|message| message == "nothing goes through the stage `s`"), "{}", patch.warnings);
    patch.original.rig.stages.remove(0).kind
}

/// The sequencer that these lines describe, with `c` as its clock.
fn sequencer(lines: &str) -> Sequencer {
    rig(&format!("[sequencer.wren]\nsteps = \"x.\"\nvoice = \"kick\"\n{lines}")).sequencers.remove(1)
}

fn straight(source: Source) -> Path {
    Path { source, stages: vec![] }
}

const NS: i64 = 1_000;
const US: i64 = 1_000_000;
const MS: i64 = 1_000_000_000;
const S: i64 = 1_000_000_000_000;

#[test]
fn paths_begin_at_outputs_wires_and_sequencers() {
    let rig = rig("[stage.gate]\nkind = \"delay\"\ndelay = \"40 us\"\n\
         [wire.split]\npath = [\"c\", \"gate\"]\n[wire.further]\npath = \"wire.split\"\n\
         [sequencer.wren]\nclock = [\"wire.further\", \"gate\"]\nreset = \"sequencer.ox.end\"\nreset-mode = \"held\"\nsteps = \"x\"\nvoice = \"kick\"\n\
         [sequencer.moth]\nclock = \"sequencer.wren.thru\"\nreset = \"sequencer.wren.step-1\"\nreset-mode = \"ignored\"\nsteps = \"x\"\nvoice = \"kick\"\n\
         [sequencer.owl]\nclock = \"sequencer.moth.hits\"\nsteps = \"x\"\nvoice = \"kick\"\n");
    let names: Vec<_> = rig.wires.iter().map(|wire| wire.name.as_str()).collect();
    assert_eq!(names, ["split", "further"]);
    assert_eq!(rig.wires[0].path, Path { source: Source::Output(0), stages: vec![0] });
    assert_eq!(rig.wires[1].path, straight(Source::Wire(0)));
    assert_eq!(rig.sequencers[1].clock, Path { source: Source::Wire(1), stages: vec![0] });
    let tap = |index, tap| straight(Source::Sequencer { index, tap });
    let reset = |n: usize| rig.sequencers[n].reset.clone().map(|reset| reset.path);
    assert_eq!(reset(1), Some(tap(0, Tap::End)));
    assert_eq!(rig.sequencers[2].clock, tap(1, Tap::Thru));
    assert_eq!(reset(2), Some(tap(1, Tap::Step1)));
    assert_eq!(rig.sequencers[3].clock, tap(2, Tap::Hits));
}

/// Loops in which time passes are good, and so is one that only looks like a loop.
#[test]
fn loops_with_a_delay_are_good() {
    for stage in [
        "kind = \"delay\"\ndelay = \"1 ps\"",
        "kind = \"delay\"\nrise = { min = \"1 ps\", max = \"2 ps\" }\nfall = \"1 ps\"",
        "kind = \"delay\"\nrise = \"1 ps\"\nwidth = \"1 ms\"",
        "kind = \"rc\"\nr = \"10 kohm\"\nc = \"100 nF\"\nthreshold-rise = \"2.5 V\"\nthreshold-fall = \"2.4 V\"",
        "kind = \"envelope\"\nattack = \"1 ms\"\ndecay = \"1 ms\"\npeak = \"8 V\"\nthreshold-rise = \"2 V\"\nthreshold-fall = \"1 V\"",
        "kind = \"audio-buffer\"\nframes = 64",
        "kind = \"logic\"\ndoes = \"or\"\nwith = \"c\"\ndelay = \"120 ns\"",
        "kind = \"midi-cable\"",
    ] {
        let late = rig(&format!(
            "[stage.s]\n{stage}\n[sequencer.wren]\nclock = \"c\"\nreset = [\"sequencer.wren.end\", \"s\"]\n\
             reset-mode = \"immediate\"\nsteps = \"x.\"\nvoice = \"kick\"\n"
        ));
        assert_eq!(late.sequencers.len(), 2);
    }
    // A gate that joins the clock to its own echo is started by the clock.
    let echo = "[stage.or]\nkind = \"logic\"\ndoes = \"or\"\nwith = [\"wire.echo\", \"late\"]\n\
                [stage.late]\nkind = \"delay\"\ndelay = \"100 ms\"\n[wire.echo]\npath = [\"c\", \"or\"]\n";
    assert_eq!(rig(echo).wires.len(), 1);
}

#[test]
fn the_inputs_of_a_sequencer() {
    let usual = Sequencer::new("wren", straight(Source::Output(0)), vec![Step::Hit, Step::Rest], 0);
    assert_eq!(sequencer("clock = \"c\""), usual, "all at its default");
    let moth = rig("[stage.late]\nkind = \"delay\"\ndelay = \"1 ms\"\n[stage.look]\nkind = \"poll\"\nperiod = \"500 us\"\n\
         [stage.hall]\nkind = \"air\"\ndistance = \"3 m\"\n\
         [sequencer.moth]\nclock = \"c\"\nclock-edge = \"fall\"\nreset = \"c\"\nreset-mode = \"this-clock\"\nreset-edge = \"fall\"\n\
         grace = \"2 ms\"\npulses-per-step = 6\nreset-clears-count = false\ngathers = \"1 ms\"\nsounds-on-reset = false\n\
         input = { min-high = \"1 ms\", min-low = \"2 ms\" }\npoll = \"look\"\nout = [\"late\", \"hall\"]\noffset = \"-3 ms\"\n\
         steps = \"x.\"\nvoice = \"kick\"\n")
    .sequencers
    .remove(1);
    let expected = Sequencer {
        name: "moth".to_owned(),
        clock_edge: EdgeKind::Fall,
        reset: Some(Reset {
            path: straight(Source::Output(0)),
            mode: ResetMode::ThisClock { grace: Some(Span(2 * MS)) },
        }),
        reset_edge: EdgeKind::Fall,
        pulses_per_step: 6,
        reset_clears_count: false,
        gathers: Span(MS),
        sounds_on_reset: false,
        min_high: Span(MS),
        min_low: Span(2 * MS),
        poll: Some(1),
        out: vec![0, 2],
        offset: Span(-3 * MS),
        ..usual
    };
    assert_eq!(moth, expected);
    let mode = |lines: &str| sequencer(&format!("clock = \"c\"\nreset = \"c\"\n{lines}")).reset.map(|reset| reset.mode);
    assert_eq!(mode("reset-mode = \"held\""), Some(ResetMode::Held));
    let sampled = |setup_time| Some(ResetMode::Sampled { setup_time });
    assert_eq!(mode("reset-mode = \"sampled\""), sampled(Span::ZERO));
    assert_eq!(mode("reset-mode = \"sampled\"\nsetup-time = \"1 us\""), sampled(Span(US)));
}

#[test]
fn outputs_that_speak_of_the_clock_itself() {
    let rig = rig("[clock.halt]\nat = \"stop\"\nwidth = \"1 ms\"\nshift = \"2 ms\"\n[clock.run]\nat = \"run\"\n");
    assert_eq!(rig.outputs[1].timing, Timing::Stop);
    assert_eq!(rig.outputs[1].width, Width::Time((MS as i128).into()));
    assert_eq!(rig.outputs[1].shift, (2 * MS as i128).into());
    assert_eq!(rig.outputs[2].timing, Timing::Run);
    assert_eq!(rig.outputs[2].width, Width::Default);
}

#[test]
fn fixes_change_stages_and_wires() {
    let patch = patch(
        "[stage.gate]\nkind = \"delay\"\ndelay = \"40 us\"\n[wire.split]\npath = \"c\"\n\
         [sequencer.wren]\nclock = \"wire.split\"\nsteps = \"x.\"\nvoice = \"kick\"\n\
         [fix.slower]\nset.\"stage.gate.delay\" = { typ = \"50 us\", max = \"60 us\" }\n\
         [fix.apart]\nset.\"stage.gate.rise\" = \"1 us\"\nset.\"stage.gate.fall\" = \"2 us\"\n\
         [fix.slew]\nset.\"stage.gate\" = { kind = \"rc\", r = \"10 kohm\", c = \"10 nF\", threshold-rise = \"2 V\" }\n\
         [fix.gated]\nset.\"wire.split.path\" = [\"c\", \"gate\"]\n\
         [fix.second]\nset.\"wire.other\" = { path = [\"wire.split\", \"gate\"] }\nset.\"sequencer.wren.clock\" = \"wire.other\"\n\
         [fix.limits]\nset.\"sequencer.wren.input\" = { min-high = \"1 ms\" }\nset.\"sequencer.wren.pulses-per-step\" = 6\n",
    );
    let rig = |name: &str| patch.variant(name).expect(name).rig;
    let delay = |name: &str| match rig(name).stages.remove(0).kind {
        StageKind::Delay(delay) => (delay.rise.typ.0, delay.rise.max.0, delay.fall.typ.0),
        other => panic!("{other:?}"),
    };
    assert_eq!(delay("original"), (40 * US, 40 * US, 40 * US));
    assert_eq!(delay("slower"), (50 * US, 60 * US, 50 * US));
    assert_eq!(delay("apart"), (US, US, 2 * US), "`rise` and `fall` replace `delay`");
    assert!(patch.variant("slower+apart").is_err(), "each undoes the other");
    assert!(matches!(rig("slew").stages[0].kind, StageKind::Rc(_)));
    assert_eq!(rig("gated").wires[0].path.stages, [0]);
    assert_eq!(rig("gated+slower").wires[0].path.stages, [0]);
    let second = rig("second");
    assert_eq!(second.wires[1].path, Path { source: Source::Wire(0), stages: vec![0] });
    assert_eq!(second.sequencers[1].clock, straight(Source::Wire(1)));
    assert_eq!(second.origin(&second.sequencers[1].clock), 0);
    let limits = rig("limits");
    assert_eq!((limits.sequencers[1].min_high, limits.sequencers[1].pulses_per_step), (Span(MS), 6));
}

#[test]
fn what_has_no_effect_and_what_may_fail_is_told() {
    let warnings = |more: &str| {
        let patch = patch(more);
        let told = patch.warnings.list().iter().map(|w| format!("{}: {}", w.message, w.label));
        told.filter(|w| !w.starts_with("nothing goes through")).collect::<Vec<_>>()
    };
    let wren =
        |lines: &str| warnings(&format!("[sequencer.wren]\nclock = \"c\"\nsteps = \"x\"\nvoice = \"kick\"\n{lines}"));
    let none = |key: &str, why: &str| vec![format!("`{key}` has no effect in the sequencer `wren`: {why}")];
    assert_eq!(wren("reset-edge = \"fall\""), none("reset-edge", "the sequencer has no reset"));
    let held = "reset = \"c\"\nreset-mode = \"held\"\n";
    assert_eq!(
        wren(&format!("{held}reset-edge = \"fall\"")),
        none("reset-edge", "this reset mode looks at the level, not at edges")
    );
    assert_eq!(
        wren(&format!("{held}grace = \"1 ms\"")),
        none("grace", "it matters to the reset mode \"this-clock\" only")
    );
    assert_eq!(
        wren(&format!("{held}setup-time = \"1 ms\"")),
        none("setup-time", "it matters to the reset modes \"next-clock\" and \"sampled\" only")
    );
    assert_eq!(
        wren(&format!("{held}reset-clears-count = false")),
        none("reset-clears-count", "it matters only where several pulses make a step")
    );
    assert_eq!(
        wren("reset = \"c\"\nreset-mode = \"next-clock\"\nsounds-on-reset = false"),
        none("sounds-on-reset", "it matters to the reset modes \"this-clock\", \"immediate\" and \"held\" only")
    );
    assert_eq!(
        warnings("[stage.s]\nkind = \"poll\"\nperiod = \"1 ms\"\nreads = \"latched\"\nsamples = 3"),
        ["`samples` has no effect in the stage `s`: an input that latches edges has seen one at the first look"]
    );
    // 10 V over 10 kΩ ± 10 % against 10 kΩ: 5 V, down to 10·10/21 = 4.761905 V, by hand.
    assert_eq!(
        warnings(
            "[stage.s]\nkind = \"rc\"\nr = { value = \"10 kohm\", tolerance = \"10 %\" }\nc = \"1 nF\"\nhigh = \"10 V\"\nload = \"10 kohm\"\nthreshold-rise = \"4.9 V\"\nthreshold-fall = \"1 V\""
        ),
        ["the stage `s` may never read high: at its limits the threshold is 4.9 V, and the highest voltage 4.761905 V"]
    );
}
