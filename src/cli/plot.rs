//! The pictures of a check: which there are, and what they are called.

use super::Failure;
use super::album::{AlbumArgs, Picture, hang};
use super::load::Loaded;
use crate::judge::Gap;
use crate::patch::{Asked, Patch, Variant};
use crate::rig::play;
use crate::show::picture::{gap_over_tempo, spread, timing, waveform};
use crate::show::report::{Checked, Judged};
use crate::show::scene;
use crate::store::sha256_hex;
use crate::time::Tempo;
use clap::Args;

#[derive(Args, Debug)]
pub(super) struct PlotArgs {
    /// Draw pictures: gap over tempo and, of each variant at the tempo where it is worst, what happens at a reset and how
    /// a hit looks
    #[arg(long)]
    pub(super) plot: bool,
    #[command(flatten)]
    album: AlbumArgs,
}

/// Draws and writes all pictures of a check; gives back where they lie.
///
/// # Errors
/// Exit status 3 for the folder and its files.
pub(super) fn plot(
    args: &PlotArgs,
    loaded: &Loaded,
    variants: &[Variant],
    checked: &Checked<'_>,
    seed: u64,
) -> Result<Vec<String>, Failure> {
    let stem = loaded.stem()?;
    let title = loaded.patch.title.clone().unwrap_or_else(|| stem.clone());
    let mut pictures = Vec::new();
    let all: Vec<&Variant> = variants.iter().collect();
    let range = range(loaded);
    let gaps = scene::gap_picture((&stem, &title), &all, &loaded.patch.tempos, range, loaded.patch.max_gap);
    pictures.push(Picture {
        name: format!("{stem}.gap-over-tempo.svg"),
        variant: None,
        tempo_bpm: None,
        seed,
        svg: gap_over_tempo(&gaps),
    });
    for same in checked.results.chunk_by(|a, b| a.variant.name == b.variant.name) {
        let Some(worst) = worst(same) else { continue };
        pictures.extend(timing_of(&stem, &title, loaded, worst, seed)?);
        pictures.extend(wave_of(&stem, &title, loaded, worst, seed)?);
        let spread = |j: &&Judged<'_>| j.runs.as_ref().and_then(|c| c.gaps.iter().filter_map(|g| Some(g.1?.sd)).max());
        pictures.extend(same.iter().rev().max_by_key(spread).and_then(|widest| spread_of(&stem, &title, widest, seed)));
    }
    let patch = (loaded.name.clone(), sha256_hex(loaded.source.as_bytes()));
    hang((&args.album.out, args.album.overwrite), "check", &patch, &pictures)
}

/// The first tempo at which a variant's gap is widest.
fn worst<'a, 'b>(of_variant: &'b [Judged<'a>]) -> Option<&'b Judged<'a>> {
    let gap = |j: &&Judged<'_>| j.verdict.worst_gap().and_then(Gap::worst);
    of_variant.iter().rev().max_by_key(gap)
}

/// What happens around a reset.
fn timing_of(stem: &str, title: &str, loaded: &Loaded, of: &Judged<'_>, seed: u64) -> Result<Option<Picture>, Failure> {
    let (variant, tempo) = (of.variant, of.tempo);
    let rig = &variant.rig;
    let performance = play(rig, tempo).map_err(|e| Failure::input(&e, e.help()))?;
    let Some(moment) = scene::moment(rig, &performance, loaded.patch.meter.bar()) else { return Ok(None) };
    let name = format!("{stem}.{}.{tempo}bpm.timing", variant.name);
    let about = format!("{} at {tempo}, around beat {}", variant.name, crate::text::decimal(moment.beat));
    let figures = scene::timing_picture((&name, title, &about), (rig, loaded.patch.max_gap), &performance, &moment);
    Ok(Some(Picture {
        name: format!("{name}.svg"),
        variant: Some(variant.name.clone()),
        tempo_bpm: Some(tempo.bpm()),
        seed,
        svg: timing(&figures),
    }))
}

/// How a hit that two share sounds in the original and in a fix; `None` for the original itself, and where nobody meets in
/// both.
fn wave_of(stem: &str, title: &str, loaded: &Loaded, of: &Judged<'_>, seed: u64) -> Result<Option<Picture>, Failure> {
    let (variant, tempo, original) = (of.variant, of.tempo, &loaded.patch.original);
    if variant.name == original.name {
        return Ok(None);
    }
    let performances =
        [&original.rig, &variant.rig].map(|rig| play(rig, tempo).map_err(|e| Failure::input(&e, e.help())));
    let [before, after] = performances;
    let (before, after) = (before?, after?);
    let played = [
        scene::Played { name: &original.name, rig: &original.rig, performance: &before },
        scene::Played { name: &variant.name, rig: &variant.rig, performance: &after },
    ];
    let bar = loaded.patch.meter.bar();
    let from = scene::moment(&original.rig, &before, bar).map_or(bar, |m| m.beat);
    let Some(widest) = of.verdict.worst_gap() else { return Ok(None) };
    let players = widest.between.map(|p| variant.rig.player_name(p));
    let Some(meeting) = scene::meeting(played[0], played[1], players, from) else { return Ok(None) };
    let name = format!("{stem}.original+{}.{tempo}bpm.wave", variant.name);
    let about =
        format!("{} and {} at {tempo}, due at beat {}", players[0], players[1], crate::text::decimal(meeting.beat));
    let figures = scene::wave_picture((&name, title, &about), played, &meeting, (loaded.patch.max_gap, seed))
        .map_err(|e| Failure::Input(format!("error: {e}")))?;
    Ok(Some(Picture {
        name: format!("{name}.svg"),
        variant: Some(variant.name.clone()),
        tempo_bpm: Some(tempo.bpm()),
        seed,
        svg: waveform(&figures),
    }))
}

/// How a gap is spread over runs; `None` where no runs were made, or all are alike.
fn spread_of(stem: &str, title: &str, of: &Judged<'_>, seed: u64) -> Option<Picture> {
    let (variant, tempo) = (of.variant, of.tempo);
    let name = format!("{stem}.{}.{tempo}bpm.spread", variant.name);
    let about = format!("{} at {tempo}", variant.name);
    let figures = scene::spread_picture((&name, title, &about), &variant.rig, of.runs.as_ref()?)?;
    Some(Picture {
        name: format!("{name}.svg"),
        variant: Some(variant.name.clone()),
        tempo_bpm: Some(tempo.bpm()),
        seed,
        svg: spread(&figures),
    })
}

/// From a fifth below the slowest tempo to a quarter above the fastest, as far as the patch is right there: a pulse may be
/// longer than a period further out.
pub(super) fn range(loaded: &Loaded) -> (Tempo, Tempo) {
    let tempos = &loaded.patch.tempos;
    let ends = (tempos.iter().min(), tempos.iter().max());
    let (Some(&low), Some(&high)) = ends else { return (Tempo::whole(60), Tempo::whole(180)) };
    let wide = |micro: u64| Tempo::from_micro(micro.clamp(1_000_000, 1_000_000_000));
    let right = |tempo: Tempo| {
        let asked = Asked { tempos: Some(vec![tempo]), ..Asked::default() };
        Patch::parse(&loaded.source, &asked).is_ok()
    };
    let whole = |micro: u64| micro / 1_000_000 * 1_000_000;
    let lower = wide(whole(low.micro() / 5 * 4)).filter(|&t| right(t)).unwrap_or(low);
    let upper = wide(whole(high.micro() / 4 * 5)).filter(|&t| right(t)).unwrap_or(high);
    (lower, upper)
}
