use crate::patch::check::fault::Fault;
use crate::patch::check::view::check_keys;
use crate::patch::model::measures::{LEVEL, PAN, TIME, WIDTH};
use crate::patch::model::{Bound, Keys, Measure, Noise, Row, Rule, Takes, Voice, show_share};
use crate::patch::read::fields::{Fields, Got, Told};
use crate::patch::read::quantities::fits;
use crate::patch::read::{quantity, recorded};
use crate::voice::recorded::ENDINGS;
use crate::voice::{Model, Param, Settings, Sound, Unit, VoiceError};
use num_rational::Ratio;

/// What every voice may say, whatever its model.
pub(in crate::patch) static KEYS: Keys = Keys {
    what: "a voice",
    about: "a drum of this patch: one that a model draws, which is the kit's voice of that model in all that it does not say, or one that is played from a file",
    rows: &[
        Row::free(
            "model",
            Takes::Words(&MODELS),
            "that of the kit's voice of its name",
            "what is struck; the other keys of a voice are those of its model",
        ),
        Row::free(
            "file",
            Takes::File(&ENDINGS),
            "a model draws it",
            "the recording of one hit that it is played from, relative to the patch file",
        ),
        Row::free(
            "softer",
            Takes::Strokes(&ENDINGS),
            "`file` at every velocity",
            "recordings of softer strokes, each with the highest velocity that it is played at",
        ),
        Row::free(
            "onset",
            Takes::Quantity(&ONSET),
            "it is found",
            "the instant of the hit, from the start of the file, of each file of the voice",
        ),
        Row::free(
            "trim",
            Takes::Quantity(&TRIM),
            "all of the file",
            "how much of the file is played after the onset; the last 5 ms are faded out",
        ),
        Row::free(
            "level",
            Takes::Quantity(&LEVEL),
            "that of the kit; of a file 0 dB",
            "its level in the mix, on top of the model's own; a file is brought to a peak of full scale first",
        ),
        Row::free(
            "pan",
            Takes::Quantity(&PAN),
            "that of the kit; of a file 0 %",
            "where it is heard, from left to right",
        ),
        Row::free(
            "noise",
            Takes::Words(&["same", "fresh"]),
            "that of the patch",
            "whether every hit has the same noise, or each its own",
        ),
    ],
    rules: &[
        Rule::NotBoth("file", "model"),
        Rule::Needs("softer", "file"),
        Rule::Needs("onset", "file"),
        Rule::Needs("trim", "file"),
    ],
};
/// Those of its keys that only a voice with a file has.
pub(in crate::patch) const OF_FILE: [&str; 4] = ["file", "softer", "onset", "trim"];
/// The place of an onset in a file.
pub(in crate::patch) const ONSET: Measure =
    Measure { most: Bound::at("60 s"), expected: "a time from 0 s to 60 s", examples: ("12 ms", "13 ms"), ..TIME };
/// How long a drum sounds.
pub(in crate::patch) const TRIM: Measure = Measure {
    least: Bound::at("1 ms"),
    most: Bound::at("3 s"),
    expected: "a time from 1 ms to 3 s",
    examples: ("400 ms", "500 ms"),
    ..WIDTH
};
const MODELS: [&str; 4] = [Model::ALL[0].name(), Model::ALL[1].name(), Model::ALL[2].name(), Model::ALL[3].name()];
/// How noise is spelled.
pub(in crate::patch) const NOISES: [(&str, Noise); 2] = [("same", Noise::Same), ("fresh", Noise::Fresh)];

/// Reads a `[voice.NAME]` table, or a file of the built-in kit.
///
/// What it does not say is that of `kit`'s voice of its model; where that has none, it must be said. A voice that is
/// called as one of the kit's has its model, unless it says another.
pub(in crate::patch) fn voice(fields: &mut Fields<'_, '_>, kit: &[Voice], noise: Noise) -> Result<Voice, Told> {
    if fields.has("file") {
        return recorded::voice(fields);
    }
    let name = fields.section.name.text.clone();
    let models = Model::ALL.map(|model| (model.name(), model));
    let of_name = kit.iter().find(|v| v.name == name).and_then(|v| v.sound.model());
    let model = match fields.choice("model", &models) {
        Ok(None) => of_name.ok_or_else(|| {
            let known: Vec<_> = models.iter().map(|(name, _)| format!("\"{name}\"")).collect();
            fields.missing("model", &format!("write model = {}", known.join(" or ")))
        }),
        Ok(Some(model)) => Ok(model),
        Err(told) => Err(told),
    };
    // Where the model is not known, the keys of all are.
    let params: Vec<&Param> = match model {
        Ok(model) => model.params().iter().collect(),
        Err(Told) => Model::ALL.iter().flat_map(|m| m.params()).collect(),
    };
    let mut known: Vec<&str> = KEYS.names().filter(|key| !OF_FILE.contains(key)).collect();
    known.extend(params.iter().map(|p| p.key));
    known.dedup();
    let what = model.map_or("a voice".to_owned(), |m| format!("a {} voice", m.name()));
    let alone = without_file(fields);
    let own = fields.section.fields.iter().filter(|(key, _)| !OF_FILE.contains(&key.text.as_str()));
    let own: Vec<_> = own.copied().collect();
    check_keys(&own, &known, &what, fields.faults);
    let base = model.ok().and_then(|m| kit.iter().find(|v| v.sound.model() == Some(m)));
    let noise = fields.choice("noise", &NOISES).map(|n| n.unwrap_or(noise));
    let level = level(fields);
    let pan = pan(fields);
    let model = model?;
    let mut values = Vec::new();
    let mut told = Ok(());
    for (n, param) in model.params().iter().enumerate() {
        match (parameter(fields, param), base.and_then(|b| b.sound.settings()?.values.get(n))) {
            (Ok(Some(value)), _) => values.push(value),
            (Ok(None), Some(value)) => values.push(*value),
            (Ok(None), None) => told = Err(fields.missing(param.key, param.about)),
            (Err(error), _) => told = Err(error),
        }
    }
    let (noise, level, pan) = (noise?, level?, pan?);
    told?;
    alone?;
    let settings = Settings { model, values };
    settings.check().map_err(|error| cannot_be_drawn(fields, &error))?;
    Ok(Voice {
        name,
        sound: Sound::Drawn(settings),
        level_db: level.or(base.map(|b| b.level_db)).unwrap_or(0.0),
        pan: pan.or(base.map(|b| b.pan)).unwrap_or(0.0),
        noise,
    })
}

/// Tells keys that only a voice with a file has.
fn without_file(fields: &mut Fields<'_, '_>) -> Result<(), Told> {
    let mut told = Ok(());
    for key in &OF_FILE[1..] {
        let Some((name, _)) = fields.get(key) else { continue };
        let fault = Fault::new(name.at.clone(), format!("{} has `{key}` and no `file`", fields.what))
            .label("expected in a voice that is played from a file")
            .help(format!("write file = \"drum.wav\", or take `{key}` out"));
        told = Err(fields.tell(fault));
    }
    told
}

/// Values that are good each and do not go together. Points at the first of them that this table says.
fn cannot_be_drawn(fields: &mut Fields<'_, '_>, error: &VoiceError) -> Told {
    let text = error.to_string();
    let (message, help) = text.split_once("\nhelp: ").unwrap_or((&text, "change one of them"));
    let places: Vec<_> =
        error.keys().iter().filter_map(|key| fields.get(key)).map(|(_, node)| node.at.clone()).collect();
    let at = places.first().cloned().unwrap_or_else(|| fields.at.clone());
    let (found, expected) = message.split_once(", expected ").or(message.split_once(": ")).unwrap_or((message, ""));
    let fault = Fault::new(at, format!("{}: {found}", fields.what)).label(format!("expected {expected}")).help(help);
    let fault = match places.get(1) {
        Some(other) => fault.context(other.clone(), "the other value"),
        None => fault,
    };
    fields.tell(fault)
}

pub(super) fn level(fields: &mut Fields<'_, '_>) -> Got<f64> {
    let Some(level) = fields.quantity("level", quantity::level)? else { return Ok(None) };
    if !fits(level, &LEVEL) {
        return Err(fields.out_of_bounds("level", &Unit::Level.show(level), LEVEL.expected));
    }
    Ok(Some(level))
}

pub(super) fn pan(fields: &mut Fields<'_, '_>) -> Got<f64> {
    let Some(pan) = fields.quantity("pan", quantity::share)? else { return Ok(None) };
    let one = Ratio::from_integer(1);
    if pan > one || pan < -one {
        return Err(fields.out_of_bounds("pan", &show_share(pan), PAN.expected));
    }
    Ok(Some(float(pan)))
}

fn parameter(fields: &mut Fields<'_, '_>, param: &Param) -> Got<f64> {
    let value = match param.unit {
        Unit::Frequency => fields.quantity(param.key, quantity::frequency),
        Unit::Time => fields.quantity(param.key, quantity::seconds),
        Unit::Level => fields.quantity(param.key, quantity::level),
        Unit::Share => fields.quantity(param.key, quantity::share).map(|s| s.map(float)),
    }?;
    match value {
        Some(value) if value < param.min || value > param.max => {
            let expected = format!("a value from {} to {}", param.unit.show(param.min), param.unit.show(param.max));
            Err(fields.out_of_bounds(param.key, &param.unit.show(value), &expected))
        }
        value => Ok(value),
    }
}

/// The nearest `f64` of a short fraction: one correctly rounded division.
fn float(share: Ratio<i128>) -> f64 {
    *share.numer() as f64 / *share.denom() as f64
}
