//! Two voices a time apart: a file for each gap and tempo, and a page.

use super::{Destination, ExportError, FileSpec, OutputFolder, SoundSettings};
use crate::patch::Voice;
use crate::show::page::{ListeningPage, listening_page};
use crate::show::report::{CARE, FlamRow, exact_ms};
use crate::show::scene::{FlamPage, flam_page};
use crate::sound::comparison::LoudnessMatch;
use crate::sound::flam::{FlamBars, FlamGap, FlamLoops, body, pair_rig, reference};
use crate::sound::render::{Channels, Gain, Program, RenderError};
use crate::sound::score::{Ensemble, Seating};
use crate::store::Kind;
use crate::time::{Beat, Tempo};
use std::collections::HashSet;
use std::path::PathBuf;

/// What a page of two voices is asked for.
#[derive(Clone, Copy, Debug)]
pub struct FlamAsked<'a> {
    /// What the page is called.
    pub title: &'a str,
    /// Where the voices are from.
    pub source: &'a str,
    /// The two, the first as it stands and the second apart from it.
    pub voices: &'a [Voice; 2],
    /// How far apart.
    pub settings: &'a [FlamGap],
    /// The rate whose period counts, where settings are shares of it.
    pub rate: Option<&'a str>,
    /// At which tempos.
    pub tempos: &'a [Tempo],
}

/// What was written of two voices.
#[derive(Debug)]
pub struct Flams {
    /// What is said of each file.
    pub rows: Vec<FlamRow>,
    /// The file to be heard first.
    pub first: Option<PathBuf>,
    /// The page, if one was asked for.
    pub page: Option<PathBuf>,
    /// Its path as it may be shown.
    pub page_shown: Option<String>,
}

/// Writes a file for each gap and tempo, all of a tempo equally loud, and a page if that is asked for. Shares are of `period`.
///
/// # Errors
/// [`ExportError`] for what cannot be rendered, and for the folder and its files.
pub fn flams(asked: &FlamAsked<'_>, period: Beat, page: bool, to: &Destination) -> Result<Flams, ExportError> {
    let (sound, voices) = (&to.sound, asked.voices);
    let rig = pair_rig(voices);
    let ensemble = Ensemble::new(&[&rig], Seating::Centre, sound.seed)?;
    let bank = sound.bank(&ensemble)?;
    let body = body(voices, sound.seed)?;
    let mut flams: Vec<(FlamRow, FlamBars)> = Vec::new();
    let mut names: HashSet<String> = HashSet::new();
    for &tempo in asked.tempos {
        for setting in asked.settings {
            let gap = setting.gap(tempo);
            let file = format!("flam.{}+{}.{}ms.{tempo}bpm.wav", voices[0].name, voices[1].name, exact_ms(gap));
            if names.insert(file.clone()) {
                let about = (tempo, setting.text.clone(), gap);
                let row = FlamRow::new(about, tempo.exact(period), sound.sample_rate, body.as_ref(), file);
                flams.push((row, FlamBars::new(&rig, &ensemble, tempo, gap)));
            }
        }
    }
    let page_name = page.then(|| format!("flam.{}+{}.html", voices[0].name, voices[1].name));
    for (_, bars) in &flams {
        sound.fits(&bars.program(&bank, sound.lead_in, 1.0)?, Channels::Mono)?;
    }
    let names = flams.iter().map(|(row, _)| row.file.clone()).chain(page_name.clone());
    let folder = OutputFolder::open(to, &names.collect::<Vec<_>>())?;
    for same in flams.chunk_by(|a, b| a.0.tempo == b.0.tempo) {
        // All of a tempo are as loud as the two voices at once in every bar, whatever else is asked for.
        let together = reference(&rig, &ensemble, same[0].0.tempo).program(&bank, sound.lead_in)?;
        let (levels, programs) = folder.counted(|watch| {
            let programs = same.iter().map(|(_, bars)| bars.even(&bank, sound.lead_in, watch));
            let programs: Vec<Program<'_>> = programs.collect::<Result<_, RenderError>>()?;
            Ok((LoudnessMatch::measure(&together, &programs, watch)?, programs))
        })?;
        for (((row, _), program), gain) in same.iter().zip(&programs).zip(levels.fixes) {
            let about = format!("{} and {}, {} ms apart", voices[0].name, voices[1].name, row.gap_ms);
            let file = FileSpec::bare(row.file.clone(), Kind::Flam, "flam", Some(row.tempo), Channels::Mono);
            let file = FileSpec { about: Some(about), ..file };
            folder.render(&file, program, Gain::Fixed(gain.alone))?;
            if let Some(db) = gain.short_db() {
                folder.say(&format!("note: {} is {db:.1} dB quieter than the others, or it would clip", row.file));
            }
        }
    }
    if let Some(name) = &page_name {
        let text = listening_page(&flam_listening(asked, sound, &folder)?);
        folder.write_bytes(Kind::Page, name, text.as_bytes(), "flam", None, None)?;
    }
    let made = Flams {
        page: page_name.as_ref().map(|name| folder.path(name)),
        first: flams.first().map(|(row, _)| folder.path(&row.file)),
        page_shown: page_name.map(|name| folder.shown(&name)),
        rows: flams.into_iter().map(|f| f.0).collect(),
    };
    folder.done();
    Ok(made)
}

/// A listening page of two voices, together and apart, all equally loud at each tempo.
///
/// # Errors
/// For what cannot be rendered, or where the program is asked to end.
pub fn flam_listening(
    asked: &FlamAsked<'_>,
    sound: &SoundSettings,
    folder: &OutputFolder,
) -> Result<ListeningPage, ExportError> {
    let &FlamAsked { title, source, voices, settings, rate, .. } = asked;
    let rig = pair_rig(voices);
    let ensemble = Ensemble::new(&[&rig], Seating::Centre, sound.seed)?;
    let bank = sound.bank(&ensemble)?;
    let body = body(voices, sound.seed)?;
    let tempos = asked.tempos.iter().map(|&tempo| {
        let loops = FlamLoops::new(tempo, settings);
        let gains = folder.counted(|watch| loops.gains(&rig, &ensemble, (&bank, sound.lead_in), watch))?;
        Ok((tempo, loops, gains))
    });
    let tempos = tempos.collect::<Result<Vec<_>, ExportError>>()?;
    let (players, body) = ((&rig, &ensemble), body.as_ref());
    Ok(flam_page(&FlamPage { title, source, care: CARE, voices, players, body, settings, rate }, &tempos))
}
