//! The built-in kit: voice settings as TOML, embedded in the program.

use crate::patch::check::fault::{Fault, Faults};
use crate::patch::check::node::{self, Key, Value};
use crate::patch::check::view::Section;
use crate::patch::model::{Noise, Voice};
use crate::patch::read::fields::Fields;
use crate::voice::Model;
use std::sync::LazyLock;

/// A voice of the kit and what it says of itself.
struct Sample {
    voice: Voice,
    about: String,
}

const fn source(model: Model) -> &'static str {
    match model {
        Model::Kick => include_str!("../../../samples-synth/kick.toml"),
        Model::Snare => include_str!("../../../samples-synth/snare.toml"),
        Model::Hat => include_str!("../../../samples-synth/hat.toml"),
        Model::Click => include_str!("../../../samples-synth/click.toml"),
    }
}

/// The voices of the built-in kit, one a model and called like it, in the order of [`Model::ALL`].
///
/// # Panics
/// If a file of the kit is faulty: a fault of this program, which its tests find.
#[must_use]
pub fn kit() -> &'static [Voice] {
    static VOICES: LazyLock<Vec<Voice>> = LazyLock::new(|| samples().iter().map(|s| s.voice.clone()).collect());
    &VOICES
}

/// What the kit says of its voice of this one's model, in a line; nothing of a voice that is played from a file.
///
/// # Panics
/// As [`kit`].
#[must_use]
pub fn kit_about(voice: &Voice) -> &'static str {
    let model = voice.sound.model();
    samples().iter().find(|s| model.is_some() && s.voice.sound.model() == model).map_or("", |s| &s.about)
}

fn samples() -> &'static [Sample] {
    static SAMPLES: LazyLock<Vec<Sample>> = LazyLock::new(|| {
        let sample = |model: Model| {
            let source = source(model);
            let name = model.name();
            read(name, source)
                .unwrap_or_else(|f| panic!("{}", f.render(&format!("samples-synth/{name}.toml"), source, false)))
        };
        Model::ALL.map(sample).into()
    });
    &SAMPLES
}

fn read(name: &str, source: &str) -> Result<Sample, Faults> {
    let table = node::read(source)?;
    let key = Key { text: name.to_owned(), at: 0..0 };
    let mut section = Section::new(&key, &table);
    let about = match section.get("about").map(|(_, node)| &node.value) {
        Some(Value::Text(about)) => about.clone(),
        _ => return Err(Faults::one(Fault::new(0..0, "a voice of the kit has no `about`"))),
    };
    section.fields.retain(|(key, _)| key.text != "about");
    let (mut faults, mut warnings) = (Faults::default(), Faults::warnings());
    let mut fields = Fields {
        source,
        what: format!("the voice `{name}` of the kit"),
        at: 0..0,
        section: &section,
        faults: &mut faults,
        warnings: &mut warnings,
    };
    let voice = crate::patch::read::voice::voice(&mut fields, &[], Noise::Same);
    match voice {
        Ok(voice) if voice.sound.model().map(Model::name) == Some(name) && faults.is_empty() => {
            Ok(Sample { voice, about })
        }
        Ok(_) if faults.is_empty() => Err(Faults::one(Fault::new(0..0, "the model is not that of the file's name"))),
        _ => Err(faults),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_model_has_a_voice_in_the_kit_with_all_its_parameters_in_bounds() {
        assert_eq!(kit().len(), Model::ALL.len());
        for (voice, model) in kit().iter().zip(Model::ALL) {
            assert_eq!(voice.sound.model(), Some(model));
            assert_eq!(voice.sound.settings().map(|s| s.values.len()), Some(model.params().len()));
            assert!(!kit_about(voice).is_empty());
        }
    }
}
