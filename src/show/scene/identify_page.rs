use crate::judge::identify::{Dials, Group, PULSES, Performed, Plan, STEPS, reading};
use crate::patch::{Rig, Variant};
use crate::show::page::{IdentifySection, IdentifyTest, IdentifyWay, ListeningPage, PageVoice, identify_section};
use crate::show::report::trial_settings;
use crate::sound::loops::LoopHit;
use crate::sound::score::{Ensemble, trial_hits};
use crate::time::{Instant, Tempo};

/// A box that is tried: its name, the tempo, and what may be heard at each step of a plan, played.
#[derive(Clone, Debug)]
pub struct Tried<'a> {
    /// The box.
    pub name: &'a str,
    /// The tempo of the trials.
    pub tempo: Tempo,
    /// The trials and the ways of reading.
    pub plan: &'a Plan,
    /// What may be heard, step by step, answer by answer.
    pub performed: &'a [Vec<Performed>],
    /// The voices of the test bench.
    pub bench: &'a Ensemble,
}

/// A rig with each way of reading that can be told from the others, as versions to be heard; the patch itself stands before them.
#[must_use]
pub fn reading_variants(rig: &Rig, player: usize, plan: &Plan) -> Vec<Variant> {
    let one = |group: &Group| Variant {
        name: way_name(group),
        about: Some(group.habits[0].lines().join(", ")),
        rig: reading(rig, player, &group.habits[0]),
    };
    plan.groups.iter().map(one).collect()
}

/// The way in a few words: the values of its lines, with the keys where they say more. A blank in it keeps it apart from names of variants.
fn way_name(group: &Group) -> String {
    let said = |line: &String| {
        let (key, value) = line.split_once(" = ").unwrap_or(("", line));
        let value = value.trim_matches('"');
        if key == "reset-mode" { value.to_owned() } else { format!("{} {value}", key.replace('-', " ")) }
    };
    format!("reads {}", group.habits[0].lines().iter().map(said).collect::<Vec<_>>().join(", "))
}

/// Puts the tests of a box onto a page whose versions are the patch and its [`reading_variants`].
#[must_use]
pub fn identify_page(mut page: ListeningPage, tried: &Tried<'_>) -> ListeningPage {
    let Tried { name, tempo, plan, performed, bench } = *tried;
    // The bench's voices come after those of the patch.
    let first = page.voices.len();
    page.voices.extend(bench.masters().into_iter().map(PageVoice::new));
    let sounds = |performed: &Performed| -> Vec<LoopHit> {
        let hit = |hit: crate::hits::Hit| {
            let (voice, gain) = bench.part(0, &hit);
            LoopHit {
                at: hit.at,
                voice: first + voice,
                gain,
                bar: 0,
                player: hit.sequencer,
                due: hit.at,
                first: hit.step == 1,
            }
        };
        trial_hits(performed).into_iter().map(hit).collect()
    };
    let dials = plan.dials == Dials::All;
    let tests = plan.steps.iter().zip(performed).map(|(step, performed)| {
        let (set, tie) = trial_settings(step, dials);
        let note = if tie { "Two pulses meet here: a box that answers now so, now so, leaves it to luck." } else { "" };
        IdentifyTest {
            set,
            note: note.to_owned(),
            answers: step.heard.iter().zip(performed).map(|((heard, _), p)| (heard.words(), sounds(p))).collect(),
        }
    });
    let ways = plan.groups.iter().enumerate().map(|(n, group)| IdentifyWay {
        name: way_name(group),
        answers: group.answers.clone(),
        lines: group.habits.iter().map(crate::judge::identify::Habit::lines).collect(),
        version: 1 + n,
    });
    let end = performed.iter().flatten().next().map_or(Instant(0), |p| p.end);
    let section = IdentifySection {
        name: name.to_owned(),
        tempo,
        dials,
        set_up: format!(
            "tempo {tempo}, a clock output at 2 per beat into its clock, a reset output at 1 per 4 beats into its reset, so that \
             {PULSES} pulses lie between two resets, and a pattern of {STEPS} steps: a low drum on step 1, a hat on every other step. \
             What you hear here has the clock's ticks beside it."
        ),
        tests: tests.collect(),
        ways: ways.collect(),
        length: end - Instant::START,
    };
    page.lead = format!(
        "The patch as it is written, and as it would be for each of {} ways in which {name} may read its reset. Below, what yours did \
         tells which it is.",
        plan.groups.len()
    );
    page.extra = Some(identify_section(&section));
    page
}
