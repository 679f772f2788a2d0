//! Edits one by one, with the text that they must give, written by hand.

use super::{refused, with};
use serde_json::json;

const RIG: &str = r#"# The rig of the cellar.
title  = "A rig"   # a name
tempos = [50, 80]

[clock.fast]
rate  = "4 per beat"  # sixteenths
width = "5 ms"

# Wren's own.
[clock.slow]
rate = "1 per 2 beats"

[stage.gate]
kind  = "delay"
delay = "40 us"

[sequencer.ox]
clock = ["fast", "gate"]
reset = "slow"
reset-mode = "this-clock"
steps = 'X...'
voice = "kick"
input = { min-high = "1 ms", min-low = "2 ms" }

[sequencer.wren]
clock = "fast"
steps = "x"
voice = "bell"
out = ["gate"]

[voice.bell]
model = "kick"

[fix.late]
about = "later"
set."sequencer.ox.clock" = ["fast"]
set."clock.slow.phase" = "1 %"

[[change]]
after = "4 beats"
set."stage.gate.delay" = "1 ms"
"#;

/// The text with one piece replaced by another.
fn but(old: &str, new: &str) -> String {
    assert_eq!(RIG.matches(old).count(), 1, "{old}");
    RIG.replace(old, new)
}

#[test]
fn a_value_changes_and_nothing_around_it() {
    let set = |at, to| with(RIG, json!({"do": "set", "at": at, "to": to}));
    assert_eq!(set(json!(["clock", "fast", "rate"]), json!("2 per beat")), but("4 per beat\"  #", "2 per beat\"  #"));
    assert_eq!(set(json!(["tempos", 1]), json!(81.5)), but("80]", "81.5]"));
    assert_eq!(set(json!(["tempos", 2]), json!(90)), but("80]", "80, 90]"));
    assert_eq!(set(json!(["sequencer", "ox", "input", "min-low"]), json!("3 ms")), but("2 ms", "3 ms"));
    assert_eq!(
        set(json!(["change", 0, "set", "stage.gate.delay"]), json!("2 ms")),
        but("= \"1 ms\"\n", "= \"2 ms\"\n")
    );
    // What it is already, in other words of TOML: not a byte.
    assert_eq!(set(json!(["sequencer", "ox", "steps"]), json!("X...")), RIG);
    assert_eq!(
        set(json!(["stage", "gate"]), json!({"kind": "poll", "period": "1 ms"})),
        but("kind  = \"delay\"\ndelay = \"40 us\"\n", "kind  = \"poll\"\nperiod = \"1 ms\"\n")
    );
}

#[test]
fn a_key_is_added_at_the_end_of_its_table_and_aligned() {
    let set = |at, to| with(RIG, json!({"do": "set", "at": at, "to": to}));
    let after = |old: &str, new: &str| but(old, &format!("{old}{new}"));
    assert_eq!(set(json!(["clock", "fast", "phase"]), json!("1 %")), after("width = \"5 ms\"\n", "phase = \"1 %\"\n"));
    assert_eq!(set(json!(["bars"]), json!(8)), after("tempos = [50, 80]\n", "bars   = 8\n"));
    let poll = "poll = \"loop\"\n";
    assert_eq!(set(json!(["sequencer", "wren", "poll"]), json!("loop")), after("out = [\"gate\"]\n", poll));
    assert_eq!(set(json!(["voice", "bell", "pan"]), json!("-5 %")), after("model = \"kick\"\n", "pan = \"-5 %\"\n"));
    assert_eq!(
        set(json!(["sequencer", "wren", "input", "min-high"]), json!("1 ms")),
        after("out = [\"gate\"]\n", "input = { min-high = \"1 ms\" }\n")
    );
    assert_eq!(
        set(json!(["clock", "new", "at"]), json!("run")),
        after("rate = \"1 per 2 beats\"\n", "\n[clock.new]\nat = \"run\"\n")
    );
    assert_eq!(set(json!(["jitter", "wander"]), json!("1 ms")), after("80]\n", "\n[jitter]\nwander = \"1 ms\"\n"));
    assert_eq!(with("", json!({"do": "set", "at": ["bars"], "to": 4})), "bars = 4\n");
    assert_eq!(
        with("[clock.a]\r\nat = \"run\"\r\n", json!({"do": "set", "at": ["bars"], "to": 4})),
        "bars = 4\r\n\r\n[clock.a]\r\nat = \"run\"\r\n"
    );
    assert_eq!(
        with("[clock.a]\nat=\"run\"", json!({"do": "set", "at": ["clock", "a", "width"], "to": "1 ms"})),
        "[clock.a]\nat=\"run\"\nwidth=\"1 ms\"\n"
    );
    let dotted = "clock.a.rate = \"4 per beat\"\nbars = 4\n";
    assert_eq!(
        with(dotted, json!({"do": "set", "at": ["clock", "a", "phase"], "to": "1 %"})),
        "clock.a.rate = \"4 per beat\"\nclock.a.phase = \"1 %\"\nbars = 4\n"
    );
    let braces = "clock = { a = { at = \"run\" } }\n";
    assert_eq!(
        with(braces, json!({"do": "add", "at": ["clock", "b"], "to": {"at": "stop"}})),
        "clock = { a = { at = \"run\" }, b = { at = \"stop\" } }\n"
    );
}

#[test]
fn a_key_is_taken_out_with_its_line_or_its_comma() {
    let clear = |at| with(RIG, json!({"do": "clear", "at": at}));
    assert_eq!(clear(json!(["clock", "fast", "width"])), but("width = \"5 ms\"\n", ""));
    assert_eq!(clear(json!(["sequencer", "ox", "input", "min-high"])), but("min-high = \"1 ms\", ", ""));
    assert_eq!(clear(json!(["sequencer", "ox", "input", "min-low"])), but(", min-low = \"2 ms\"", ""));
    assert_eq!(clear(json!(["tempos", 0])), but("50, ", ""));
    assert_eq!(clear(json!(["sequencer", "ox", "holdoff"])), RIG);
    assert_eq!(
        clear(json!(["change", 0])),
        but("\n[[change]]\nafter = \"4 beats\"\nset.\"stage.gate.delay\" = \"1 ms\"\n", "")
    );
}

#[test]
fn a_table_is_added_after_the_last_of_its_kind() {
    let add = |at, to| with(RIG, json!({"do": "add", "at": at, "to": to}));
    let after = |old: &str, new: &str| but(old, &format!("{old}{new}"));
    assert_eq!(
        add(json!(["sequencer", "finch"]), json!({"clock": "slow", "steps": "x", "voice": "kick"})),
        after("out = [\"gate\"]\n", "\n[sequencer.finch]\nclock = \"slow\"\nsteps = \"x\"\nvoice = \"kick\"\n")
    );
    // The tables of its kind are aligned, so it is.
    assert_eq!(
        add(json!(["stage", "far"]), json!({"kind": "air", "distance": "3 m"})),
        after("delay = \"40 us\"\n", "\n[stage.far]\nkind     = \"air\"\ndistance = \"3 m\"\n")
    );
    // Of a kind that the file has not: after the kinds before it.
    assert_eq!(
        add(json!(["wire", "split"]), json!({"path": ["fast", "gate"]})),
        after("delay = \"40 us\"\n", "\n[wire.split]\npath = [\"fast\", \"gate\"]\n")
    );
    assert_eq!(
        add(json!(["fix", "soon"]), json!({"set": {"clock.slow.phase": "-1 %", "clock.fast.shift": "1 ms"}})),
        after(
            "phase\" = \"1 %\"\n",
            "\n[fix.soon]\nset.\"clock.fast.shift\" = \"1 ms\"\nset.\"clock.slow.phase\" = \"-1 %\"\n"
        )
    );
    assert_eq!(
        add(json!(["change"]), json!({"after": "8 beats", "stop": true})),
        format!("{RIG}\n[[change]]\nafter = \"8 beats\"\nstop = true\n")
    );
    let taken = refused(RIG, json!({"do": "add", "at": ["sequencer", "Ox"], "to": {}}));
    assert_eq!(taken, "there is a sequencer `ox` already\nhelp: take another name");
}

#[test]
fn a_table_goes_with_all_that_names_it_and_can_do_without() {
    let remove = |at| with(RIG, json!({"do": "remove", "at": at}));
    let gone = but("[stage.gate]\nkind  = \"delay\"\ndelay = \"40 us\"\n\n", "")
        .replace("clock = [\"fast\", \"gate\"]", "clock = [\"fast\"]")
        .replace("out = [\"gate\"]\n", "")
        .replace("\n[[change]]\nafter = \"4 beats\"\nset.\"stage.gate.delay\" = \"1 ms\"\n", "");
    assert_eq!(remove(json!(["stage", "gate"])), gone);
    let gone = but("[clock.slow]\nrate = \"1 per 2 beats\"\n", "")
        .replace("reset = \"slow\"\nreset-mode = \"this-clock\"\n", "")
        .replace("set.\"clock.slow.phase\" = \"1 %\"\n", "");
    assert_eq!(remove(json!(["clock", "slow"])), gone);
    assert_eq!(
        refused(RIG, json!({"do": "remove", "at": ["clock", "fast"]})),
        "`ox` and `wren` need the output `fast`\nhelp: give `ox` and `wren` something else first, or remove `ox` and `wren`"
    );
    assert!(
        refused(RIG, json!({"do": "remove", "at": ["voice", "bell"]})).starts_with("`wren` needs the voice `bell`")
    );
    // A fix that sets nothing any more goes too.
    let short = "[clock.a]\nat = \"run\"\n\n[fix.f]\nset.\"clock.a.width\" = \"1 ms\"\n\n[voice.v]\nmodel = \"hat\"\n";
    assert_eq!(with(short, json!({"do": "remove", "at": ["clock", "a"]})), "[voice.v]\nmodel = \"hat\"\n");
}

#[test]
fn a_name_changes_wherever_it_is_used() {
    let rename = |at, name| with(RIG, json!({"do": "rename", "at": at, "as": name}));
    assert_eq!(
        rename(json!(["stage", "gate"]), "or-gate"),
        RIG.replace("\"gate\"", "\"or-gate\"").replace("stage.gate", "stage.or-gate")
    );
    assert_eq!(
        rename(json!(["clock", "fast"]), "f"),
        RIG.replace("\"fast\"", "\"f\"").replace("clock.fast", "clock.f")
    );
    assert_eq!(rename(json!(["sequencer", "ox"]), "bull"), RIG.replace("sequencer.ox", "sequencer.bull"));
    assert_eq!(
        rename(json!(["voice", "bell"]), "gong"),
        RIG.replace("\"bell\"", "\"gong\"").replace("voice.bell", "voice.gong")
    );
    let dotted = "clock.a.rate = \"4 per beat\"\nclock.a.width = \"5 ms\"\n[wire.w]\npath = 'a'\n[sequencer.s]\nreset = \"sequencer.s.end\"\n[sequencer.s.input]\nmin-low = \"1 ms\"\n";
    assert_eq!(
        with(dotted, json!({"do": "rename", "at": ["clock", "a"], "as": "b"})),
        dotted.replace("clock.a", "clock.b").replace("'a'", "\"b\"")
    );
    assert_eq!(
        with(dotted, json!({"do": "rename", "at": ["sequencer", "s"], "as": "t"})),
        dotted.replace("sequencer.s", "sequencer.t")
    );
    assert!(refused(RIG, json!({"do": "rename", "at": ["sequencer", "ox"], "as": "original"})).contains("taken"));
}

#[test]
fn a_copy_stands_behind_what_it_is_a_copy_of() {
    let copied = with(RIG, json!({"do": "duplicate", "at": ["clock", "fast"], "as": "fast-2"}));
    let own = "[clock.fast]\nrate  = \"4 per beat\"  # sixteenths\nwidth = \"5 ms\"\n";
    assert_eq!(copied, but(own, &format!("{own}\n{}", own.replace("fast", "fast-2"))));
}

#[test]
fn a_fix_is_set_within_itself() {
    let set = |fix: &str, at, to| with(RIG, json!({"do": "set", "fix": fix, "at": at, "to": to}));
    let after = |old: &str, new: &str| but(old, &format!("{old}{new}"));
    let phase = json!(["clock", "slow", "phase"]);
    assert_eq!(set("late", phase.clone(), json!("2 %")), but("phase\" = \"1 %\"", "phase\" = \"2 %\""));
    let delay = "set.\"stage.gate.delay\" = \"1 s\"\n";
    assert_eq!(set("late", json!(["stage", "gate", "delay"]), json!("1 s")), after("phase\" = \"1 %\"\n", delay));
    // As the patch has it: taken out again, and never written at all.
    assert_eq!(set("late", phase.clone(), json!("0 %")), but("set.\"clock.slow.phase\" = \"1 %\"\n", ""));
    assert_eq!(set("late", json!(["stage", "gate", "delay"]), json!("40 us")), RIG);
    assert_eq!(
        set("new", json!(["sequencer", "ox", "input", "min-low"]), json!("0 s")),
        after(
            "phase\" = \"1 %\"\n",
            "\n[fix.new]\nset.\"sequencer.ox.input\" = { min-high = \"1 ms\", min-low = \"0 s\" }\n"
        )
    );
    assert_eq!(
        with(RIG, json!({"do": "clear", "fix": "late", "at": phase})),
        but("set.\"clock.slow.phase\" = \"1 %\"\n", "")
    );
    assert!(refused(RIG, json!({"do": "set", "fix": "late", "at": ["bars"], "to": 4})).contains("whole patch"));
    let one = "[fix.f]\nset.\"clock.a.width\" = \"1 ms\"\n";
    assert!(
        refused(one, json!({"do": "clear", "fix": "f", "at": ["clock", "a", "width"]})).contains("sets nothing else")
    );
}

#[test]
fn what_has_changed_is_kept_as_a_fix_of_the_text_before() {
    let now = with(RIG, json!({"do": "set", "at": ["sequencer", "wren", "offset"], "to": "-3 ms"}));
    let now = with(&now, json!({"do": "clear", "at": ["clock", "fast", "width"]}));
    let now = with(&now, json!({"do": "add", "at": ["stage", "arm"], "to": {"kind": "delay", "delay": "1 ms"}}));
    let kept = with(&now, json!({"do": "keep", "fix": "arm", "about": "an arm", "of": RIG}));
    let fix = "\n[fix.arm]\nabout = \"an arm\"\nset.\"clock.fast\" = { rate = \"4 per beat\" }\n\
        set.\"stage.arm\" = { kind = \"delay\", delay = \"1 ms\" }\nset.\"sequencer.wren.offset\" = \"-3 ms\"\n";
    assert_eq!(kept, but("phase\" = \"1 %\"\n", &format!("phase\" = \"1 %\"\n{fix}")));
    let title = with(RIG, json!({"do": "set", "at": ["title"], "to": "Another"}));
    assert!(refused(&title, json!({"do": "keep", "fix": "t", "of": RIG})).starts_with("`title` has changed"));
    assert!(refused(RIG, json!({"do": "keep", "fix": "t", "of": RIG})).starts_with("nothing has changed"));
}

#[test]
fn a_text_with_a_fault_of_syntax_is_not_edited() {
    let says = refused("bars = 4\n[clock.a\n", json!({"do": "set", "at": ["bars"], "to": 5}));
    assert!(says.starts_with("the text has a fault in line 2: ") && says.contains("\nhelp: "), "{says}");
}
