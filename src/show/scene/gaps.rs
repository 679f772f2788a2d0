use crate::judge::{Band, judge};
use crate::patch::{Asked, Patch, Rig, Variant};
use crate::rig::play;
use crate::show::picture::{GapLine, GapPicture};
use crate::time::{Span, Tempo};
use rayon::prelude::*;
use std::sync::atomic::{AtomicBool, Ordering};

/// Tempos that are played beside those asked for, equally far apart.
const GRID: u64 = 48;
/// The most tempos that a picture of gaps plays beside those asked for.
pub const TEMPOS_BESIDE: usize = GRID as usize + 1;
/// How often the stretch in which a jump lies is halved: to a 6000th of the range.
const HALVINGS: usize = 7;
/// So many pairs of a single variant have a line each.
const FEW: usize = 4;

/// What is played at a tempo: a gap a pair, and what must be the same for a line to go on.
#[derive(Clone)]
struct Sample {
    tempo: Tempo,
    gaps: Vec<Option<Span>>,
    steps: Steps,
}

/// How each sequencer's counting stood and moved, and how many hits of each pair met.
type Steps = (Vec<Vec<i64>>, Vec<(usize, [usize; 2])>);

/// The tempos that a picture of gaps spans: from a fifth below the slowest of a patch to a quarter above its fastest, as far as the
/// patch, of which this is the text, is right there. A pulse may be longer than a period further out.
#[must_use]
pub fn tempo_range(source: &str, patch: &Patch) -> (Tempo, Tempo) {
    let ends = (patch.tempos.iter().min(), patch.tempos.iter().max());
    let (Some(&low), Some(&high)) = ends else { return (Tempo::whole(60), Tempo::whole(180)) };
    let wide = |micro: u64| Tempo::from_micro(micro.clamp(1_000_000, 1_000_000_000));
    let right = |tempo: Tempo| {
        let asked = Asked { tempos: Some(vec![tempo]), boxes: patch.boxes().clone(), ..Asked::default() };
        Patch::parse(source, &asked).is_ok()
    };
    let whole = |micro: u64| micro / 1_000_000 * 1_000_000;
    let lower = wide(whole(low.micro() / 5 * 4)).filter(|&t| right(t)).unwrap_or(low);
    let upper = wide(whole(high.micro() / 4 * 5)).filter(|&t| right(t)).unwrap_or(high);
    (lower, upper)
}

/// Plays variants at many tempos from one to another, those asked for among them, and says how far apart hits land: of each
/// variant the worst pair or, of a single one with few, each pair.
///
/// Nothing is worked out by a formula: where lines are straight, the simulator made them so. A line breaks where another
/// step is played; that place is found by halving. A tempo at which the rig cannot be played is left out, and so are those that are
/// still to come where `cancel` is set meanwhile.
#[must_use]
pub fn gap_picture(
    about: (&str, &str),
    variants: &[&Variant],
    tempos: &[Tempo],
    (from, to): (Tempo, Tempo),
    max_gap: Span,
    cancel: &AtomicBool,
) -> GapPicture {
    let step = (to.micro() - from.micro()) / GRID;
    let grid = (0..=GRID).filter_map(|n| Tempo::from_micro(from.micro() + n * step));
    let mut all: Vec<Tempo> = grid.chain(tempos.iter().copied()).collect();
    all.sort_unstable();
    all.dedup();
    let cells: Vec<(usize, Tempo)> = (0..variants.len()).flat_map(|v| all.iter().map(move |&t| (v, t))).collect();
    let wanted = || !cancel.load(Ordering::Relaxed);
    let one = |&(v, t): &(usize, Tempo)| wanted().then(|| sample(&variants[v].rig, t, max_gap)).flatten();
    let samples: Vec<Option<Sample>> = cells.par_iter().map(one).collect();
    let mut lines = Vec::new();
    for (variant, samples) in variants.iter().zip(samples.chunks(all.len().max(1))) {
        let pieces = pieces(&variant.rig, samples, max_gap);
        let meets = |pair: usize| pieces.iter().flatten().any(|s| s.gaps[pair].is_some());
        let pairs: Vec<usize> =
            pieces.iter().flatten().next().map_or(0..0, |s| 0..s.gaps.len()).filter(|&p| meets(p)).collect();
        if variants.len() == 1 && (2..=FEW).contains(&pairs.len()) {
            lines.extend(
                pairs.into_iter().map(|pair| GapLine {
                    name: pair_name(&variant.rig, pair),
                    pieces: drawn(&pieces, |s| s.gaps[pair]),
                }),
            );
        } else {
            let worst = |s: &Sample| s.gaps.iter().copied().flatten().max();
            lines.push(GapLine { name: variant.name.clone(), pieces: drawn(&pieces, worst) });
        }
    }
    GapPicture {
        name: format!("{}-gap-over-tempo", about.0),
        title: about.1.to_owned(),
        about: match variants {
            [only] => format!("{}: how far apart hits land, at most, over tempo", only.name),
            _ => "how far apart hits land, at most, over tempo".to_owned(),
        },
        max_gap_ms: max_gap.ms(),
        bands: Band::ALL.iter().map(|b| (b.to_string(), b.least().ms())).collect(),
        tempos: tempos.iter().map(|t| t.bpm()).collect(),
        lines,
    }
}

fn sample(rig: &Rig, tempo: Tempo, max_gap: Span) -> Option<Sample> {
    let performance = play(rig, tempo).ok()?;
    let verdict = judge(rig, &performance, max_gap).ok()?;
    let moves = performance.tracks.iter().map(|t| t.moves.iter().map(|m| m.pulses_late).collect());
    let met = verdict.gaps.iter().map(|g| (g.paired, g.unpaired));
    let steps = (moves.collect(), met.collect());
    Some(Sample { tempo, gaps: verdict.gaps.iter().map(crate::judge::Gap::worst).collect(), steps })
}

/// Stretches in which the same steps are played; between two the last tempos before and after the change.
fn pieces(rig: &Rig, samples: &[Option<Sample>], max_gap: Span) -> Vec<Vec<Sample>> {
    let mut all: Vec<Vec<Sample>> = Vec::new();
    let mut open: Option<Vec<Sample>> = None;
    for next in samples {
        let Some(next) = next else {
            all.extend(open.take());
            continue;
        };
        match &mut open {
            None => open = Some(vec![next.clone()]),
            Some(piece) => match piece.last().filter(|last| last.steps != next.steps).cloned() {
                None => piece.push(next.clone()),
                Some(last) => {
                    let (before, after) = jump(rig, last, next.clone(), max_gap);
                    if piece.last().is_some_and(|l| l.tempo < before.tempo) {
                        piece.push(before);
                    }
                    let begins = if after.tempo < next.tempo { vec![after, next.clone()] } else { vec![after] };
                    all.extend(open.replace(begins));
                }
            },
        }
    }
    all.extend(open);
    all
}

/// Where between two tempos other steps are played: tempos close to it on either side.
fn jump(rig: &Rig, mut before: Sample, mut after: Sample, max_gap: Span) -> (Sample, Sample) {
    for _ in 0..HALVINGS {
        let middle = Tempo::from_micro(before.tempo.micro().midpoint(after.tempo.micro()));
        let Some(middle) = middle.filter(|m| before.tempo < *m && *m < after.tempo) else { break };
        let Some(middle) = sample(rig, middle, max_gap) else { break };
        if middle.steps == before.steps {
            before = middle;
        } else if middle.steps == after.steps {
            after = middle;
        } else {
            // Two changes in a short stretch: what is between them is left out.
            break;
        }
    }
    (before, after)
}

fn drawn(pieces: &[Vec<Sample>], gap: impl Fn(&Sample) -> Option<Span>) -> Vec<Vec<(f64, f64)>> {
    let of = |piece: &Vec<Sample>| piece.iter().filter_map(|s| Some((s.tempo.bpm(), gap(s)?.ms()))).collect();
    pieces.iter().map(of).filter(|p: &Vec<_>| !p.is_empty()).collect()
}

/// The name of a pair of players by its number among all pairs.
pub(super) fn pair_name(rig: &Rig, pair: usize) -> String {
    let n = rig.players();
    let mut pairs = (0..n).flat_map(|a| (a + 1..n).map(move |b| [a, b]));
    pairs.nth(pair).map_or_else(String::new, |[a, b]| format!("{} and {}", rig.player_name(a), rig.player_name(b)))
}
