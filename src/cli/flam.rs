use super::args::{Format, OpenArgs, SoundArgs, Tempos, comma_note, tempos};
use super::opener::Made;
use super::work::Work;
use super::{CARE_SHORT, Failure, Outcome, terminal};
use crate::export::{FlamAsked, flams};
use crate::patch::{Voice, quantity};
use crate::show::report::{FlamRow, flam_csv, flam_json, flam_table, plain};
use crate::show::scene::FLAM_MAX_GAP;
use crate::show::workload::few_enough_settings;
use crate::sound::flam::{BARS_APART, FlamGap, pair};
use clap::Args;

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
        few_enough_settings(count)?;
    }
    let (shares, list) = (args.delay.is_none(), args.delay.as_ref().or(args.phase.as_ref()));
    let settings = FlamGap::parse_list(list.map_or("", String::as_str), shares, period, &args.tempo.0)
        .map_err(|e| Failure::input(&e, e.help()))?;
    let voices = pair(&args.voices).map_err(|e| Failure::input(&e, e.help()))?;
    let asked = FlamAsked {
        title: &format!("{} and {}, a time apart", voices[0].name, voices[1].name),
        source: "two voices of the kit",
        voices: &voices,
        settings: &settings,
        rate: args.delay.is_none().then_some(args.rate.as_str()),
        tempos: &args.tempo.0,
    };
    let made = flams(&asked, period, args.page, &args.sound.destination())?;
    say(args, &voices, &made.rows, made.page_shown.as_deref())?;
    let (for_a_page, for_a_sound) = ("--page makes one", "there is no gap");
    Made { page: made.page, sound: made.first, for_a_page, for_a_sound }.open(&args.open);
    Ok(Outcome::Done)
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
