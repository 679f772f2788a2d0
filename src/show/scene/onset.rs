use crate::patch::Voice;
use crate::show::picture::{WavePanel, WavePicture};
use crate::sound::render::MASTER_RATE;
use crate::text::rounded;
use crate::voice::recorded::Stroke;
use crate::voice::{NoiseKey, Sound, VoiceError};

/// What is drawn before and after the onset, in milliseconds.
const AROUND_MS: [f64; 2] = [-4.0, 8.0];
/// Samples a millisecond of a master.
const A_MS: f64 = MASTER_RATE as f64 / 1000.0;

/// How each stroke of a voice begins, around the instant of a hit.
///
/// # Errors
/// If a voice has settings that its model cannot draw, or a file that nobody has read; a checked and loaded patch has none.
pub fn onset_picture(name: &str, voice: &Voice, seed: u64) -> Result<WavePicture, VoiceError> {
    let mut panels = Vec::new();
    for n in 0..voice.sound.strokes() {
        let master = voice.sound.drum(n)?.master(&NoiseKey::voice(seed, &voice.name));
        let first = master.pre + (AROUND_MS[0] * A_MS) as i64;
        let count = ((AROUND_MS[1] - AROUND_MS[0]) * A_MS) as i64;
        let sample = |at: i64| usize::try_from(at).ok().and_then(|at| master.samples.get(at)).copied().unwrap_or(0.0);
        let samples = (first..=first + count).map(sample).collect();
        let (what, file, stroke) = match &voice.sound {
            Sound::Drawn(_) => ("hit", voice.name.clone(), None),
            Sound::Recorded(recorded) => ("onset", recorded.files[n].file.clone(), recorded.strokes.get(n)),
        };
        let sure = stroke.filter(|stroke| !stroke.onset.given).map(|stroke| stroke.onset.within_s * 1e3);
        let gap = sure.map(|ms| (-ms, ms, format!("± {} ms", rounded(ms, 3))));
        let note = stroke.map_or_else(String::new, |stroke| where_in_file(stroke));
        panels.push(WavePanel {
            name: file,
            rate: MASTER_RATE,
            samples,
            onsets: vec![(0.0, what.to_owned())],
            gap,
            note,
        });
    }
    Ok(WavePicture {
        name: name.to_owned(),
        title: format!("How {} begins", voice.name),
        about: "A hit's instant is at nought.".to_owned(),
        zero: "the hit".to_owned(),
        from_ms: AROUND_MS[0],
        to_ms: AROUND_MS[1],
        panels,
    })
}

fn where_in_file(stroke: &Stroke) -> String {
    let how = if stroke.onset.given { "given" } else { "found" };
    format!("{} ms after the start of the file, {how}", rounded(stroke.onset.at_s * 1e3, 3))
}
