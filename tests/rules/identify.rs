//! Which habit has a box: the shortest experiment, and that answering it truthfully leads to the box.

use hitgap::judge::identify::{AudiblePattern, BENCH, BOX, ClockSetting, Group, Habit, Plan};
use hitgap::patch::{Asked, EdgeKind, OnTie, Patch, ResetMode, Rig};
use hitgap::time::{Span, Tempo};
use proptest::prelude::*;
use std::sync::LazyLock;

static RIG: LazyLock<Rig> =
    LazyLock::new(|| Patch::parse(BENCH, &Asked::default()).expect("the bench is a patch").original.rig);
static PLAN: LazyLock<Plan> = LazyLock::new(|| Plan::new(&RIG, BOX, *SLOW).expect("it plays").expect("it has a reset"));
static SLOW: LazyLock<Tempo> = LazyLock::new(|| Tempo::whole(60));

fn heard(habit: &Habit, trial: &ClockSetting) -> AudiblePattern {
    AudiblePattern::of(&RIG, BOX, *SLOW, trial, habit).expect("it plays").expect("it has a reset")
}

/// What somebody answers who has this box and good ears; `None` for what is not among the answers.
fn answers(habit: &Habit) -> Vec<Option<usize>> {
    let answer = |step: &hitgap::judge::identify::PlanStep| {
        let heard = heard(habit, &step.trial);
        step.heard.iter().position(|(h, _)| *h == heard)
    };
    PLAN.steps.iter().map(answer).collect()
}

fn found(habit: &Habit) -> Vec<&'static Group> {
    let answers = answers(habit);
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
