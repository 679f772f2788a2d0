//! Windows, tempos and components worked out by hand.

use crate::naive::rigs;
use hitgap::judge::advise::{
    Advice, Aim, Cure, DialSetting, Fit, Level, Question, Song, Watch, Window, advise, apart, basket, card, turns,
};
use hitgap::judge::runs::{Trials, chances};
use hitgap::judge::{Input, Target, TargetError};
use hitgap::patch::{Asked, EdgeKind, Patch, Path, ResetMode, Rig, Source, Stage};
use hitgap::time::{PS_PER_US, Span, Tempo};
use num_rational::Ratio;

fn tempo(text: &str) -> Tempo {
    text.parse().expect("a tempo")
}

const fn window(least: i64, most: i64) -> Window {
    Window { least: Span(least), most: Span(most) }
}

fn ask(rig: &Rig, target: Target, tempos: &[Tempo], max_gap: Span) -> Advice {
    let question = Question {
        target,
        aim: Aim { max_gap, skew: Span(10 * PS_PER_US) },
        tempos,
        components: &[],
        dial_steps: None,
        settings: &[],
        between: (Tempo::whole(20), Tempo::whole(300)),
        rc: false,
    };
    advise(rig, &question).expect("it can be played")
}

/// Ox takes the pulse that is high; the other box has a mode, and both have one clock of 125 ms and one reset of 5 ms.
fn beside_ox(mode: ResetMode) -> Rig {
    let outputs = vec![rigs::output("sixteenths", rigs::part(1, 4)), rigs::output("home", rigs::part(4, 1))];
    let box_ = |name: &str, mode: ResetMode| {
        let steps = "x".repeat(16);
        rigs::with_reset(rigs::sequencer(name, rigs::straight(0), &steps), rigs::straight(1), mode)
    };
    let sequencers = vec![box_("ox", rigs::this_clock()), box_("wren", mode)];
    rigs::rig(rigs::part(12, 1), outputs, Vec::new(), sequencers, Some(1))
}

const CLOCK: Target = Target { sequencer: 1, input: Input::Clock };
const RESET: Target = Target { sequencer: 1, input: Input::Reset };

fn passes(rig: &Rig, target: Target, max_gap: Span) -> Vec<Window> {
    ask(rig, target, &[Tempo::whole(120)], max_gap).tempos[0].passes.clone()
}

/// Each mode by its rule: what comes at the very instant, within a waiting time, or while the reset is high.
#[test]
fn each_mode_has_its_own_window() {
    const MS: i64 = 1_000_000_000;
    let most = Span::from_ms(20);
    // A rise at the very instant of the reset is an ordinary step: more than 0. At most, the gap.
    assert_eq!(passes(&beside_ox(rigs::next_clock()), CLOCK, most), [window(1, 20 * MS)]);
    // The rise must come at least 3 ms after the reset.
    let mode = ResetMode::NextClock { setup_time: rigs::us(3_000), on_tie: hitgap::patch::OnTie::ClockFirst };
    assert_eq!(passes(&beside_ox(mode), CLOCK, most), [window(3 * MS, 20 * MS)]);
    // Step 1 plays with the reset, and rises until the holdoff after it are ignored, the end included.
    assert_eq!(passes(&beside_ox(rigs::immediate()), CLOCK, most), [window(0, MS)]);
    // Rises while the reset is high are ignored; at the instant of its fall it is no longer.
    assert_eq!(passes(&beside_ox(ResetMode::Held), CLOCK, most), [window(0, 5 * MS - 1)]);
    // High when the clock rises; it falls first. A box that woke on another step would not be right without its reset.
    for (setup, least) in [(0, 0), (2_000, 2 * MS)] {
        let mut rig = beside_ox(ResetMode::Sampled { setup_time: rigs::us(setup) });
        rig.sequencers[1].power_up_step = 7;
        assert_eq!(passes(&rig, CLOCK, most), [window(least, 5 * MS - 1)]);
    }
    // What acts on the fall needs more than the width.
    let mut rig = beside_ox(rigs::next_clock());
    rig.sequencers[1].reset_edge = EdgeKind::Fall;
    assert_eq!(passes(&rig, CLOCK, most), [window(5 * MS + 1, 20 * MS)]);
}

/// No delay suits a box that wants more than 0 and one on the same wire that wants none: here, a gap of 1 ms to a box that
/// acts 5 ms late.
#[test]
fn where_no_delay_will_do_it_is_said_who_is_in_the_way() {
    let mut rig = beside_ox(rigs::next_clock());
    rig.sequencers[1].reset_edge = EdgeKind::Fall;
    let advice = ask(&rig, CLOCK, &[Tempo::whole(120)], Span::from_ms(1));
    let at = &advice.tempos[0];
    assert!(at.passes.is_empty() && at.sure.is_empty());
    let gap = hitgap::judge::Reason::GapTooLarge { between: [0, 1], gap: Span(5_000_000_001) };
    assert_eq!(at.below, [gap], "the delay that comes nearest is a picosecond over the width");
}

/// Setup: the launching clock's delay to the output, the logic behind it and the setup time must fit into one period of the
/// clock, `T ≥ t_pcq + t_pd + t_setup`. Hold: `t_ccq + t_cd > t_hold`. The worked example of a textbook (Harris and Harris,
/// Digital Design and Computer Architecture; both conditions as quoted at electronics.stackexchange.com/questions/101827, the
/// figures of three gates between two registers from memory):
/// 80 + 3·40 + 50 = 250 ps, and 30 + 25 = 55 ps against a hold time of 60, mended by one more gate of 25. A microsecond
/// stands for a picosecond here.
#[test]
fn setup_and_hold_as_in_a_textbook_of_static_timing_analysis() {
    let us = |us: i64| Span(us * PS_PER_US);
    // Setup: the reset is the data, launched by the clock's own edge; 200 later it is there, and a setup time of 50 is asked.
    let setup_time = us(50);
    let mut rig = beside_ox(ResetMode::NextClock { setup_time, on_tie: hitgap::patch::OnTie::ClockFirst });
    rig.stages = vec![rigs::delay("register", us(80)), rigs::delay("three-gates", us(3 * 40))];
    let reset = rig.sequencers[1].reset.as_mut().expect("a reset");
    reset.path.stages = vec![0, 1];
    assert_eq!(passes(&rig, CLOCK, Span::from_ms(2)), [window(250 * PS_PER_US, 2_000 * PS_PER_US)]);
    // Hold: the data must not get through to the edge that launched it. Wren takes a reset within 60 of a rise for that
    // pulse; Lantern's home comes one pulse early, 55 after the rise before the one.
    let mut rig = beside_ox(ResetMode::ThisClock { grace: Some(us(60)) });
    rig.outputs.push(rigs::output("early", rigs::part(4, 1)));
    rig.outputs[2].shift = hitgap::time::ExactPs::from_integer(-125_000_000_000);
    rig.stages = vec![rigs::delay("register", us(30)), rigs::delay("one-gate", us(25))];
    rig.sequencers[1].reset.as_mut().expect("a reset").path = Path { source: Source::Output(2), stages: vec![0, 1] };
    let short = passes(&rig, RESET, Span::from_ms(2));
    // 5 are missing, and the hold time itself is too short.
    assert_eq!(short[0].least, Span(5 * PS_PER_US + 1));
    // One more gate is 20 more than is needed.
    rig.stages.push(Stage { ..rigs::delay("second-gate", us(25)) });
    rig.sequencers[1].reset.as_mut().expect("a reset").path.stages.push(2);
    assert_eq!(passes(&rig, RESET, Span::from_ms(2))[0].least, Span::ZERO);
}

fn example(name: &str) -> Patch {
    let text = std::fs::read_to_string(format!("patches/{name}.toml")).expect("the example");
    Patch::parse(&text, &Asked::default()).expect("a sound patch")
}

fn of_wren(patch: &Patch, settings: &[DialSetting], dial_steps: Option<u32>) -> Advice {
    let rig = &patch.original.rig;
    let target = Target::parse(rig, "sequencer.wren.clock").expect("a path");
    let question = Question {
        target,
        aim: Aim { max_gap: patch.max_gap, skew: patch.skew },
        tempos: &patch.tempos,
        components: &patch.components,
        dial_steps,
        settings,
        between: (Tempo::whole(20), Tempo::whole(300)),
        rc: true,
    };
    advise(rig, &question).expect("it can be played")
}

/// One per cent of a sixteenth is 150 ms/tempo: 2 ms at 75, and 2.00000003 ms a millionth below.
#[test]
fn one_per_cent_holds_from_75_up() {
    let one = DialSetting::Share(Ratio::new(1, 100));
    let advice = of_wren(&example("thin-ice"), &[one, DialSetting::Time(Span(40 * PS_PER_US))], Some(100));
    assert_eq!(advice.holds[0].ranges, [(tempo("75"), tempo("300"))]);
    assert_eq!(advice.holds[1].ranges, [(tempo("20"), tempo("300"))]);
    // 60, 75, 120, 160: 2 ms are 0.8, 1, 1.6 and 2.13 % of the period.
    let settings: Vec<Vec<u32>> = advice.tempos.iter().map(|t| t.settings(100).0).collect();
    assert_eq!(settings, [vec![], vec![1], vec![1], vec![1, 2]]);
    assert_eq!(advice.dial, Some((100, vec![])));
    let shares = advice.shares[0];
    assert_eq!(shares.most, Ratio::new(8, 1000), "2 ms of 250 ms");
    assert_eq!(shares.least, Ratio::new(10, 93_750), "10 µs of 93.75 ms");
}

/// The skew of 10 µs is kept from the tie at 0; nothing else has a tolerance.
#[test]
fn the_skew_is_kept_from_where_another_step_is_played() {
    let advice = of_wren(&example("late-bell"), &[], None);
    assert_eq!(advice.passes, [window(1, 2_000_000_000)]);
    assert_eq!(advice.sure, [window(10_000_000, 2_000_000_000)]);
}

#[test]
fn components_are_ranked() {
    let patch = example("three-in-the-basket");
    let advice = of_wren(&patch, &[], None);
    let ranks: Vec<(&str, Fit)> = advice.parts.iter().map(|p| (p.name.as_str(), p.fit)).collect();
    assert_eq!(ranks, [("envelope", Fit::Always), ("gate", Fit::AtRisk), ("loop-box", Fit::AtRisk)]);
    let envelope = &advice.parts[0];
    // A straight rise to 8 V in 1 ms is at 2 V after a quarter of it.
    assert_eq!(envelope.delay, Some(window(250_000_000, 250_000_000)));
    let room = envelope.room.expect("a window");
    assert_eq!((room.sooner, room.later), (Span(240_000_000), Span(1_750_000_000)));
    assert_eq!(envelope.price.as_deref(), Some("45"));
    assert_eq!(advice.parts[1].delay, Some(window(0, 250_000)));
}

/// A wrong capacitor: too late at every tempo; a short pulse that never gets through: no delay at all.
#[test]
fn what_does_not_fit_is_said_not_to() {
    let patch = example("three-in-the-basket");
    let extra = "[component.late]\nkind = \"delay\"\ndelay = \"3 ms\"\n\
        [component.deaf]\nkind = \"rc\"\nr = \"100 kohm\"\nc = \"10 uF\"\nthreshold-rise = \"2.5 V\"\n";
    let mut patch = patch;
    patch.components = patch.read_components(extra).expect("sound");
    let advice = of_wren(&patch, &[], None);
    let found: Vec<_> = advice.parts.iter().map(|p| (p.name.as_str(), p.fit, p.delay.is_some())).collect();
    assert_eq!(found, [("late", Fit::Never, true), ("deaf", Fit::Never, false)]);
}

/// 30 kΩ and 6.8 nF: RC 204 µs, and RC·ln 2 = 141.4 µs, next to the middle of 10 µs to 2 ms by ratio, √(10·2000) = 141.4 µs.
/// At most 1.05·1.10·RC·ln(1/(1 − 0.7)), at least 0.95·0.90·RC·ln(1/(1 − 0.3)) (closed forms).
#[test]
fn the_rc_pair_is_nearest_the_middle_with_all_its_tolerances() {
    let advice = of_wren(&example("three-in-the-basket"), &[], None);
    let rc = advice.rc.expect("a window");
    assert!(rc.sure && rc.at.iter().all(|at| at.level == Level::Fits));
    let off = |ohms: f64, farads: f64| (ohms * farads * std::f64::consts::LN_2 / 141.421_356e-6).ln().abs();
    for ohms in hitgap::judge::advise::values(&hitgap::judge::advise::E24, 3, 6) {
        for farads in hitgap::judge::advise::values(&hitgap::judge::advise::E12, -10, -5) {
            // Two that differ by the rounding of a picosecond are alike.
            assert!(off(rc.ohms, rc.farads) <= off(ohms, farads) + 1e-5, "{ohms} Ω and {farads} F are nearer");
        }
    }
    let tau = rc.ohms * rc.farads * 1e12;
    let near = |span: Span, ps: f64| assert!((span.0 as f64 - ps).abs() < 1_000.0, "{span:?} against {ps}");
    near(rc.delay.least, 0.95 * 0.90 * tau * (1.0_f64 / 0.7).ln());
    near(rc.delay.most, 1.05 * 1.10 * tau * (1.0_f64 / 0.3).ln());
}

/// Two edges *d* apart are seen apart by a loop of period *P* with probability min(1, d/P) (closed form), which drawn runs
/// must show too; and what is called certain never fails in them.
#[test]
fn a_polled_input_has_odds_below_what_is_certain() {
    let patch = example("moth-blinks");
    let rig = &patch.original.rig;
    let target = Target::parse(rig, "sequencer.moth.clock").expect("a path");
    let at = ask(rig, target, &[Tempo::whole(120)], patch.max_gap).tempos.remove(0);
    let runs = |delay: Span| {
        let mut rig = rig.clone();
        rig.stages.push(rigs::delay("extra", delay));
        rig.sequencers[target.sequencer].clock.stages.push(rig.stages.len() - 1);
        let trials = Trials { runs: 1_000, seed: 5, max_gap: patch.max_gap, max_wobble: None };
        let found = chances(&rig, Tempo::whole(120), trials, &|| {}).expect("short");
        (found.passes(), 1.0 - found.sequencers[target.sequencer].resets.share().expect("resets"))
    };
    for us in [40, 125, 400] {
        let odds = at.odds(Span(us * PS_PER_US)).expect("a loop");
        let odds = *odds.numer() as f64 / *odds.denom() as f64;
        // Two resets a run that may go together: as many trials as runs, five standard deviations.
        let (_, seen) = runs(Span(us * PS_PER_US));
        assert!((odds - seen).abs() < 5.0 * (odds * (1.0 - odds) / 1_000.0).sqrt(), "{us} µs: {odds} against {seen}");
    }
    // A period, grown by a drift of 30 ppm, and the skew.
    assert_eq!(at.sure[0].least, Span(500_015_000 + 10_000_000));
    for end in [at.sure[0].least, at.sure[0].most] {
        assert!(runs(end).0, "{end:?}");
    }
}

#[test]
fn a_card_has_a_setting_for_each_song() {
    let patch = example("thin-ice");
    let advice = of_wren(&patch, &[], Some(100));
    let song = |title: &str, bpm| Song { title: title.to_owned(), tempo: Tempo::whole(bpm) };
    let card = card(&advice, &[song("slow", 60), song("quick", 160), song("slow again", 60)]);
    let step = |n: usize| match card.rows[n].pick {
        Some(hitgap::judge::advise::Pick::Step { step, from, to, .. }) => Some((step, from, to)),
        _ => None,
    };
    assert_eq!([step(0), step(1), step(2)], [None, Some((1, 1, 2)), None]);
    assert_eq!(card.all, None);
}

#[test]
fn a_path_that_is_none_is_refused() {
    let rig = beside_ox(ResetMode::Ignored);
    let parse = |text: &str| Target::parse(&rig, text);
    assert_eq!(parse("sequencer.wren.clock"), Ok(CLOCK));
    assert_eq!(parse("sequencer.ox.reset"), Ok(Target { sequencer: 0, input: Input::Reset }));
    assert!(matches!(parse("sequencer.wren.reset"), Err(TargetError::NoReset(_))));
    assert!(matches!(parse("sequencer.moth.clock"), Err(TargetError::Unknown { .. })));
    for text in ["", "wren.clock", "sequencer.wren", "sequencer.wren.out", "stage.wren.clock"] {
        assert!(matches!(parse(text), Err(TargetError::Form { .. })), "{text}");
    }
}

/// The piece of `patches/gate-at-last.toml`: from beat 24 on a gate of 40 µs lies before Wren's clock, and from beat 40 on Wren's
/// arm waits 12 ms. A delay at the input stays there: Wren is right with any, and is late by it, by the gate and by the arm.
#[test]
fn a_delay_stays_at_the_input_through_all_that_is_plugged_before_it() {
    let source = include_str!("../../../patches/gate-at-last.toml");
    let patch = Patch::parse(source, &Asked::default()).expect("a sound patch");
    const MS: i64 = 1_000_000_000;
    let of = |max_gap: Span| ask(&patch.original.rig, CLOCK, &[Tempo::whole(60), Tempo::whole(120)], max_gap);
    for at in of(Span::from_ms(20)).tempos {
        assert_eq!(at.passes, [window(1, 20 * MS - 12 * MS - 40 * PS_PER_US)]);
        // Nothing is drawn: the skew alone is kept, from where Wren would wait for the next pulse.
        assert_eq!(at.sure, [window(10 * PS_PER_US, 20 * MS - 12 * MS - 40 * PS_PER_US)]);
        assert!(at.exact);
    }
    // The arm alone is too much for 2 ms.
    assert!(of(Span::from_ms(2)).tempos.iter().all(|at| at.passes.is_empty()));
}

/// A hit that comes before a change sounds as it was set until then, and one that is delayed beyond it as from then on: the window
/// ends where the last pulse before the change meets it.
#[test]
fn a_window_ends_where_a_pulse_meets_a_change() {
    const MS: i64 = 1_000_000_000;
    // At 120 pulse 15 rises at 1875 ms. Beat 3.76 is 1880 ms, and from then on Wren waits 50 ms.
    let mut rig = beside_ox(rigs::this_clock());
    let mut sequencers = rig.sequencers.clone();
    sequencers[1].latency = Span::from_ms(50);
    rig.course.eras.push(hitgap::patch::Era {
        from: rigs::part(376, 100),
        stages: Vec::new(),
        wires: Vec::new(),
        sequencers: sequencers.clone(),
        voices: (0..rig.voices.len()).collect(),
    });
    // And 5 ms later no more.
    sequencers[1].latency = Span::ZERO;
    rig.course.eras.push(hitgap::patch::Era { from: rigs::part(377, 100), sequencers, ..rig.course.eras[0].clone() });
    // A pulse from 5 ms on is within these 5 ms, from 10 ms on behind. Its gap is 50 ms more meanwhile.
    assert_eq!(passes(&rig, CLOCK, Span::from_ms(20)), [window(0, 5 * MS - 1), window(10 * MS, 20 * MS)]);
}

/// Ox is fine; Wren and Moth take the pulse after their reset, which a gate of 40 us mends at each by itself; Anvil hangs on a serial line of
/// its own and sounds 7 ms late. Of Wren the two others are set aside, and so every way to ask says the same of the gate: it fits.
#[test]
fn who_is_set_aside_is_the_same_however_it_is_asked() {
    let mut text = String::from(
        "tempos = [60, 120]\nbars = 8\n[clock.sixteenths]\nrate = \"4 per beat\"\n[clock.home]\nrate = \"1 per 16 beats\"\n\
         [clock.serial]\nrate = \"4 per beat\"\n[stage.cable]\nkind = \"midi-cable\"\n\
         [component.gate]\nkind = \"delay\"\ndelay = \"40 us\"\n\
         [sequencer.anvil]\nclock = [\"serial\", \"cable\"]\nlatency = \"7 ms\"\nsteps = \"X...x...\"\nvoice = \"hat\"\n",
    );
    for (name, mode) in [("ox", "this-clock"), ("wren", "next-clock"), ("moth", "next-clock")] {
        text += &format!(
            "[sequencer.{name}]\nclock = \"sixteenths\"\nreset = \"home\"\nreset-mode = \"{mode}\"\nsteps = \"X...x...\"\nvoice = \"kick\"\n"
        );
    }
    let patch = Patch::parse(&text, &Asked::default()).expect("a patch");
    let rig = &patch.original.rig;
    for (wren, other) in [(2, 3), (3, 2)] {
        let target = Target { sequencer: wren, input: Input::Clock };
        let question = Question { components: &patch.components, ..Question::plain(&patch, target) };
        let all = turns(rig, &question, u128::MAX, &Watch::nobody()).expect("played");
        let Cure::Delay { on, parts, windows, .. } = &all.of(wren).expect("at fault").cure else { panic!("{all:?}") };
        assert_eq!((*on, parts[0].fit), (target, Fit::Always));
        let advice = advise(rig, &question).expect("played");
        let (aside, without) = apart(rig, &question, &advice, &Watch::nobody()).expect("played").expect("somebody");
        let mut gone: Vec<usize> = aside.players.iter().map(|(player, ..)| *player).collect();
        gone.sort_unstable();
        let mut expected = vec![0, other];
        expected.sort_unstable();
        assert_eq!(gone, expected);
        assert_eq!((&without.sure, &without.parts), (windows, parts));
        let basket = basket(rig, &question, 5, &Watch::nobody()).expect("played");
        assert_eq!(&basket.judged_by().parts, parts);
    }
    // Whom nothing mends comes first, as it is said.
    let question = Question { components: &patch.components, ..Question::plain(&patch, Target::all(rig)[0]) };
    let all = turns(rig, &question, u128::MAX, &Watch::nobody()).expect("played");
    assert_eq!(all.turns.iter().map(|turn| turn.player).collect::<Vec<_>>(), [0, 2, 3]);
}
