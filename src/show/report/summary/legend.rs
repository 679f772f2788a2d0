use crate::judge::Band;
use crate::patch::USUAL_MAX_GAP;
use crate::show::report::{Checked, words};
use std::fmt::Write;

/// What the words above mean: those bands that were said, and what together is.
#[must_use]
pub(in crate::show::report) fn legend(checked: &Checked<'_>, said: &str) -> String {
    let mut out = String::new();
    // In brackets below, after a comma in the grid.
    let is_said = |band: &&Band| [", ", "("].iter().any(|before| said.contains(&format!("{before}{band}")));
    for band in Band::ALL.iter().filter(is_said) {
        let _ = writeln!(out, "{:<9} {}", format!("{band}:"), band.heard());
    }
    let limit = words::exact_ms(checked.patch.max_gap);
    let from = match &checked.max_gap_from {
        Some(from) => format!(" {from}"),
        None if checked.patch.max_gap == USUAL_MAX_GAP => {
            " That is the smallest published figure (Watson 2004); `hitgap train` finds yours.".to_owned()
        }
        None => String::new(),
    };
    // Whichever of the two words stands above; of boxes that are off the one no gap decides.
    if said.contains("= together") {
        let _ = writeln!(out, "together: on the one, and no gap over {limit} ms.{from}");
    } else if said.contains("~ apart") {
        let _ = writeln!(out, "apart:    on the one, and a gap over {limit} ms.{from}");
    } else if let Some(from) = &checked.max_gap_from {
        let _ = writeln!(out, "{from}");
    }
    out
}
