//! Which habit has a box: the shortest experiment, and that answering it truthfully leads to the box.

use crate::naive::work_out;
use hitgap::judge::identify::{AudiblePattern, BENCH, BOX, ClockSetting, Dials, Group, Habit, Plan, ResetPlace};
use hitgap::patch::{Asked, EdgeKind, OnTie, Patch, ResetMode, Rig};
use hitgap::time::{Beat, Span, Tempo};
use proptest::prelude::*;
use std::sync::LazyLock;

static RIG: LazyLock<Rig> =
    LazyLock::new(|| Patch::parse(BENCH, &Asked::default()).expect("the bench is a patch").original.rig);
static PLAN: LazyLock<Plan> = LazyLock::new(|| Plan::new(&RIG, BOX, *SLOW).expect("it plays").expect("it has a reset"));
/// Of a clock without dials.
static PLAIN: LazyLock<Plan> =
    LazyLock::new(|| Plan::for_clock(&RIG, BOX, *SLOW, Dials::None).expect("it plays").expect("it has a reset"));
/// All that such a clock gives: reset and clock together, each for 5 ms.
const AS_IT_IS: ClockSetting = ClockSetting { place: ResetPlace::Same, long_reset: false, wide_clock: false };
static SLOW: LazyLock<Tempo> = LazyLock::new(|| Tempo::whole(60));

fn heard(habit: &Habit, trial: &ClockSetting) -> AudiblePattern {
    AudiblePattern::of(&RIG, BOX, *SLOW, trial, habit).expect("it plays").expect("it has a reset")
}

/// What somebody answers who has this box and good ears; `None` for what is not among the answers.
fn answers(plan: &Plan, habit: &Habit) -> Vec<Option<usize>> {
    let answer = |step: &hitgap::judge::identify::PlanStep| {
        let heard = heard(habit, &step.trial);
        step.heard.iter().position(|(h, _)| *h == heard)
    };
    plan.steps.iter().map(answer).collect()
}

fn found(habit: &Habit) -> Vec<&'static Group> {
    let answers = answers(&PLAN, habit);
    assert!(answers.iter().all(Option::is_some), "{habit:?} answers what nobody foresaw: {answers:?}");
    PLAN.groups.iter().filter(|g| g.answers.iter().map(|a| Some(*a)).eq(answers.iter().copied())).collect()
}

/// By hand, from the rules of the reset modes: a reset 15 % of 8 pulses long that rises with a pulse of half a period.
/// It ends 1.2 pulses later: the second pulse falls into it, and it ends while that pulse is high.
#[test]
fn what_a_long_reset_does_on_the_beat_is_what_the_rules_say() {
    let place = PLAN.steps.iter().find(|s| s.trial.long_reset && s.trial.wide_clock).expect("such a trial").trial;
    let says = |mode: ResetMode, edge| heard(&Habit { mode, edge }, &place).words();
    let next = |on_tie| ResetMode::NextClock { setup_time: Span::ZERO, on_tie };
    let rise = EdgeKind::Rise;
    assert_eq!(says(ResetMode::ThisClock { grace: None }, rise), "step 1 on the beat");
    assert_eq!(says(next(OnTie::ClockFirst), rise), "step 1 a pulse late");
    assert_eq!(says(next(OnTie::ResetFirst), rise), "step 1 on the beat");
    assert_eq!(says(ResetMode::Held, rise), "step 1 on the beat, and silence on the second pulse");
    let sampled = ResetMode::Sampled { setup_time: Span::ZERO };
    assert_eq!(says(sampled, rise), "step 1 twice, on the beat and a pulse late");
    assert_eq!(
        says(ResetMode::ThisClock { grace: None }, EdgeKind::Fall),
        "step 1 a quarter of a pulse after the second pulse"
    );
    assert_eq!(says(next(OnTie::ClockFirst), EdgeKind::Fall), "step 1 two pulses late");
    assert_eq!(says(ResetMode::Ignored, rise), "in turn: step 1 on the beat; then no step 1");
}

/// By hand, of a clock without dials at 60, two pulses a beat: both rise at one instant and fall 5 ms later, a fall with the clock low.
#[test]
fn what_a_clock_without_dials_does_is_what_the_rules_say() {
    use EdgeKind::{Fall, Rise};
    let next = |setup_time, on_tie| ResetMode::NextClock { setup_time, on_tie };
    let this = |grace| ResetMode::ThisClock { grace };
    let (zero, some) = (Span::ZERO, Span(100_000_000));
    let (beat, late, close) = ("step 1 on the beat", "step 1 a pulse late", "step 1 on the beat, close to another hit");
    let never = "in turn: step 1 on the beat; then no step 1";
    for (mode, edge, words) in [
        // It rises with the clock: that pulse is step 1.
        (this(None), Rise, beat),
        (ResetMode::Immediate { holdoff: some }, Rise, beat),
        (next(zero, OnTie::ResetFirst), Rise, beat),
        (ResetMode::Held, Rise, beat),
        (ResetMode::Sampled { setup_time: zero }, Rise, beat),
        // The pulse of that instant is an ordinary step, and the next one step 1.
        (next(zero, OnTie::ClockFirst), Rise, late),
        (next(some, OnTie::ClockFirst), Rise, late),
        // It has not been high for so long when the clock looks, and is low when the next one does.
        (ResetMode::Sampled { setup_time: some }, Rise, never),
        (ResetMode::Ignored, Rise, never),
        // 5 ms after the pulse was played: armed for the next, or step 1 at once.
        (this(None), Fall, late),
        (next(zero, OnTie::ClockFirst), Fall, late),
        (next(zero, OnTie::ResetFirst), Fall, late),
        (this(Some(Span::from_ms(20))), Fall, close),
        (ResetMode::Immediate { holdoff: zero }, Fall, close),
        // A window of less than 5 ms is over by then.
        (this(Some(Span::from_ms(4))), Fall, late),
    ] {
        let habit = Habit { mode, edge };
        assert_eq!(heard(&habit, &AS_IT_IS).words(), words, "{habit:?}");
    }
}

/// What the second implementation of the rules plays of a box from the third reset to the fifth, in eighths of a pulse: at 60 a pulse
/// lasts half a second, and a reset comes every four.
fn second_hears(habit: &Habit) -> Vec<(i64, bool)> {
    const EIGHTH: i64 = 62_500_000_000;
    let mut rig = RIG.clone();
    // It looks through every list from its beginning: neither the others of the bench nor what comes later matters here.
    rig.sequencers.truncate(BOX + 1);
    rig.end = Beat::from_integer(20);
    let own = &mut rig.sequencers[BOX];
    own.reset.as_mut().expect("a reset").mode = habit.mode.clone();
    own.reset_edge = habit.edge;
    let hits = work_out(&rig, *SLOW, 0).hits.into_iter().filter(|h| h.sequencer == BOX);
    let part = |at: i64| (at - 128 * EIGHTH + EIGHTH / 2).div_euclid(EIGHTH);
    let mut hits: Vec<_> = hits.map(|h| (part(h.at), h.step == 1)).filter(|h| (0..128).contains(&h.0)).collect();
    hits.sort_unstable();
    hits
}

/// Who answers truthfully of a clock without dials is left with its box, and with all those and only those that the second implementation
/// plays alike on such a clock.
#[test]
fn a_clock_without_dials_leaves_what_it_does_not_tell_apart() {
    assert_eq!(PLAIN.steps.len(), 1);
    let all: Vec<(Habit, Vec<(i64, bool)>)> = Habit::all().into_iter().map(|h| (h.clone(), second_hears(&h))).collect();
    for (habit, own) in &all {
        let answers = answers(&PLAIN, habit);
        let left: Vec<Habit> = PLAIN.left(&answers).flat_map(|g| g.habits.clone()).collect();
        let alike: Vec<Habit> = all.iter().filter(|(_, other)| other == own).map(|(h, _)| h.clone()).collect();
        assert!(alike.contains(habit));
        assert!(left.iter().all(|h| alike.contains(h)) && left.len() == alike.len(), "{habit:?}: {left:?} {alike:?}");
    }
}

#[test]
fn the_plan_is_short_and_each_habit_is_where_it_belongs() {
    // Two answers at the most to a trial would need four trials for 13 kinds; three do.
    assert_eq!(PLAN.steps.len(), 3);
    assert_eq!(PLAN.groups.len(), 13);
    let habits: usize = PLAN.groups.iter().map(|g| g.habits.len()).sum();
    assert_eq!(habits, Habit::all().len());
    for habit in Habit::all() {
        let found = found(&habit);
        assert_eq!(found.len(), 1, "{habit:?}");
        assert!(found[0].habits.contains(&habit), "{habit:?}");
    }
    // What stands in one group sounds alike in every trial there is, not in the chosen ones alone.
    for group in &PLAN.groups {
        for habit in &group.habits {
            assert!(ClockSetting::all().iter().all(|t| heard(habit, t) == heard(&group.habits[0], t)), "{habit:?}");
        }
    }
}

/// No two trials would do: each pair of them leaves some habits together that a third tells apart.
#[test]
fn no_shorter_plan_tells_as_much() {
    let (trials, habits) = (ClockSetting::all(), Habit::all());
    let all: Vec<Vec<AudiblePattern>> = habits.iter().map(|h| trials.iter().map(|t| heard(h, t)).collect()).collect();
    for a in 0..trials.len() {
        for b in 0..trials.len() {
            let mut kinds: Vec<_> = all.iter().map(|h| (&h[a], &h[b])).collect();
            kinds.sort_unstable();
            kinds.dedup();
            assert!(kinds.len() < PLAN.groups.len(), "{:?} {:?}", trials[a], trials[b]);
        }
    }
}

#[test]
fn every_habit_is_a_patch_that_says_so() {
    for habit in Habit::all() {
        let lines = habit.lines().join("\n");
        let text = BENCH.replace("reset-mode = \"ignored\"", &lines);
        let patch = Patch::parse(&text, &Asked::default()).unwrap_or_else(|e| panic!("{lines}: {e}"));
        let it = &patch.original.rig.sequencers[BOX];
        assert_eq!((&it.reset.as_ref().expect("a reset").mode, it.reset_edge), (&habit.mode, habit.edge), "{lines}");
    }
}

prop_compose! {
    /// A box with times of its own: up to what is short against a quarter of a pulse, and a window that the trials do not
    /// cut: a short reset 8 ms after a pulse ends 13 ms after it, a long one on a pulse 100 ms after another.
    fn a_box()(
        which in 0..8_usize, fall in any::<bool>(), setup_us in 0..20_000_i64, window_us in 13_001..99_000_i64,
    ) -> Habit {
        let (setup_time, window) = (Span(setup_us * 1_000_000), Span(window_us * 1_000_000));
        let mode = match which {
            0 => ResetMode::ThisClock { grace: None },
            1 => ResetMode::ThisClock { grace: Some(window) },
            2 => ResetMode::NextClock { setup_time, on_tie: OnTie::ClockFirst },
            3 => ResetMode::NextClock { setup_time: Span::ZERO, on_tie: OnTie::ResetFirst },
            4 => ResetMode::Immediate { holdoff: setup_time },
            5 => ResetMode::Held,
            6 => ResetMode::Sampled { setup_time },
            _ => ResetMode::Ignored,
        };
        Habit { mode, edge: if fall && which < 5 { EdgeKind::Fall } else { EdgeKind::Rise } }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    /// A box with times of its own does on a clock without dials what the second implementation of the rules says.
    #[test]
    fn a_clock_without_dials_hears_what_the_rules_play(habit in a_box()) {
        prop_assert_eq!(heard(&habit, &AS_IT_IS).hits, second_hears(&habit));
    }
}

proptest! {
    /// Answering truthfully leads to the box, or to one that sounds like it whatever is set.
    #[test]
    fn truthful_answers_lead_to_the_box(habit in a_box()) {
        let found = found(&habit);
        prop_assert_eq!(found.len(), 1);
        for trial in ClockSetting::all() {
            prop_assert_eq!(heard(&habit, &trial), heard(&found[0].habits[0], &trial), "{:?}", trial);
        }
    }
}
