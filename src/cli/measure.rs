use super::args::{BoxesArgs, FilesArgs, Format, PatchArgs, Tempos, tempos};
use super::load::{self, Loaded};
use super::measured_files::{FilesAsked, MadeArgs, make};
use super::{Failure, Outcome, terminal};
use crate::measure::{Fault, Recording, Request, Role, findings};
use crate::show::report::{Measured, measure_plan, measured_csv, measured_json, measured_table};
use crate::source::WavRecording;
use crate::text::{counted, plain, rounded};
use clap::Args;
use std::path::PathBuf;

#[derive(Args, Debug)]
pub(super) struct MeasureArgs {
    /// WAV files of one recorder, a file a tempo, all with the same channels
    #[arg(required_unless_present = "plan", value_name = "FILE")]
    files: Vec<PathBuf>,
    /// The tempo of each file, in quarter notes a minute, in the order of the files: 60,90,133
    #[arg(long, value_name = "TEMPOS", value_parser = tempos, required_unless_present = "plan")]
    tempo: Option<Tempos>,
    /// What each channel has on it, in order: pulse:NAME for a clock's pulses, hits:NAME for a box, - for neither
    #[arg(long, value_name = "CHANNELS", value_parser = channels, required_unless_present = "plan")]
    channels: Option<Channels>,
    /// The places that hits belong to: so many a quarter note, as a patch writes a rate
    #[arg(long, value_name = "RATE", default_value = "4 per beat", value_parser = grid)]
    grid: Grid,
    /// The place of the grid on which the first hit of each file is due, from 1 at the first pulse; without it, gaps are told up
    /// to whole places
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..=100_000), allow_negative_numbers = true)]
    first: Option<u32>,
    /// A recording of all struck by one wire, with the same channels: what lies between them there is taken off
    #[arg(long, value_name = "FILE")]
    zero: Option<PathBuf>,
    /// The patch of the rig: for --plan, and for --write to add what was measured to
    #[arg(long, value_name = "PATCH")]
    patch: Option<PathBuf>,
    /// Say what to record of the rig of --patch: channels, tempos, how long
    #[arg(long, requires = "patch", conflicts_with_all = ["files", "tempo", "channels", "zero", "first"])]
    plan: bool,
    #[command(flatten)]
    made: MadeArgs,
    /// How to print the result
    #[arg(long, value_enum, default_value = "table", conflicts_with = "plan")]
    format: Format,
}

/// A rate as it is written, and places a quarter note.
#[derive(Clone, Debug)]
struct Grid {
    rate: String,
    places: f64,
}

/// Pulses a quarter note that clocks usually have.
const USUAL: [f64; 11] = [0.25, 0.5, 1.0, 2.0, 3.0, 4.0, 6.0, 8.0, 12.0, 24.0, 48.0];

/// Roles and names, a channel each.
#[derive(Clone, Debug)]
struct Channels(Vec<(Role, String)>);

fn channels(text: &str) -> Result<Channels, String> {
    let one = |part: &str| {
        let part = part.trim();
        if part == "-" {
            return Ok((Role::Unused, "-".to_owned()));
        }
        match part.split_once(':') {
            Some((role, name)) if !name.trim().is_empty() => match role.trim() {
                "pulse" | "pulses" => Ok((Role::Pulses, name.trim().to_owned())),
                "hits" | "hit" => Ok((Role::Hits, name.trim().to_owned())),
                other => Err(format!("found `{}`, expected pulse:NAME, hits:NAME or -", plain(other))),
            },
            _ => Err(format!("found `{}`, expected pulse:NAME, hits:NAME or -", plain(part))),
        }
    };
    let all = text.split(',').map(one).collect::<Result<Vec<_>, String>>()?;
    let count = |role| all.iter().filter(|(of, _)| *of == role).count();
    match (count(Role::Pulses), count(Role::Hits)) {
        (_, 0) => Err("found no channel with hits; write hits:NAME for a box".into()),
        (0, 1) => {
            Err("found hits of one box and no pulses; write pulse:NAME for the clock, or hits of a second box".into())
        }
        (0 | 1, _) => Ok(Channels(all)),
        (pulses, _) => Err(format!("found {pulses} channels with pulses, expected one")),
    }
}

fn grid(text: &str) -> Result<Grid, String> {
    let found = || format!("found `{}`, expected a rate such as \"4 per beat\"", plain(text));
    let (count, beats) = text.split_once("per").ok_or_else(found)?;
    let count: u32 = count.trim().parse().map_err(|_| found())?;
    let beats: u32 = match beats.trim().trim_end_matches("beats").trim_end_matches("beat").trim() {
        "" => 1,
        number => number.parse().map_err(|_| found())?,
    };
    if !(1..=96).contains(&count) || !(1..=96).contains(&beats) {
        return Err("expected 1 to 96 places in 1 to 96 beats".into());
    }
    let rate = if beats == 1 { format!("{count} per beat") } else { format!("{count} per {beats} beats") };
    Ok(Grid { rate, places: f64::from(count) / f64::from(beats) })
}

pub(super) fn run(args: &MeasureArgs) -> Result<Outcome, Failure> {
    let patch = args.patch.as_ref().map(|path| loaded(path)).transpose()?;
    if let (true, Some(loaded)) = (args.plan, &patch) {
        let plan = measure_plan(&loaded.patch).map_err(|e| Failure::input(&e, e.help()))?;
        terminal::result(|out| out.write_all(plan.as_bytes()))?;
        return Ok(Outcome::Done);
    }
    let (Some(tempos), Some(channels)) = (&args.tempo, &args.channels) else {
        return Err(Failure::input("there is nothing to measure", "give recordings, --tempo and --channels"));
    };
    let tempos: Vec<f64> = tempos.0.iter().map(|tempo| tempo.bpm()).collect();
    if tempos.len() != args.files.len() {
        let (files, tempos) = (counted(args.files.len(), "file"), counted(tempos.len(), "tempo"));
        return Err(Failure::input(
            format!("there are {files} and {tempos}"),
            "give --tempo one for each file, in order, no two alike",
        ));
    }
    let files: Vec<&PathBuf> = args.files.iter().chain(&args.zero).collect();
    let recordings = files.iter().map(|path| WavRecording::open(path)).collect::<Result<Vec<_>, _>>()?;
    let names: Vec<String> = files.iter().map(|path| plain(&path.display().to_string())).collect();
    alike(&recordings, &names, channels.0.len())?;
    let request = Request {
        roles: channels.0.iter().map(|(role, _)| *role).collect(),
        tempos,
        places: args.grid.places,
        first: args.first.map(|first| first - 1),
        zero: args.zero.is_some(),
    };
    let open: Vec<&dyn Recording> = recordings.iter().map(|recording| recording as &dyn Recording).collect();
    let found = findings(&open, &request).map_err(|fault| told(&fault, &names, &request.tempos))?;
    let channels = channels.0.iter().map(|(_, name)| name.clone()).collect();
    let measured = Measured { channels, files: names, request: &request, findings: found };
    // Files first: a result on stdout says that all is done.
    let asked = FilesAsked {
        measured: &measured,
        recordings: &open,
        paths: &files,
        rate: &args.grid.rate,
        patch: patch.as_ref(),
    };
    let made = make(&args.made, &asked)?;
    terminal::result(|out| match args.format {
        Format::Table => {
            out.write_all(measured_table(&measured, terminal::width()).as_bytes())?;
            made.files.iter().try_for_each(|file| writeln!(out, "{file}"))
        }
        Format::Json => terminal::json(out, &measured_json(&measured)),
        Format::Csv => measured_csv(&measured, out),
    })?;
    if args.format != Format::Table {
        made.files.iter().for_each(|file| terminal::say(&format!("wrote {file}")));
    }
    made.nothing.map_or(Ok(Outcome::Done), Err)
}

fn loaded(patch: &std::path::Path) -> Result<Loaded, Failure> {
    let (patch, boxes, files) = (patch.to_owned(), BoxesArgs::default(), FilesArgs::default());
    load::load(&PatchArgs { patch, tempo: None, bars: None, boxes, files }, None)
}

/// Makes sure that recordings have so many channels, at one rate.
fn alike(recordings: &[WavRecording], names: &[String], wanted: usize) -> Result<(), Failure> {
    for (recording, name) in recordings.iter().zip(names) {
        let has = recording.channels();
        if has != wanted {
            let channels = counted(has, "channel");
            let help = "name each channel in --channels, in order, with - for one that does not matter";
            return Err(Failure::input(format!("`{name}` has {channels}, and --channels names {wanted}"), help));
        }
        if recording.rate() != recordings[0].rate() {
            let (rate, first) = (recording.rate(), recordings[0].rate());
            let found = format!("`{name}` has {rate} samples a second, `{}` has {first}", names[0]);
            return Err(Failure::input(found, "record all tempos at one rate, or measure them apart"));
        }
    }
    Ok(())
}

fn told(fault: &Fault, files: &[String], tempos: &[f64]) -> Failure {
    match fault {
        Fault::Read(e) if e.kind() == std::io::ErrorKind::InvalidData => {
            Failure::input(e, "save the recording as whole numbers of 24 bits, or cut out what is no number")
        }
        Fault::Read(e) => Failure::File(format!(
            "error: a recording could not be read to its end: {e}\nhelp: copy it from the recorder once more, and leave it alone meanwhile"
        )),
        Fault::Tempo { file, apart: None } => Failure::input(
            format!("`{}` has under two pulses on its pulse channel", files[*file]),
            "look at the order of --channels, and whether the clock was plugged into the recorder",
        ),
        Fault::Tempo { file, apart: Some(apart) } => Failure::input(
            format!(
                "`{}` has pulses {:.3} ms apart, which is no whole number a beat nor of beats at {}",
                files[*file],
                apart * 1e3,
                tempos[*file]
            ),
            format!("give --tempo in the order of the files{}", nearest(*apart, tempos[*file])),
        ),
    }
}

/// The tempo that is nearest to one that was given, of those that pulses so far apart may have.
fn nearest(apart: f64, given: f64) -> String {
    let tempos = USUAL.map(|pulses| 60.0 / (pulses * apart));
    let far = |tempo: f64| (tempo / given).ln().abs();
    let fits = tempos.into_iter().filter(|tempo| (1.0..=1000.0).contains(tempo));
    let nearest = fits.min_by(|a, b| far(*a).total_cmp(&far(*b)));
    nearest.map_or_else(String::new, |tempo| format!("; is it {}?", rounded(tempo, 1)))
}
