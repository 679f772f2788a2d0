use super::args::{SoundArgs, TableOrJson, Tempos, tempos};
use super::press::{Press, Sheet, bank, fits};
use super::{CARE_SHORT, Failure, Outcome, WIRING, load, talk};
use crate::hits::Hit;
use crate::judge::identify::{BENCH, BOX, Plan, alike, perform};
use crate::patch::{Asked, Patch, Rig, shown};
use crate::show::report::{alike_table, identified, identify_json, identify_table, letter};
use crate::sound::render::{Channels, Gain, Program};
use crate::sound::score::{Ensemble, Seating, Sheet as Score};
use crate::store::Kind;
use crate::time::{Beat, Tempo};
use clap::Args;
use std::path::PathBuf;

#[derive(Args, Debug)]
pub(super) struct IdentifyArgs {
    /// A patch in whose rig the box stands: what lies on the way to its inputs counts (default: straight cables)
    patch: Option<PathBuf>,
    /// Which of the patch's sequencers is the box (needed where there are several)
    #[arg(long, value_name = "NAME", requires = "patch")]
    sequencer: Option<String>,
    /// The tempo at which it is tried: slow, so that a part of a pulse is plain (default: 60)
    #[arg(long, value_name = "TEMPO", value_parser = tempos)]
    tempo: Option<Tempos>,
    /// What you heard in each trial, such as b,a,a; ? for one that is not sure
    #[arg(long, value_name = "LETTERS")]
    answers: Option<String>,
    /// How to print the result
    #[arg(long, value_enum, default_value = "table")]
    format: TableOrJson,
    #[command(flatten)]
    sound: SoundArgs,
}

/// The voices of the bench.
const LOW: usize = 0;
const HIGH: usize = 1;
const TICK: usize = 2;

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
    let bench = Patch::parse(BENCH, &Asked::default()).map_err(|e| Failure::Input(format!("error: {e}")))?;
    let mut at_home = None;
    let (rig, player) = match &args.patch {
        None => (bench.original.rig.clone(), BOX),
        Some(path) => {
            let (patch, player) = from_patch(path, args.sequencer.as_deref())?;
            let mut rig = patch.original.rig.clone();
            let clock = rig.origin(&rig.sequencers[player].clock);
            rig.outputs[clock].timing = bench.original.rig.outputs[0].timing.clone();
            at_home = Some(patch);
            (rig, player)
        }
    };
    let no_trial = || Failure::input("the box has no clock with a rate", "try it on straight cables: hitgap identify");
    let plan = Plan::new(&rig, player, tempo).map_err(|e| Failure::input(&e, e.help()))?.ok_or_else(no_trial)?;
    if let Some(said) = &args.answers {
        let answers = answers(said, &plan)?;
        talk::result(|out| out.write_all(identified(&plan, &answers).as_bytes()))?;
        return Ok(Outcome::Done);
    }
    let name = |step: usize, answer: usize| format!("identify.{}{}.{tempo}bpm.wav", step + 1, letter(answer));
    write(args, &plan, (&rig, player, tempo), &bench.original.rig, &name)?;
    let sets = match &at_home {
        None => None,
        Some(patch) => {
            Some(alike(&plan, &patch.original.rig, player, &patch.tempos).map_err(|e| Failure::input(&e, e.help()))?)
        }
    };
    let dir = crate::show::report::plain(&args.sound.out.display().to_string());
    talk::result(|out| match args.format {
        TableOrJson::Table => {
            out.write_all(identify_table(&plan, tempo, name).as_bytes())?;
            if let Some(sets) = &sets {
                out.write_all(alike_table(&rig.sequencers[player].name, sets).as_bytes())?;
            }
            writeln!(out, "\nThe sounds lie in {dir}.\n{WIRING}\n{CARE_SHORT}")
        }
        TableOrJson::Json => talk::json(out, &identify_json(&plan, tempo, name)),
    })?;
    Ok(Outcome::Done)
}

/// A box of a patch that can be tried: its clock and its reset come from two outputs.
///
/// Without a name, the one sequencer of a patch that has only one.
fn from_patch(path: &std::path::Path, name: Option<&str>) -> Result<(Patch, usize), Failure> {
    let loaded = load::load(&super::args::PatchArgs { patch: path.to_owned(), tempo: None, bars: None }, None)?;
    let rig = &loaded.patch.original.rig;
    let known = || rig.sequencers.iter().map(|s| s.name.as_str()).collect::<Vec<_>>().join(", ");
    let name = match (name, rig.sequencers.as_slice()) {
        (Some(name), _) => name,
        (None, [only]) => only.name.as_str(),
        (None, []) => {
            return Err(Failure::input(
                "the patch has takes only, and no box that reads a reset",
                "name another patch",
            ));
        }
        (None, [first, ..]) => {
            let help = format!("say which is the box, such as --sequencer {}: it has {}", first.name, known());
            return Err(Failure::input("the patch has several sequencers", help));
        }
    };
    let Some(player) = rig.sequencers.iter().position(|s| s.name == name) else {
        return Err(Failure::input(
            format!("there is no sequencer `{}` in the patch", shown(name)),
            format!("it has {}", known()),
        ));
    };
    let Some(reset) = &rig.sequencers[player].reset else {
        return Err(Failure::input(
            format!("`{}` has no reset in the patch", shown(name)),
            "give it one, with any reset-mode: it is replaced",
        ));
    };
    let (clock, reset) = (rig.origin(&rig.sequencers[player].clock), rig.origin(&reset.path));
    if clock == reset {
        let found = format!("the clock and the reset of `{}` come from one output", shown(name));
        return Err(Failure::input(found, "try it on straight cables: hitgap identify"));
    }
    Ok((loaded.patch, player))
}

fn answers(said: &str, plan: &Plan) -> Result<Vec<Option<usize>>, Failure> {
    let parts: Vec<&str> = said.split(',').map(str::trim).collect();
    if parts.len() != plan.steps.len() {
        let found = format!("found {} of {} answers: each setting has one", parts.len(), plan.steps.len());
        return Err(Failure::input(
            found,
            "write a letter for each setting, such as b,a,a, and ? where you are not sure",
        ));
    }
    let read = |(n, part): (usize, &&str)| {
        if *part == "?" {
            return Ok(None);
        }
        let heard = plan.steps[n].heard.len();
        match (0..heard).find(|&a| *part == letter(a).to_string()) {
            Some(answer) => Ok(Some(answer)),
            None => Err(Failure::input(
                format!("`{}` is not an answer to trial {}", shown(part), n + 1),
                format!("write a letter from a to {}, or ?", letter(heard - 1)),
            )),
        }
    };
    parts.iter().enumerate().map(read).collect()
}

/// Writes what may be heard at each step.
fn write(
    args: &IdentifyArgs,
    plan: &Plan,
    (rig, player, tempo): (&Rig, usize, Tempo),
    voices: &Rig,
    name: &dyn Fn(usize, usize) -> String,
) -> Result<(), Failure> {
    let ensemble = Ensemble::new(&[voices], Seating::Centre, args.sound.seed)?;
    let bank = bank(&args.sound, &ensemble)?;
    let all = plan.steps.iter().enumerate().flat_map(|(n, step)| {
        step.heard.iter().enumerate().map(move |(answer, (_, habit))| (n, answer, step.trial, habit))
    });
    let mut scores = Vec::new();
    for (n, answer, trial, habit) in all {
        let performed = perform(rig, player, tempo, &trial, habit).map_err(|e| Failure::input(&e, e.help()))?;
        let Some(performed) = performed else { continue };
        let mut score = Score::new(&ensemble);
        for hit in &performed.hits {
            let voice = if hit.step == 1 { LOW } else { HIGH };
            score.add(0, voices, &Hit { sequencer: BOX, voice, ..hit.clone() }, hit.at, 1.0);
        }
        for &at in &performed.pulses {
            let beat = Beat::from_integer(0);
            let hit = Hit { at, beat, due: beat, sequencer: BOX, step: 1, velocity: 64, level_mdb: 0, voice: TICK };
            score.add(0, voices, &hit, at, 1.0);
        }
        scores.push((name(n, answer), score.finish(), performed.end));
    }
    let mut programs = Vec::new();
    for (_, cues, end) in &scores {
        let program = Program::new(&bank, cues.clone(), args.sound.lead_in, *end)?;
        fits(&program, &args.sound, Channels::Mono)?;
        programs.push(program);
    }
    let press = Press::open(&args.sound, &scores.iter().map(|s| s.0.clone()).collect::<Vec<_>>())?;
    press.expect(programs.iter().map(|p| 2 * p.frames()).sum());
    for ((name, ..), program) in scores.iter().zip(&programs) {
        let sheet = Sheet::bare(name.clone(), Kind::Trial, "identify", Some(tempo), Channels::Mono);
        press.print(&sheet, program, Gain::Auto)?;
    }
    press.done();
    Ok(())
}
