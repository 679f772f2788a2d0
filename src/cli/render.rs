use super::args::{DrawArgs, OpenArgs, PatchArgs, SoundArgs, TidyArgs};
use super::load::load;
use super::opener::Made;
use super::{Failure, Outcome, terminal};
use crate::export::{Draw, Renders, renders};
use crate::text::plain;
use clap::Args;

#[derive(Args, Debug)]
pub(super) struct RenderArgs {
    #[command(flatten)]
    patch: PatchArgs,
    /// A variant to render: a fix, several joined by +, or original; may be given again
    #[arg(long, value_name = "NAME", default_value = "original")]
    fix: Vec<String>,
    /// Also write each sequencer and each take alone, at the level it has in the mix
    #[arg(long)]
    stems: bool,
    #[command(flatten)]
    draw: DrawArgs,
    #[command(flatten)]
    tidy: TidyArgs,
    /// Play the first sound file, with the system's own program or the one that HITGAP_OPENER names
    #[arg(long)]
    play: bool,
    #[command(flatten)]
    sound: SoundArgs,
}

pub(super) fn run(args: &RenderArgs) -> Result<Outcome, Failure> {
    let loaded = load(&args.patch, None)?;
    let variants = loaded.variants(&args.fix)?;
    let asked = Renders {
        loaded: &loaded,
        variants: &variants,
        stems: args.stems,
        draw: Draw(args.draw.run),
        tidy: args.tidy.tidy,
    };
    let files = renders(&asked, &args.sound.destination())?;
    terminal::result(|out| files.iter().try_for_each(|file| writeln!(out, "{}", plain(&file.display().to_string()))))?;
    Made { sound: files.into_iter().next(), ..Made::default() }.open(&OpenArgs { open: false, play: args.play });
    Ok(Outcome::Done)
}
