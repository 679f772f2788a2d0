//! Rigs that no example has, worked out by hand.

use hitgap::judge::advise::Aim;
use hitgap::judge::mend::{
    BoxFault, Catalogue, Change, Cost, Extent, Fault, Group, Hint, Mended, Place, Question, Watch, WishError, Wishes,
    mend,
};
use hitgap::judge::{Input, Target};
use hitgap::patch::{Asked, Patch};
use hitgap::time::Span;

const MS: i64 = 1_000_000_000;

fn read(text: &str) -> Patch {
    Patch::parse(text, &Asked::default()).unwrap_or_else(|e| panic!("{e}"))
}

fn ask(patch: &Patch, wishes: &Wishes, budget: usize) -> (Catalogue, Mended) {
    let catalogue = Catalogue::new(patch, &patch.components, wishes).expect("changes");
    let aim = Aim { max_gap: patch.max_gap, skew: patch.skew };
    let extent = Extent { budget, beyond: false };
    let question = Question { patch, catalogue: &catalogue, aim, tempos: &patch.tempos, extent };
    let mended = mend(&question, &Watch::nobody());
    (catalogue, mended)
}

const HERON: &str = r#"
tempos = [60, 120]
bars = 8
[clock.sixteenths]
rate = "4 per beat"
[clock.home]
rate = "1 per 16 beats"
[sequencer.ox]
clock = "sixteenths"
reset = "home"
reset-mode = "this-clock"
steps = "X...x...x...x..."
voice = "kick"
[sequencer.heron]
clock = "sixteenths"
reset = "home"
reset-mode = "next-clock"
steps = "X...x...x...x..."
voice = "snare"
[sequencer.anvil]
clock = "sixteenths"
reset = "home"
reset-mode = "this-clock"
latency = "3.8 ms"
offset = "0.5 ms"
steps = "X...x...x...x..."
voice = "hat"
[component.gate]
kind = "delay"
delay = "40 us"
"#;

/// Anvil sounds 3.8 + 0.5 = 4.3 ms late, and Heron takes the pulse after the reset, which is a sixteenth late. No one change
/// reaches both. A gate in Heron's clock puts it behind the reset: 0.04 ms after Ox. Anvil is nudged by x with |4.3 + x| ≤ 2 and
/// |4.3 + x − 0.04| ≤ 2, so from −6.26 to −2.3 ms; in the middle −4.28, as a round figure −4, which leaves 2 − 0.3 = 1.7 ms of the
/// max gap and writes an offset of −3.5 ms. The tightest is the gate itself: 0.04 ms from the edge that it has to keep away from.
#[test]
fn heron_needs_a_gate_and_anvil_a_nudge() {
    let patch = read(HERON);
    let (catalogue, mended) = ask(&patch, &Wishes::default(), 3);
    assert!(mended.is_complete());
    assert_eq!(mended.levels[0].passing, 0);
    let best = &mended.proposals[0];
    let clock = Place::Input(Target { sequencer: 1, input: Input::Clock });
    let changes: Vec<&Change> = best.changes.iter().map(|&n| &catalogue.offers[n].change).collect();
    assert_eq!(changes, [&Change::Put { part: 0, at: clock }, &Change::Nudge { player: 2 }]);
    assert_eq!(best.nudges, [(2, Span(-7 * MS / 2))]);
    let set: Vec<(&str, &str)> = best.fix.set.iter().map(|(path, value)| (path.as_str(), value.as_str())).collect();
    assert_eq!(
        set,
        [
            ("sequencer.anvil.offset", "\"-3.5 ms\""),
            ("stage.gate", "{ kind = \"delay\", delay = \"40 us\" }"),
            ("sequencer.heron.clock", "[\"sixteenths\", \"gate\"]"),
        ]
    );
    for at in &best.at {
        assert_eq!((at.widest, at.room), (Some(([0, 2], Span(3 * MS / 10))), Some(Span(17 * MS / 10))), "{at:?}");
        assert_eq!(at.margin, Some((1, Span(MS / 25))));
    }
    assert_eq!(best.slack, Some(Span(MS / 25 - patch.skew.0)));
    // Without a gate and a nudge it says who is in the way.
    assert!(mended.now.iter().any(|fault| matches!(
        fault,
        Fault::Box { sequencer: 1, what: BoxFault::MissesTheOne { pulses_late: 1 }, .. }
    )));
}

/// What is kept is not touched, and the price decides between what is as short: with the gate kept out of Heron's clock it can
/// only stand behind the output, for everybody, and so Ox and Anvil have it too.
#[test]
fn what_is_kept_stays_and_what_is_dear_comes_last() {
    let patch = read(HERON);
    let keep = |what: &str| Wishes { keep: vec![what.to_owned()], ..Wishes::default() };
    let (catalogue, mended) = ask(&patch, &keep("sequencer.anvil"), 2);
    assert!(mended.proposals.is_empty());
    assert!(catalogue.kept > 0);
    // Nearest comes the gate: Anvil alone is left.
    let (_, left) = mended.nearest.expect("something");
    assert!(left.iter().all(|fault| matches!(fault, Fault::Apart { between, .. } if between.contains(&2))), "{left:?}");
    let (_, mended) = ask(&patch, &keep("nudge"), 2);
    assert!(mended.proposals.is_empty());
    let dear = Wishes {
        prices: vec![("nudge".to_owned(), Cost::whole(7)), ("component.gate".to_owned(), Cost::whole(1))],
        ..Wishes::default()
    };
    let (_, mended) = ask(&patch, &dear, 2);
    assert_eq!(mended.proposals[0].cost, Cost::whole(8));
    let unknown = Catalogue::new(&patch, &[], &keep("sequencer.nobody"));
    assert!(matches!(unknown.expect_err("nobody"), WishError::Nothing { near: None, .. }));
}

/// Three boxes wait for the next pulse and stand a sixteenth late; Ox takes the pulse that is high. Three gates, one a box, are
/// three changes; one gate behind the output, before all clocks, is one: the clock comes 0.04 ms after the reset for everybody, Ox
/// is armed by then and plays step 1 with that pulse, and nobody is late against anybody. One gate before those three alone does as
/// well, and leaves its own delay between them and Ox: 0.04 ms, and 0.06 at most.
#[test]
fn one_gate_behind_the_output_serves_four_boxes() {
    let mut text = String::from(
        "tempos = [60]\nbars = 8\n[clock.sixteenths]\nrate = \"4 per beat\"\n[clock.home]\nrate = \"1 per 16 beats\"\n\
         [component.gate]\nkind = \"delay\"\ndelay = { min = \"30 us\", typ = \"40 us\", max = \"60 us\" }\n",
    );
    for (name, mode) in [("ox", "this-clock"), ("wren", "next-clock"), ("moth", "next-clock"), ("heron", "next-clock")]
    {
        text += &format!(
            "[sequencer.{name}]\nclock = \"sixteenths\"\nreset = \"home\"\nreset-mode = \"{mode}\"\nsteps = \"X...x...\"\nvoice = \"kick\"\n"
        );
    }
    let patch = read(&text);
    let (catalogue, mended) = ask(&patch, &Wishes::default(), 3);
    let put = |n: usize| {
        let [only] = mended.proposals[n].changes[..] else { panic!("one change") };
        catalogue.offers[only].change.clone()
    };
    let three = Group { output: 0, input: Input::Clock, members: 0b1110 };
    assert_eq!(mended.proposals.len(), 2);
    assert_eq!(put(0), Change::Put { part: 0, at: Place::Output(0, Input::Clock) });
    assert_eq!(put(1), Change::Put { part: 0, at: Place::Group(three) });
    let beside = &mended.proposals[1].at[0];
    assert_eq!(
        (beside.widest.map(|(_, gap)| gap), beside.room),
        (Some(Span(4 * MS / 100)), Some(Span(194 * MS / 100)))
    );
    let best = &mended.proposals[0];
    // What the gate draws is common to all: no gap. A hit that a reset causes without a clock would have none of it, and so up to
    // 0.02 ms is held against them.
    assert_eq!(
        (best.at[0].widest.map(|(_, gap)| gap), best.at[0].room),
        (Some(Span::ZERO), Some(Span(198 * MS / 100)))
    );
    // Usually 0.04 ms keep the edges apart, and the gate may be 0.01 sooner: so much is left for sure. That it may be 0.02 later takes nothing.
    assert_eq!(best.at[0].margin.map(|(_, margin)| margin), Some(Span(3 * MS / 100)));
    // Sets of two and three could only cost more.
    assert_eq!((mended.levels[0].passing, mended.is_complete()), (2, true));
}

/// Ox and Moth look at their reset when a clock comes: it is high from 0.5 ms before the clock to 0.02 ms after it, so that they are on the
/// one, and a clock that came 0.04 ms later would find it low: of seven steps, the 64 sixteenths from reset to reset would leave one
/// over. Wren and Heron wait for the clock after a reset that comes with the
/// clock, and are a sixteenth late: a gate in their clocks mends that, 0.04 ms. So a gate before all four clocks does not do, nor
/// one before three; one gate each are two changes; one gate before those two of the four is one.
#[test]
fn one_gate_stands_before_two_of_four_boxes() {
    let mut text = String::from(
        "tempos = [60, 120]\nbars = 8\n[clock.sixteenths]\nrate = \"4 per beat\"\n\
         [clock.home]\nrate = \"1 per 16 beats\"\nshift = \"-500 us\"\nwidth = \"520 us\"\n\
         [clock.gong]\nrate = \"1 per 16 beats\"\n[component.gate]\nkind = \"delay\"\ndelay = \"40 us\"\n",
    );
    let boxes = [
        ("ox", "home", "sampled"),
        ("wren", "gong", "next-clock"),
        ("moth", "home", "sampled"),
        ("heron", "gong", "next-clock"),
    ];
    for (name, reset, mode) in boxes {
        text += &format!(
            "[sequencer.{name}]\nclock = \"sixteenths\"\nreset = \"{reset}\"\nreset-mode = \"{mode}\"\nsteps = \"X...x..\"\nvoice = \"kick\"\n"
        );
    }
    let patch = read(&text);
    let keep = vec!["dial".to_owned(), "cable".to_owned()];
    let (catalogue, mended) = ask(&patch, &Wishes { keep: keep.clone(), ..Wishes::default() }, 2);
    assert!(mended.is_complete());
    assert_eq!((mended.levels[0].passing, mended.proposals.len()), (1, 1));
    let group = Group { output: 0, input: Input::Clock, members: 0b1010 };
    let best = &mended.proposals[0];
    assert_eq!(catalogue.offers[best.changes[0]].change, Change::Put { part: 0, at: Place::Group(group) });
    for at in &best.at {
        assert_eq!(at.widest.map(|(_, gap)| gap), Some(Span(MS / 25)));
    }
    // Where groups are left out that is said, and it takes two.
    let (catalogue, mended) = ask(&patch, &Wishes { keep, groups: Some(3), ..Wishes::default() }, 2);
    assert_eq!(catalogue.ungrouped, [(0, Input::Clock)]);
    assert_eq!((mended.levels[0].passing, mended.proposals.iter().map(|p| p.changes.len()).min()), (0, Some(2)));
}

/// A habit that its maker lets be switched: what the user says may be set is tried, and nothing else would do without parts.
#[test]
fn a_habit_may_be_switched() {
    let text = HERON
        .replace("latency = \"3.8 ms\"\n", "")
        .replace("[component.gate]\nkind = \"delay\"\ndelay = \"40 us\"\n", "");
    let patch = read(&text);
    let (_, mended) = ask(&patch, &Wishes::default(), 2);
    assert!(mended.proposals.is_empty());
    let path = "sequencer.heron.reset-mode".to_owned();
    let may = Wishes { may: vec![(path.clone(), vec!["\"this-clock\"".to_owned()])], ..Wishes::default() };
    let (_, mended) = ask(&patch, &may, 2);
    assert_eq!(mended.proposals[0].fix.set, [(path, "\"this-clock\"".to_owned())]);
    assert_eq!(mended.proposals[0].cost, Cost::NOTHING);
    let way =
        Wishes { may: vec![("sequencer.heron.clock".to_owned(), vec!["\"home\"".to_owned()])], ..Wishes::default() };
    assert!(matches!(Catalogue::new(&patch, &[], &way), Err(WishError::Way(_))));
}

/// Two boxes whose gap differs from tempo to tempo by more than twice the max gap: no nudge serves both tempos. A phase of 10 % of
/// a sixteenth is 25 ms at 60 and 12.5 ms at 120.
#[test]
fn where_no_nudge_serves_it_says_who_stands_against_whom() {
    let text = "tempos = [60, 120]\nbars = 2\n[clock.a]\nrate = \"4 per beat\"\n[clock.b]\nrate = \"4 per beat\"\nphase = \"10 %\"\n\
                [sequencer.ox]\nclock = \"a\"\nsteps = \"x...\"\nvoice = \"kick\"\n\
                [sequencer.wren]\nclock = \"b\"\nsteps = \"x...\"\nvoice = \"hat\"\n";
    let patch = read(text);
    let keep = vec!["dial".to_owned(), "cable".to_owned()];
    let wishes = Wishes { nudges: vec!["wren".to_owned()], keep, ..Wishes::default() };
    let (_, mended) = ask(&patch, &wishes, 2);
    assert!(mended.proposals.is_empty() && mended.is_complete());
    // With the dial, it is put back.
    let (catalogue, mended) = ask(&patch, &Wishes::default(), 1);
    assert!(
        mended
            .proposals
            .iter()
            .any(|p| matches!(catalogue.offers[p.changes[0]].change, Change::Turn { output: 1, .. }))
    );
}

/// The number of sets by hand: slots of 2, 1 and 3 changes have 6 sets of one, 2·1 + 2·3 + 1·3 = 11 of two and 2·1·3 = 6 of three.
#[test]
fn sets_are_counted_by_slots() {
    let patch = read(HERON);
    let may = |path: &str, n: usize| (path.to_owned(), (0..n).map(|k| format!("\"{k} ms\"")).collect::<Vec<_>>());
    let keep = ["nudge", "dial", "cable", "part"].map(str::to_owned).to_vec();
    let may =
        vec![may("sequencer.ox.latency", 2), may("sequencer.heron.latency", 1), may("sequencer.anvil.latency", 3)];
    let catalogue =
        Catalogue::new(&patch, &patch.components, &Wishes { may, keep, ..Wishes::default() }).expect("changes");
    assert_eq!(catalogue.sets(4), [6, 11, 6, 0]);
}

/// A gate of 100 us puts Heron's clock behind its reset; it may come 10 us sooner, and that leaves 90, of which the skew takes 10. By how
/// much it may come later has no part in that, but in the gap to Ox: 2 ms less the 215 us. As `check` judges what is proposed, too.
#[test]
fn a_part_may_come_later_than_it_could_come_sooner() {
    for most in ["195", "215"] {
        let gate = format!("delay = {{ min = \"90 us\", typ = \"100 us\", max = \"{most} us\" }}");
        let text = HERON.replace("delay = \"40 us\"", &gate).replace("latency = \"3.8 ms\"\noffset = \"0.5 ms\"\n", "");
        let patch = read(&text);
        let (_, mended) = ask(&patch, &Wishes { keep: vec!["cable".to_owned()], ..Wishes::default() }, 1);
        let best = mended.proposals.iter().find(|p| p.fix.name == "gate-heron").expect("the gate");
        let us = |n: i64| Span(n * MS / 1000);
        let latest: i64 = most.parse().expect("a number");
        for at in &best.at {
            assert_eq!((at.margin, at.room), (Some((1, us(90))), Some(us(2000 - latest))));
        }
        assert_eq!(best.slack, Some(us(80)));
        for &tempo in &patch.tempos {
            let performance = hitgap::rig::play(&best.rig, tempo).expect("played");
            let sure = hitgap::judge::sure(&best.rig, &performance, patch.skew)[1].expect("a reset");
            assert_eq!((sure.at_risk, sure.margin), (0, Some(us(90))));
        }
    }
}

/// Heron, which is kept, misses the one and cannot be mended; Anvil is 4.3 ms late and can. So no set passes and none need be judged for
/// that; nearest comes the nudge, which takes Anvil's fault away. Where Anvil is kept too, nothing takes any away, and both are named.
#[test]
fn what_is_called_nearest_takes_a_fault_away() {
    let patch = read(HERON);
    let keep = |names: &[&str]| {
        let keep = names.iter().map(|name| (*name).to_owned()).collect();
        ask(&patch, &Wishes { keep, ..Wishes::default() }, 2)
    };
    let (catalogue, mended) = keep(&["heron", "part"]);
    let (set, left) = mended.nearest.expect("the nudge");
    assert!(matches!(set[..], [n] if catalogue.offers[n].change == Change::Nudge { player: 2 }), "{set:?}");
    assert!(left.iter().all(|fault| matches!(fault, Fault::Box { sequencer: 1, .. })), "{left:?}");
    let (_, mended) = keep(&["heron", "part", "sequencer.anvil"]);
    assert!(mended.nearest.is_none() && mended.proposals.is_empty() && !mended.now.is_empty());
    let kept = |player: usize, by: &str| Hint::Kept { player, by: by.to_owned() };
    assert_eq!(mended.hints, [kept(1, "heron"), kept(2, "sequencer.anvil")]);
    // Without an offset in the patch nobody nudges Anvil unless that is said: 3.8 ms, of which 2 are allowed.
    let patch = read(&HERON.replace("offset = \"0.5 ms\"\n", ""));
    let (_, mended) = ask(&patch, &Wishes::default(), 2);
    assert_eq!(mended.hints, [Hint::Nudge { player: 2, late: Span(3_800_000_000) }]);
    let (_, mended) = ask(&patch, &Wishes { nudges: vec!["anvil".to_owned()], ..Wishes::default() }, 2);
    assert!(!mended.proposals.is_empty() && mended.hints.is_empty());
}
