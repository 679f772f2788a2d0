//! Kinds of boxes: a box that is like one plays as one whose keys are written out, and what the page says of each is what the
//! simulation does.

use hitgap::hits::list;
use hitgap::patch::{Asked, BoxKinds, Patch, Rig, StageKind, box_kinds};
use hitgap::rig::play;
use hitgap::time::{Instant, Span, Tempo};

/// Each kind of the kit written out by hand, from its words and from docs/rules.md: what must be in the patch, and what in the
/// table of `box`.
const WRITTEN: [(&str, &str, &str); 14] = [
    ("serial-24", SERIAL, SERIAL_BOX),
    ("serial-24-computer", COMPUTER, COMPUTER_BOX),
    (
        "counts-24",
        COUNTS,
        "clock = \"pulses-24\"\nreset = \"run-24\"\nreset-mode = \"this-clock\"\npulses-per-step = 6\n",
    ),
    ("takes-high-pulse", "", "clock = \"c\"\nreset = \"h\"\nreset-mode = \"this-clock\"\n"),
    ("takes-recent-pulse", "", "clock = \"c\"\nreset = \"h\"\nreset-mode = \"this-clock\"\ngrace = \"20 ms\"\n"),
    ("waits-clock-first", "", "clock = \"c\"\nreset = \"h\"\nreset-mode = \"next-clock\"\non-tie = \"clock-first\"\n"),
    ("waits-reset-first", "", "clock = \"c\"\nreset = \"h\"\nreset-mode = \"next-clock\"\non-tie = \"reset-first\"\n"),
    ("jumps-at-once", "", "clock = \"c\"\nreset = \"h\"\nreset-mode = \"immediate\"\n"),
    ("stands-while-reset", "", "clock = \"c\"\nreset = \"h\"\nreset-mode = \"held\"\n"),
    ("looks-at-clock-edges", "", "clock = \"c\"\nreset = \"h\"\nreset-mode = \"sampled\"\n"),
    ("looks-now-and-then", LOOKS, "clock = \"c\"\nreset = \"h\"\nreset-mode = \"next-clock\"\npoll = \"box-looks\"\n"),
    ("waits-out-silence", "", "clock = \"c\"\nidle-reset = \"1500 ms\"\n"),
    ("plays-on", "", "clock = \"c\"\nreset = \"h\"\nreset-mode = \"ignored\"\n"),
    // Without a reset, how one is read says nothing.
    ("plays-on", "", "clock = \"c\"\n"),
];
const SERIAL: &str = "[clock.serial-24]\nrate = \"24 per beat\"\n[clock.serial-run]\nat = \"run\"\n\
    [stage.serial-cable]\nkind = \"midi-cable\"\n";
const SERIAL_BOX: &str = "clock = [\"serial-24\", \"serial-cable\"]\nreset = [\"serial-run\", \"serial-cable\"]\n\
    reset-mode = \"next-clock\"\npulses-per-step = 6\n";
const COMPUTER: &str = "[clock.serial-24]\nrate = \"24 per beat\"\n[clock.serial-run]\nat = \"run\"\n\
    [stage.serial-cable]\nkind = \"midi-cable\"\n[stage.box-blocks]\nkind = \"audio-buffer\"\nframes = 256\nblocks = 2\n\
    phase = \"0 s\"\ndrift = \"0 ppm\"\n";
const COMPUTER_BOX: &str = "clock = [\"serial-24\", \"serial-cable\"]\nreset = [\"serial-run\", \"serial-cable\"]\n\
    reset-mode = \"next-clock\"\npulses-per-step = 6\nout = [\"box-blocks\"]\n";
const COUNTS: &str = "[clock.pulses-24]\nrate = \"24 per beat\"\n[clock.run-24]\nat = \"run\"\n";
const LOOKS: &str = "[stage.box-looks]\nkind = \"poll\"\nperiod = \"1 ms\"\n";

/// A reset that comes a little after its pulse, every seven sixteenths, and a box beside that has none.
fn around(stages: &str, lines: &str) -> String {
    format!(
        "bars = 4\none = \"h\"\n[clock.c]\nrate = \"4 per beat\"\nwidth = \"5 ms\"\n\
         [clock.h]\nrate = \"4 per 7 beats\"\nwidth = \"5 ms\"\nshift = \"2 ms\"\n{stages}\
         [sequencer.box]\nsteps = \"X.xx.x\"\n{lines}[sequencer.other]\nclock = \"c\"\nreset = \"h\"\nreset-mode = \"ignored\"\n\
         steps = \"x\"\nvoice = \"kick\"\n"
    )
}

fn patch(text: &str, boxes: &BoxKinds) -> Patch {
    let asked = Asked { boxes: boxes.clone(), ..Asked::default() };
    Patch::parse(text, &asked).unwrap_or_else(|f| panic!("{}", f.render("a.toml", text, false)))
}

fn rig(text: &str) -> Rig {
    let patch = patch(text, &BoxKinds::default());
    assert!(patch.warnings.is_empty(), "{}", patch.warnings.render("a.toml", text, false));
    patch.original.rig
}

/// Every hit of the box: when, and which step.
fn hits(rig: &Rig, bpm: u64) -> Vec<(Instant, usize, u8)> {
    let performance = play(rig, Tempo::whole(bpm)).expect("it plays");
    let n = rig.sequencers.iter().position(|s| s.name == "box").expect("the box");
    list(rig, &performance)
        .iter()
        .filter(|hit| hit.sequencer == n)
        .map(|hit| (hit.at, hit.step, hit.velocity))
        .collect()
}

#[test]
fn each_kind_plays_as_its_keys_written_out() {
    for kind in box_kinds() {
        assert!(WRITTEN.iter().any(|(name, ..)| *name == kind.name()), "{} is not written out", kind.name());
    }
    for (name, stages, lines) in WRITTEN {
        let written = rig(&around(stages, &format!("{lines}voice = \"snare\"\n")));
        // What a kind says of its own inputs is not said again; the voice is the first that nobody else plays.
        let own = |line: &&str| line.starts_with("reset = \"h\"");
        let own: String = lines.lines().filter(own).map(|line| format!("{line}\n")).collect();
        let like = rig(&around("", &format!("like = \"{name}\"\n{own}")));
        assert_eq!(like.sequencers[0], written.sequencers[0], "{name}");
        for bpm in [60, 133] {
            let hits = hits(&like, bpm);
            assert_eq!(hits, self::hits(&written, bpm), "{name} at {bpm}");
            assert!(hits.len() > 8, "{name} at {bpm} plays {} hits", hits.len());
        }
    }
}

#[test]
fn a_key_beside_it_holds_instead() {
    let box_of = |lines: &str| rig(&around("", lines)).sequencers[0].clone();
    let written = |lines: &str| box_of(&format!("{lines}voice = \"snare\"\n"));
    let high = "like = \"takes-recent-pulse\"\nreset = \"h\"\n";
    assert_eq!(
        box_of(&format!("{high}grace = \"3 ms\"\nlatency = \"1 ms\"\n")),
        written("clock = \"c\"\nreset = \"h\"\nreset-mode = \"this-clock\"\ngrace = \"3 ms\"\nlatency = \"1 ms\"\n")
    );
    // Another reading takes with it what belongs to the kind's own: no grace is left, of which a warning would tell.
    assert_eq!(
        box_of(&format!("{high}reset-mode = \"immediate\"\n")),
        written("clock = \"c\"\nreset = \"h\"\nreset-mode = \"immediate\"\n")
    );
    let first = "like = \"waits-reset-first\"\nreset = \"h\"\n";
    assert_eq!(
        box_of(&format!("{first}setup-time = \"1 ms\"\n")),
        written("clock = \"c\"\nreset = \"h\"\nreset-mode = \"next-clock\"\nsetup-time = \"1 ms\"\n")
    );
    // What a kind brings is set by who defines it, and only by that name.
    let faster =
        around("[stage.serial-cable]\nkind = \"midi-cable\"\nstart-lead = \"0 s\"\n", "like = \"serial-24\"\n");
    let rig = rig(&faster);
    assert_eq!(rig.stages.len(), 1);
    assert!(matches!(&rig.stages[0].kind, StageKind::MidiCable(cable) if cable.start_lead == Span::ZERO));
    // The start and the first clock, 320 µs each, and nothing between.
    assert_eq!(hits(&rig, 120)[0].0, Instant(640_000_000));
}

/// What a kind says of resets waits for one, and is not warned of.
#[test]
fn a_fix_that_gives_a_reset_finds_how_it_is_read() {
    let fixed = |lines: &str| {
        let text = format!("{}[fix.wire]\nset.\"sequencer.box.reset\" = \"h\"\n", around("", lines));
        let patch = patch(&text, &BoxKinds::default());
        assert!(patch.warnings.is_empty(), "{}", patch.warnings.render("a.toml", &text, false));
        (patch.original.rig.sequencers[0].reset.clone(), patch.fixes[0].rig.sequencers[0].clone())
    };
    let (without, with) = fixed("like = \"waits-reset-first\"\nvoice = \"snare\"\n");
    assert_eq!(without, None);
    let lines =
        "clock = \"c\"\nreset = \"h\"\nreset-mode = \"next-clock\"\non-tie = \"reset-first\"\nvoice = \"snare\"\n";
    assert_eq!(with, rig(&around("", lines)).sequencers[0]);
}

#[test]
fn serial_boxes_share_one_cable_and_loops_are_their_own() {
    let two = |kind: &str| {
        let text = format!(
            "[clock.c]\nrate = \"4 per beat\"\n[sequencer.a]\nlike = \"{kind}\"\nsteps = \"x\"\n[sequencer.b]\nlike = \"{kind}\"\nsteps = \"x\"\n"
        );
        rig(&text)
    };
    let serial = two("serial-24");
    assert_eq!((serial.outputs.len(), serial.stages.len()), (3, 1));
    let names = |rig: &Rig| rig.stages.iter().map(|s| s.name.clone()).collect::<Vec<_>>();
    assert_eq!(names(&two("looks-now-and-then")), ["a-looks", "b-looks"]);
    assert_eq!(names(&two("serial-24-computer")), ["serial-cable", "a-blocks", "b-blocks"]);
}

#[test]
fn a_clock_that_is_not_written_is_the_only_one_that_is_nobodys_reset() {
    let with = |more: &str| {
        format!(
            "[clock.c]\nrate = \"4 per beat\"\n[clock.h]\nrate = \"1 per 4 beats\"\n[clock.start]\nat = \"start\"\n{more}\
             [sequencer.box]\nlike = \"jumps-at-once\"\nreset = \"h\"\nsteps = \"x\"\n"
        )
    };
    let clock = |text: &str| rig(text).origin(&rig(text).sequencers.last().expect("the box").clock);
    assert_eq!(clock(&with("")), 0);
    // A serial box brings a faster one, which is nobody's to step on by itself, whoever defines it.
    let serial = "[sequencer.m]\nlike = \"serial-24\"\nsteps = \"x\"\n";
    assert_eq!(clock(&with(serial)), 0);
    assert_eq!(clock(&with(&format!("[clock.serial-24]\nrate = \"24 per beat\"\nshift = \"1 ms\"\n{serial}"))), 0);
    let second = with("[clock.eighths]\nrate = \"2 per beat\"\n");
    let faults = Patch::parse(&second, &Asked::default()).expect_err("two clocks");
    assert_eq!(faults.to_string(), "the sequencer `box` has no `clock`");
}

#[test]
fn voices_that_are_not_written_are_those_that_nobody_plays() {
    let more: String = (0..5).map(|n| format!("[sequencer.n{n}]\nlike = \"plays-on\"\nsteps = \"x\"\n")).collect();
    let text = format!(
        "[clock.c]\nrate = \"4 per beat\"\n{more}[sequencer.last]\nclock = \"c\"\nsteps = \"x\"\nvoice = \"snare\"\n"
    );
    let rig = rig(&text);
    let voices: Vec<&str> = rig.sequencers.iter().map(|s| rig.voices[s.voice].name.as_str()).collect();
    assert_eq!(voices, ["kick", "hat", "click", "kick", "snare", "snare"]);
}

#[test]
fn kinds_of_ones_own_hide_those_of_files_and_of_the_kit() {
    let file = |ms: u32| {
        let text = format!("[box.mine]\nlatency = \"{ms} ms\"\n[box.plays-on]\nlatency = \"{ms} ms\"\n");
        Patch::read_boxes(&text).unwrap_or_else(|f| panic!("{}", f.render("boxes", &text, false)))
    };
    let text = |own: &str, kind: &str| {
        format!("{own}[clock.c]\nrate = \"4 per beat\"\n[sequencer.s]\nlike = \"{kind}\"\nsteps = \"x\"\n")
    };
    let latency =
        |own: &str, kind: &str, boxes: &BoxKinds| patch(&text(own, kind), boxes).original.rig.sequencers[0].latency;
    let own = "[box.mine]\nabout = \"ours\"\nlatency = \"7 ms\"\n";
    let none = BoxKinds::default();
    assert_eq!(latency("", "plays-on", &none), Span::ZERO);
    assert_eq!(latency("", "plays-on", &file(3)), Span::from_ms(3));
    assert_eq!(latency("", "mine", &file(3)), Span::from_ms(3));
    assert_eq!(latency(own, "mine", &file(3)), Span::from_ms(7));
    // Of two files, the later.
    let mut both = file(3);
    both.extend(file(4));
    assert_eq!(latency("", "mine", &both), Span::from_ms(4));
    assert_eq!(both.list().len(), 2);
}

/// Ways in which docs/boxes.md sends a reset at a clock of two pulses a second, each half of the time high: how long after the
/// second of its pulses the reset rises, and how long it is, in milliseconds.
const SENT: [(i64, i64); 4] = [(0, 5), (10, 5), (200, 5), (300, 1400)];

/// What is heard of step 1 after a reset, in the words of the page.
fn heard(kind: &str, (after, lasts): (i64, i64)) -> String {
    let text = format!(
        "bars = 16\ntempos = [60]\none = \"h\"\n[clock.c]\nrate = \"2 per beat\"\nwidth = \"50 %\"\n\
         [clock.h]\nrate = \"1 per 8 beats\"\nshift = \"{after} ms\"\nwidth = \"{lasts} ms\"\n\
         [sequencer.box]\nlike = \"{kind}\"\nreset = \"h\"\nsteps = \"X{}\"\nvoice = \"kick\"\n",
        "x".repeat(299)
    );
    let pulse = 500;
    // The second reset comes at eight seconds and plays on what has settled.
    let reset = 8000 + after;
    let until = reset + lasts;
    let ms = |at: Instant| at.0 / 1_000_000_000;
    let after_it: Vec<(i64, usize)> = hits(&rig(&text), 60)
        .iter()
        .map(|(at, step, _)| (ms(*at), *step))
        .filter(|(at, _)| (reset..reset + 3000).contains(at))
        .collect();
    let ones: Vec<i64> = after_it.iter().filter(|(_, step)| *step == 1).map(|(at, _)| *at).collect();
    let next = (reset / pulse + 1) * pulse;
    let silent = !after_it.iter().any(|(at, _)| (reset + 1..until).contains(at)) && lasts > 2 * pulse;
    match ones[..] {
        [] => "not at all",
        [one] if one == reset && reset % pulse == 0 => "on the beat",
        [one] if one == reset && silent => "at once, then silence",
        [one] if one == reset => "at once",
        [one] if one == next => "with the next pulse",
        [first, ..] if first == next && ones.len() == 3 => "at every pulse",
        _ => panic!("{kind}: {after_it:?}"),
    }
    .to_owned()
}

/// The page's table of four settings, cell by cell; and no two kinds have one row.
#[test]
fn what_the_page_says_to_listen_for_is_what_is_played() {
    let page = hitgap::patch::reference::boxes();
    let rows: Vec<Vec<&str>> = page
        .lines()
        .skip_while(|line| !line.starts_with("| kind |"))
        .skip(2)
        .take_while(|line| line.starts_with('|'))
        .map(|line| line.trim_matches('|').split('|').map(str::trim).collect())
        .collect();
    for row in &rows {
        let played: Vec<String> = SENT.iter().map(|sent| heard(row[0].trim_matches('`'), *sent)).collect();
        assert_eq!(row[1..], played, "{}", row[0]);
        assert_eq!(rows.iter().filter(|other| other[1..] == row[1..]).count(), 1, "{} is not told from others", row[0]);
    }
    // All that take pulses and a reset, and bring nothing, are in it.
    let plain = box_kinds()
        .iter()
        .filter(|kind| kind.brings().is_empty() && kind.keys().iter().any(|(key, _)| key == "reset-mode"));
    let plain: Vec<String> = plain.map(|kind| format!("`{}`", kind.name())).collect();
    assert_eq!(rows.iter().map(|row| row[0]).collect::<Vec<_>>(), plain);
}

/// `waits-out-silence`: the clock stands for two seconds, or for one.
#[test]
fn a_box_that_waits_out_silences_begins_anew_after_a_long_one() {
    let step_after = |start: &str| {
        let text = format!(
            "bars = 4\n[clock.c]\nrate = \"4 per beat\"\n[sequencer.box]\nlike = \"waits-out-silence\"\nsteps = \"xxxxxxx\"\n\
             [[change]]\nafter = \"4 beats\"\nstop = true\n[[change]]\nafter = \"{start} beats\"\nstart = true\n"
        );
        let patch = patch(&text, &BoxKinds::default());
        let from =
            patch.original.rig.clockwork(Tempo::whole(60)).instant(start.parse::<i128>().expect("a number").into());
        hits(&patch.original.rig, 60).into_iter().find(|hit| hit.0 >= from).expect("it goes on").1
    };
    // Sixteen pulses of a second's quarter: the seventeenth plays step 17 − 14, or step 1.
    assert_eq!((step_after("5"), step_after("6")), (3, 1));
}

#[test]
fn an_answer_of_identify_names_the_kind_that_says_it() {
    use hitgap::judge::identify::Habit;
    let mut named = Vec::new();
    for habit in Habit::all() {
        let (kind, beside) = habit.kind().unwrap_or_else(|| panic!("no kind for {habit:?}"));
        let lines = [vec![format!("like = \"{}\"", kind.name())], beside].concat().join("\n") + "\n";
        let written = habit.lines().join("\n") + "\n";
        let read = |lines: &str| {
            rig(&around("", &format!("clock = \"c\"\nreset = \"h\"\nvoice = \"snare\"\n{lines}"))).sequencers.remove(0)
        };
        assert_eq!(read(&lines), read(&written), "{lines}");
        named.push(kind.name());
    }
    for kind in ["takes-high-pulse", "takes-recent-pulse", "waits-clock-first", "waits-reset-first", "plays-on"] {
        assert!(named.contains(&kind), "{kind}");
    }
}
