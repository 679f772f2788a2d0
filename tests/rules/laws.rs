//! Laws that must hold of any patch of some kind: what scales with the tempo and what does not, where a report's
//! figures come from, and what comes back from what was written.

use hitgap::hits::{Hit, list, read, write_csv, write_json};
use hitgap::judge::Judged;
use hitgap::judge::{Colour, judge, sure};
use hitgap::patch::{Asked, Patch, Rig, Take, TakeKind, When};
use hitgap::rig::{Run, play, play_run};
use hitgap::show::report::{Checked, check_json};
use hitgap::time::{Beat, Span, Tempo};
use proptest::prelude::*;
use serde_json::Value;
use std::collections::BTreeMap;

fn tempo() -> impl Strategy<Value = Tempo> {
    (20_000_000..=400_000_000_u64).prop_map(|micro| Tempo::from_micro(micro).expect("in bounds"))
}

/// One box with an output of its own: its rate, its phase in hundredths of a per cent, its delay in picoseconds.
type Box = (u32, u32, i32, u64);

fn boxes() -> impl Strategy<Value = Vec<Box>> {
    prop::collection::vec((1..=8_u32, 1..=4_u32, -4_900..4_900_i32, 0..200_000_000_000_u64), 1..5)
}

/// A patch of such boxes, with their phases and delays or without.
fn patch(boxes: &[Box], phases: bool, delays: bool) -> Patch {
    let mut text = "bars = 3\n".to_owned();
    for (k, (n, m, phase, delay)) in boxes.iter().enumerate() {
        let phase = if phases { f64::from(*phase) / 100.0 } else { 0.0 };
        let delay = if delays { *delay } else { 0 };
        text += &format!(
            "[clock.c{k}]\nrate = \"{n} per {m} beats\"\nphase = \"{phase:.2} %\"\n[stage.t{k}]\nkind = \"delay\"\ndelay = \"{delay} ps\"\n\
             [sequencer.s{k}]\nclock = [\"c{k}\", \"t{k}\"]\nsteps = \"Xx.x\"\nvoice = \"kick\"\n"
        );
    }
    read_patch(&text)
}

fn read_patch(text: &str) -> Patch {
    Patch::parse(text, &Asked::default()).unwrap_or_else(|faults| panic!("{}", faults.render("a.toml", text, false)))
}

/// Every hit of a rig, in the order of sequencers and beats.
fn hits(rig: &Rig, tempo: Tempo) -> Vec<Hit> {
    let mut all = list(rig, &play(rig, tempo).expect("it plays"));
    all.sort_by_key(|hit| (hit.sequencer, hit.beat, hit.step));
    all
}

proptest! {
    /// What is a share of a period takes as many beats at every tempo, and so a time that shrinks as the tempo grows: to
    /// within what each instant is rounded by, half a picosecond at either tempo.
    #[test]
    fn shares_scale_with_the_tempo(boxes in boxes(), one in tempo(), other in tempo()) {
        let rig = patch(&boxes, true, false).original.rig;
        let (here, there) = (hits(&rig, one), hits(&rig, other));
        prop_assert_eq!(here.len(), there.len());
        for (a, b) in here.iter().zip(&there) {
            prop_assert_eq!((a.sequencer, a.step, a.beat), (b.sequencer, b.step, b.beat));
            // Times times tempo are beats.
            let (a, b) = (i128::from(a.at.0) * i128::from(one.micro()), i128::from(b.at.0) * i128::from(other.micro()));
            prop_assert!(2 * (a - b).abs() <= i128::from(one.micro() + other.micro()));
        }
    }

    /// What is a time is the same at every tempo, to the picosecond, whatever shares there are beside it.
    #[test]
    fn times_stay_what_they_are_at_every_tempo(boxes in boxes(), phases: bool, one in tempo(), other in tempo()) {
        let (with, without) = (patch(&boxes, phases, true).original.rig, patch(&boxes, phases, false).original.rig);
        for tempo in [one, other] {
            let (late, plain) = (hits(&with, tempo), hits(&without, tempo));
            prop_assert_eq!(late.len(), plain.len());
            for (late, plain) in late.iter().zip(&plain) {
                prop_assert_eq!((late.sequencer, late.step, late.beat), (plain.sequencer, plain.step, plain.beat));
                prop_assert_eq!(late.at.0 - plain.at.0, boxes[late.sequencer].3 as i64);
            }
        }
    }

    /// Every figure of a report about gaps and lateness is worked out anew from the list of hits, by the rules as
    /// docs/rules.md has them: hits of one due beat; where both have as many, the first with the first, else each with each.
    #[test]
    fn the_figures_of_a_report_come_from_the_hits(
        boxes in boxes(), tempo in tempo(), modes in prop::collection::vec(0..5_usize, 4), every in 1..9_u32,
    ) {
        const MODES: [&str; 5] = ["this-clock", "next-clock", "immediate", "held", "sampled"];
        let mut text = format!("bars = 4\n[clock.home]\nrate = \"1 per {every} beats\"\nphase = \"0.3 %\"\n");
        for (k, (n, m, phase, delay)) in boxes.iter().enumerate() {
            text += &format!(
                "[clock.c{k}]\nrate = \"{n} per {m} beats\"\nphase = \"{:.2} %\"\n[sequencer.s{k}]\nclock = \"c{k}\"\nreset = \"home\"\n\
                 reset-mode = \"{}\"\nlatency = \"{delay} ps\"\nsteps = \"xXx\"\nvoice = \"kick\"\n",
                f64::from(*phase) / 100.0, MODES[modes[k]],
            );
        }
        let patch = read_patch(&text);
        let variant = &patch.original;
        let performance = play_run(&variant.rig, tempo, Run::Typical).expect("it plays");
        let verdict = judge(&variant.rig, &performance, patch.max_gap).expect("it fits");
        let judged = Judged {
            variant, tempo, colours: vec![Colour::default(); verdict.gaps.len()], verdict, sure: sure(&variant.rig, &performance, patch.skew),
            drawn: Vec::new(), breakdown: Vec::new(), runs: None,
        };
        let checked = Checked { name: "a".to_owned(), patch: &patch, bars: None, max_gap_from: None, results: vec![judged] };
        let report = serde_json::to_value(check_json(&checked)).expect("JSON");
        let result = &report["results"][0];
        let mut of: Vec<BTreeMap<Beat, Vec<i64>>> = vec![BTreeMap::new(); boxes.len()];
        for hit in list(&variant.rig, &performance) {
            of[hit.sequencer].entry(hit.due).or_default().push(hit.at.0);
        }
        let ms = |ps: i64| Span(ps).ms();
        let spread = |row: &Value, mut all: Vec<i64>, min: &str, median: &str, max: &str| -> Result<(), TestCaseError> {
            all.sort_unstable();
            let Some(last) = all.len().checked_sub(1) else {
                prop_assert!(row.is_null() || row[min].is_null());
                return Ok(());
            };
            prop_assert_eq!(row[min].as_f64(), Some(ms(all[0])));
            prop_assert_eq!(row[max].as_f64(), Some(ms(all[last])));
            let twice = i128::from(all[last / 2]) + i128::from(all[all.len() / 2]);
            prop_assert_eq!(row[median].as_f64(), Some(twice as f64 / 2.0 / 1e9));
            Ok(())
        };
        for (row, of) in result["sequencers"].as_array().expect("rows").iter().zip(&of) {
            prop_assert_eq!(row["hits"].as_u64(), Some(of.values().map(Vec::len).sum::<usize>() as u64));
            let late = of.iter().flat_map(|(due, all)| all.iter().map(|at| at - tempo.instant(*due).0));
            spread(&row["lateness_ms"], late.collect(), "min", "median", "max")?;
        }
        let gaps = result["gaps"].as_array().expect("rows");
        prop_assert_eq!(gaps.len(), boxes.len() * (boxes.len() - 1) / 2);
        for row in gaps {
            let index = |n: usize| row["between"][n].as_str().and_then(|name| name[1..].parse::<usize>().ok()).expect("a name");
            let (first, second) = (&of[index(0)], &of[index(1)]);
            let mut all = Vec::new();
            for (due, a) in first {
                match second.get(due) {
                    Some(b) if a.len() == b.len() => all.extend(a.iter().zip(b).map(|(a, b)| b - a)),
                    Some(b) => all.extend(a.iter().flat_map(|a| b.iter().map(move |b| b - a))),
                    None => {}
                }
            }
            let alone = |one: &BTreeMap<Beat, Vec<i64>>, other: &BTreeMap<Beat, Vec<i64>>| {
                one.iter().filter(|(due, _)| !other.contains_key(due)).map(|(_, all)| all.len() as u64).sum::<u64>()
            };
            prop_assert_eq!(row["paired"].as_u64(), Some(all.len() as u64));
            prop_assert_eq!(row["unpaired"][0].as_u64(), Some(alone(first, second)));
            prop_assert_eq!(row["unpaired"][1].as_u64(), Some(alone(second, first)));
            let worst = all.iter().map(|gap| gap.abs()).max();
            prop_assert_eq!(row["worst_ms"].as_f64(), worst.map(ms));
            spread(row, all, "min_ms", "median_ms", "max_ms")?;
        }
    }

    /// A list of hits that is written as CSV is the same when it is read as takes, and JSON says what the CSV says.
    #[test]
    fn a_list_comes_back_as_it_was_written(boxes in boxes(), tempo in tempo()) {
        let rig = patch(&boxes, true, true).original.rig;
        let mut all = list(&rig, &play(&rig, tempo).expect("it plays"));
        let (mut csv, mut json) = (Vec::new(), Vec::new());
        write_csv(&rig, &all, &mut csv).expect("memory");
        write_json("a", "original", tempo, &rig, &all, &mut json).expect("memory");
        all.retain(|hit| hit.due >= Beat::from_integer(0));
        for (k, sequencer) in rig.sequencers.iter().enumerate() {
            let take = Take {
                name: "take".to_owned(), file: "a.csv".to_owned(), kind: TakeKind::Csv, voice: Some(sequencer.voice),
                notes: Vec::new(), channel: None, only: Some(sequencer.name.clone()), velocities: 1..=127, grid: None, offset: Span::ZERO,
                follow_tempo: false, recording: Default::default(),
            };
            let mine: Vec<&Hit> = all.iter().filter(|hit| hit.sequencer == k).collect();
            let back = read(&csv, &take).expect("its own list").hits;
            prop_assert_eq!(back.len(), mine.len());
            for (struck, hit) in back.iter().zip(mine) {
                prop_assert_eq!((struck.when, struck.due), (When::Time(hit.at), Some(hit.due)));
                prop_assert_eq!((struck.beat, struck.step), (Some(hit.beat), Some(hit.step)));
                prop_assert_eq!((struck.velocity, struck.voice), (hit.velocity, hit.voice));
            }
        }
        let json: Value = serde_json::from_slice(&json).expect("JSON");
        let rows = json["hits"].as_array().expect("hits");
        let lines: Vec<&str> = std::str::from_utf8(&csv).expect("text").lines().skip(1).collect();
        prop_assert_eq!(rows.len(), lines.len());
        for (row, line) in rows.iter().zip(lines) {
            let cells: Vec<&str> = line.split(',').collect();
            let keys = ["time_s", "beat", "due_beat", "sequencer", "step", "velocity"];
            for (key, cell) in keys.iter().zip(cells) {
                let same = row[key].as_str().map_or_else(|| row[key].as_f64() == cell.parse().ok(), |name| name == cell);
                prop_assert!(same, "{key}: {} and {cell}", row[key]);
            }
        }
    }
}
