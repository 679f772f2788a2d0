use crate::judge::runs::{Chances, PERCENTILES};
use crate::patch::Rig;
use crate::show::picture::SpreadPicture;
use crate::show::report::{gap_ms, ms};
use crate::time::Span;

/// How the gap of one pair is spread over runs: of the pair whose gap has the largest standard deviation, the first of
/// those alike. `None` where nothing pairs, and where nothing is left to chance.
#[must_use]
pub fn spread_picture(about: (&str, &str, &str), rig: &Rig, chances: &Chances) -> Option<SpreadPicture> {
    let figures = chances.gaps.iter().enumerate().filter_map(|(n, (pair, f))| Some((n, *pair, (*f)?)));
    let (n, pair, figures) =
        figures.filter(|f| f.2.sd > Span::ZERO).max_by_key(|(n, _, f)| (f.sd, std::cmp::Reverse(*n)))?;
    let [first, second] = pair.map(|p| rig.player_name(p));
    let trials = chances.trials;
    let marks = PERCENTILES.iter().zip(figures.percentiles);
    let words = format!("{}: {first} and {second}, SD {} ms, in {} runs", about.2, ms(figures.sd), trials.runs);
    Some(SpreadPicture {
        name: about.0.to_owned(),
        title: about.1.to_owned(),
        about: words,
        gaps: chances.histograms[n].bins().map(|(gap, n)| (gap.ms(), n)).collect(),
        marks: marks.map(|(p, gap)| (format!("{p} %: {} ms", gap_ms(gap, trials.max_gap)), gap.ms())).collect(),
        max_gap_ms: trials.max_gap.ms(),
        later: format!("{second} after {first}"),
        earlier: format!("{first} after {second}"),
    })
}
