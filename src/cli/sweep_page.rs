//! The listening page of a grid: its settings are the versions.

use super::Failure;
use super::compare::Played;
use super::listen::{at_tempo, bare, over_tempo};
use super::load::Loaded;
use crate::judge::Judged;
use crate::judge::sweep::Value;
use crate::patch::{ORIGINAL, Rig, Variant};
use crate::rig::Run;
use crate::show::page::{Drawn, ListeningPage, PageVariant};
use crate::show::report::{exact_ms, plain};
use crate::show::scene;
use crate::sound::score::{Ensemble, Seating};
use crate::time::Tempo;

/// The most settings of one page: a browser mixes all of a tempo before it plays, and holds them: 50 loops of 20 s are 400 MB.
pub(super) const MOST_SETTINGS: usize = 50;

/// The most settings that have a line in the picture.
const MOST_LINES: usize = 6;

/// What to leave out of a page that is too large.
pub(super) const LEAVE_OUT: &str = "tempos with `--tempo`, settings with a larger step, length with `--bars`";

/// What of a grid is made at one tempo.
pub(super) struct Row<'a> {
    pub(super) tempo: Tempo,
    /// The first of the settings, each with what it makes of the rig.
    pub(super) cells: Vec<(Value, &'a Rig, &'a Judged<'a>)>,
    /// Whether more were asked for.
    pub(super) ended: bool,
    /// With nothing turned, and what is to be said of that.
    pub(super) unturned: &'a Judged<'a>,
    /// Factors with which all are equally loud: with nothing turned, then each cell.
    pub(super) gains: Vec<f64>,
}

/// Refuses more settings than a browser takes well.
///
/// # Errors
/// Exit status 2, with the number and the bound.
pub(super) fn few_enough(settings: usize) -> Result<(), Failure> {
    if settings <= MOST_SETTINGS {
        return Ok(());
    }
    let found = format!("a page of {settings} settings is more than a browser takes well: at most {MOST_SETTINGS}");
    Err(Failure::input(found, "a larger step, or the files alone: leave --page out"))
}

/// The page of a grid: what is turned, in words, and a row a tempo. With nothing turned the variant stands before the
/// settings, unless one of them is just that.
///
/// # Errors
/// Exit status 2 for what cannot be played.
pub(super) fn sweep_page(
    loaded: &Loaded,
    variant: &Variant,
    what: &str,
    rows: &[Row<'_>],
    seed: u64,
) -> Result<ListeningPage, Failure> {
    let patch = &loaded.patch;
    let ensemble = Ensemble::new(&[&variant.rig], Seating::Centre, seed)?;
    let turned: Vec<Vec<Variant>> = rows.iter().map(versions).collect();
    let names: Vec<String> =
        turned.iter().max_by_key(|t| t.len()).into_iter().flatten().map(|v| v.name.clone()).collect();
    let mut played: Vec<Vec<Played<'_>>> = Vec::new();
    for (row, turned) in rows.iter().zip(&turned) {
        let all = std::iter::once(variant).chain(turned);
        played.push(all.map(|v| Played::new(v, 0, row.tempo, Run::Typical)).collect::<Result<_, _>>()?);
    }
    let nothing = |n: usize| played.iter().all(|all| all.get(n).is_some_and(|p| p.hits == all[0].hits));
    let skipped = usize::from((1..=names.len()).any(nothing));
    let tempos = rows.iter().zip(&played).map(|(row, all)| {
        let verdicts = std::iter::once(row.unturned).chain(row.cells.iter().map(|c| c.2));
        let mut tempo =
            at_tempo(loaded, &ensemble, &all[skipped..], &row.gains[skipped..], verdicts.skip(skipped).collect());
        tempo.cells.resize_with(1 - skipped + names.len(), || None);
        let last = row.cells.last().filter(|_| row.ended);
        tempo.note = last.map(|(value, ..)| {
            format!(
                "At {} the grid ends with {}, the first whose gap is over {} ms: what comes after is not made.",
                row.tempo,
                value.words(),
                exact_ms(patch.max_gap)
            )
        });
        tempo
    });
    let unturned = PageVariant { name: variant.name.clone(), about: Some("nothing turned".to_owned()) };
    let settings = names.iter().map(|name| PageVariant { name: name.clone(), about: None });
    let with =
        if variant.name == ORIGINAL { String::new() } else { format!(", in the variant {}", plain(&variant.name)) };
    let count = |n: usize, one: &str| if n == 1 { format!("one {one}") } else { format!("{n} {one}s") };
    let title = patch.title.clone().map_or_else(|| loaded.stem(), Ok)?;
    Ok(ListeningPage {
        lead: Some(format!(
            "{} of one knob, the {what}{with}, at {}: listen to what changes, and test whether you can tell.",
            count(names.len(), "setting"),
            count(rows.len(), "tempo")
        )),
        variants: std::iter::once(unturned).chain(settings).skip(skipped).collect(),
        tempos: tempos.collect(),
        pictures: picture(loaded, rows)?.into_iter().collect(),
        ..bare(loaded, &ensemble, title)
    })
}

/// Gap over tempo of the settings, or of some of them evenly spread; `None` where what a setting is depends on the tempo.
fn picture(loaded: &Loaded, rows: &[Row<'_>]) -> Result<Option<Drawn>, Failure> {
    let Some(longest) = rows.iter().max_by_key(|r| r.cells.len()) else { return Ok(None) };
    if rows.iter().any(|r| r.cells.iter().zip(&longest.cells).any(|(a, b)| a.1 != b.1)) {
        return Ok(None);
    }
    let all = versions(longest);
    let lines = all.len().min(MOST_LINES);
    let chosen: Vec<&Variant> = (0..lines).map(|n| &all[n * (all.len() - 1) / (lines - 1).max(1)]).collect();
    let name = format!("{}.page", loaded.stem()?);
    let (tempos, range) = (&loaded.patch.tempos, super::plot::range(loaded));
    let gaps = scene::gap_picture((&name, "Gap over tempo"), &chosen, tempos, range, loaded.patch.max_gap);
    Ok(Some(over_tempo(&gaps)))
}

/// The settings of a row, by the names that people read.
fn versions(row: &Row<'_>) -> Vec<Variant> {
    let one = |(value, rig, _): &(Value, &Rig, &Judged<'_>)| Variant {
        name: value.words(),
        about: None,
        rig: (*rig).clone(),
    };
    row.cells.iter().map(one).collect()
}
