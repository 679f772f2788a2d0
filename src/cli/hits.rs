use super::args::{DrawArgs, PatchArgs};
use super::load::load;
use super::{Failure, Outcome, talk};
use crate::hits::{list, write_csv};
use crate::rig::play_run;
use clap::Args;

#[derive(Args, Debug)]
pub(super) struct HitsArgs {
    #[command(flatten)]
    patch: PatchArgs,
    /// The variant: a fix, several joined by +, or original
    #[arg(long, value_name = "NAME", default_value = "original")]
    fix: String,
    #[command(flatten)]
    draw: DrawArgs,
    /// What the run draws from
    #[arg(long, value_name = "N", default_value_t = 1, requires = "run", allow_negative_numbers = true)]
    seed: u64,
}

pub(super) fn run(args: &HitsArgs) -> Result<Outcome, Failure> {
    let loaded = load(&args.patch, None)?;
    let variant = loaded.variant(&args.fix)?;
    let [first, rest @ ..] = loaded.patch.tempos.as_slice() else {
        return Err(Failure::input("there is no tempo to play at", "give one with --tempo"));
    };
    if !rest.is_empty() && args.patch.tempo.is_some() {
        return Err(Failure::input("a hit list has one tempo, and several were asked for", "give --tempo one of them"));
    }
    let performance = play_run(&variant.rig, *first, args.draw.of(args.seed))
        .map_err(|e| Failure::input(e, "fewer bars, or a faster tempo"))?;
    let hits = list(&variant.rig, &performance);
    talk::result(|out| write_csv(&variant.rig, &hits, out))?;
    Ok(Outcome::Done)
}
