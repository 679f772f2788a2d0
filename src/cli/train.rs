use super::args::{BoxesArgs, FilesArgs, OpenArgs, PatchArgs, SoundArgs, Tempos, tempos};
use super::load::load;
use super::opener::Made;
use super::{CARE, CARE_SHORT, Failure, Outcome, terminal};
use crate::ear::{MOST_QUESTIONS, Rule, Session};
use crate::export::OutputFolder;
use crate::patch::{Voice, quantity};
use crate::show::page::training_page;
use crate::show::report::training_bar;
use crate::show::scene::trainer;
use crate::sound::flam::{pair, pair_rig};
use crate::sound::score::{Bar, Duo};
use crate::store::Kind;
use crate::time::{Span, Tempo};
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
    files: FilesArgs,
    #[command(flatten)]
    open: OpenArgs,
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
        return super::pack::pack((&args.sound, &args.open), count, &pair, tempo);
    }
    let split = bar.as_ref().map(|(_, bar)| bar.pairs());
    let [a, b] = [&pair[0].name, &pair[1].name];
    let page = trainer(&pair_rig(&pair), [a, b], tempo, bar, args.sound.seed, CARE)?;
    // What a patch was asked for has its name, and stands beside the plain page of the same voices.
    let patch = args.patch.as_deref().map(super::file::stem).transpose()?;
    let patch = patch.map(|stem| format!(".{stem}")).unwrap_or_default();
    let stem = format!("train{patch}.{a}+{b}.{tempo}bpm");
    let mut files = vec![(format!("{stem}.html"), training_page(&page), Kind::Page)];
    if let Some(threshold) = args.simulate {
        files.push((format!("{stem}.json"), simulated(&pair, tempo, threshold, args.sound.seed)?, Kind::Figures));
    }
    let names: Vec<String> = files.iter().map(|f| f.0.clone()).collect();
    let folder = OutputFolder::open(&args.sound.destination(), &names)?;
    for (name, text, kind) in &files {
        folder.write_bytes(*kind, name, text.as_bytes(), "train", None, None)?;
    }
    let shown: Vec<String> = names.iter().map(|n| folder.shown(n)).collect();
    let page = names.first().map(|name| folder.path(name));
    let made = Made { page, for_a_sound: "--pack makes some", ..Made::default() };
    folder.done();
    let bar = training_bar(split, args.patch.is_some());
    terminal::result(|out| {
        writeln!(out, "Open this file in a browser, train, and save the session; then `hitgap results` reads it:")?;
        shown.iter().try_for_each(|name| writeln!(out, "  {name}"))?;
        out.write_all(bar.as_bytes())?;
        writeln!(out, "This is not a hearing test in the medical sense.\n{CARE_SHORT}")
    })?;
    made.open(&args.open);
    Ok(Outcome::Done)
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
    let loaded = load(
        &PatchArgs { patch: patch.clone(), tempo, bars: None, boxes: BoxesArgs::default(), files: args.files },
        None,
    )?;
    let none = || Failure::input("the patch plays no voice", "name two voices with --voices");
    let duo = Duo::of(&loaded.patch).map_err(|e| Failure::input(&e, e.help()))?.ok_or_else(none)?;
    let stem = loaded.stem()?;
    Ok(Training { pair: duo.voices, tempo: duo.tempo, bar: duo.bar.map(|bar| (stem, bar)) })
}

/// A session as a listener with that threshold might answer it.
fn simulated(pair: &[Voice; 2], tempo: Tempo, threshold: Span, seed: u64) -> Result<String, Failure> {
    let rule = Rule::published(2).map_err(|e| Failure::input(e, "a rule takes 1 to 4 right answers"))?;
    let voices = [pair[0].name.as_str(), pair[1].name.as_str()];
    let sounds = pair.each_ref().map(|voice| voice.sound.checksum());
    let sounds = match sounds.iter().any(Option::is_some) {
        true => sounds.map(Option::unwrap_or_default).to_vec(),
        false => Vec::new(),
    };
    Ok(Session { sounds, ..Session::simulated(voices, tempo.bpm(), rule, threshold.ms(), seed) }.to_json())
}
