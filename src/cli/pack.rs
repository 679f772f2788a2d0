//! A pack for a class: numbered files, a sheet to answer on, and a key.

use super::flam::rig;
use super::press::{Press, Sheet, bank, fits};
use super::train::TrainArgs;
use super::{CARE, CARE_SHORT, Failure, Outcome, talk};
use crate::dsp::amplitude;
use crate::ear::{Key, Question, Task};
use crate::hits::Hit;
use crate::patch::{Rig, Voice};
use crate::rig::Run;
use crate::show::page::{HEADROOM_DB, escape};
use crate::sound::render::{Bank, Channels, Cue, Gain, Program, Watch};
use crate::sound::score::{Ensemble, Seating, Sheet as Score};
use crate::store::Kind;
use crate::time::{Beat, Instant, Span, Tempo};

/// Between the beginnings of a trial's three intervals: as on the training page.
const APART_MS: i64 = 1300;
/// Levels and places of intervals by chance, so that neither gives the answer away.
const ROVE_DB: f64 = 3.0;
const ROVE_MS: f64 = 40.0;

pub(super) fn pack(args: &TrainArgs, count: u32, pair: &[Voice; 2], tempo: Tempo) -> Result<Outcome, Failure> {
    let rig = rig(pair);
    let ensemble = Ensemble::new(&[&rig], Seating::Centre, args.sound.seed)?;
    let bank = bank(&args.sound, &ensemble)?;
    let names = [pair[0].name.clone(), pair[1].name.clone()];
    let key = Key::draw(count, names.to_vec(), tempo.bpm(), args.sound.seed);
    let stem = format!("train.{}+{}.{tempo}bpm", names[0], names[1]);
    let wav = |n: usize| format!("{stem}.{:02}.wav", n + 1);
    let (sheet, keyed) = (format!("{stem}.sheet.html"), format!("{stem}.key.json"));
    // Past the tail of any voice, which lasts 3 s at most: a file's length must not tell where its last hit lies.
    let end = Instant(Span::from_ms(2 * APART_MS + 3300).0);
    let mut parts = Vec::new();
    for (n, question) in key.questions.iter().enumerate() {
        let drawn = (args.sound.seed, n as u64);
        let heard = |offsets| heard((&bank, &rig, &ensemble), question, offsets, end);
        let levels = levels(&heard([0, 0])?, &heard(offsets(question, question.asked, drawn))?);
        parts.push(score(&rig, &ensemble, question, levels, drawn));
    }
    let programs: Vec<Program<'_>> = parts
        .iter()
        .map(|cues| {
            let program = Program::new(&bank, cues.clone(), args.sound.lead_in, end)?;
            fits(&program, &args.sound, Channels::Mono)?;
            Ok(program)
        })
        .collect::<Result<_, Failure>>()?;
    let mut all: Vec<String> = (0..programs.len()).map(wav).collect();
    all.extend([sheet.clone(), keyed.clone()]);
    let press = Press::open(&args.sound, &all)?;
    for (n, program) in programs.iter().enumerate() {
        let sheet = Sheet::bare(wav(n), Kind::Flam, "train", Some(tempo), Channels::Mono);
        // Turned down only if a gap raised the peak by as much as the headroom: no pair of the kit comes near that.
        press.print(&sheet, program, Gain::Auto)?;
    }
    press.paste(Kind::Page, &sheet, answer_sheet(&names, tempo, count).as_bytes(), "train", None, None)?;
    press.paste(Kind::Figures, &keyed, key.to_json().as_bytes(), "train", None, None)?;
    let shown = [press.shown(&wav(0)), press.shown(&sheet), press.shown(&keyed)];
    press.done();
    talk::result(|out| {
        writeln!(out, "{count} files to play, from {}; in each, one of three is two hits.", shown[0])?;
        writeln!(out, "The sheet to print: {}\nThe key, to keep closed until then: {}", shown[1], shown[2])?;
        writeln!(out, "Write the answers into a CSV file: a column `trial`, then a column a student.\n{CARE_SHORT}")
    })?;
    Ok(Outcome::Done)
}

/// Draws from -1 to 1.
fn rove(seed: u64, number: u64, interval: u32, what: &str) -> f64 {
    let mut chance = Run::Drawn { seed, number }.chance(&format!("pack/{interval}/{what}"));
    2.0 * chance.even() - 1.0
}

/// How a pair of hits stands at its own level.
struct Heard {
    /// Its true peak, in dBTP.
    dbtp: f64,
    /// Its K-weighted energy, in decibels.
    energy: f64,
}

fn heard(
    (bank, rig, ensemble): (&Bank, &Rig, &Ensemble),
    question: &Question,
    offsets: [i32; 2],
    end: Instant,
) -> Result<Heard, Failure> {
    let mut score = Score::new(ensemble);
    pair(&mut score, rig, Span::from_ms(100), question, offsets, 1.0);
    let program = Program::new(bank, score.finish(), Span::ZERO, end)?;
    let dbtp = program.measure(Watch::nobody())?.dbtp();
    Ok(Heard { dbtp, energy: program.loudness(Watch::nobody())?.energy.unwrap_or(0.0) })
}

/// The levels of a pair together and of the pair apart, in decibels: with the largest level by chance a pair together peaks
/// [`HEADROOM_DB`] below full scale, and a pair apart is as loud.
fn levels(together: &Heard, apart: &Heard) -> [f64; 2] {
    let stand = -HEADROOM_DB - ROVE_DB - together.dbtp;
    [stand, stand + together.energy - apart.energy]
}

/// Half of the gap: whole, so that the two halves are alike.
fn half(question: &Question) -> Span {
    Span((question.level.ms() * 5e8).round() as i64)
}

/// Where the two voices of an interval stand: which comes first is drawn, and unlike voices are not as loud either way.
fn offsets(question: &Question, interval: u32, (seed, number): (u64, u64)) -> [i32; 2] {
    let early = rove(seed, number, interval, "side") >= 0.0;
    Task::TwoOrOne.offsets(question.asked, interval, early)
}

/// Both voices, each so many halves of the gap from a place.
fn pair(score: &mut Score<'_>, rig: &Rig, from: Span, question: &Question, offsets: [i32; 2], level: f64) {
    let beat = Beat::default();
    for (sequencer, halves) in offsets.into_iter().enumerate() {
        let at = Instant(from.0 + i64::from(halves) * half(question).0);
        let voice = rig.sequencers[sequencer].voice;
        let hit = Hit { at, beat, due: beat, sequencer, step: 1, velocity: 127, level_mdb: 0, voice };
        score.add(0, rig, &hit, at, level);
    }
}

/// Where an interval begins, roved: the same for both voices.
fn place(interval: u32, (seed, number): (u64, u64)) -> Span {
    let at = Span::from_ms(100 + APART_MS * i64::from(interval - 1));
    Span(at.0 + (ROVE_MS * 1e9 * rove(seed, number, interval, "place")) as i64)
}

/// The three intervals of a question; `levels` are those of a pair together and of the pair apart, in decibels.
fn score(
    rig: &Rig,
    ensemble: &Ensemble,
    question: &Question,
    [together, apart]: [f64; 2],
    (seed, number): (u64, u64),
) -> Vec<Cue> {
    let mut score = Score::new(ensemble);
    for interval in 1..=3 {
        let split = interval == question.asked;
        let level = ROVE_DB * rove(seed, number, interval, "level") + if split { apart } else { together };
        let offsets = offsets(question, interval, (seed, number));
        pair(&mut score, rig, place(interval, (seed, number)), question, offsets, amplitude(level));
    }
    score.finish()
}

fn answer_sheet([a, b]: &[String; 2], tempo: Tempo, count: u32) -> String {
    let row = |n: u32| format!("<tr><th>{n}</th><td>1</td><td>2</td><td>3</td></tr>");
    let rows: String = (1..=count).map(row).collect();
    format!(
        "<!doctype html>\n<html lang=\"en\"><head><meta charset=\"utf-8\"><title>Which was two?</title>\n\
         <style>body{{font:12pt Georgia,serif;margin:2rem}}table{{border-collapse:collapse;columns:2}}\
         th,td{{border:1px solid #555;padding:.25rem 1.2rem}}</style></head>\n\
         <body><h1>Which of the three was two hits?</h1>\n<p>{} and {}, {tempo}. Name: ____________________</p>\n\
         <p>Ring one number a line; guess where you are not sure.</p>\n<table><tbody>{rows}</tbody></table>\n\
         <p><small>{} This is not a hearing test in the medical sense.</small></p></body></html>\n",
        escape(a),
        escape(b),
        escape(CARE)
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::patch::kit;

    /// In every file the interval that the key names has its hits the gap apart, the others have theirs together.
    #[test]
    fn files_are_as_the_key_says() {
        let find = |name: &str| kit().iter().find(|v| v.name == name).cloned().expect("in the kit");
        let rig = rig(&[find("kick"), find("snare")]);
        let ensemble = Ensemble::new(&[&rig], Seating::Centre, 7).expect("voices");
        let key = Key::draw(20, vec!["kick".into(), "snare".into()], 90.0, 7);
        for (n, question) in key.questions.iter().enumerate() {
            let mut cues = score(&rig, &ensemble, question, [-2.0, 0.0], (7, n as u64));
            assert_eq!(cues.len(), 6);
            cues.sort_by_key(|c| c.at);
            for (interval, two) in (1..).zip(cues.chunks(2)) {
                let apart = two[1].at - two[0].at;
                let half = half(question);
                let wanted = if interval == question.asked { Span(2 * half.0) } else { Span::ZERO };
                assert_eq!(apart, wanted, "{n} {interval}");
                // Wherever the answer is, each voice stands half a gap from the place of its interval: one alone says nothing.
                let from = place(interval, (7, n as u64));
                assert!(two.iter().all(|c| (c.at - Instant(from.0)).0.abs() == half.0), "{n} {interval}");
                let off = from.0 - Span::from_ms(100 + APART_MS * (i64::from(interval) - 1)).0;
                assert!(off.abs() <= Span::from_ms(40).0);
            }
        }
    }

    /// Less what chance adds, every pair of every file is equally loud whatever its gap, and no file needs to be turned down:
    /// 10 dB are left, of which a pair apart may take as much as its peak stands out more than that of a pair together, 3.6 dB
    /// for two kicks (a scan of all pairs of the kit by another program).
    #[test]
    fn no_level_depends_on_the_gap() {
        let find = |name: &str| kit().iter().find(|v| v.name == name).cloned().expect("in the kit");
        let end = Instant(Span::from_ms(5_900).0);
        for names in [["kick", "kick"], ["snare", "snare"], ["kick", "snare"], ["click", "hat"]] {
            let rig = rig(&names.map(find));
            let ensemble = Ensemble::new(&[&rig], Seating::Centre, 7).expect("voices");
            let bank = Bank::new(48_000, ensemble.sounds()).expect("a usual rate");
            let hall = (&bank, &rig, &ensemble);
            let key = Key::draw(12, names.map(str::to_owned).to_vec(), 90.0, 7);
            let mut energies = Vec::new();
            for (n, question) in key.questions.iter().enumerate() {
                let drawn = (7, n as u64);
                let heard = |offsets| heard(hall, question, offsets, end).expect("sound");
                let levels = levels(&heard([0, 0]), &heard(offsets(question, question.asked, drawn)));
                let mut cues = score(&rig, &ensemble, question, levels, drawn);
                cues.sort_by_key(|c| c.at);
                for (interval, two) in (1..).zip(cues.chunks(2)) {
                    let alone = Program::new(&bank, two.to_vec(), Span::from_ms(100), end).expect("sound");
                    let energy = alone.loudness(Watch::nobody()).expect("sound").energy.expect("sound");
                    energies.push(energy - ROVE_DB * rove(7, n as u64, interval, "level"));
                }
                let whole = Program::new(&bank, cues, Span::from_ms(100), end).expect("sound");
                let peak = whole.measure(Watch::nobody()).expect("sound").dbtp();
                assert!(peak < -HEADROOM_DB + 3.6, "{names:?}, question {n}: {peak:.2} dBTP");
            }
            // Figures have two decimals, and the meter's windows lie elsewhere.
            assert!(energies.iter().all(|e| (e - energies[0]).abs() < 0.05), "{names:?}: {energies:?}");
        }
    }
}
