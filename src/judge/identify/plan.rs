use super::audible::AudiblePattern;
use super::{ClockSetting, Dials, Habit};
use crate::patch::Rig;
use crate::rig::{RigError, Sound, play};
use crate::time::Tempo;

/// The shortest list of trials that tells the habits apart which can be told apart at all.
#[derive(Clone, Debug)]
pub struct Plan {
    /// What the clock lets its player set.
    pub dials: Dials,
    /// What is to be done, in order.
    pub steps: Vec<PlanStep>,
    /// The habits, in groups that no setting of the clock tells apart.
    pub groups: Vec<Group>,
}

/// One trial and what may be heard.
#[derive(Clone, Debug)]
pub struct PlanStep {
    /// How the clock is set.
    pub trial: ClockSetting,
    /// What may be heard, and the first habit that sounds so; an answer is an index into these.
    pub heard: Vec<(AudiblePattern, Habit)>,
}

/// Habits that sound alike whatever is set.
#[derive(Clone, Debug)]
pub struct Group {
    /// The habits, the plainest first.
    pub habits: Vec<Habit>,
    /// What is heard of them at each step: of a clock without dials, the same for groups that it does not tell apart.
    pub answers: Vec<usize>,
}

/// The most trials that are looked for at once; more are added one by one.
const AT_ONCE: usize = 4;

impl Plan {
    /// Works the trials out for a box of a rig, at a tempo. `None` if it has no reset, or its clock no rate.
    ///
    /// # Errors
    /// As [`play`].
    pub fn new(rig: &Rig, player: usize, tempo: Tempo) -> Result<Option<Self>, RigError> {
        Self::for_clock(rig, player, tempo, Dials::All)
    }

    /// The same with the trials that a clock gives. The groups are those of a clock with all dials: what plays otherwise somewhere is
    /// never said to be one.
    ///
    /// # Errors
    /// As [`play`].
    pub fn for_clock(rig: &Rig, player: usize, tempo: Tempo, dials: Dials) -> Result<Option<Self>, RigError> {
        let (trials, habits) = (ClockSetting::all(), Habit::all());
        let mut all: Vec<Vec<AudiblePattern>> = Vec::new();
        for habit in &habits {
            let mut of_habit = Vec::new();
            for trial in &trials {
                let Some(heard) = AudiblePattern::of(rig, player, tempo, trial, habit)? else { return Ok(None) };
                of_habit.push(heard);
            }
            all.push(of_habit);
        }
        let given: Vec<usize> = (0..trials.len()).filter(|&t| trials[t].given_by(dials)).collect();
        let heard: Vec<Vec<AudiblePattern>> =
            all.iter().map(|of_habit| given.iter().map(|&t| of_habit[t].clone()).collect()).collect();
        let settings: Vec<ClockSetting> = given.iter().map(|&t| trials[t]).collect();
        let chosen: Vec<usize> = shortest(&settings, &heard).into_iter().map(|n| given[n]).collect();
        let steps: Vec<PlanStep> = chosen
            .iter()
            .map(|&t| {
                let mut heard: Vec<(AudiblePattern, Habit)> = Vec::new();
                for (of_habit, habit) in all.iter().zip(&habits) {
                    if heard.iter().all(|(h, _)| *h != of_habit[t]) {
                        heard.push((of_habit[t].clone(), habit.clone()));
                    }
                }
                PlanStep { trial: trials[t], heard }
            })
            .collect();
        let mut groups: Vec<(Vec<AudiblePattern>, Group)> = Vec::new();
        for (habit, heard) in habits.into_iter().zip(all) {
            if let Some((_, group)) = groups.iter_mut().find(|(h, _)| *h == heard) {
                group.habits.push(habit);
                continue;
            }
            let answer =
                |(step, &t): (&PlanStep, &usize)| step.heard.iter().position(|(h, _)| *h == heard[t]).unwrap_or(0);
            let answers = steps.iter().zip(&chosen).map(answer).collect();
            groups.push((heard, Group { habits: vec![habit], answers }));
        }
        Ok(Some(Self { dials, steps, groups: groups.into_iter().map(|(_, group)| group).collect() }))
    }

    /// The groups that agree with answers, `None` standing for one that is not given.
    pub fn left<'p>(&'p self, answers: &'p [Option<usize>]) -> impl Iterator<Item = &'p Group> {
        let agrees =
            move |group: &&Group| group.answers.iter().zip(answers).all(|(is, said)| said.is_none_or(|s| s == *is));
        self.groups.iter().filter(agrees)
    }
}

/// The groups of a plan that play alike in a rig as it stands, at every tempo: for them it does not matter there which of
/// them a box has. Groups that are like no other are left out.
///
/// # Errors
/// As [`play`].
pub fn alike<'p>(plan: &'p Plan, rig: &Rig, player: usize, tempos: &[Tempo]) -> Result<Vec<Vec<&'p Group>>, RigError> {
    let mut sets: Vec<(Vec<Vec<Sound>>, Vec<&Group>)> = Vec::new();
    for group in &plan.groups {
        let mut rig = rig.clone();
        group.habits[0].give(&mut rig.sequencers[player]);
        let mut sounds = Vec::new();
        for &tempo in tempos {
            sounds.extend(play(&rig, tempo)?.tracks.into_iter().map(|track| track.sounds));
        }
        match sets.iter_mut().find(|(s, _)| *s == sounds) {
            Some((_, groups)) => groups.push(group),
            None => sets.push((sounds, vec![group])),
        }
    }
    Ok(sets.into_iter().map(|(_, groups)| groups).filter(|g| g.len() > 1).collect())
}

/// How many kinds of habit a choice of trials tells apart.
fn kinds(chosen: &[usize], all: &[Vec<AudiblePattern>]) -> usize {
    let mut seen: Vec<Vec<&AudiblePattern>> = all.iter().map(|h| chosen.iter().map(|&t| &h[t]).collect()).collect();
    seen.sort_unstable();
    seen.dedup();
    seen.len()
}

/// The fewest trials that tell apart what all of them do; of those the least burdensome, that which tells most first.
fn shortest(trials: &[ClockSetting], all: &[Vec<AudiblePattern>]) -> Vec<usize> {
    let goal = kinds(&(0..trials.len()).collect::<Vec<_>>(), all);
    let burden = |chosen: &[usize]| chosen.iter().map(|&t| trials[t].burden()).sum::<u32>();
    let mut chosen: Option<Vec<usize>> = None;
    for count in 0..=AT_ONCE {
        let mut choice: Vec<usize> = (0..count).collect();
        loop {
            if kinds(&choice, all) == goal && chosen.as_ref().is_none_or(|c| burden(&choice) < burden(c)) {
                chosen = Some(choice.clone());
            }
            if !next_choice(&mut choice, trials.len()) {
                break;
            }
        }
        if chosen.is_some() {
            break;
        }
    }
    // Never met with the habits that there are, yet right for any: one by one, whichever tells most.
    let mut left = chosen.unwrap_or_else(|| (0..trials.len()).collect());
    let mut ordered: Vec<usize> = Vec::new();
    while kinds(&ordered, all) < goal || ordered.is_empty() && !left.is_empty() {
        let with = |&t: &usize| kinds(&[ordered.as_slice(), &[t]].concat(), all);
        let Some(best) = left.iter().copied().max_by_key(|t| (with(t), std::cmp::Reverse(trials[*t].burden()))) else {
            break;
        };
        left.retain(|t| *t != best);
        ordered.push(best);
    }
    ordered
}

/// The next choice of as many out of `of`, in order; false after the last.
fn next_choice(choice: &mut [usize], of: usize) -> bool {
    let count = choice.len();
    let Some(place) = (0..count).rev().find(|&i| choice[i] < of - count + i) else { return false };
    choice[place] += 1;
    for i in place + 1..count {
        choice[i] = choice[i - 1] + 1;
    }
    true
}

#[cfg(test)]
mod tests {
    use super::super::TestBench;
    use super::*;

    /// Without dials there is one trial: reset and clock together. It parts step 1 on the beat, a pulse late and never, and as many ways as with
    /// all dials stay what they are: none is said to be another.
    #[test]
    fn a_clock_without_dials_tells_less_and_says_so() {
        let bench = TestBench::straight().expect("the bench");
        let of = |dials| {
            Plan::for_clock(&bench.rig, bench.player, Tempo::whole(60), dials).expect("played").expect("trials")
        };
        let (all, none) = (of(Dials::All), of(Dials::None));
        assert_eq!((all.steps.len(), none.steps.len()), (3, 1));
        let habits = |plan: &Plan| plan.groups.iter().map(|g| g.habits.clone()).collect::<Vec<_>>();
        assert_eq!(habits(&all), habits(&none));
        let trial = none.steps[0].trial;
        assert!(!trial.long_reset && !trial.wide_clock && trial.place == super::super::ResetPlace::Same);
        // By the rules: next-clock plays the tie as an ordinary step, this-clock takes it as step 1.
        let answer = |lines: &[&str]| {
            let mut groups = none.groups.iter();
            groups.find(|g| g.habits.iter().any(|h| h.lines() == lines)).expect("a group").answers[0]
        };
        let [this, next] = ["this-clock", "next-clock"].map(|mode| answer(&[&format!("reset-mode = \"{mode}\"")]));
        assert_ne!(this, next);
        assert_eq!(this, answer(&["reset-mode = \"next-clock\"", "on-tie = \"reset-first\""]));
        assert!(none.steps[0].heard.len() < none.groups.len());
        // What sounds otherwise is said otherwise: nobody could answer else.
        for step in all.steps.iter().chain(&none.steps) {
            let mut words: Vec<String> = step.heard.iter().map(|(heard, _)| heard.words()).collect();
            words.sort_unstable();
            words.dedup();
            assert_eq!(words.len(), step.heard.len(), "{words:?}");
        }
    }
}
