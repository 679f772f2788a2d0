use super::args::{Format, OpenArgs, SoundArgs, Tempos, comma_note, tempos};
use super::opener::Made;
use super::output_folder::{FileSpec, OutputFolder, bank, fits};
use super::sweep::few_enough;
use super::work::Work;
use super::{CARE, CARE_SHORT, Failure, Outcome, terminal};
use crate::patch::{Voice, quantity};
use crate::show::page::{ListeningPage, listening_page};
use crate::show::report::{FlamRow, exact_ms, flam_csv, flam_json, flam_table, plain};
use crate::show::scene::{FLAM_MAX_GAP, FlamPage, flam_page};
use crate::sound::comparison::LoudnessMatch;
use crate::sound::flam::{BARS_APART, FlamBars, FlamGap, FlamLoops, body, pair, pair_rig, reference};
use crate::sound::render::{Channels, Gain, Program, RenderError};
use crate::sound::score::{Ensemble, Seating};
use crate::store::Kind;
use crate::time::Tempo;
use clap::Args;
use std::collections::HashSet;

#[derive(Args, Debug)]
#[command(group(clap::ArgGroup::new("setting").required(true).args(["delay", "phase"])))]
pub(super) struct FlamArgs {
    /// How far the second voice is behind the first: 1ms,5ms,22ms; negative is ahead
    #[arg(long, value_name = "TIMES", allow_hyphen_values = true)]
    delay: Option<String>,
    /// The same as a share of the period of --rate: 1% or 1pct, several with commas
    #[arg(long, value_name = "SHARES", allow_hyphen_values = true)]
    phase: Option<String>,
    /// The output whose period counts: N per beat, or N per M beats
    #[arg(long, value_name = "RATE", default_value = "1 per beat")]
    rate: String,
    /// The two voices, of the built-in kit: see `hitgap voices`
    #[arg(long, value_name = "A,B", default_value = "kick,kick")]
    voices: String,
    /// Tempos in quarter notes a minute: 60,90,120 or 60..160:20
    #[arg(long, value_name = "TEMPOS", default_value = "120", value_parser = tempos)]
    tempo: Tempos,
    /// How to print the result
    #[arg(long, value_enum, default_value = "table")]
    format: Format,
    /// Write a listening page too: the voices together and apart, side by side in a browser, in one file
    #[arg(long)]
    page: bool,
    #[command(flatten)]
    open: OpenArgs,
    #[command(flatten)]
    sound: SoundArgs,
}

pub(super) fn run(args: &FlamArgs) -> Result<Outcome, Failure> {
    comma_note(&args.tempo).iter().for_each(|note| terminal::say(note));
    let period = quantity::rate(&args.rate).map_err(|e| Failure::input(&e, e.help()))?;
    let count = args.delay.iter().chain(&args.phase).map(|list| list.split(',').count()).sum::<usize>();
    let mut work = Work::default();
    work.files(count.saturating_mul(args.tempo.0.len()).saturating_add(usize::from(args.page)));
    if args.page {
        work.versions((1 + count).saturating_mul(args.tempo.0.len()));
    }
    work.fits("`flam`")?;
    if args.page {
        few_enough(count)?;
    }
    let (shares, list) = (args.delay.is_none(), args.delay.as_ref().or(args.phase.as_ref()));
    let settings = FlamGap::parse_list(list.map_or("", String::as_str), shares, period, &args.tempo.0)
        .map_err(|e| Failure::input(&e, e.help()))?;
    let voices = pair(&args.voices).map_err(|e| Failure::input(&e, e.help()))?;
    let rig = pair_rig(&voices);
    let ensemble = Ensemble::new(&[&rig], Seating::Centre, args.sound.seed)?;
    let bank = bank(&args.sound, &ensemble)?;
    let body = body(&voices, args.sound.seed)?;
    let mut flams: Vec<(FlamRow, FlamBars)> = Vec::new();
    let mut names: HashSet<String> = HashSet::new();
    for &tempo in &args.tempo.0 {
        for setting in &settings {
            let gap = setting.gap(tempo);
            let file = format!("flam.{}+{}.{}ms.{tempo}bpm.wav", voices[0].name, voices[1].name, exact_ms(gap));
            if names.insert(file.clone()) {
                let about = (tempo, setting.text.clone(), gap);
                let row = FlamRow::new(about, tempo.exact(period), args.sound.sample_rate, body.as_ref(), file);
                flams.push((row, FlamBars::new(&rig, &ensemble, tempo, gap)));
            }
        }
    }
    let page_name = args.page.then(|| format!("flam.{}+{}.html", voices[0].name, voices[1].name));
    for (_, bars) in &flams {
        fits(&bars.program(&bank, args.sound.lead_in, 1.0)?, &args.sound, Channels::Mono)?;
    }
    let names = flams.iter().map(|(row, _)| row.file.clone()).chain(page_name.clone());
    let folder = OutputFolder::open(&args.sound, &names.collect::<Vec<_>>())?;
    for same in flams.chunk_by(|a, b| a.0.tempo == b.0.tempo) {
        // All of a tempo are as loud as the two voices at once in every bar, whatever else is asked for.
        let together = reference(&rig, &ensemble, same[0].0.tempo).program(&bank, args.sound.lead_in)?;
        let (levels, programs) = folder.counted(|watch| {
            let programs = same.iter().map(|(_, bars)| bars.even(&bank, args.sound.lead_in, watch));
            let programs: Vec<Program<'_>> = programs.collect::<Result<_, RenderError>>()?;
            Ok((LoudnessMatch::measure(&together, &programs, watch)?, programs))
        })?;
        for (((row, _), program), gain) in same.iter().zip(&programs).zip(levels.fixes) {
            let about = format!("{} and {}, {} ms apart", voices[0].name, voices[1].name, row.gap_ms);
            let file = FileSpec::bare(row.file.clone(), Kind::Flam, "flam", Some(row.tempo), Channels::Mono);
            let file = FileSpec { about: Some(about), ..file };
            folder.render(&file, program, Gain::Fixed(gain.alone))?;
            if let Some(db) = gain.short_db() {
                terminal::say(&format!("note: {} is {db:.1} dB quieter than the others, or it would clip", row.file));
            }
        }
    }
    if let Some(name) = &page_name {
        let asked = Asked {
            title: &format!("{} and {}, a time apart", voices[0].name, voices[1].name),
            source: "two voices of the kit",
            voices: &voices,
            settings: &settings,
            rate: args.delay.is_none().then_some(args.rate.as_str()),
            tempos: &args.tempo.0,
        };
        let text = listening_page(&page(&asked, &args.sound, &folder)?);
        folder.write_bytes(Kind::Page, name, text.as_bytes(), "flam", None, None)?;
    }
    let made = Made {
        page: page_name.as_ref().map(|name| folder.path(name)),
        sound: flams.first().map(|(row, _)| folder.path(&row.file)),
        for_a_page: "--page makes one",
        for_a_sound: "there is no gap",
    };
    let page = page_name.map(|name| folder.shown(&name));
    folder.done();
    let rows: Vec<FlamRow> = flams.into_iter().map(|f| f.0).collect();
    say(args, &voices, &rows, page.as_deref())?;
    made.open(&args.open);
    Ok(Outcome::Done)
}

/// What a page of two voices is asked for.
pub(super) struct Asked<'a> {
    pub(super) title: &'a str,
    pub(super) source: &'a str,
    pub(super) voices: &'a [Voice; 2],
    pub(super) settings: &'a [FlamGap],
    /// The rate whose period counts, where settings are shares of it.
    pub(super) rate: Option<&'a str>,
    pub(super) tempos: &'a [Tempo],
}

/// A listening page of two voices, together and apart, all equally loud at each tempo.
///
/// # Errors
/// Exit status 2 for what cannot be rendered, 130 on Ctrl-C.
pub(super) fn page(asked: &Asked<'_>, sound: &SoundArgs, folder: &OutputFolder) -> Result<ListeningPage, Failure> {
    let &Asked { title, source, voices, settings, rate, .. } = asked;
    let rig = pair_rig(voices);
    let ensemble = Ensemble::new(&[&rig], Seating::Centre, sound.seed)?;
    let bank = bank(sound, &ensemble)?;
    let body = body(voices, sound.seed)?;
    let tempos = asked.tempos.iter().map(|&tempo| {
        let loops = FlamLoops::new(tempo, settings);
        let gains = folder.counted(|watch| loops.gains(&rig, &ensemble, (&bank, sound.lead_in), watch))?;
        Ok((tempo, loops, gains))
    });
    let tempos = tempos.collect::<Result<Vec<_>, Failure>>()?;
    let (players, body) = ((&rig, &ensemble), body.as_ref());
    Ok(flam_page(&FlamPage { title, source, care: CARE, voices, players, body, settings, rate }, &tempos))
}

fn say(args: &FlamArgs, voices: &[Voice; 2], rows: &[FlamRow], page: Option<&str>) -> Result<(), Failure> {
    let names = [voices[0].name.as_str(), voices[1].name.as_str()];
    terminal::result(|out| match args.format {
        Format::Table => {
            out.write_all(flam_table(names, &args.rate, rows, FLAM_MAX_GAP, terminal::width()).as_bytes())?;
            if let Some(page) = page {
                writeln!(out, "\nOpen first {page}, in any browser: together and apart, side by side.")?;
            }
            let dir = plain(&args.sound.out.display().to_string());
            writeln!(
                out,
                "\nIn {dir}, a file each, equally loud: {BARS_APART} bars with the voices apart, one with them together."
            )?;
            for row in rows {
                writeln!(out, "  {}", plain(&args.sound.out.join(&row.file).display().to_string()))?;
            }
            writeln!(out, "{CARE_SHORT}")
        }
        Format::Json => terminal::json(out, &flam_json(names, &args.rate, rows, page)),
        Format::Csv => flam_csv(rows, out),
    })
}
