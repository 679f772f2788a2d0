use super::args::{SoundArgs, Tempos, tempos};
use super::load::load;
use super::press::Press;
use super::{CARE, CARE_SHORT, Failure, Outcome, talk};
use crate::ear::{Curve, Listener, MOST_QUESTIONS, Rule, Session, Settings, Shape, Task};
use crate::hits::{Hit, list};
use crate::patch::{Voice, quantity};
use crate::rig::play;
use crate::show::page::{PageVoice, TrainingBar, TrainingHit, TrainingPage, training_page};
use crate::sound::flam::{pair, pair_rig};
use crate::sound::score::{Bar, Ensemble, Seating};
use crate::store::Kind;
use crate::time::{Beat, Instant, Span, Tempo};
use clap::Args;
use std::path::PathBuf;

#[derive(Args, Debug)]
pub(super) struct TrainArgs {
    /// The two voices, of the built-in kit: see `hitgap voices`
    #[arg(long, value_name = "A,B", default_value = "kick,snare", conflicts_with = "patch")]
    voices: String,
    /// Take the first two voices of this patch, its first tempo and, for tight or loose, the bar that the two play in it
    #[arg(long, value_name = "PATCH")]
    patch: Option<PathBuf>,
    /// A tempo in quarter notes a minute (default: 90, or that of the patch)
    #[arg(long, value_name = "TEMPO", value_parser = one_tempo, allow_negative_numbers = true)]
    tempo: Option<Tempo>,
    /// Also write a session that a simulated listener with this threshold answered, to see what `results` makes of it
    #[arg(long, value_name = "TIME", hide = true, value_parser = threshold)]
    simulate: Option<Span>,
    /// For a class: so many numbered files to play instead, a sheet to answer on, and a key (`which of three was two`)
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(5..=i64::from(MOST_QUESTIONS)), allow_negative_numbers = true, conflicts_with = "simulate")]
    pack: Option<u32>,
    #[command(flatten)]
    pub(super) sound: SoundArgs,
}

/// Reads one tempo.
///
/// # Errors
/// A sentence.
fn one_tempo(text: &str) -> Result<Tempo, String> {
    let Tempos(all) = tempos(text)?;
    match all[..] {
        [tempo] => Ok(tempo),
        _ => Err("a page has one tempo: write one, and make a page for each".to_owned()),
    }
}

fn threshold(text: &str) -> Result<Span, String> {
    let time = quantity::whole_time(text).map_err(|e| format!("{e}; {}", e.help()))?;
    if time <= Span::ZERO { Err("write a time above 0".to_owned()) } else { Ok(time) }
}

pub(super) fn run(args: &TrainArgs) -> Result<Outcome, Failure> {
    let Training { pair, tempo, bar } = asked(args)?;
    if let Some(count) = args.pack {
        return super::pack::pack(&args.sound, count, &pair, tempo);
    }
    let rig = pair_rig(&pair);
    let ensemble = Ensemble::new(&[&rig], Seating::Centre, args.sound.seed)?;
    let part = |sequencer: usize, velocity: u8| {
        let beat = Beat::default();
        let voice = rig.sequencers[sequencer].voice;
        let at = Instant::START;
        ensemble.part(0, &Hit { at, beat, due: beat, sequencer, step: 1, velocity, level_mdb: 0, voice })
    };
    let place = |sequencer: usize| part(sequencer, 127);
    let split = bar.as_ref().map(|(_, bar)| bar.pairs());
    let bar = bar.map(|(name, bar)| {
        let hit = |h: &crate::sound::score::BarHit| {
            let accent = part(h.player, h.velocity).1 / place(h.player).1;
            TrainingHit { beat: h.beat, player: h.player, accent }
        };
        TrainingBar { name, length: bar.length, hits: bar.hits.iter().map(hit).collect() }
    });
    let [a, b] = [&pair[0].name, &pair[1].name];
    let page = TrainingPage {
        names: [a.clone(), b.clone()],
        voices: ensemble.masters().into_iter().map(PageVoice::new).collect(),
        places: [place(0), place(1)],
        tempo,
        bar,
        care: CARE.to_owned(),
    };
    // What a patch was asked for has its name, and stands beside the plain page of the same voices.
    let patch = args.patch.as_deref().map(super::file::stem).transpose()?;
    let patch = patch.map(|stem| format!(".{stem}")).unwrap_or_default();
    let stem = format!("train{patch}.{a}+{b}.{tempo}bpm");
    let mut files = vec![(format!("{stem}.html"), training_page(&page), Kind::Page)];
    if let Some(threshold) = args.simulate {
        files.push((format!("{stem}.json"), simulated(&pair, tempo, threshold, args.sound.seed)?, Kind::Figures));
    }
    let names: Vec<String> = files.iter().map(|f| f.0.clone()).collect();
    let press = Press::open(&args.sound, &names)?;
    for (name, text, kind) in &files {
        press.paste(*kind, name, text.as_bytes(), "train", None, None)?;
    }
    let shown: Vec<String> = names.iter().map(|n| press.shown(n)).collect();
    press.done();
    talk::result(|out| {
        writeln!(out, "Open this file in a browser, train, and save the session; then `hitgap results` reads it:")?;
        shown.iter().try_for_each(|name| writeln!(out, "  {name}"))?;
        match split {
            Some(n) => writeln!(
                out,
                "In `tight or loose` you hear the patch's own bar; {} in it both voices are due, and in the loose one get split.",
                times(n)
            )?,
            None if args.patch.is_some() => {
                writeln!(out, "The two are never due together: in `tight or loose` both play on each of four beats.")?;
            }
            None => {}
        }
        writeln!(out, "This is not a hearing test in the medical sense.\n{CARE_SHORT}")
    })?;
    Ok(Outcome::Done)
}

fn times(n: usize) -> String {
    match n {
        1 => "once".to_owned(),
        2 => "twice".to_owned(),
        n => format!("{n} times"),
    }
}

/// What is trained with.
struct Training {
    pair: [Voice; 2],
    tempo: Tempo,
    /// The name of a patch, and the bar that the two play in it.
    bar: Option<(String, Bar)>,
}

/// Which voices at which tempo, and in which bar.
fn asked(args: &TrainArgs) -> Result<Training, Failure> {
    let Some(patch) = &args.patch else {
        let pair = pair(&args.voices).map_err(|e| Failure::input(&e, e.help()))?;
        return Ok(Training { pair, tempo: args.tempo.unwrap_or(Tempo::whole(90)), bar: None });
    };
    let tempo = args.tempo.map(|t| Tempos(vec![t]));
    let loaded = load(&super::args::PatchArgs { patch: patch.clone(), tempo, bars: None }, None)?;
    let rig = &loaded.patch.original.rig;
    let players = 0..rig.sequencers.len() + rig.takes.len();
    let used: Vec<(usize, &Voice)> =
        players.filter_map(|p| Some((p, rig.player_voice(p).map(|n| &rig.voices[n])?))).collect();
    let Some(&(first, voice)) = used.first() else {
        return Err(Failure::input("the patch plays no voice", "name two voices with --voices"));
    };
    // Two unlike voices, if there are two; else two boxes with the same one.
    let (second, other) = used.iter().find(|u| u.1 != voice).or(used.get(1)).copied().unwrap_or((first, voice));
    let tempo = loaded.patch.tempos.first().copied().unwrap_or(Tempo::whole(90));
    let performance = play(rig, tempo).map_err(|e| Failure::input(&e, e.help()))?;
    let bar = Bar::fullest(&list(rig, &performance), [first, second], loaded.patch.meter.bar());
    let stem = loaded.stem()?;
    let bar = bar.map(|bar| (stem, bar));
    Ok(Training { pair: [voice.clone(), other.clone()], tempo, bar })
}

/// A session as a listener with that threshold might answer it.
fn simulated(pair: &[Voice; 2], tempo: Tempo, threshold: Span, seed: u64) -> Result<String, Failure> {
    let rule = Rule::published(2).map_err(|e| Failure::input(e, "a rule takes 1 to 4 right answers"))?;
    let (task, settings) = (Task::TwoOrOne, Settings::usual(rule));
    let mut curve = Curve { shape: Shape::Logistic, ln_threshold: 0.0, slope: 2.5, guess: task.guess(), lapse: 0.01 };
    // The threshold that is asked for is the one that the rule settles at.
    let off = curve.ln_ms_at(rule.target()).unwrap_or(0.0);
    curve.ln_threshold = libm::log(threshold.ms()) - off;
    let session = Session {
        task,
        voices: pair.iter().map(|v| v.name.clone()).collect(),
        tempo_bpm: tempo.bpm(),
        settings,
        trials: Listener::new(curve, seed).session(task, &settings, 10),
        pattern: None,
        each_even: true,
        saved: format!("simulated, seed {seed}"),
    };
    Ok(session.to_json())
}
