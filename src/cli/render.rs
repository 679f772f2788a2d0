use super::args::{DrawArgs, PatchArgs, SoundArgs};
use super::load::{Loaded, load};
use super::press::{Press, Sheet, bank, fits, lasts};
use super::{Failure, Outcome, talk};
use crate::hits::{Hit, in_order};
use crate::patch::{Rig, Variant};
use crate::render::{Bank, Channels, Cue, Gain, Program};
use crate::rig::play_run;
use crate::score::{self, Ensemble, Seating};
use crate::store::{Kind, sha256_hex};
use crate::time::{Instant, Tempo};
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
    sound: SoundArgs,
}

/// A file and what sounds in it.
struct Part {
    sheet: Sheet,
    cues: Vec<Cue>,
    end: Instant,
}

pub(super) fn run(args: &RenderArgs) -> Result<Outcome, Failure> {
    let loaded = load(&args.patch, None)?;
    let variants = loaded.variants(&args.fix)?;
    let rigs: Vec<&Rig> = variants.iter().map(|v| &v.rig).collect();
    let ensemble = Ensemble::new(&rigs, Seating::Patch, args.sound.seed)?;
    let bank = bank(&args.sound, &ensemble)?;
    // A mix and, after it, its stems: a group for each variant and tempo.
    let mut groups = Vec::new();
    for (index, variant) in variants.iter().enumerate() {
        for &tempo in &loaded.patch.tempos {
            lasts(variant.rig.clockwork(tempo).instant(variant.rig.end), &args.sound, Channels::Stereo)?;
            groups.push(group(args, &loaded, &ensemble, (index, variant), tempo)?);
        }
    }
    let mut programs: Vec<Vec<Program<'_>>> = Vec::new();
    for parts in &mut groups {
        let mut of_group: Vec<Program<'_>> = Vec::new();
        for part in parts {
            // A stem lasts as long as its mix, so that the two can be laid side by side.
            let mix = of_group.first().map_or(0, Program::frames);
            of_group.push(program(part, &bank, &args.sound)?.lasting(mix));
        }
        programs.push(of_group);
    }
    let names: Vec<String> = groups.iter().flatten().map(|p| p.sheet.name.clone()).collect();
    let press = Press::open(&args.sound, &names)?;
    press.expect(programs.iter().flatten().map(|p| 2 * p.frames()).sum());
    let mut lines = Vec::new();
    for (parts, programs) in groups.iter().zip(&programs) {
        let mut gain = Gain::Auto;
        for (part, program) in parts.iter().zip(programs) {
            let written = press.print(&part.sheet, program, gain)?;
            gain = Gain::Fixed(written.gain);
            lines.push(press.shown(&part.sheet.name));
        }
    }
    press.done();
    talk::result(|out| lines.iter().try_for_each(|line| writeln!(out, "{line}")))?;
    Ok(Outcome::Done)
}

fn program<'a>(part: &mut Part, bank: &'a Bank, sound: &SoundArgs) -> Result<Program<'a>, Failure> {
    let program = Program::new(bank, std::mem::take(&mut part.cues), sound.lead_in, part.end)?;
    fits(&program, sound, part.sheet.channels)?;
    Ok(program)
}

fn group(
    args: &RenderArgs,
    loaded: &Loaded,
    ensemble: &Ensemble,
    (index, variant): (usize, &Variant),
    tempo: Tempo,
) -> Result<Vec<Part>, Failure> {
    let rig = &variant.rig;
    let run = args.draw.of(args.sound.seed);
    let performance = play_run(rig, tempo, run).map_err(|e| Failure::input(&e, e.help()))?;
    let part = |sequencer: Option<usize>| {
        let mut score = score::Sheet::new(ensemble);
        let mine = |h: &Hit| sequencer.is_none_or(|s| h.sequencer == s);
        in_order(rig, &performance).filter(mine).for_each(|h| score.add(index, rig, &h, h.at, 1.0));
        let cues = score.finish();
        let whose = sequencer.map(|s| rig.player_name(s).to_owned());
        let stem = whose.as_ref().map_or_else(String::new, |name| format!(".{name}"));
        let sheet = Sheet {
            name: format!("{}.{}.{tempo}bpm{}{stem}.wav", loaded.stem()?, variant.name, args.draw.tail()),
            kind: if whose.is_some() { Kind::Stem } else { Kind::Mix },
            command: "render",
            patch: Some((loaded.name.clone(), sha256_hex(loaded.source.as_bytes()))),
            variant: Some(variant.name.clone()),
            sequencer: whose,
            tempo_bpm: Some(tempo.bpm()),
            run: args.draw.run,
            channels: Channels::Stereo,
        };
        Ok(Part { sheet, cues, end: rig.clockwork(tempo).instant(rig.end) })
    };
    let stems = if args.stems { 0..rig.players() } else { 0..0 };
    std::iter::once(None).chain(stems.map(Some)).map(part).collect()
}
