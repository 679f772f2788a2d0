//! Variants at tempos, each a mix and, after it, its stems.

use super::{Destination, Draw, ExportError, FileSpec, OutputFolder, SoundSettings, is_of};
use crate::patch::{Rig, Variant};
use crate::rig::Rehearsal;
use crate::show::report::all_left_out;
use crate::show::workload::{CUE_BYTES, PLAYED_BYTES, Workload, hits};
use crate::sound::render::{Channels, Gain, Program};
use crate::sound::score::{Ensemble, MOST_KEPT, Part, Rendition, Seating, Signpost};
use crate::source::Loaded;
use crate::store::{Entry, Kind};
use crate::time::{Beat, Tempo};
use std::path::PathBuf;

/// What is to be rendered.
#[derive(Debug)]
pub struct Renders<'a> {
    /// The patch, at whose tempos.
    pub loaded: &'a Loaded,
    /// Variants of it.
    pub variants: &'a [Variant],
    /// Whether each player is written alone too.
    pub stems: bool,
    /// Whose draws are heard.
    pub draw: Draw,
    /// Whether what earlier runs left is removed.
    pub tidy: bool,
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

/// Renders every variant at every tempo; gives back where the files lie, in their order.
///
/// # Errors
/// [`ExportError`] for what is too much or cannot be rendered, and for the folder and its files.
pub fn renders(asked: &Renders<'_>, to: &Destination) -> Result<Vec<PathBuf>, ExportError> {
    let (variants, sound, tempos) = (asked.variants, &to.sound, &asked.loaded.patch.tempos);
    work(asked, sound)?;
    let rigs: Vec<&Rig> = variants.iter().map(|v| &v.rig).collect();
    let ensemble = Ensemble::new(&rigs, Seating::Patch, sound.seed)?;
    let bank = sound.bank(&ensemble)?;
    let played = variants.iter().flat_map(|v| tempos.iter().map(|tempo| (&v.rig, *tempo)));
    all_left_out(played).iter().for_each(|note| to.progress.say(note));
    let mut groups = Vec::new();
    for (index, variant) in variants.iter().enumerate() {
        for &tempo in tempos {
            groups.push(group(asked, sound.seed, (index, variant), tempo)?);
        }
    }
    let mut programs: Vec<Vec<Program<'_>>> = Vec::new();
    for group in &groups {
        let mut of_group: Vec<Program<'_>> = Vec::new();
        let rig = group.rendition.rig();
        let meter = asked.loaded.patch.meter;
        let bars = Signpost::bars(meter, &rig.clockwork(group.tempo), (Beat::default(), rig.end));
        for (file, only) in &group.files {
            let part = Part { ensemble: &ensemble, of: group.of, rendition: &group.rendition, only: *only };
            let program = Program::of(&bank, part.cues(), sound.lead_in, group.rendition.end())?;
            // A stem lasts as long as its mix, so that the two can be laid side by side.
            let mix = of_group.first().map_or(0, Program::frames);
            let program = Signpost::mark(program.lasting(mix), &bars);
            sound.fits(&program, file.channels)?;
            of_group.push(program);
        }
        programs.push(of_group);
    }
    let names: Vec<String> = groups.iter().flat_map(|g| &g.files).map(|(file, _)| file.name.clone()).collect();
    let folder = OutputFolder::open(to, &names)?;
    folder.expect(programs.iter().flatten().map(|p| 2 * p.frames()).sum());
    for (group, programs) in groups.iter().zip(&programs) {
        let mut gain = Gain::Auto;
        for ((file, _), program) in group.files.iter().zip(programs) {
            gain = Gain::Fixed(folder.render(file, program, gain)?.gain);
        }
    }
    // What other options made of the same text is as good as ever.
    let (name, text) = asked.loaded.origin();
    let is_old =
        |entry: &Entry| is_of(entry, "render", &name, asked.draw.0) && entry.facts.patch_sha256.as_ref() != Some(&text);
    folder.tidy(asked.tidy, &names, is_old)?;
    let files = names.iter().map(|name| folder.path(name)).collect();
    folder.done();
    Ok(files)
}

/// Refuses a render that is too much for the disk or the memory.
///
/// # Errors
/// With the figure and the bound.
fn work(asked: &Renders<'_>, sound: &SoundSettings) -> Result<(), ExportError> {
    let (tempos, variants) = (&asked.loaded.patch.tempos, asked.variants);
    let mut work = Workload::default();
    let files = |rig: &Rig| 1 + if asked.stems { rig.players() } else { 0 };
    variants.iter().for_each(|v| work.files(tempos.len() * files(&v.rig)));
    work.fits("`render`")?;
    for variant in variants {
        let (rig, files) = (&variant.rig, files(&variant.rig));
        for &tempo in tempos {
            let end = rig.clockwork(tempo).instant(rig.end);
            sound.lasts(end, Channels::Stereo)?;
            work.sound(sound.lead_in, end, files, (sound.sample_rate, &sound.spec(Channels::Stereo)));
            work.marks(Signpost::count(asked.loaded.patch.meter, rig.end) * files);
            let found = hits(rig, tempo)?;
            // Long pieces are played anew each time, but for those that have to be played as a whole.
            let rehearsal = Rehearsal::new(rig, tempo)?;
            if rehearsal.sounds(asked.draw.of(sound.seed)).is_none() {
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
    asked: &Renders<'_>,
    seed: u64,
    (of, variant): (usize, &'r Variant),
    tempo: Tempo,
) -> Result<Group<'r>, ExportError> {
    let rig = &variant.rig;
    let run = asked.draw.of(seed);
    let rendition = Rendition::play(rig, tempo, run)?;
    let (patch, title) = (asked.loaded.origin(), asked.loaded.patch.title.clone());
    let file = |only: Option<usize>| {
        let whose = only.map(|player| rig.player_name(player).to_owned());
        let stem = whose.as_ref().map_or_else(String::new, |name| format!(".{name}"));
        let name = format!("{}.{}.{tempo}bpm{}{stem}.wav", asked.loaded.stem()?, variant.name, asked.draw.tail());
        let kind = if whose.is_some() { Kind::Stem } else { Kind::Mix };
        let file = FileSpec::of_variant(name, kind, "render", (&patch, &variant.name), Some(tempo));
        let (run, channels) = (asked.draw.0, Channels::Stereo);
        let file = FileSpec { sequencer: whose, run, channels, title: title.clone(), ..file };
        Ok::<_, ExportError>((file, only))
    };
    let stems = if asked.stems { 0..rig.players() } else { 0..0 };
    let files = std::iter::once(None).chain(stems.map(Some)).map(file).collect::<Result<_, _>>()?;
    Ok(Group { rendition, tempo, of, files })
}
