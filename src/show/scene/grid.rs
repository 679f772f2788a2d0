use super::listening::{PageSource, Versions, bare, gaps_over_tempo, page_tempo, version};
use crate::judge::sweep::Value;
use crate::judge::{Judged, State};
use crate::patch::{ORIGINAL, Rig, Variant};
use crate::rig::{RigError, Run};
use crate::show::page::{Drawn, ListeningPage};
use crate::show::report::{exact_ms, plain};
use crate::sound::comparison::PlayedVariant;
use crate::sound::score::Ensemble;
use crate::text::counted;
use crate::time::Tempo;

/// The most settings that have a line in the picture.
const MOST_LINES: usize = 6;

/// What of a grid is made at one tempo.
#[derive(Clone, Debug)]
pub struct GridRow<'a> {
    /// At which all its cells are played.
    pub tempo: Tempo,
    /// The first of the settings, each with what it makes of the rig.
    pub cells: Vec<(Value, &'a Rig, &'a Judged<'a>)>,
    /// Whether more were asked for.
    pub ended: bool,
    /// What is to be said of the variant with nothing turned.
    pub unturned: &'a Judged<'a>,
    /// Factors with which all are equally loud: with nothing turned, then each cell.
    pub gains: Vec<f64>,
}

/// The page of a grid, whose settings are its versions: what is turned, in words, and a row a tempo. With nothing turned the
/// variant stands before the settings, unless one of them is just that. The variant's rig is the ensemble's first.
///
/// # Errors
/// If a rig cannot be played.
pub fn grid_page(
    source: &PageSource<'_>,
    ensemble: &Ensemble,
    (variant, what): (&Variant, &str),
    rows: &[GridRow<'_>],
) -> Result<ListeningPage, RigError> {
    let patch = source.patch;
    let turned: Vec<Vec<Variant>> = rows.iter().map(versions).collect();
    let names: Vec<String> =
        turned.iter().max_by_key(|t| t.len()).into_iter().flatten().map(|v| v.name.clone()).collect();
    let mut played: Vec<Vec<PlayedVariant<'_>>> = Vec::new();
    for (row, turned) in rows.iter().zip(&turned) {
        let all = std::iter::once(variant).chain(turned);
        played.push(all.map(|v| PlayedVariant::new(v, 0, row.tempo, Run::Typical)).collect::<Result<_, _>>()?);
    }
    let nothing = |n: usize| played.iter().all(|all| all.get(n).is_some_and(|p| p.hits == all[0].hits));
    let skipped = usize::from((1..=names.len()).any(nothing));
    let tempos = rows.iter().zip(&played).map(|(row, all)| {
        let verdicts = std::iter::once(row.unturned).chain(row.cells.iter().map(|c| c.2)).skip(skipped);
        let versions = Versions { played: &all[skipped..], gains: &row.gains[skipped..] };
        let mut tempo = page_tempo(source, ensemble, versions, verdicts);
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
    let unturned = version(variant, &variant.name, Some("nothing turned".to_owned()));
    let settings = names.iter().map(|name| version(variant, name, None));
    let with =
        if variant.name == ORIGINAL { String::new() } else { format!(", in the variant {}", plain(&variant.name)) };
    Ok(ListeningPage {
        lead: format!(
            "{} of one knob, the {what}{with}, at {}: {}.",
            counted(names.len(), "setting"),
            counted(rows.len(), "tempo"),
            which_hold(&names, rows)
        ),
        variants: std::iter::once(unturned).chain(settings).skip(skipped).collect(),
        tempos: tempos.collect(),
        pictures: picture(source, rows).into_iter().collect(),
        ..bare(source, patch.title.as_deref().unwrap_or(source.stem))
    })
}

/// Which settings hold at every tempo, in words: one by one where they are few, else from which to which where they follow on each other.
fn which_hold(names: &[String], rows: &[GridRow<'_>]) -> String {
    const MOST: usize = 3;
    let holds = |n: usize| rows.iter().all(|row| row.cells.get(n).is_some_and(|c| c.2.state() == State::Together));
    let held: Vec<usize> = (0..names.len()).filter(|n| holds(*n)).collect();
    let everywhere = if let [row] = rows { format!("at {}", row.tempo) } else { "at every tempo".to_owned() };
    let name = |n: &usize| format!("`{}`", names[*n]);
    match held[..] {
        [] => format!("none holds {everywhere}"),
        [n] => format!("{} holds {everywhere}", name(&n)),
        _ if held.len() == names.len() => format!("all hold {everywhere}"),
        _ if held.len() <= MOST => {
            format!("{} hold {everywhere}", held.iter().map(name).collect::<Vec<_>>().join(", "))
        }
        [first, .., last] if last - first + 1 == held.len() => {
            format!("{} to {} hold {everywhere}", name(&first), name(&last))
        }
        _ => format!("{} of them hold {everywhere}, {} the first", held.len(), name(&held[0])),
    }
}

/// Gap over tempo of the settings, or of some of them evenly spread; `None` where what a setting is depends on the tempo.
fn picture(source: &PageSource<'_>, rows: &[GridRow<'_>]) -> Option<Drawn> {
    let longest = rows.iter().max_by_key(|r| r.cells.len())?;
    if rows.iter().any(|r| r.cells.iter().zip(&longest.cells).any(|(a, b)| a.1 != b.1)) {
        return None;
    }
    let all = versions(longest);
    let lines = all.len().min(MOST_LINES);
    let chosen: Vec<&Variant> = (0..lines).map(|n| &all[n * (all.len() - 1) / (lines - 1).max(1)]).collect();
    Some(gaps_over_tempo(source, &chosen))
}

/// The settings of a row, by the names that people read.
fn versions(row: &GridRow<'_>) -> Vec<Variant> {
    let one = |(value, rig, _): &(Value, &Rig, &Judged<'_>)| Variant {
        name: value.words(),
        about: None,
        rig: (*rig).clone(),
    };
    row.cells.iter().map(one).collect()
}
