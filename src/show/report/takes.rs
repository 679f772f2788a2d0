//! What is said of takes beside the results: what they decide, what they are held against, and what is left out of them.

use super::warning;
use crate::hits::{may_mean, taken, tempo_meant};
use crate::judge::Warning;
use crate::patch::{Meter, MidiFacts, MidiTempo, Patch, Recorded, Rig, Take, shown};
use crate::time::Tempo;

/// How many tempos are named before they are counted.
const NAMED: usize = 4;

/// What is to be known of the files of a patch's takes, each of them once: what they say of the piece, where the patch says
/// something else, and what is odd about them.
#[must_use]
pub fn take_notes(patch: &Patch, recorded: &Recorded) -> Vec<String> {
    let mut notes = decided(patch, recorded);
    let mut files: Vec<(&str, bool)> = Vec::new();
    let rigs = std::iter::once(&patch.original).chain(&patch.fixes).map(|variant| &variant.rig);
    for take in rigs.flat_map(|rig| &rig.takes) {
        let file = (take.file.as_str(), take.follow_tempo);
        if let (Some(facts), false) = (&take.recording.midi, files.contains(&file)) {
            files.push(file);
            notes.extend(odd_tracks(take, facts));
            notes.extend(facts.tempo.and_then(|tempo| held_against(patch, take, tempo)));
            notes.extend(facts.tempo.and_then(|tempo| changing(patch, take, tempo)));
            notes.extend(metered(patch, take, facts));
        }
    }
    notes
}

/// What takes say that nobody else does.
fn decided(patch: &Patch, recorded: &Recorded) -> Vec<String> {
    let tempo = recorded.tempo.filter(|tempo| *tempo != Tempo::USUAL).map(|tempo| format!("the tempo {tempo}"));
    let meter =
        recorded.meter.filter(|meter| *meter != Meter::USUAL).map(|meter| format!("the meter {}", meter_text(meter)));
    let end = &patch.original.rig.end;
    let bars = recorded.bars.filter(|bars| patch.meter.bar() * i128::from(*bars) == *end);
    let bars = bars.map(|bars| format!("{bars} {}", if bars == 1 { "bar" } else { "bars" }));
    let all: Vec<String> = tempo.into_iter().chain(meter).chain(bars).collect();
    if all.is_empty() {
        return Vec::new();
    }
    vec![format!("note: what the patch leaves open is as in its takes: {}", all.join(", "))]
}

fn odd_tracks(take: &Take, facts: &MidiFacts) -> Option<String> {
    let [promised, found] = facts.tracks;
    (promised > found).then(|| {
        let are = if found == 1 { "is" } else { "are" };
        format!(
            "warning: the head of {} promises {promised} tracks, and there {are} {found}\n\
             help: the file may be cut off: copy or export it again, or look whether all parts are there",
            named(take)
        )
    })
}

/// That a take whose times hold at every tempo was recorded at another one than those of the patch.
fn held_against(patch: &Patch, take: &Take, tempo: MidiTempo) -> Option<String> {
    let others: Vec<String> =
        patch.tempos.iter().filter(|t| !may_mean(tempo.micros, **t)).map(Tempo::to_string).collect();
    if take.follow_tempo || others.is_empty() {
        return None;
    }
    let own = tempo_text(tempo.micros);
    let silent = if tempo.given { "" } else { ", as a file is that gives no tempo" };
    let rest = others.len().saturating_sub(NAMED);
    let mut others = others[..others.len() - rest].join(", ");
    if rest > 0 {
        others += &format!(" and {rest} more");
    }
    let hold = match tempo_meant(tempo.micros) {
        Some(own) => format!("--tempo {own} holds it against its own tempo, "),
        None => String::new(),
    };
    Some(format!(
        "note: {} is at {own}{silent}, and the patch at {others}: its hits keep their times, and are due on the grid of the patch\n\
         help: {hold}`follow-tempo = true` plays its beats at any",
        named(take)
    ))
}

/// That the tempo of a take changes in the file, which nobody follows.
fn changing(patch: &Patch, take: &Take, tempo: MidiTempo) -> Option<String> {
    if take.follow_tempo || tempo.changes == 0 || !patch.original.rig.course.tempo_map.is_empty() {
        return None;
    }
    let times = if tempo.changes == 1 { "once".to_owned() } else { format!("{} times", tempo.changes) };
    Some(format!(
        "note: {} changes its tempo {times}, and is at {} as its first hit begins: its hits keep their times, and the grid of the \
         patch stays even\n\
         help: write a [[tempo-map]] that does the same, or `follow-tempo = true`, which plays its beats at one tempo",
        named(take),
        tempo_text(tempo.micros)
    ))
}

/// That the meter of a take is not the one in which bars are counted.
fn metered(patch: &Patch, take: &Take, facts: &MidiFacts) -> Option<String> {
    let (count, power) = facts.meter?;
    let unit = 1_u128.checked_shl(power.into()).map_or_else(|| format!("2^{power}"), |unit| unit.to_string());
    let (own, counted) = (format!("{count}/{unit}"), meter_text(patch.meter));
    let changes = if facts.meter_changes > 0 { " as its first hit begins, and changes" } else { "" };
    (own != counted || facts.meter_changes > 0)
        .then(|| format!("note: {} is in {own}{changes}: bars are counted in {counted}", named(take)))
}

/// What is left out of the takes of a variant at a tempo.
#[must_use]
pub fn left_out(rig: &Rig, tempo: Tempo) -> Vec<String> {
    if rig.takes.is_empty() {
        return Vec::new();
    }
    let outside = taken(rig, tempo).into_iter().enumerate().filter(|(_, take)| take.outside > 0);
    let told = outside.map(|(n, take)| Warning::Outside { take: rig.sequencers.len() + n, hits: take.outside });
    let help = "without `bars` a patch lasts as long as its takes, and `offset` moves a take";
    told.map(|outside| format!("note: {}\nhelp: {help}", warning(rig, &outside))).collect()
}

fn named(take: &Take) -> String {
    format!("the take `{}` (`{}`)", take.name, shown(&take.file))
}

fn tempo_text(micros: u32) -> String {
    tempo_meant(micros).map_or_else(|| format!("{micros} us a quarter note"), |tempo| tempo.to_string())
}

fn meter_text(meter: Meter) -> String {
    format!("{}/{}", meter.count, meter.unit)
}
/// What takes leave out where variants are played at tempos, each thing once.
pub fn all_left_out<'a>(played: impl IntoIterator<Item = (&'a Rig, Tempo)>) -> Vec<String> {
    let mut all: Vec<String> = Vec::new();
    for note in played.into_iter().flat_map(|(rig, tempo)| left_out(rig, tempo)) {
        if !all.contains(&note) {
            all.push(note);
        }
    }
    all
}
