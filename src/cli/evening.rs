//! `mend --songs`: one wiring for an evening, and what is dialled for each song.

use super::album::tell;
use super::args::{PatchArgs, Tempos};
use super::load::{Loaded, load, read_text};
use super::mend::{MendArgs, bar, catalogue, show_progress, write};
use super::work::few_enough;
use super::{Failure, Outcome, file, terminal};
use crate::judge::advise::Aim;
use crate::judge::mend::{Evening, ListedSong, SongAsked, Stopped, Watch, listed_songs, mend_evening};
use crate::patch::{NewFix, ORIGINAL, Patch, Rig, shown};
use crate::show::page::song_card;
use crate::show::report::{EveningReport, evening_csv, evening_json, evening_table};
use crate::store::interrupt;
use crate::time::Tempo;
use std::path::Path;

/// How wide a card is that is written as text: a page of 80 columns.
const CARD_WIDTH: usize = 78;

pub(super) fn run(args: &MendArgs, list: &Path) -> Result<Outcome, Failure> {
    let text = read_text(list, "a list of songs")?;
    let name = shown(&list.display().to_string());
    let listed = listed_songs(&text).map_err(|e| Failure::input(format!("`{name}`: {e}"), e.help()))?;
    let mut tempos: Vec<Tempo> = Vec::new();
    for tempo in listed.iter().flat_map(|song| &song.tempos) {
        if !tempos.contains(tempo) {
            tempos.push(*tempo);
        }
    }
    let asked = PatchArgs { tempo: Some(Tempos(tempos)), ..args.patch.clone() };
    let mut loaded = load(&asked, args.judge.max_gap)?;
    let max_gap_from = super::ear::listen(&args.ear, &mut loaded)?;
    let patch = &loaded.patch;
    few_enough(&patch.original.rig, &patch.tempos, "`mend`")?;
    let refused = |song: &ListedSong, (what, help): (String, String)| {
        Failure::input(format!("`{name}`: line {}: {what}", song.line), help)
    };
    let (mut standing, mut songs): (Vec<(Key, Patch)>, Vec<SongAsked>) = (Vec::new(), Vec::new());
    for song in &listed {
        let key = (song.fixes.clone(), song.tempo_map.clone());
        let plays = plays(&patch.original.rig, &song.boxes).map_err(|why| refused(song, why))?;
        let known = standing.iter().position(|(own, _)| *own == key);
        let place = known.unwrap_or(standing.len());
        if known.is_none() {
            let stands = stands(&loaded, song).map_err(|why| refused(song, why))?;
            standing.push((key, stands));
        }
        songs.push(SongAsked { tempos: song.tempos.clone(), plays, standing: place });
    }
    let standing: Vec<Patch> = standing.into_iter().map(|(_, patch)| patch).collect();
    let catalogue = catalogue(args, &loaded)?;
    let evening = Evening {
        patch,
        standing: &standing,
        catalogue: &catalogue,
        aim: Aim { max_gap: patch.max_gap, skew: patch.skew },
        songs: &songs,
        budget: usize::from(args.budget),
    };
    let bar = bar();
    let watch = Watch { progress: &|at| show_progress(&bar, at), cancel: interrupt::flag(), ..Watch::nobody() };
    let _at_work = interrupt::at_work();
    let mended = mend_evening(&evening, &watch);
    bar.finish_and_clear();
    let report = EveningReport {
        name: loaded.name.clone(),
        title: patch.title.as_deref(),
        max_gap_from,
        listed: &listed,
        evening: &evening,
        mended: &mended,
    };
    tell(
        (args.format, &[]),
        || evening_table(&report, terminal::width()),
        |out| terminal::json(out, &evening_json(&report)),
        |out| evening_csv(&report, out),
    )?;
    if let Some(card) = &args.card {
        let is_page = card.extension().is_some_and(|end| end.eq_ignore_ascii_case("html"));
        let text = if is_page { song_card(&report) } else { evening_table(&report, CARD_WIDTH) };
        file::write(card, text.as_bytes(), args.overwrite)?;
        terminal::say(&format!("wrote {}", shown(&card.display().to_string())));
    }
    if args.write.is_some() {
        write(&args.patch.patch, &fixes(&report))?;
    }
    if mended.stopped == Some(Stopped::Cancelled) {
        return Err(Failure::Interrupted);
    }
    Ok(Outcome::Done)
}

/// What a song's patch hangs on: its fixes and its tempo map.
type Key = (Option<String>, Option<String>);

/// What is refused, and what to do.
type Refused = (String, String);

/// Which players are to be heard.
fn plays(rig: &Rig, names: &[String]) -> Result<Vec<bool>, Refused> {
    let all: Vec<&str> = (0..rig.players()).map(|player| rig.player_name(player)).collect();
    if let Some(name) = names.iter().find(|name| !all.contains(&name.as_str())) {
        return Err((format!("there is no box `{}`", shown(name)), format!("the patch has {}", all.join(", "))));
    }
    Ok(all.iter().map(|own| names.is_empty() || names.iter().any(|name| name == own)).collect())
}

/// The patch as it stands for a song.
fn stands(loaded: &Loaded, song: &ListedSong) -> Result<Patch, Refused> {
    let mapped = song.tempo_map.as_ref().map(|map| {
        let help = "write it as a patch has it, with single quotes: [{ at = '8 beats', tempo = '110 %' }]";
        loaded.patch.with_tempo_map(map).map_err(|why| (format!("its tempo map is none: {why}"), help.to_owned()))
    });
    let patch = mapped.transpose()?.unwrap_or_else(|| loaded.patch.clone());
    let Some(fixes) = song.fixes.as_ref().filter(|fixes| *fixes != ORIGINAL) else { return Ok(patch) };
    let stands = patch.standing(fixes).map_err(|e| (e.to_string(), e.help()))?;
    match rewired(&patch.original.rig, &stands.original.rig) {
        None => Ok(stands),
        Some(what) => Err((
            format!("the fix `{}` changes {what}, and the wiring is one for the whole evening", shown(fixes)),
            "name fixes that only turn dials; what has to be plugged is found".to_owned(),
        )),
    }
}

/// What of the wiring is not the same.
fn rewired(a: &Rig, b: &Rig) -> Option<String> {
    let parts = |rig: &Rig| {
        let outputs = rig.outputs.iter().map(|output| output.name.clone());
        outputs.chain(rig.stages.iter().map(|stage| stage.name.clone())).collect::<Vec<_>>()
    };
    let players = |rig: &Rig| (0..rig.players()).map(|player| rig.player_name(player).to_owned()).collect::<Vec<_>>();
    if parts(a) != parts(b) || players(a) != players(b) {
        return Some("what there is in the patch".to_owned());
    }
    if a.wires != b.wires {
        return Some("a wire".to_owned());
    }
    let way = |rig: &Rig, n: usize| {
        let own = &rig.sequencers[n];
        (own.clock.clone(), own.reset.as_ref().map(|reset| reset.path.clone()))
    };
    let other = (0..a.sequencers.len()).find(|&n| way(a, n) != way(b, n))?;
    Some(format!("the way to an input of {}", a.sequencers[other].name))
}

/// A fix for each way the rig stands in the course of the evening, called after the first song that is so.
fn fixes(report: &EveningReport<'_>) -> Vec<NewFix> {
    let mut all: Vec<NewFix> = Vec::new();
    for (song, mended) in report.listed.iter().zip(&report.mended.songs) {
        let Some(dialled) = mended.dialled.as_ref().filter(|dialled| !dialled.proposal.fix.set.is_empty()) else {
            continue;
        };
        let fix = &dialled.proposal.fix;
        if !all.iter().any(|own| own.set == fix.set) {
            let name: String = song.title.to_lowercase().split_whitespace().collect::<Vec<_>>().join("-");
            let about = format!("for {}", song.title);
            all.push(NewFix { name: format!("song-{name}"), about: Some(about), ..fix.clone() });
        }
    }
    all
}
