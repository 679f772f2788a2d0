//! The pictures of a command: which there are, what they are called, and what stands in each.

use super::picture::{gap_over_tempo, late_over_tempo, psychometric, spread, timing, track, waveform, window};
use super::report::{Advised, Checked, Measured, Trained, measured_names};
use super::scene::{
    NEVER, Performed, WaveError, beginning_picture, class_picture, curve_picture, gap_picture, late_picture,
    measured_spread, meeting, moment, onset_picture, shot_picture, spread_picture, tempo_range, timing_picture,
    track_picture, wave_picture, window_picture,
};
use crate::ear::{ClassResult, Key};
use crate::judge::{Gap, Judged};
use crate::measure::Shot;
use crate::patch::{Patch, Variant, Voice};
use crate::rig::{RigError, play};
use crate::text::{nine_places, plain};
use crate::voice::VoiceError;

/// A picture, drawn and not yet written.
#[derive(Clone, Debug)]
pub struct Picture {
    /// Its name in the folder.
    pub name: String,
    /// The variant, where it shows one alone.
    pub variant: Option<String>,
    /// Quarter notes a minute, where it shows one tempo.
    pub tempo_bpm: Option<f64>,
    /// The seed of what is drawn by chance in it.
    pub seed: u64,
    /// The file's text.
    pub svg: String,
}

/// Why a picture could not be drawn.
#[derive(Debug, thiserror::Error)]
pub enum AlbumError {
    /// A rig cannot be played.
    #[error(transparent)]
    Rig(#[from] RigError),
    /// A sound cannot be drawn.
    #[error(transparent)]
    Wave(#[from] WaveError),
}

/// A picture of each voice: how it begins. Of a patch each is called after that, `stem`.
///
/// # Errors
/// As of [`onset_picture`].
pub fn voice_pictures(stem: Option<&str>, voices: &[&Voice], seed: u64) -> Result<Vec<Picture>, VoiceError> {
    let mut drawn: Vec<&Voice> = Vec::new();
    let mut pictures = Vec::new();
    for voice in voices {
        // Two that differ by their level alone begin alike.
        if drawn.iter().any(|known| known.name == voice.name && known.sound == voice.sound) {
            continue;
        }
        let again = drawn.iter().filter(|known| known.name == voice.name).count();
        let again = if again > 0 { format!("-{}", again + 1) } else { String::new() };
        let before = stem.map(|stem| format!("{stem}.")).unwrap_or_default();
        let name = format!("{before}voice.{}{again}.svg", voice.name);
        let svg = waveform(&onset_picture(&format!("voice-{}", voice.name), voice, seed)?);
        pictures.push(Picture { name, variant: None, tempo_bpm: None, seed, svg });
        drawn.push(voice);
    }
    Ok(pictures)
}

/// The pictures of what was measured, a list a finding: how late it is over tempo, how that is spread, how its hits begin, and a
/// typical one of each recording, of which `shots` has a list a finding.
#[must_use]
pub fn measured_pictures(measured: &Measured<'_>, shots: &[Vec<Shot>]) -> Vec<Vec<Picture>> {
    let names = measured_names(measured);
    let of = |(number, finding): (usize, &crate::measure::Finding)| {
        let name = &names[number];
        let id = |what: &str| format!("measured-{number}-{what}");
        let picture = |what: &str, tempo_bpm: Option<f64>, svg: String| {
            let name = format!("measured.{name}.{what}.svg");
            Picture { name, variant: None, tempo_bpm, seed: 1, svg }
        };
        let mut all = vec![picture("late", None, late_over_tempo(&late_picture(measured, finding, &id("late"))))];
        all.extend(measured_spread(measured, finding, &id("spread")).map(|of| picture("spread", None, spread(&of))));
        all.extend(
            beginning_picture(measured, finding, &id("begins")).map(|of| picture("begins", None, waveform(&of))),
        );
        for (number, shot) in shots.get(number).into_iter().flatten().enumerate() {
            let drawn = waveform(&shot_picture(measured, finding, shot, &id(&format!("hit-{number}"))));
            all.push(picture(&format!("{}bpm", shot.tempo), Some(shot.tempo), drawn));
        }
        all
    };
    measured.findings.findings.iter().enumerate().map(of).collect()
}

/// A patch and what its pictures are called after.
#[derive(Clone, Copy, Debug)]
pub struct Subject<'a> {
    /// What all names begin with.
    pub stem: &'a str,
    /// What it says, with what was asked for instead.
    pub patch: &'a Patch,
    /// Its text: it is read again to see at which tempos beside its own it may be played.
    pub source: &'a str,
    /// What chance is drawn from.
    pub seed: u64,
}

/// All pictures of a check: gap over tempo and, of each variant at the tempo where it is worst, what happens at a reset, how a hit
/// looks and, at the tempo where it is widest, how a gap is spread over runs.
///
/// # Errors
/// If a rig cannot be played or a sound cannot be drawn; what was checked can.
pub fn check_pictures(
    subject: Subject<'_>,
    variants: &[Variant],
    checked: &Checked<'_>,
) -> Result<Vec<Picture>, AlbumError> {
    let Subject { stem, patch, source, seed } = subject;
    let all: Vec<&Variant> = variants.iter().collect();
    let range = tempo_range(source, patch);
    let gaps = gap_picture((stem, subject.title()), &all, &patch.tempos, range, patch.max_gap, &NEVER);
    let (name, svg) = (format!("{stem}.gap-over-tempo.svg"), gap_over_tempo(&gaps));
    let mut pictures = vec![Picture { name, variant: None, tempo_bpm: None, seed, svg }];
    for same in checked.results.chunk_by(|a, b| a.variant.name == b.variant.name) {
        let Some(worst) = worst(same) else { continue };
        pictures.extend(subject.timing(worst)?);
        pictures.extend(subject.wave(worst)?);
        let spread = |j: &&Judged<'_>| j.runs.as_ref().and_then(|c| c.gaps.iter().filter_map(|g| Some(g.1?.sd)).max());
        pictures.extend(same.iter().rev().max_by_key(spread).and_then(|widest| subject.spread(widest)));
    }
    Ok(pictures)
}

/// The first tempo at which a variant's gap is widest.
fn worst<'a, 'b>(of_variant: &'b [Judged<'a>]) -> Option<&'b Judged<'a>> {
    let gap = |j: &&Judged<'_>| j.verdict.worst_gap().and_then(Gap::worst);
    of_variant.iter().rev().max_by_key(gap)
}

impl<'a> Subject<'a> {
    fn title(self) -> &'a str {
        self.patch.title.as_deref().unwrap_or(self.stem)
    }

    /// A picture of one variant at one tempo.
    fn of(self, judged: &Judged<'_>, name: &str, svg: String) -> Picture {
        let (variant, tempo_bpm) = (Some(judged.variant.name.clone()), Some(judged.tempo.bpm()));
        Picture { name: format!("{name}.svg"), variant, tempo_bpm, seed: self.seed, svg }
    }

    /// What happens around a reset.
    fn timing(self, of: &Judged<'_>) -> Result<Option<Picture>, AlbumError> {
        let (variant, tempo) = (of.variant, of.tempo);
        let rig = &variant.rig;
        let performance = play(rig, tempo)?;
        let Some(moment) = moment(rig, &performance, self.patch.meter.bar()) else { return Ok(None) };
        let name = format!("{}.{}.{tempo}bpm.timing", self.stem, variant.name);
        let about = format!("{} at {tempo}, around beat {}", variant.name, nine_places(moment.beat));
        let about = (name.as_str(), self.title(), about.as_str());
        let figures = timing_picture(about, (rig, self.patch.max_gap), &performance, &moment);
        Ok(Some(self.of(of, &name, timing(&figures))))
    }

    /// How a hit that two share sounds in the original and in a fix; `None` for the original itself, and where nobody meets in
    /// both.
    fn wave(self, of: &Judged<'_>) -> Result<Option<Picture>, AlbumError> {
        let (variant, tempo, original) = (of.variant, of.tempo, &self.patch.original);
        if variant.name == original.name {
            return Ok(None);
        }
        let (before, after) = (play(&original.rig, tempo)?, play(&variant.rig, tempo)?);
        let played = [
            Performed { name: &original.name, rig: &original.rig, performance: &before },
            Performed { name: &variant.name, rig: &variant.rig, performance: &after },
        ];
        let bar = self.patch.meter.bar();
        let from = moment(&original.rig, &before, bar).map_or(bar, |m| m.beat);
        let Some(widest) = of.verdict.worst_gap() else { return Ok(None) };
        let players = widest.between.map(|p| variant.rig.player_name(p));
        let Some(meeting) = meeting(played[0], played[1], players, from) else { return Ok(None) };
        let name = format!("{}.original+{}.{tempo}bpm.wave", self.stem, variant.name);
        let about = format!("{} and {} at {tempo}, due at beat {}", players[0], players[1], nine_places(meeting.beat));
        let about = (name.as_str(), self.title(), about.as_str());
        let figures = wave_picture(about, played, &meeting, (self.patch.max_gap, self.seed))?;
        Ok(Some(self.of(of, &name, waveform(&figures))))
    }

    /// How a gap is spread over runs; `None` where no runs were made, or all are alike.
    fn spread(self, of: &Judged<'_>) -> Option<Picture> {
        let (variant, tempo) = (of.variant, of.tempo);
        let name = format!("{}.{}.{tempo}bpm.spread", self.stem, variant.name);
        let about = format!("{} at {tempo}", variant.name);
        let figures = spread_picture((&name, self.title(), &about), &variant.rig, of.runs.as_ref()?)?;
        Some(self.of(of, &name, spread(&figures)))
    }
}

/// The picture of an advice: which delays will do at which tempo, and the components across them. `stem` and `title` are those of
/// the patch.
#[must_use]
pub fn advise_picture(stem: &str, title: &str, advised: &Advised<'_>) -> Picture {
    let on = advised.advice.target.name(advised.rig).replacen("sequencer.", "", 1);
    let name = format!("{stem}.{}.{on}.window", advised.variant);
    let figures = window_picture((&name, title), advised.rig, advised.advice);
    let (variant, svg) = (Some(advised.variant.to_owned()), window(&figures));
    Picture { name: format!("{name}.svg"), variant, tempo_bpm: None, seed: 1, svg }
}

/// Two pictures of a training session, its trials and its curve; `seed` is what the intervals were drawn from.
#[must_use]
pub fn training_pictures(stem: &str, trained: &Trained, seed: u64) -> [Picture; 2] {
    let session = &trained.session;
    let voices: Vec<String> = session.voices.iter().map(|v| plain(v)).collect();
    let title = format!("{}: {} at {}", session.task.title(), voices.join(" and "), session.tempo_bpm);
    let picture = |name: &str, svg: String| {
        let (variant, tempo_bpm) = (None, Some(session.tempo_bpm));
        Picture { name: format!("{name}.svg"), variant, tempo_bpm, seed, svg }
    };
    let [trials, curve] = ["track", "curve"].map(|what| format!("{stem}.{what}"));
    [
        picture(&trials, track(&track_picture((&trials, &title), session, &trained.estimate))),
        picture(&curve, psychometric(&curve_picture((&curve, &title), session, &trained.estimate))),
    ]
}

/// The picture of a class: its curve as one listener.
#[must_use]
pub fn class_curve(stem: &str, key: &Key, result: &ClassResult) -> Picture {
    let name = format!("{stem}.curve");
    let svg = psychometric(&class_picture(&name, key, result));
    let (variant, tempo_bpm) = (None, Some(key.tempo_bpm));
    Picture { name: format!("{name}.svg"), variant, tempo_bpm, seed: key.seed, svg }
}
