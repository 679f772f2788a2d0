use crate::patch::check::fault::Fault;
use crate::patch::check::view::check_keys;
use crate::patch::model::measures::{LEVEL, PAN};
use crate::patch::model::{Keys, Noise, Row, Takes, Voice, show_share};
use crate::patch::read::fields::{Fields, Got, Told};
use crate::patch::read::quantities::fits;
use crate::patch::read::quantity;
use crate::voice::{Model, Param, Settings, Unit, VoiceError};
use num_rational::Ratio;

/// What every voice may say, whatever its model.
pub(in crate::patch) static KEYS: Keys = Keys {
    what: "a voice",
    about: "a drum of this patch; what it does not say is that of the kit's voice of its model",
    rows: &[
        Row::free(
            "model",
            Takes::Words(&MODELS),
            "that of the kit's voice of its name",
            "what is struck; the other keys of a voice are those of its model",
        ),
        Row::free(
            "level",
            Takes::Quantity(&LEVEL),
            "that of the kit",
            "its level in the mix, on top of the model's own",
        ),
        Row::free("pan", Takes::Quantity(&PAN), "that of the kit", "where it is heard, from left to right"),
        Row::free(
            "noise",
            Takes::Words(&["same", "fresh"]),
            "that of the patch",
            "whether every hit has the same noise, or each its own",
        ),
    ],
    rules: &[],
};
const MODELS: [&str; 4] = [Model::ALL[0].name(), Model::ALL[1].name(), Model::ALL[2].name(), Model::ALL[3].name()];
/// How noise is spelled.
pub(in crate::patch) const NOISES: [(&str, Noise); 2] = [("same", Noise::Same), ("fresh", Noise::Fresh)];

/// Reads a `[voice.NAME]` table, or a file of the built-in kit.
///
/// What it does not say is that of `kit`'s voice of its model; where that has none, it must be said. A voice that is
/// called as one of the kit's has its model, unless it says another.
pub(in crate::patch) fn voice(fields: &mut Fields<'_, '_>, kit: &[Voice], noise: Noise) -> Result<Voice, Told> {
    let name = fields.section.name.text.clone();
    let models = Model::ALL.map(|model| (model.name(), model));
    let of_name = kit.iter().find(|v| v.name == name).map(|v| v.settings.model);
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
    let mut known: Vec<&str> = KEYS.names().collect();
    known.extend(params.iter().map(|p| p.key));
    known.dedup();
    let what = model.map_or("a voice".to_owned(), |m| format!("a {} voice", m.name()));
    check_keys(&fields.section.fields, &known, &what, fields.faults);
    let base = model.ok().and_then(|m| kit.iter().find(|v| v.settings.model == m));
    let noise = fields.choice("noise", &NOISES).map(|n| n.unwrap_or(noise));
    let level = level(fields);
    let pan = pan(fields);
    let model = model?;
    let mut values = Vec::new();
    let mut told = Ok(());
    for (n, param) in model.params().iter().enumerate() {
        match (parameter(fields, param), base.and_then(|b| b.settings.values.get(n))) {
            (Ok(Some(value)), _) => values.push(value),
            (Ok(None), Some(value)) => values.push(*value),
            (Ok(None), None) => told = Err(fields.missing(param.key, param.about)),
            (Err(error), _) => told = Err(error),
        }
    }
    let (noise, level, pan) = (noise?, level?, pan?);
    told?;
    let settings = Settings { model, values };
    settings.check().map_err(|error| cannot_be_drawn(fields, &error))?;
    Ok(Voice {
        name,
        settings,
        level_db: level.or(base.map(|b| b.level_db)).unwrap_or(0.0),
        pan: pan.or(base.map(|b| b.pan)).unwrap_or(0.0),
        noise,
    })
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

fn level(fields: &mut Fields<'_, '_>) -> Got<f64> {
    let Some(level) = fields.quantity("level", quantity::level)? else { return Ok(None) };
    if !fits(level, &LEVEL) {
        return Err(fields.out_of_bounds("level", &Unit::Level.show(level), LEVEL.expected));
    }
    Ok(Some(level))
}

fn pan(fields: &mut Fields<'_, '_>) -> Got<f64> {
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
