use super::fields::{Fields, Got, Told, decimal};
use super::model::{Noise, Voice};
use super::output::show_share;
use super::quantity;
use super::view::check_keys;
use crate::voice::{Model, Param, Settings, Unit};
use num_rational::Ratio;

/// What every voice may say, whatever its model.
const KEYS: [&str; 4] = ["model", "level", "pan", "noise"];
/// Levels that make sense in a mix, in decibels.
const LEVELS: (f64, f64) = (-100.0, 24.0);

/// How noise is spelled.
pub(super) const NOISES: [(&str, Noise); 2] = [("same", Noise::Same), ("fresh", Noise::Fresh)];

/// Reads a `[voice.NAME]` table, or a file of the built-in kit.
///
/// What it does not say is that of `kit`'s voice of its model; where that has none, it must be said. A voice that is
/// called as one of the kit's has its model, unless it says another.
pub(super) fn voice(fields: &mut Fields<'_, '_>, kit: &[Voice], noise: Noise) -> Result<Voice, Told> {
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
    let mut known = KEYS.to_vec();
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
    told.map(|()| Voice {
        name,
        settings: Settings { model, values },
        level_db: level.or(base.map(|b| b.level_db)).unwrap_or(0.0),
        pan: pan.or(base.map(|b| b.pan)).unwrap_or(0.0),
        noise,
    })
}

fn level(fields: &mut Fields<'_, '_>) -> Got<f64> {
    let Some(level) = fields.quantity("level", quantity::level)? else { return Ok(None) };
    let (least, most) = LEVELS;
    if level < least || level > most {
        let expected = format!("a level from {} to {}", show(least, Unit::Level), show(most, Unit::Level));
        return Err(fields.out_of_bounds("level", &show(level, Unit::Level), &expected));
    }
    Ok(Some(level))
}

fn pan(fields: &mut Fields<'_, '_>) -> Got<f64> {
    let Some(pan) = fields.quantity("pan", quantity::share)? else { return Ok(None) };
    let one = Ratio::from_integer(1);
    if pan > one || pan < -one {
        return Err(fields.out_of_bounds("pan", &show_share(pan), "a share from -100 % (left) to 100 % (right)"));
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
            let expected = format!("a value from {} to {}", show(param.min, param.unit), show(param.max, param.unit));
            Err(fields.out_of_bounds(param.key, &show(value, param.unit), &expected))
        }
        value => Ok(value),
    }
}

/// The nearest `f64` of a short fraction: one correctly rounded division.
fn float(share: Ratio<i128>) -> f64 {
    *share.numer() as f64 / *share.denom() as f64
}

/// A value of a parameter for people, in its usual unit, to three decimals.
fn show(value: f64, unit: Unit) -> String {
    let (factor, unit) = match unit {
        Unit::Frequency => (1.0, "Hz"),
        Unit::Time => (1000.0, "ms"),
        Unit::Level => (1.0, "dB"),
        Unit::Share => (100.0, "%"),
    };
    format!("{} {unit}", decimal((value * factor * 1000.0).round() as i128))
}
