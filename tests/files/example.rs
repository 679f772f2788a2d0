//! The patch of the format's description gives exactly the rig that it describes.

use hitgap::patch::{
    Asked, Delay, Meter, Noise, OnTie, Output, Patch, Path, Reset, ResetMode, Sequencer, Source, Stage, StageKind,
    Step, Timing, Tolerance, VariantError, Width,
};
use hitgap::time::{Beat, ExactPs, Span, Tempo};
use hitgap::voice::Model;
use num_rational::Ratio;

const EXAMPLE: &str = r#"
title  = "The late bell"
tempos = [50, 80, 120, 160]         # quarter notes a minute; --tempo overrides
bars   = 8
meter  = "4/4"                      # default
max-gap = "2 ms"                    # default; the largest acceptable gap, itself still acceptable

[clock.sixteenths]                  # an output
rate  = "4 per beat"                # N per beat, or N per M beats
width = "5 ms"                      # a time or a share of the period
phase = "0 %"                       # share of this output's own period, later is positive
shift = "0 ms"                      # a time, later is positive

[clock.slow]
rate  = "1 per 2 beats"
width = "5 ms"

[clock.home]
rate  = "1 per 16 beats"
width = "5 ms"

[clock.run]
at    = "start"                     # instead of rate: one pulse of 5 ms (unless width says else) when the clock starts

[stage.or-gate]
kind  = "delay"
delay = "40 us"

[sequencer.ox]
clock = "sixteenths"                # an output, or a list: an output, then stages in order
reset = "home"
reset-mode = "this-clock"             # must be given where there is a reset
steps = "X...x...x...x..."          # x a hit, X an accent, . a rest; blanks and | are ignored
voice = "floor-drum"

[sequencer.wren]
clock = "slow"
reset = "home"
reset-mode = "next-clock"
steps = "Xxxxxxxx"                  # or: euclidean = { hits = 3, steps = 8, rotate = 0 }
voice = "bell"

[voice.floor-drum]
model = "kick"                      # kick, snare, hat, click
pitch-start = "160 Hz"
pitch-end   = "48 Hz"

[voice.bell]
model = "kick"
pitch-start = "220 Hz"
pitch-end   = "70 Hz"

[fix.or-gate]
about = "a logic gate in Wren's clock"
set."sequencer.wren.clock" = ["slow", "or-gate"]

[fix.phase]
about = "one step on the slow clock's phase dial"
set."clock.slow.phase" = "1 %"      # or a whole table: set."clock.later" = { rate = …, phase = … }
"#;

fn parse(source: &str) -> Patch {
    Patch::parse(source, &Asked::default()).unwrap_or_else(|f| panic!("{}", f.render("a.toml", source, false)))
}

fn rated(name: &str, period: Beat) -> Output {
    let timing = Timing::Rate { period, phase: Ratio::from_integer(0), swing: Ratio::new(1, 2) };
    let width = Width::Time(ExactPs::from_integer(5_000_000_000));
    Output { name: name.into(), timing, width, shift: ExactPs::from_integer(0) }
}

fn straight(output: usize) -> Path {
    Path { source: Source::Output(output), stages: vec![] }
}

fn steps(text: &str) -> Vec<Step> {
    text.chars()
        .map(|c| {
            if c == 'X' {
                Step::Accent
            } else if c == 'x' {
                Step::Hit
            } else {
                Step::Rest
            }
        })
        .collect()
}

#[test]
fn the_example_gives_the_rig_that_it_describes() {
    let patch = parse(EXAMPLE);
    assert_eq!(patch.title.as_deref(), Some("The late bell"));
    assert_eq!(patch.note, None);
    assert_eq!(patch.tempos, [50, 80, 120, 160].map(Tempo::whole));
    assert_eq!(patch.meter, Meter { count: 4, unit: 4 });
    assert_eq!(patch.max_gap, Span::from_ms(2));
    assert!(patch.warnings.is_empty());
    let rig = &patch.original.rig;
    assert_eq!(patch.original.name, "original");
    assert_eq!(rig.end, Beat::from_integer(32));
    let run = Output { timing: Timing::Start, width: Width::Default, ..rated("run", Beat::from_integer(1)) };
    let expected = [
        rated("sixteenths", Beat::new(1, 4)),
        rated("slow", Beat::from_integer(2)),
        rated("home", Beat::from_integer(16)),
        run,
    ];
    assert_eq!(rig.outputs, expected);
    let delay = Delay {
        rise: Tolerance::plain(Span(40_000_000)),
        fall: Tolerance::plain(Span(40_000_000)),
        swallows: Span::ZERO,
        one_shot: None,
    };
    assert_eq!(rig.stages, [Stage { name: "or-gate".into(), kind: StageKind::Delay(delay) }]);
    let home = |mode| Some(Reset { path: straight(2), mode });
    let ox = Sequencer {
        reset: home(ResetMode::ThisClock { grace: None }),
        ..Sequencer::new("ox", straight(0), steps("X...x...x...x..."), 0)
    };
    let wren = Sequencer {
        reset: home(ResetMode::NextClock { setup_time: Span::ZERO, on_tie: OnTie::ClockFirst }),
        ..Sequencer::new("wren", straight(1), steps("Xxxxxxxx"), 1)
    };
    assert_eq!(rig.sequencers, [ox, wren.clone()]);
    let voices: Vec<_> = rig.voices.iter().map(|v| (v.name.as_str(), v.sound.model(), v.noise)).collect();
    assert_eq!(voices, [("floor-drum", Some(Model::Kick), Noise::Same), ("bell", Some(Model::Kick), Noise::Same)]);
    // What a voice says is its own, and the rest is that of the kit's voice of its model.
    let params = Model::Kick.params();
    let values = |v: &hitgap::patch::Voice| v.sound.settings().expect("drawn").values.clone();
    let kick = values(hitgap::patch::kit().iter().find(|v| v.name == "kick").expect("in the kit"));
    for (n, param) in params.iter().enumerate() {
        let expected = match param.key {
            "pitch-start" => [160.0, 220.0],
            "pitch-end" => [48.0, 70.0],
            _ => [kick[n]; 2],
        };
        assert_eq!([0, 1].map(|v: usize| values(&rig.voices[v])[n]), expected, "{}", param.key);
    }
    assert_eq!(rig.one, Some(2));

    let names: Vec<_> = patch.fixes.iter().map(|f| f.name.as_str()).collect();
    assert_eq!(names, ["or-gate", "phase"]);
    assert_eq!(patch.fixes[0].about.as_deref(), Some("a logic gate in Wren's clock"));
    let mut gated = rig.clone();
    gated.sequencers[1].clock = Path { stages: vec![0], ..straight(1) };
    assert_eq!(patch.fixes[0].rig, gated);
    let phase = |rig: &mut hitgap::patch::Rig| {
        rig.outputs[1].timing =
            Timing::Rate { period: Beat::from_integer(2), phase: Ratio::new(1, 100), swing: Ratio::new(1, 2) };
    };
    let mut phased = rig.clone();
    phase(&mut phased);
    assert_eq!(patch.fixes[1].rig, phased);

    let both = patch.variant("or-gate+phase").expect("they go together");
    phase(&mut gated);
    assert_eq!((both.name.as_str(), &both.rig), ("or-gate+phase", &gated));
    assert_eq!(both.about.as_deref(), Some("a logic gate in Wren's clock; one step on the slow clock's phase dial"));
    assert_eq!(patch.variant("original").expect("always there"), patch.original);
    assert_eq!(patch.variant("phase").expect("there"), patch.fixes[1]);
}

#[test]
fn quoted_paths_may_be_written_in_every_form_of_toml() {
    let head = EXAMPLE.split("[fix.or-gate]").next().expect("the part before the fixes");
    let forms = [
        "[fix.later]\nset.\"clock.slow.phase\" = \"1 %\"\nset.\"clock.later\" = { rate = \"1 per beat\", phase = \"2 %\" }",
        "[fix.later.set]\n\"clock.slow.phase\" = \"1 %\"\n'clock.later' = { rate = \"1 per beat\", phase = \"2 %\" }",
        "fix.later = { set = { \"clock.slow.phase\" = \"1 %\", \"clock.later\" = { rate = \"1 per beat\", phase = \"2 %\" } } }",
        "[fix.later]\nset.\"clock.slow.phase\" = \"1 %\"\n[fix.later.set.\"clock.later\"]\nrate = \"1 per beat\"\nphase = \"2 %\"",
    ];
    // The third form must stand before any heading.
    let first = parse(&format!("{head}{}", forms[0]));
    let later = first.fixes[0].rig.outputs.last().expect("added");
    assert_eq!(later.name, "later");
    let phase = Ratio::new(1, 50);
    assert_eq!(later.timing, Timing::Rate { period: Beat::from_integer(1), phase, swing: Ratio::new(1, 2) });
    for (form, before) in [(1, false), (2, true), (3, false)] {
        let source = if before { format!("{}\n{head}", forms[form]) } else { format!("{head}{}", forms[form]) };
        assert_eq!(parse(&source).fixes[0].rig, first.fixes[0].rig, "{}", forms[form]);
    }
}

#[test]
fn one_way_of_saying_a_thing_replaces_the_other() {
    let source = format!(
        "{EXAMPLE}
[fix.even]
set.\"sequencer.wren.euclidean\" = {{ hits = 3, steps = 8, rotate = 0 }}
[fix.start]
set.\"clock.home.at\" = \"start\"
[fix.rate]
set.\"clock.run.rate\" = \"1 per 32 beats\"
[fix.whole]
set.\"sequencer.wren\" = {{ clock = \"slow\", steps = \"x.\", voice = \"click\" }}
[fix.other]
set.\"clock.slow.phase\" = \"2 %\"
"
    );
    let patch = parse(&source);
    let rig = |name: &str| patch.variant(name).expect(name).rig;
    assert_eq!(rig("even").sequencers[1].steps, steps("x..x..x."));
    assert_eq!(rig("start").outputs[2].timing, Timing::Start);
    assert_eq!(rig("start").one, None, "a reset that comes once is no one");
    assert!(matches!(rig("rate").outputs[3].timing, Timing::Rate { .. }));
    let whole = rig("whole");
    assert_eq!(whole.sequencers[1].reset, None);
    let names: Vec<_> = whole.voices.iter().map(|v| v.name.as_str()).collect();
    assert_eq!(names, ["floor-drum", "click"], "voices that nothing plays are left out, those of the kit come last");
    assert!(
        matches!(patch.variant("phase+other"), Err(VariantError::Clash { path, .. }) if path == "clock.slow.phase")
    );
    assert!(matches!(patch.variant("even+whole"), Err(VariantError::Clash { .. })));
    assert!(patch.variant("whole+even").is_ok(), "a key refines a table that was set before");
    let Err(VariantError::Unknown { name, known }) = patch.variant("phas") else { panic!("there is no such fix") };
    assert_eq!(
        (name.as_str(), known.len(), known[0].as_str()),
        ("phas", 7, "phase"),
        "all there are, the nearest first"
    );
    assert!(matches!(patch.variant("phase+phase"), Err(VariantError::Twice { .. })));
    assert!(matches!(patch.variant("phase+original"), Err(VariantError::JoinedOriginal)));
    assert!(matches!(patch.variant("phase+"), Err(VariantError::Empty(_))));
}

#[test]
fn fixes_that_are_good_alone_may_not_go_together() {
    let source = "[clock.c]\nrate = \"1 per 2 beats\"\n[sequencer.ox]\nclock = \"c\"\nsteps = \"x\"\nvoice = \"kick\"\n\
                  [fix.long]\nset.\"clock.c.width\" = \"800 ms\"\n[fix.fast]\nset.\"clock.c.rate\" = \"1 per beat\"\n";
    let Err(VariantError::Together(faults)) = parse(source).variant("long+fast") else { panic!("they do not") };
    assert_eq!(
        faults.render("a.toml", source, false),
        "\
error: at 120 a width of 800 ms reaches the next rise of the output `c`
 --> a.toml:8:23
  |
8 | set.\"clock.c.width\" = \"800 ms\"
  |                       ^^^^^^^^ expected a width of less than 500 ms, the shortest time between two rises at 120
  |
  = help: write a shorter `width`
"
    );
}

#[test]
fn what_is_asked_for_overrides_the_file() {
    let tempos = vec![Tempo::whole(120), Tempo::whole(60), Tempo::whole(120)];
    let asked = Asked { tempos: Some(tempos), bars: Some(3), max_gap: Some(Span::from_ms(7)), ..Asked::default() };
    let patch = Patch::parse(EXAMPLE, &asked).expect("good");
    assert_eq!(patch.tempos, [120, 60].map(Tempo::whole));
    assert_eq!(patch.original.rig.end, Beat::from_integer(12));
    assert_eq!(patch.max_gap, Span::from_ms(7));
    let asked = Asked { bars: Some(u64::MAX), ..Asked::default() };
    let faults = Patch::parse(EXAMPLE, &asked).expect_err("too long");
    assert_eq!(
        faults.render("a.toml", EXAMPLE, false),
        "error: 18446744073709551615 bars at 50 last longer than 100 days, which is the most\n--> a.toml\n = help: write fewer bars: a bar at 50 lasts 4.8 s\n"
    );
}

#[test]
fn the_length_is_two_periods_of_the_slowest_reset_in_whole_bars() {
    let bars = |rate: &str, more: &str| {
        let source = format!(
            "{more}\n[clock.c]\nrate = \"{rate}\"\n[sequencer.ox]\nclock = \"c\"\nreset = \"c\"\nreset-mode = \"ignored\"\nsteps = \"x\"\nvoice = \"kick\"\n"
        );
        let patch = parse(&source);
        assert_eq!(patch.tempos, [Tempo::whole(120)], "the default");
        patch.original.rig.end / patch.meter.bar()
    };
    assert_eq!(bars("1 per beat", ""), Ratio::from_integer(4), "at least four");
    assert_eq!(bars("1 per 16 beats", ""), Ratio::from_integer(8));
    assert_eq!(bars("1 per 17 beats", ""), Ratio::from_integer(9), "rounded up");
    assert_eq!(bars("1 per 16 beats", "meter = \"7/8\""), Ratio::from_integer(10), "32 beats in bars of 3.5");
    assert_eq!(bars("1 per 16 beats", "bars = 2"), Ratio::from_integer(2));
    // A fix with a slower reset makes the original as long, so that they can be compared.
    let slower = "fix.slow.set.\"clock.c.rate\" = \"1 per 32 beats\"";
    assert_eq!(bars("1 per 16 beats", slower), Ratio::from_integer(16));
}

#[test]
fn keys_that_do_not_matter_are_told_and_accepted() {
    let source = "[clock.c]\nrate = \"1 per beat\"\n[sequencer.ox]\nclock = \"c\"\nreset = \"c\"\nreset-mode = \"this-clock\"\nsetup-time = \"1 us\"\nholdoff = \"1 ms\"\nsteps = \"x\"\nvoice = \"kick\"\n[fix.tie]\nset.\"sequencer.ox.on-tie\" = \"reset-first\"\n";
    let patch = parse(source);
    assert_eq!(
        patch.warnings.render("a.toml", source, false),
        "\
warning: `setup-time` has no effect in the sequencer `ox`
 --> a.toml:7:1
  |
7 | setup-time = \"1 us\"
  | ^^^^^^^^^^ it matters to the reset modes \"next-clock\" and \"sampled\" only
  |
  = help: take it out, or leave it for a later change

warning: `holdoff` has no effect in the sequencer `ox`
 --> a.toml:8:1
  |
8 | holdoff = \"1 ms\"
  | ^^^^^^^ it matters to the reset mode \"immediate\" only
  |
  = help: take it out, or leave it for a later change

warning: in the fix `tie`: `on-tie` has no effect in the sequencer `ox`
  --> a.toml:12:19
   |
12 | set.\"sequencer.ox.on-tie\" = \"reset-first\"
   |                   ^^^^^^ it matters to the reset mode \"next-clock\" only
   |
   = help: take it out, or leave it for a later change

warning: 3 warnings
"
    );
}

#[test]
fn the_one_is_the_slowest_reset_unless_it_is_named() {
    let source = |top: &str| {
        format!(
            "{top}\n[clock.bar]\nrate = \"1 per 4 beats\"\n[clock.also]\nrate = \"2 per 8 beats\"\n[clock.unused]\nrate = \"1 per 9 beats\"\n[clock.run]\nat = \"start\"\n\
             [sequencer.ox]\nclock = \"bar\"\nreset = \"also\"\nreset-mode = \"ignored\"\nsteps = \"x\"\nvoice = \"kick\"\n\
             [sequencer.wren]\nclock = \"bar\"\nreset = \"bar\"\nreset-mode = \"ignored\"\nsteps = \"x\"\nvoice = \"kick\"\none = \"own\"\n"
        )
    };
    let one = |top: &str| parse(&source(top)).original.rig.one;
    assert_eq!(one(""), Some(0), "the first of equal ones");
    assert_eq!(one("one = \"unused\""), Some(2));
    assert_eq!(one("one = \"run\""), None, "the start alone");
    let own: Vec<_> = parse(&source("")).original.rig.sequencers.iter().map(|s| s.own_one).collect();
    assert_eq!(own, [false, true]);
}
