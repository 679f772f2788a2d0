use super::album::beside;
use super::args::{BoxesArgs, FilesArgs, OpenArgs, PatchArgs, SoundArgs, TableOrJson, Tempos, tempos};
use super::opener::Made;
use super::{CARE_SHORT, Failure, Outcome, WIRING, load, terminal};
use crate::export::{ReadingsPage, trial_files};
use crate::judge::identify::{BenchError, Dials, Plan, TestBench, alike, letter};
use crate::judge::which::{self, NoBench};
use crate::show::report::{alike_table, identified, identify_json, identify_table, plain};
use crate::time::Tempo;
use clap::Args;
use std::path::PathBuf;

#[derive(Args, Debug)]
pub(super) struct IdentifyArgs {
    /// A patch in whose rig the box stands: what lies on the way to its inputs counts (default: straight cables)
    patch: Option<PathBuf>,
    /// Which of the patch's sequencers is the box (needed where several could be)
    #[arg(long, value_name = "NAME", requires = "patch")]
    sequencer: Option<String>,
    /// The tempo at which it is tried: slow, so that a part of a pulse is plain (default: 60)
    #[arg(long, value_name = "TEMPO", value_parser = tempos)]
    tempo: Option<Tempos>,
    /// What you heard in each trial, such as b,a,a; ? for one that is not sure
    #[arg(long, value_name = "LETTERS")]
    answers: Option<String>,
    /// The clock has no dials for phase, shift or width: only the test that any clock gives
    #[arg(long)]
    no_dials: bool,
    /// Write a listening page too: what each way of reading does in the patch and in each test, and which are left by what yours did
    #[arg(long, requires = "patch", conflicts_with = "answers")]
    page: bool,
    /// How to print the result
    #[arg(long, value_enum, default_value = "table")]
    format: TableOrJson,
    #[command(flatten)]
    files: FilesArgs,
    #[command(flatten)]
    open: OpenArgs,
    #[command(flatten)]
    sound: SoundArgs,
}

pub(super) fn run(args: &IdentifyArgs) -> Result<Outcome, Failure> {
    let tempo = match args.tempo.as_ref().map(|t| t.0.as_slice()) {
        None => Tempo::whole(60),
        Some([tempo]) => *tempo,
        Some(_) => {
            return Err(Failure::input(
                "a trial has one tempo, and several were asked for",
                "give --tempo one of them",
            ));
        }
    };
    let refused = |e: BenchError| match e {
        BenchError::Patch(faults) => Failure::Input(format!("error: {faults}")),
        other => Failure::input(&other, other.help()),
    };
    let at_home = args.patch.as_ref().map(|patch| {
        let asked =
            PatchArgs { patch: patch.clone(), tempo: None, bars: None, boxes: BoxesArgs::default(), files: args.files };
        load::load(&asked, None)
    });
    let loaded = at_home.transpose()?;
    let at_home = loaded.as_ref().map(|loaded| &loaded.patch);
    let bench = match at_home {
        None => TestBench::straight().map_err(refused)?,
        Some(patch) => which::bench(patch, args.sequencer.as_deref()).map_err(|e| match e {
            NoBench::Unclear(unclear) => unclear.into(),
            NoBench::Refused(error) => refused(error),
        })?,
    };
    let (rig, player) = (&bench.rig, bench.player);
    let no_trial = || Failure::input("the box has no clock with a rate", "try it on straight cables: hitgap identify");
    let dials = if args.no_dials { Dials::None } else { Dials::All };
    let plan =
        Plan::for_clock(rig, player, tempo, dials).map_err(|e| Failure::input(&e, e.help()))?.ok_or_else(no_trial)?;
    if let Some(said) = &args.answers {
        let answers = plan.read_answers(said).map_err(|e| Failure::input(&e, e.help()))?;
        terminal::result(|out| out.write_all(identified(&plan, &answers).as_bytes()))?;
        Made { for_a_page: NO_PAGE, for_a_sound: "leave --answers out", ..Made::default() }.open(&args.open);
        return Ok(Outcome::Done);
    }
    let name = |step: usize, answer: usize| format!("identify.{}{}.{tempo}bpm.wav", step + 1, letter(answer));
    let page =
        loaded.as_ref().filter(|_| args.page).map(|loaded| ReadingsPage::new(loaded, &plan, player)).transpose()?;
    let made = trial_files((&plan, &bench, tempo), &name, page.as_ref(), &args.sound.destination())?;
    let sets = match at_home {
        None => None,
        Some(patch) => {
            Some(alike(&plan, &patch.original.rig, player, &patch.tempos).map_err(|e| Failure::input(&e, e.help()))?)
        }
    };
    let dir = plain(&args.sound.out.display().to_string());
    terminal::result(|out| match args.format {
        TableOrJson::Table => {
            out.write_all(identify_table(&plan, tempo, name).as_bytes())?;
            if let Some(sets) = &sets {
                out.write_all(alike_table(&rig.sequencers[player].name, sets).as_bytes())?;
            }
            if let Some(shown) = &made.page_shown {
                writeln!(out, "\nOpen {shown}, in any browser: hear every way, and mark what yours did.")?;
            }
            writeln!(out, "\nThe sounds lie in {dir}.\n{WIRING}\n{CARE_SHORT}")
        }
        TableOrJson::Json => terminal::json(out, &identify_json(&plan, tempo, name)),
    })?;
    if let (TableOrJson::Json, Some(shown)) = (args.format, &made.page_shown) {
        beside(std::slice::from_ref(shown));
    }
    Made { page: made.page, sound: made.first, for_a_page: NO_PAGE, for_a_sound: "nothing is heard" }.open(&args.open);
    Ok(Outcome::Done)
}

/// Where a page is asked for.
const NO_PAGE: &str = "--page makes one, of a box in a patch; --play plays the first sound file";
