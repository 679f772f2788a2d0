use super::{Align, Table, plain, to_decimals};
use crate::patch::{Voice, kit_about};
use crate::text::rounded;
use crate::voice::recorded::{Recorded, Stroke, StrokeFile};
use crate::voice::{Facts, Model, Param, Sound, Unit};
use std::io;
use std::sync::Arc;

/// What follows the list.
const TAIL: &str = "\nA patch may use these names as they are, or make a voice of its own: [voice.bell] with a `model` and any of the\n\
settings above; what it leaves out is as listed here. Each also takes `level`, `pan` and `noise`.\n";

/// A voice and what is measured of each of its strokes, the loudest first.
#[derive(Clone, Debug)]
pub struct VoiceFacts<'a> {
    /// The voice.
    pub voice: &'a Voice,
    /// What is measured, and the strongest frequency in hertz.
    pub strokes: Vec<(Facts, f64)>,
}

/// The voices of the kit or of a patch and what is measured of each, as people read them.
#[must_use]
pub fn voices_table(facts: &[VoiceFacts<'_>], of_kit: bool) -> String {
    let mut out = String::new();
    for of in facts {
        let voice = of.voice;
        let settings = match &voice.sound {
            Sound::Drawn(settings) => settings,
            Sound::Recorded(recorded) => {
                out.push_str(&format!("{} — played from {}\n", voice.name, counted_files(recorded)));
                for (file, (stroke, measured)) in recorded.files.iter().zip(recorded.strokes.iter().zip(&of.strokes)) {
                    let up_to = if recorded.files.len() > 1 {
                        format!(" (up to velocity {})", file.up_to)
                    } else {
                        String::new()
                    };
                    out.push_str(&format!("  {}{up_to}\n{}", plain(&file.file), stroke_lines(stroke, measured)));
                }
                out.push_str(&format!("  {} dB in the mix\n\n", voice.level_db.to_string().replace('-', "−")));
                continue;
            }
        };
        let Some((f, _)) = of.strokes.first() else { continue };
        let pitch = f.pitch_hz.map_or_else(|| "no pitch".into(), |p| format!("pitch {p:.0} Hz"));
        out.push_str(&format!(
            "{} — {}\n  {pitch}, rises in {:.2} ms, lasts {:.0} ms, {} dB in the mix\n",
            voice.name,
            kit_about(voice),
            f.attack_ms,
            f.length_s * 1000.0,
            voice.level_db.to_string().replace('-', "−"),
        ));
        let mut table = Table::new(&[("setting", Align::Left), ("", Align::Right), ("what it does", Align::Left)]);
        for (param, &value) in settings.model.params().iter().zip(&settings.values) {
            table.row([param.key.into(), param.unit.show(value).replace('-', "−"), param.about.into()]);
        }
        out.push_str(&table.render());
        out.push('\n');
    }
    out.truncate(out.trim_end().len());
    out.push('\n');
    if of_kit {
        out.push_str(TAIL);
    }
    out
}

fn counted_files(recorded: &Recorded) -> String {
    if recorded.files.len() == 1 {
        "a file".to_owned()
    } else {
        format!("{} files, one a stroke", recorded.files.len())
    }
}

/// What is known of a recording, on lines of their own.
fn stroke_lines(stroke: &Stroke, (f, strongest): &(Facts, f64)) -> String {
    let file = &stroke.file;
    let channels = if file.channels == 1 { "one channel" } else { "two channels, mixed to one" };
    let pitch = f.pitch_hz.map_or_else(|| "no pitch".into(), |p| format!("pitch {p:.0} Hz"));
    let how = match stroke.onset.given {
        true => "as the patch gives it".to_owned(),
        false => format!("found, to within {} ms", rounded(stroke.onset.within_s * 1e3, 3)),
    };
    let flaws: String = stroke.flaws.iter().map(|flaw| format!("    {flaw}\n")).collect();
    format!(
        "    {}, {} Hz, {channels}, {} s, largest sample {} dB of full scale\n    onset {} ms after its start, {how}\n    \
         {pitch}, strongest at {strongest:.0} Hz, rises in {:.2} ms, lasts {:.0} ms\n{flaws}",
        file.format,
        file.rate,
        rounded(file.seconds, 3),
        rounded(file.peak_db, 1).to_string().replace('-', "−"),
        rounded(stroke.onset.at_s * 1e3, 3),
        f.attack_ms,
        f.length_s * 1000.0,
    )
}

/// The voices of the kit or of a patch and what is measured of each, as one value of JSON.
#[must_use]
pub fn voices_json(facts: &[VoiceFacts<'_>]) -> serde_json::Value {
    let rows: Vec<_> = facts.iter().filter_map(json).collect();
    serde_json::json!({ "format": 1, "voices": rows })
}

fn json(of: &VoiceFacts<'_>) -> Option<serde_json::Value> {
    let (voice, f) = (of.voice, of.strokes.first()?.0);
    let settings: serde_json::Map<String, serde_json::Value> =
        settings(voice).map(|(p, v)| (p.key.to_owned(), p.unit.show(v).into())).collect();
    let mut all = serde_json::json!({
        "name": voice.name, "model": voice.sound.model().map(Model::name), "about": kit_about(voice),
        "level_db": voice.level_db, "pan": voice.pan, "settings": settings,
        "pitch_hz": f.pitch_hz.map(|p| to_decimals(p, 2)), "attack_ms": to_decimals(f.attack_ms, 4),
        "length_s": to_decimals(f.length_s, 6), "k_energy": to_decimals(f.k_energy, 9),
    });
    if let Sound::Recorded(recorded) = &voice.sound {
        let strokes = recorded.files.iter().zip(recorded.strokes.iter().zip(&of.strokes));
        let file = |(file, (stroke, (f, strongest))): (&StrokeFile, (&Arc<Stroke>, &(Facts, f64)))| {
            serde_json::json!({
                "file": file.file, "up_to_velocity": file.up_to, "sha256": stroke.checksum, "format": stroke.file.format,
                "sample_rate": stroke.file.rate, "channels": stroke.file.channels, "seconds": to_decimals(stroke.file.seconds, 6),
                "peak_db": to_decimals(stroke.file.peak_db, 2), "onset_ms": to_decimals(stroke.onset.at_s * 1e3, 6),
                "onset_within_ms": to_decimals(stroke.onset.within_s * 1e3, 4), "onset_given": stroke.onset.given,
                "pitch_hz": f.pitch_hz.map(|p| to_decimals(p, 2)), "strongest_hz": to_decimals(*strongest, 1),
                "attack_ms": to_decimals(f.attack_ms, 4), "length_s": to_decimals(f.length_s, 6),
                "flaws": stroke.flaws.iter().map(ToString::to_string).collect::<Vec<_>>(),
            })
        };
        all["files"] = strokes.map(file).collect();
    }
    Some(all)
}

/// The settings of a voice that a model draws.
fn settings(voice: &Voice) -> impl Iterator<Item = (&'static Param, f64)> {
    let drawn = voice.sound.settings();
    drawn.into_iter().flat_map(|s| s.model.params().iter().zip(s.values.iter().copied()))
}

/// A row a setting of a voice; of one that is played from files a row a file, with the place of its onset.
///
/// # Errors
/// As of the writer.
pub fn voices_csv(facts: &[VoiceFacts<'_>], out: &mut dyn io::Write) -> io::Result<()> {
    let mut csv = csv::Writer::from_writer(out);
    csv.write_record([
        "voice",
        "model",
        "level_db",
        "pitch_hz",
        "attack_ms",
        "length_s",
        "parameter",
        "value",
        "unit",
    ])?;
    let mut row = |voice: &Voice, f: &Facts, [key, value, unit]: [&str; 3]| {
        let pitch = f.pitch_hz.map_or_else(String::new, |p| to_decimals(p, 2).to_string());
        let (level, attack, length) = (voice.level_db, to_decimals(f.attack_ms, 4), to_decimals(f.length_s, 6));
        let model = voice.sound.model().map_or("", Model::name);
        let head = [voice.name.clone(), model.into(), level.to_string(), pitch];
        let tail = [attack.to_string(), length.to_string(), key.into(), value.into(), unit.into()];
        csv.write_record(head.iter().chain(&tail))
    };
    for of in facts {
        for ((f, _), (param, value)) in of.strokes.iter().take(1).flat_map(|s| settings(of.voice).map(move |p| (s, p)))
        {
            row(of.voice, f, [param.key, &value.to_string(), unit(param.unit)])?;
        }
        if let Sound::Recorded(recorded) = &of.voice.sound {
            for (stroke, (f, _)) in recorded.strokes.iter().zip(&of.strokes) {
                row(of.voice, f, ["onset", &to_decimals(stroke.onset.at_s, 9).to_string(), "s"])?;
            }
        }
    }
    csv.flush()
}

fn unit(unit: Unit) -> &'static str {
    match unit {
        Unit::Frequency => "Hz",
        Unit::Time => "s",
        Unit::Level => "dB",
        Unit::Share => "1",
    }
}
