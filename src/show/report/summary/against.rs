use super::headline::everywhere;
use crate::judge::Reason::{GapTooLarge, MissesTheOne, NeverPlays, PairsWithNothing};
use crate::judge::{Band, Judged, Reason};
use crate::patch::Rig;
use crate::show::report::{Checked, offset, words};
use crate::time::Span;
use std::collections::BTreeSet;

/// What stands against a version that is not together everywhere, a line each, tempos that say alike taken together.
///
/// Gaps of a box that is off the one are left out: they are the same fault said again.
pub(in crate::show::report) fn against(checked: &Checked<'_>, version: &[Judged<'_>]) -> Vec<String> {
    let mut lines: Vec<Line> = Vec::new();
    for judged in version {
        let reasons = &judged.verdict.reasons;
        let off =
            |player: usize| reasons.iter().any(|r| matches!(r, MissesTheOne { sequencer, .. } if *sequencer == player));
        let again = |reason: &&Reason| matches!(reason, GapTooLarge { between, .. } if between.iter().any(|&p| off(p)));
        for reason in reasons.iter().filter(|reason| !again(reason)) {
            let (what, figure, heard) = told(checked, &judged.variant.rig, reason);
            let at = lines.iter().position(|line| line.what == what).unwrap_or_else(|| {
                lines.push(Line { what, tempos: Vec::new(), figures: Vec::new(), heard: BTreeSet::new() });
                lines.len() - 1
            });
            lines[at].tempos.push(judged.tempo.to_string());
            lines[at].figures.extend(figure);
            lines[at].heard.extend(heard);
        }
    }
    lines.iter().map(|line| line.say(version)).collect()
}

/// One thing that stands against a version, over the tempos at which it does.
struct Line {
    what: String,
    tempos: Vec<String>,
    figures: Vec<String>,
    heard: BTreeSet<Band>,
}

impl Line {
    fn say(&self, version: &[Judged<'_>]) -> String {
        let at = if self.tempos.len() == version.len() {
            everywhere(version.len(), version[0].tempo)
        } else {
            self.tempos.join(", ")
        };
        let one = self.figures.windows(2).all(|two| two[0] == two[1]);
        let figures = match self.figures.first() {
            None => String::new(),
            Some(figure) if one => format!(": {figure} ms"),
            Some(_) => format!(": {} ms", self.figures.join(", ")),
        };
        let heard: Vec<String> = self.heard.iter().map(ToString::to_string).collect();
        let heard = if heard.is_empty() { String::new() } else { format!(" ({})", heard.join(", ")) };
        format!("at {at}: {}{figures}{heard}", self.what)
    }
}

/// What a reason says, the time that goes with it, and how it is heard.
fn told(checked: &Checked<'_>, rig: &Rig, reason: &Reason) -> (String, Option<String>, Option<Band>) {
    match *reason {
        MissesTheOne { sequencer, pulses_late, scale, off_by } => {
            let pulses = offset::pulses(pulses_late, scale, "clock pulse");
            let by = match offset::beats(rig, sequencer, pulses_late, scale) {
                Some(beats) => format!("{beats}, {pulses}"),
                None => format!("{pulses} {}", offset::side(pulses_late)),
            };
            let time = off_by.map(|time| words::ms(time.abs()));
            (format!("{} is off the one, {by}", rig.player_name(sequencer)), time, None)
        }
        GapTooLarge { between: [a, b], gap } => {
            let (late, early) = if gap > Span::ZERO { (b, a) } else { (a, b) };
            let what = format!("{} after {}", rig.player_name(late), rig.player_name(early));
            (what, Some(words::gap_ms(gap.abs(), checked.patch.max_gap)), Some(Band::of(gap)))
        }
        NeverPlays { .. } | PairsWithNothing { .. } => (words::reason(rig, reason, checked.patch.max_gap), None, None),
    }
}
