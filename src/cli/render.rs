use super::args::{DrawArgs, OpenArgs, PatchArgs, SoundArgs, TidyArgs};
use super::load::{Loaded, load};
use super::opener::Made;
use super::output_folder::{FileSpec, OutputFolder, bank, fits, lasts, origin, spec};
use super::stale::is_of;
use super::takes::say_left_out;
use super::work::{CUE_BYTES, PLAYED_BYTES, Work, hits};
use super::{Failure, Outcome, terminal};
use crate::patch::{Rig, Variant};
use crate::rig::Rehearsal;
use crate::sound::render::{Channels, Gain, Program};
use crate::sound::score::{Ensemble, MOST_KEPT, Part, Rendition, Seating, Signpost};
use crate::store::{Entry, Kind};
use crate::time::{Beat, Tempo};
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

/// A variant at a tempo: a mix and, after it, its stems.
struct Group<'r> {
    rendition: Rendition<'r>,
    tempo: Tempo,
    /// The number of its rig in the ensemble.
    of: usize,
    /// Each file, and who alone is heard in it.
    files: Vec<(FileSpec, Option<usize>)>,
}

pub(super) fn run(args: &RenderArgs) -> Result<Outcome, Failure> {
    let loaded = load(&args.patch, None)?;
    let variants = loaded.variants(&args.fix)?;
    work(args, &loaded, &variants)?;
    let rigs: Vec<&Rig> = variants.iter().map(|v| &v.rig).collect();
    let ensemble = Ensemble::new(&rigs, Seating::Patch, args.sound.seed)?;
    let bank = bank(&args.sound, &ensemble)?;
    say_left_out(variants.iter().flat_map(|v| loaded.patch.tempos.iter().map(|tempo| (&v.rig, *tempo))));
    let mut groups = Vec::new();
    for (index, variant) in variants.iter().enumerate() {
        for &tempo in &loaded.patch.tempos {
            groups.push(group(args, &loaded, (index, variant), tempo)?);
        }
    }
    let mut programs: Vec<Vec<Program<'_>>> = Vec::new();
    for group in &groups {
        let mut of_group: Vec<Program<'_>> = Vec::new();
        let rig = group.rendition.rig();
        let bars = Signpost::bars(loaded.patch.meter, &rig.clockwork(group.tempo), (Beat::default(), rig.end));
        for (file, only) in &group.files {
            let part = Part { ensemble: &ensemble, of: group.of, rendition: &group.rendition, only: *only };
            let program = Program::of(&bank, part.cues(), args.sound.lead_in, group.rendition.end())?;
            // A stem lasts as long as its mix, so that the two can be laid side by side.
            let mix = of_group.first().map_or(0, Program::frames);
            let program = Signpost::mark(program.lasting(mix), &bars);
            fits(&program, &args.sound, file.channels)?;
            of_group.push(program);
        }
        programs.push(of_group);
    }
    let names: Vec<String> = groups.iter().flat_map(|g| &g.files).map(|(file, _)| file.name.clone()).collect();
    let folder = OutputFolder::open(&args.sound, &names)?;
    folder.expect(programs.iter().flatten().map(|p| 2 * p.frames()).sum());
    let mut lines = Vec::new();
    for (group, programs) in groups.iter().zip(&programs) {
        let mut gain = Gain::Auto;
        for ((file, _), program) in group.files.iter().zip(programs) {
            let written = folder.render(file, program, gain)?;
            gain = Gain::Fixed(written.gain);
            lines.push(folder.shown(&file.name));
        }
    }
    // What other options made of the same text is as good as ever.
    let (name, text) = origin(&loaded);
    let is_old = |entry: &Entry| {
        is_of(entry, "render", &name, args.draw.run) && entry.facts.patch_sha256.as_ref() != Some(&text)
    };
    folder.tidy(args.tidy, &names, is_old)?;
    let made = Made { sound: names.first().map(|name| folder.path(name)), ..Made::default() };
    folder.done();
    terminal::result(|out| lines.iter().try_for_each(|line| writeln!(out, "{line}")))?;
    made.open(&OpenArgs { open: false, play: args.play });
    Ok(Outcome::Done)
}

/// Refuses a render that is too much for the disk or the memory.
///
/// # Errors
/// Exit status 2, with the figure and the bound.
fn work(args: &RenderArgs, loaded: &Loaded, variants: &[Variant]) -> Result<(), Failure> {
    let tempos = &loaded.patch.tempos;
    let mut work = Work::default();
    let files = |rig: &Rig| 1 + if args.stems { rig.players() } else { 0 };
    variants.iter().for_each(|v| work.files(tempos.len() * files(&v.rig)));
    work.fits("`render`")?;
    for variant in variants {
        let (rig, files) = (&variant.rig, files(&variant.rig));
        for &tempo in tempos {
            let end = rig.clockwork(tempo).instant(rig.end);
            lasts(end, &args.sound, Channels::Stereo)?;
            work.sound(args.sound.lead_in, end, files, (args.sound.sample_rate, &spec(&args.sound, Channels::Stereo)));
            work.marks(Signpost::count(loaded.patch.meter, rig.end) * files);
            let found = hits(rig, tempo)?;
            // Long pieces are played anew each time, but for those that have to be played as a whole.
            let rehearsal = Rehearsal::new(rig, tempo).map_err(|e| Failure::input(&e, e.help()))?;
            if rehearsal.sounds(args.draw.of(args.sound.seed)).is_none() {
                work.kept(found, PLAYED_BYTES);
            }
            if found <= MOST_KEPT as u128 {
                work.kept(found * if files > 1 { 2 } else { 1 }, CUE_BYTES);
            }
            work.played(found * files as u128);
        }
    }
    Ok(work.fits("`render`")?)
}

fn group<'r>(
    args: &RenderArgs,
    loaded: &Loaded,
    (of, variant): (usize, &'r Variant),
    tempo: Tempo,
) -> Result<Group<'r>, Failure> {
    let rig = &variant.rig;
    let run = args.draw.of(args.sound.seed);
    let rendition = Rendition::play(rig, tempo, run).map_err(|e| Failure::input(&e, e.help()))?;
    let (patch, title) = (origin(loaded), loaded.patch.title.clone());
    let file = |only: Option<usize>| {
        let whose = only.map(|player| rig.player_name(player).to_owned());
        let stem = whose.as_ref().map_or_else(String::new, |name| format!(".{name}"));
        let name = format!("{}.{}.{tempo}bpm{}{stem}.wav", loaded.stem()?, variant.name, args.draw.tail());
        let kind = if whose.is_some() { Kind::Stem } else { Kind::Mix };
        let file = FileSpec::of_variant(name, kind, "render", (&patch, &variant.name), Some(tempo));
        let file =
            FileSpec { sequencer: whose, run: args.draw.run, channels: Channels::Stereo, title: title.clone(), ..file };
        Ok::<_, Failure>((file, only))
    };
    let stems = if args.stems { 0..rig.players() } else { 0..0 };
    let files = std::iter::once(None).chain(stems.map(Some)).map(file).collect::<Result<_, _>>()?;
    Ok(Group { rendition, tempo, of, files })
}
