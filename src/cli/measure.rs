use super::args::{Format, Tempos, tempos};
use super::{Failure, Outcome, terminal};
use crate::measure::{Fault, Recording, Request, Role, findings};
use crate::show::report::{Measured, measured_csv, measured_json, measured_table};
use crate::source::WavRecording;
use crate::text::{counted, plain};
use clap::Args;
use std::path::PathBuf;

#[derive(Args, Debug)]
pub(super) struct MeasureArgs {
    /// WAV files of one recorder, a file a tempo, all with the same channels
    #[arg(required = true, value_name = "FILE")]
    files: Vec<PathBuf>,
    /// The tempo of each file, in quarter notes a minute, in the order of the files: 60,90,133
    #[arg(long, value_name = "TEMPOS", value_parser = tempos, required = true)]
    tempo: Tempos,
    /// What each channel has on it, in order: pulse:NAME for a clock's pulses, hits:NAME for a box, - for neither
    #[arg(long, value_name = "CHANNELS", value_parser = channels, required = true)]
    channels: Channels,
    /// The places that hits belong to: so many a quarter note, as a patch writes a rate
    #[arg(long, value_name = "RATE", default_value = "4 per beat", value_parser = grid)]
    grid: f64,
    /// The place of the grid on which the first hit of each file is due, from 1 at the first pulse; without it, gaps are told up
    /// to whole places
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..=100_000), allow_negative_numbers = true)]
    first: Option<u32>,
    /// How to print the result
    #[arg(long, value_enum, default_value = "table")]
    format: Format,
}

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

fn grid(text: &str) -> Result<f64, String> {
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
    Ok(f64::from(count) / f64::from(beats))
}

pub(super) fn run(args: &MeasureArgs) -> Result<Outcome, Failure> {
    let tempos: Vec<f64> = args.tempo.0.iter().map(|tempo| tempo.bpm()).collect();
    if tempos.len() != args.files.len() {
        let (files, tempos) = (counted(args.files.len(), "file"), counted(tempos.len(), "tempo"));
        return Err(Failure::input(
            format!("there are {files} and {tempos}"),
            "give --tempo one for each file, in order",
        ));
    }
    let recordings = args.files.iter().map(|path| WavRecording::open(path)).collect::<Result<Vec<_>, _>>()?;
    let names: Vec<String> = args.files.iter().map(|path| plain(&path.display().to_string())).collect();
    for (recording, name) in recordings.iter().zip(&names) {
        let (has, wanted) = (recording.channels(), args.channels.0.len());
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
    let request = Request {
        roles: args.channels.0.iter().map(|(role, _)| *role).collect(),
        tempos,
        places: args.grid,
        first: args.first.map(|first| first - 1),
    };
    let open: Vec<&dyn Recording> = recordings.iter().map(|recording| recording as &dyn Recording).collect();
    let found = findings(&open, &request).map_err(|fault| told(&fault, &names, &request.tempos))?;
    let channels = args.channels.0.iter().map(|(_, name)| name.clone()).collect();
    let measured = Measured { channels, files: names, request: &request, findings: found };
    terminal::result(|out| match args.format {
        Format::Table => out.write_all(measured_table(&measured, terminal::width()).as_bytes()),
        Format::Json => terminal::json(out, &measured_json(&measured)),
        Format::Csv => measured_csv(&measured, out),
    })?;
    Ok(Outcome::Done)
}

fn told(fault: &Fault, files: &[String], tempos: &[f64]) -> Failure {
    match fault {
        Fault::Read(e) => Failure::File(format!("error: a recording could not be read to its end: {e}")),
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
            "give --tempo in the order of the files",
        ),
    }
}
