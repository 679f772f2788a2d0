use super::{Align, Table, to_decimals};
use crate::patch::{Voice, kit_about};
use crate::voice::{Facts, Unit};
use std::io;

/// What follows the list.
const TAIL: &str = "\nA patch may use these names as they are, or make a voice of its own: [voice.bell] with a `model` and any of the\n\
settings above; what it leaves out is as listed here. Each also takes `level`, `pan` and `noise`.\n";

/// The voices of the kit and what is measured of each, as people read them.
#[must_use]
pub fn voices_table(facts: &[(&Voice, Facts)]) -> String {
    let mut out = String::new();
    for (voice, f) in facts {
        let pitch = f.pitch_hz.map_or_else(|| "no pitch".into(), |p| format!("pitch {p:.0} Hz"));
        out.push_str(&format!(
            "{} — {}\n  {pitch}, rises in {:.2} ms, lasts {:.0} ms, {} dB in the mix\n",
            voice.name,
            kit_about(voice.settings.model),
            f.attack_ms,
            f.length_s * 1000.0,
            voice.level_db.to_string().replace('-', "−"),
        ));
        let mut table = Table::new(&[("setting", Align::Left), ("", Align::Right), ("what it does", Align::Left)]);
        for (param, &value) in voice.settings.model.params().iter().zip(&voice.settings.values) {
            table.row([param.key.into(), param.unit.show(value).replace('-', "−"), param.about.into()]);
        }
        out.push_str(&table.render());
        out.push('\n');
    }
    out.truncate(out.trim_end().len());
    out.push('\n');
    out.push_str(TAIL);
    out
}

/// The voices of the kit and what is measured of each, as one value of JSON.
#[must_use]
pub fn voices_json(facts: &[(&Voice, Facts)]) -> serde_json::Value {
    let rows: Vec<_> = facts.iter().map(|(voice, facts)| json(voice, facts)).collect();
    serde_json::json!({ "format": 1, "voices": rows })
}

fn json(voice: &Voice, f: &Facts) -> serde_json::Value {
    let settings: serde_json::Map<String, serde_json::Value> = voice
        .settings
        .model
        .params()
        .iter()
        .zip(&voice.settings.values)
        .map(|(p, v)| (p.key.to_owned(), p.unit.show(*v).into()))
        .collect();
    serde_json::json!({
        "name": voice.name, "model": voice.settings.model.name(), "about": kit_about(voice.settings.model),
        "level_db": voice.level_db, "pan": voice.pan, "settings": settings,
        "pitch_hz": f.pitch_hz.map(|p| to_decimals(p, 2)), "attack_ms": to_decimals(f.attack_ms, 4),
        "length_s": to_decimals(f.length_s, 6), "k_energy": to_decimals(f.k_energy, 9),
    })
}

/// A row a setting of a voice.
///
/// # Errors
/// As of the writer.
pub fn voices_csv(facts: &[(&Voice, Facts)], out: &mut dyn io::Write) -> io::Result<()> {
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
    for (voice, f) in facts {
        for (param, value) in voice.settings.model.params().iter().zip(&voice.settings.values) {
            let pitch = f.pitch_hz.map_or_else(String::new, |p| to_decimals(p, 2).to_string());
            let (level, attack, length) = (voice.level_db, to_decimals(f.attack_ms, 4), to_decimals(f.length_s, 6));
            let head = [voice.name.clone(), voice.settings.model.name().into(), level.to_string(), pitch];
            let tail =
                [attack.to_string(), length.to_string(), param.key.into(), value.to_string(), unit(param.unit).into()];
            csv.write_record(head.iter().chain(&tail))?;
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
